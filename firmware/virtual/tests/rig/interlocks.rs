//! If one of these fails, the machine moves while a hand may be in it, or does
//! not say why it stands.

use crate::bench::{Bench, id, rows};
use cardwright_protocol::HostToUnit;
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::host_to_unit::{Exercise, Work};
use cardwright_protocol::unit_to_host::{Refusal, State, StopReason};
use cardwright_virtual::chance::{Chance, Fault};
use cardwright_virtual::world::{Output, World};

/// The order in which outputs go off, the one that hurts most first.
const ORDER: [Output; 7] = [
    Output::Stroke,
    Output::LocksOn,
    Output::Peg,
    Output::Pick,
    Output::FeedOn,
    Output::Lamp,
    Output::Status,
];

fn working() -> Bench {
    let mut bench = Bench::new(10);
    bench.start();
    for card in 1..=3 {
        bench.card(card, &rows(10, 0x37), Work::Cut, true);
    }
    bench
}

/// Does `act` after `us` and checks all that must hold after a stop.
fn stopped_by(bench: &mut Bench, us: u64, act: impl Fn(&mut World), reason: StopReason) -> u64 {
    bench.run(us);
    let before = bench.on();
    let cause = bench.now;
    act(&mut bench.world.borrow_mut());
    let seen = bench.until(20_000, |bench| !bench.stops().is_empty());
    assert!(seen, "no stop {us} us after the start, on: {before:?}");
    let stop = bench.stops()[0];
    assert_eq!(stop.reason, reason, "after {us} us");
    assert_eq!(bench.on(), [], "after {us} us");
    let edges = bench.edges_since(cause);
    let off: Vec<Output> = edges
        .iter()
        .filter(|edge| edge.at == bench.now && !edge.high)
        .map(|edge| edge.output)
        .filter(|output| *output != Output::LocksLatch)
        .collect();
    let places: Vec<_> = off
        .iter()
        .map(|o| ORDER.iter().position(|p| p == o))
        .collect();
    assert!(places.is_sorted(), "after {us} us: {off:?}");
    let took = bench.now.since(cause);
    assert!(
        took <= u64::from(stop.off_after_us),
        "{took} us, told {}",
        stop.off_after_us
    );
    took
}

#[test]
fn guard_and_stop_button_switch_everything_off_in_order_at_any_moment() {
    // one start and three cards take about 4 s
    let mut when = Chance::new(Fault::new(0.0, 11), 1);
    for n in 0..200 {
        let us = when.below(4_000_000);
        let (act, reason): (fn(&mut World), _) = match n % 2 {
            0 => (World::open_guard, StopReason::GuardOpen),
            _ => (World::press_stop, StopReason::StopPressed),
        };
        let took = stopped_by(&mut working(), us, act, reason);
        assert!(took <= 500, "seed 11, {us} us: off after {took} us");
    }
}

#[test]
fn a_bad_supply_stops_with_its_own_reason_within_the_time_reported() {
    let mut when = Chance::new(Fault::new(0.0, 12), 1);
    for n in 0..60 {
        let us = when.below(4_000_000);
        let (mv, reason) = match n % 2 {
            0 => (19_999, StopReason::SupplyLow),
            _ => (28_001, StopReason::SupplyHigh),
        };
        let took = stopped_by(&mut working(), us, |world| world.set_supply_mv(mv), reason);
        assert!(took <= 1_000, "seed 12, {us} us: off after {took} us");
    }
}

#[test]
fn the_supply_at_its_limits_is_good() {
    for mv in [20_000, 28_000] {
        let mut bench = working();
        bench.world.borrow_mut().set_supply_mv(mv);
        bench.run(1_000_000);
        assert_eq!(bench.stops(), []);
    }
}

#[test]
fn a_host_that_falls_silent_or_is_replaced_stops_the_rig_between_strokes() {
    let mut when = Chance::new(Fault::new(0.0, 13), 1);
    for n in 0..100 {
        let us = when.below(4_000_000);
        let reason = [StopReason::HostSilent, StopReason::HostReplaced][n % 2];
        let mut bench = working();
        bench.run(us);
        bench.machine.stop_between_strokes(reason, bench.now);
        assert!(
            bench.until(100_000, |bench| !bench.stops().is_empty()),
            "{us}"
        );
        assert_eq!(bench.last_reason(), Some(reason));
        assert_eq!(bench.on(), []);
        // a block left down holds the card and cannot be fed away from
        assert!(bench.machine.inputs().block_up, "seed 13, {us} us");
    }
}

/// Any order a host can give, valid or not.
fn any_order(bench: &Bench, chance: &mut Chance, card: &mut u32) -> HostToUnit {
    let strokes = rows(10, 0xff);
    match chance.below(14) {
        0 => HostToUnit::Configure(bench.settings),
        1 => HostToUnit::Start,
        2 => HostToUnit::Pause,
        3 => HostToUnit::Resume,
        4 => HostToUnit::Stop,
        5 => {
            *card += 1;
            HostToUnit::Card(Bench::header(*card, &strokes, Work::Cut, true))
        }
        6 => HostToUnit::Strokes {
            id: id(*card),
            first: 0,
            strokes: strokes.iter().copied().collect(),
        },
        7 => HostToUnit::Exercise(Exercise::Punch(chance.below(18) as u8)),
        8 => HostToUnit::Exercise(Exercise::Peg),
        9 => HostToUnit::Exercise(Exercise::BlankStroke),
        10 => HostToUnit::Exercise(Exercise::Feed(chance.below(1_000_000) as u32)),
        11 => HostToUnit::Exercise(Exercise::Lamp),
        12 => HostToUnit::CardLaidIn,
        _ => HostToUnit::DropQueue,
    }
}

