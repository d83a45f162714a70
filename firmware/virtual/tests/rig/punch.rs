//! If one of these fails, coils burn, the supply sags, or a stuck block is
//! driven on.

use crate::bench::{Bench, rows};
use cardwright_protocol::HostToUnit;
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::host_to_unit::{Settings, Work};
use cardwright_protocol::unit_to_host::{BadSetting, Refusal, StopReason};
use cardwright_rig::limits::{COIL_HEAT_US, LIMITS};
use cardwright_virtual::WorldSettings;
use cardwright_virtual::faults::Faults;
use cardwright_virtual::world::Output;

fn refused(change: impl Fn(&mut Settings)) -> Option<BadSetting> {
    let mut bench = Bench::new(56);
    let mut settings = bench.settings;
    change(&mut settings);
    match bench.order(&HostToUnit::Configure(settings)) {
        Ok(()) => None,
        Err(Refusal::Setting(setting)) => Some(setting),
        Err(other) => panic!("{other:?}"),
    }
}

#[test]
fn a_host_can_tighten_every_limit_and_loosen_none() {
    type Change = fn(&mut Settings);
    let within: [Change; 5] = [
        |s| s.coils_at_once = LIMITS.coils_at_once,
        |s| s.coils_at_once = 1,
        |s| s.coil_on_limit_us = LIMITS.coil_on_us,
        |s| s.coil_duty_permille = 1,
        |s| s.stroke_timeout_us = LIMITS.stroke_us,
    ];
    for (n, change) in within.into_iter().enumerate() {
        assert_eq!(refused(change), None, "{n}");
    }
    let beyond: [(Change, BadSetting); 26] = [
        (|s| s.holes = 0, BadSetting::Holes),
        (|s| s.holes = 17, BadSetting::Holes),
        (|s| s.steps_per_metre = 0, BadSetting::StepsPerMetre),
        (|s| s.steps_per_metre = u32::MAX, BadSetting::StepsPerMetre),
        (|s| s.row_pitch_um = 0, BadSetting::Geometry),
        (|s| s.row_pitch_um = u32::MAX, BadSetting::Geometry),
        (|s| s.samples_per_row = 0, BadSetting::Geometry),
        (|s| s.samples_per_row = 255, BadSetting::Geometry),
        // a scan would not be done before the next is due
        (
            |s| (s.samples_per_row, s.top_speed_mm_s) = (32, 500),
            BadSetting::Speed,
        ),
        (|s| s.reader_rows = 0, BadSetting::Geometry),
        (|s| s.card_length_um = u32::MAX, BadSetting::Geometry),
        (|s| s.start_speed_mm_s = 0, BadSetting::Speed),
        (|s| s.top_speed_mm_s = 1, BadSetting::Speed),
        (|s| s.top_speed_mm_s = u16::MAX, BadSetting::Speed),
        (|s| s.acceleration_mm_s2 = 0, BadSetting::Speed),
        // too gentle to stop for the first stroke
        (|s| s.acceleration_mm_s2 = 1_000, BadSetting::Speed),
        (|s| s.coils_at_once = 0, BadSetting::CoilsAtOnce),
        (
            |s| s.coils_at_once = LIMITS.coils_at_once + 1,
            BadSetting::CoilsAtOnce,
        ),
        (
            |s| s.coil_on_limit_us = LIMITS.coil_on_us + 1,
            BadSetting::CoilOnTime,
        ),
        // the locks would go off before the block is driven, every time
        (|s| s.lock_settle_us = u32::MAX, BadSetting::CoilOnTime),
        (|s| s.coil_stagger_us = u32::MAX, BadSetting::CoilOnTime),
        (|s| s.coil_duty_permille = 0, BadSetting::CoilDuty),
        (
            |s| s.coil_duty_permille = LIMITS.coil_duty_permille + 1,
            BadSetting::CoilDuty,
        ),
        (
            |s| s.stroke_timeout_us = LIMITS.stroke_us + 1,
            BadSetting::StrokeTimeout,
        ),
        (|s| s.supply_mv = (28_000, 28_000), BadSetting::Supply),
        // beyond what the divider shows, it would never be too high
        (|s| s.supply_mv = (28_000, 36_001), BadSetting::Supply),
    ];
    for (n, (change, setting)) in beyond.into_iter().enumerate() {
        assert_eq!(refused(change), Some(setting), "{n}");
    }
}

#[test]
fn more_holes_than_this_unit_has_punches_are_refused() {
    let settings = WorldSettings::for_card(12, 56);
    let told = settings.as_told_to_unit(56);
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.machine = cardwright_rig::machine::Machine::new(
        cardwright_virtual::wire_up(&bench.world),
        Box::default(),
        StopReason::PowerOn,
        8,
    );
    let refusal = bench.order(&HostToUnit::Configure(told));
    assert_eq!(refusal, Err(Refusal::Setting(BadSetting::Holes)));
}