#[test]
fn after_a_stop_no_order_but_a_reset_brings_any_output_on() {
    let mut bench = working();
    bench.run(1_500_000);
    bench.world.borrow_mut().open_guard();
    bench.run(1_000);
    bench.world.borrow_mut().shut_guard();
    let (from, steps) = (bench.now.plus(1), bench.steps());
    let mut chance = Chance::new(Fault::new(0.0, 14), 1);
    let mut card = 100;
    for _ in 0..3_000 {
        let order = any_order(&bench, &mut chance, &mut card);
        let _ = bench.order(&order);
        bench.run(chance.below(20_000) + 1);
    }
    assert_eq!(bench.edges_since(from), []);
    assert_eq!(bench.steps(), steps);
    assert_eq!(bench.state(), State::Stopped);
}

#[test]
fn with_the_guard_open_not_even_a_reset_brings_any_output_on() {
    let mut bench = working();
    bench.run(1_500_000);
    bench.world.borrow_mut().open_guard();
    bench.run(1_000);
    let (from, steps) = (bench.now.plus(1), bench.steps());
    let mut chance = Chance::new(Fault::new(0.0, 15), 1);
    let mut card = 100;
    for n in 0..3_000 {
        let order = match n % 3 {
            0 => HostToUnit::Reset,
            _ => any_order(&bench, &mut chance, &mut card),
        };
        let _ = bench.order(&order);
        bench.run(chance.below(20_000) + 1);
    }
    assert_eq!(bench.edges_since(from), []);
    assert_eq!(bench.steps(), steps);
}

#[test]
fn a_guard_opened_just_before_the_start_is_seen_before_any_output_goes_on() {
    // the machine at rest looks only every 5 ms
    for order in [HostToUnit::Start, HostToUnit::Exercise(Exercise::Lamp)] {
        let mut bench = Bench::new(10);
        let settings = bench.settings;
        bench
            .order(&HostToUnit::Configure(settings))
            .expect("settings");
        bench.order(&HostToUnit::Reset).expect("reset");
        bench.run(100);
        bench.world.borrow_mut().open_guard();
        assert_eq!(bench.order(&order), Err(Refusal::NeedsReset));
        bench.run(10_000);
        assert_eq!(bench.edges_since(cardwright_protocol::Micros(0)), []);
        assert_eq!(bench.last_reason(), Some(StopReason::GuardOpen));
    }
}

#[test]
fn a_reset_is_refused_with_the_reason_while_an_input_is_unsafe() {
    let cases: [(fn(&mut World), _); 4] = [
        (World::open_guard, StopReason::GuardOpen),
        (World::press_stop, StopReason::StopPressed),
        (|world| world.set_supply_mv(0), StopReason::SupplyLow),
        (|world| world.set_supply_mv(40_000), StopReason::SupplyHigh),
    ];
    for (act, reason) in cases {
        let mut bench = Bench::new(10);
        let settings = bench.settings;
        bench
            .order(&HostToUnit::Configure(settings))
            .expect("settings");
        act(&mut bench.world.borrow_mut());
        assert_eq!(
            bench.order(&HostToUnit::Reset),
            Err(Refusal::Unsafe(reason))
        );
        assert_eq!(bench.state(), State::Stopped);
    }
}

#[test]
fn a_stop_forgets_the_queue_so_that_a_new_start_cuts_only_what_is_sent_anew() {
    let mut bench = working();
    bench.run(1_500_000);
    bench.order(&HostToUnit::Stop).expect("stop");
    assert_eq!(bench.on(), []);
    bench.run(1_000);
    let strokes = bench.strokes_begun();
    bench.start();
    bench.run(5_000_000);
    assert_eq!(bench.state(), State::Idle);
    assert_eq!(bench.strokes_begun(), strokes);
}

#[test]
fn the_feed_is_not_run_by_hand_while_punches_may_stand_in_a_card() {
    let mut bench = working();
    let down = |bench: &Bench| {
        let world = bench.world.borrow();
        world.output(Output::Stroke) && !world.input(cardwright_virtual::world::Input::BlockUp)
    };
    assert!(bench.until(4_000_000, down));
    bench.run(5_000);
    bench.order(&HostToUnit::Stop).expect("stop");
    bench.order(&HostToUnit::Reset).expect("reset");
    let feed = HostToUnit::Exercise(Exercise::Feed(10_000));
    assert_eq!(
        bench.order(&feed),
        Err(Refusal::Unsafe(StopReason::StrokeNotUp))
    );
    // an empty stroke brings the block up first
    bench
        .order(&HostToUnit::Exercise(Exercise::BlankStroke))
        .expect("stroke");
    bench.run(200_000);
    assert_eq!(bench.order(&feed), Ok(()));
    bench.run(1_000_000);
    assert_eq!(bench.world.borrow().truth().steps_in_card, 0);
}

#[test]
fn a_stroke_alone_may_be_blank_row_lace_or_peg() {
    let mut bench = Bench::new(10);
    bench.start();
    let row = Row(0b101);
    let strokes = [
        Stroke::Blank,
        Stroke::Needles(row),
        Stroke::NeedlesAndPeg(row),
        Stroke::Lace(row),
        Stroke::LaceAndPeg(row),
        Stroke::Peg,
    ];
    bench.card(1, &strokes, Work::Cut, false);
    bench.run(8_000_000);
    let world = bench.world.borrow();
    let done: Vec<_> = world
        .truth()
        .strokes
        .iter()
        .map(|s| (s.locked, s.peg_locked))
        .collect();
    assert_eq!(
        done,
        [
            (0, false),
            (5, false),
            (5, true),
            (5, false),
            (5, true),
            (0, true)
        ]
    );
}