/// Cuts full rows with the peg, the most coils there can be.
fn full_rows(change: impl Fn(&mut Settings)) -> Bench {
    let settings = WorldSettings::for_card(16, 30);
    let mut told = settings.as_told_to_unit(30);
    told.gross_holes = 16;
    change(&mut told);
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    bench.card(
        1,
        &[Stroke::NeedlesAndPeg(Row::full(16)); 30],
        Work::Cut,
        false,
    );
    bench.run(30_000_000);
    assert_eq!(bench.stops(), []);
    assert_eq!(bench.strokes_begun(), 30);
    bench
}

#[test]
fn coils_come_on_in_groups_that_hold_the_tighter_limit() {
    for (at_once, stagger) in [(4, 300), (2, 300), (1, 500), (4, 0)] {
        let bench = full_rows(|s| (s.coils_at_once, s.coil_stagger_us) = (at_once, stagger));
        let most = bench.world.borrow().safety().most_coils_at_once();
        assert!(
            most <= usize::from(at_once),
            "{most} at once, {at_once} allowed, {stagger} us"
        );
    }
}

#[test]
fn locks_are_let_go_at_the_bottom_and_never_held_beyond_the_tighter_limit() {
    let bench = full_rows(|s| s.coil_on_limit_us = 20_000);
    let world = bench.world.borrow();
    for hole in 1..=17 {
        let longest = world.safety().coil_longest_us(hole, bench.now);
        assert!((1..=20_000).contains(&longest), "{hole}: {longest}");
    }
    // half a stroke of 20 ms, and no longer
    let drive = world.safety().longest_on_us(Output::Stroke, bench.now);
    let locks = world.safety().longest_on_us(Output::LocksOn, bench.now);
    assert!(
        locks + 4_000 < drive + 7_000,
        "locks {locks}, drive {drive}"
    );
}

#[test]
fn a_coil_used_without_rest_keeps_to_its_duty() {
    let settings = WorldSettings::for_card(8, 100);
    let mut told = settings.as_told_to_unit(100);
    told.coil_duty_permille = 50;
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    for card in 1..=2 {
        bench.card(card, &[Stroke::Needles(Row(1)); 100], Work::Cut, false);
    }
    let begun = bench.now;
    assert!(bench.until(200_000_000, |bench| bench.strokes_begun() == 200));
    let on = bench.world.borrow().safety().coil_total_us(1);
    let allowed = bench.now.since(begun) * 50 / 1000 + u64::from(COIL_HEAT_US);
    assert!(on <= allowed, "on for {on} us of {allowed}");
    assert!(
        bench.machine.tally().waited_cool_us > 0,
        "the limit was never met"
    );
    // what it counts is what the coil got
    assert_eq!(bench.machine.punch().coils.on_us()[0], on);
}

#[test]
fn a_block_that_sticks_is_let_go_in_time_with_its_reason() {
    let mut reasons = Vec::new();
    for seed in 0..20 {
        let settings = WorldSettings::for_card(8, 10);
        let mut faults = Faults::seeded(seed);
        faults.stuck_stroke.rate = 1.0;
        let told = settings.as_told_to_unit(10);
        let mut bench = Bench::with(settings, &faults, told);
        bench.start();
        bench.card(1, &rows(10, 0x81), Work::Cut, false);
        assert!(bench.until(10_000_000, |bench| !bench.stops().is_empty()));
        reasons.extend(bench.last_reason());
        assert_eq!(bench.on(), []);
        let driven = bench
            .world
            .borrow()
            .safety()
            .longest_on_us(Output::Stroke, bench.now);
        // down and up have 60 ms each
        assert!(driven <= 121_000, "driven for {driven} us, seed {seed}");
        assert_eq!(bench.ended().len(), 1, "the card is told as interrupted");
        assert!(!bench.ended()[0].complete);
        // it cannot be started into the stuck block either
        bench.run(1_000);
        bench.start();
        bench.run(1_000_000);
        assert_eq!(bench.stops().len(), 2, "seed {seed}");
    }
    for reason in [StopReason::StrokeNotDown, StopReason::StrokeNotUp] {
        assert!(
            reasons.contains(&reason),
            "{reason:?} never came: {reasons:?}"
        );
    }
}

/// The block would otherwise begin another turn, with the punches still locked.
#[test]
fn a_block_whose_bottom_is_not_seen_is_let_go_at_the_top() {
    let settings = WorldSettings::for_card(8, 10);
    let told = settings.as_told_to_unit(10);
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    bench.card(1, &rows(10, 0x81), Work::Cut, false);
    assert!(bench.until(10_000_000, |bench| bench.strokes_begun() == 3));
    bench.world.borrow_mut().break_bottom_wire();
    assert!(bench.until(1_000_000, |bench| !bench.stops().is_empty()));
    assert_eq!(bench.last_reason(), Some(StopReason::StrokeNotDown));
    assert_eq!(bench.on(), []);
    let world = bench.world.borrow();
    let turn = world.settings().stroke_cycle_us;
    let on = world.safety().longest_on_us(Output::Stroke, bench.now);
    assert!(on <= turn + 200, "driven for {on} us, a turn takes {turn}");
}
