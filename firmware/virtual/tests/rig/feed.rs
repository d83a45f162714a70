//! If one of these fails, rows lie in the wrong place, the motor loses steps,
//! or a card is cut that was never taken properly.

use crate::bench::{Bench, rows};
use cardwright_protocol::host_to_unit::{Exercise, Settings, Work};
use cardwright_protocol::unit_to_host::{ExerciseReport, State, StopReason};
use cardwright_protocol::{HostToUnit, UnitToHost};
use cardwright_rig::feed::{Feed, Ramp};
use cardwright_rig::hardware::{STEPS_AHEAD, Stepper};
use cardwright_virtual::{Faults, WorldSettings};
use std::collections::VecDeque;

/// Settings of several rigs: steps a metre, start, top, acceleration.
const RIGS: [(u32, u16, u16, u32); 5] = [
    (20_000, 40, 400, 8_000),
    (10_000, 50, 250, 3_000),
    (80_000, 10, 300, 20_000),
    (5_000, 100, 100, 1),
    (200_000, 5, 150, 1_000_000),
];

fn rig(rig: (u32, u16, u16, u32)) -> Settings {
    let mut settings = WorldSettings::default().as_told_to_unit(56);
    (settings.steps_per_metre, settings.start_speed_mm_s) = (rig.0, rig.1);
    (settings.top_speed_mm_s, settings.acceleration_mm_s2) = (rig.2, rig.3);
    settings
}

/// A pulse generator as `Stepper` describes it, and nothing else.
#[derive(Default)]
struct Generator {
    now: u64,
    next_at: Option<u64>,
    waiting: VecDeque<u32>,
    untold: u32,
    made: Vec<u64>,
}

impl Generator {
    /// The next pulse comes; whether there was one to come.
    fn pulse(&mut self) -> bool {
        let Some(at) = self.next_at else { return false };
        self.now = at;
        self.made.push(at);
        self.untold += 1;
        self.next_at = self.waiting.pop_front().map(|us| at + u64::from(us));
        true
    }
}

impl Stepper for Generator {
    fn give(&mut self, us: u32) {
        match self.next_at {
            None => self.next_at = Some(self.now + u64::from(us)),
            Some(_) => self.waiting.push_back(us),
        }
        let under_way = self.waiting.len() as u32 + 1 + self.untold;
        assert!(under_way <= STEPS_AHEAD, "too far ahead");
    }

    fn made(&mut self) -> u32 {
        std::mem::take(&mut self.untold)
    }

    fn halt(&mut self) {
        self.next_at = None;
        self.waiting.clear();
    }
}

/// The moments of the steps of one feed of `steps` steps; after each pulse the
/// feed is polled so much `late`.
fn moments(settings: &Settings, steps: u32, late: impl Fn(u32) -> u64) -> Vec<u64> {
    let mut generator = Generator {
        now: 1_000,
        ..Generator::default()
    };
    let mut feed = Feed::new(Ramp::new(settings));
    feed.go_to(steps);
    feed.give(&mut generator);
    while !feed.at_rest() {
        assert!(generator.pulse(), "stuck after {} steps", feed.position());
        let poll_at = generator.now + late(generator.made.len() as u32);
        while generator.next_at.is_some_and(|at| at <= poll_at) {
            generator.pulse();
        }
        generator.now = poll_at;
        feed.count(&mut generator);
        feed.give(&mut generator);
    }
    assert!(!generator.pulse(), "a step too many");
    generator.made
}

#[test]
fn every_feed_has_its_steps_and_keeps_to_speed_and_acceleration() {
    for (n, settings) in RIGS.map(rig).iter().enumerate() {
        let per_mm = f64::from(settings.steps_per_metre) / 1000.0;
        let start = f64::from(settings.start_speed_mm_s) * per_mm;
        let top = f64::from(settings.top_speed_mm_s) * per_mm;
        let twice_a = 2.0 * f64::from(settings.acceleration_mm_s2) * per_mm;
        for steps in [1, 2, 3, 136, 1_000, 20_000] {
            let made = moments(settings, steps, |_| 0);
            assert_eq!(made.len() as u32, steps, "rig {n}");
            assert_eq!(made[0], 1_000, "rig {n}: the first step comes at once");
            for (at, pair) in made.windows(2).enumerate() {
                // v^2 = v0^2 + 2 a s (mechanics, any textbook), from the start
                // and from the end; whole microseconds
                let from_end = (at as u32 + 1).min(steps - at as u32 - 1);
                let may = (start * start + twice_a * f64::from(from_end))
                    .sqrt()
                    .min(top);
                let fastest_us = 1e6 / may;
                let us = (pair[1] - pair[0]) as f64;
                // half a microsecond of rounding, and the speed in whole steps a second
                assert!(
                    us >= fastest_us - 0.51,
                    "rig {n}, step {at}: {us} < {fastest_us}"
                );
                let slack = 1.0 + fastest_us / may;
                assert!(
                    us <= fastest_us + slack,
                    "rig {n}, step {at}: {us} > {fastest_us}"
                );
            }
        }
    }
}

/// A card's target moves on while the feed is under way: the motor follows the
/// same ramp, whatever the moment.
#[test]
fn a_target_moved_on_under_way_asks_no_more_of_the_motor() {
    for (n, settings) in RIGS.map(rig).iter().enumerate() {
        let per_mm = f64::from(settings.steps_per_metre) / 1000.0;
        let twice_a = 2.0 * f64::from(settings.acceleration_mm_s2) * per_mm;
        for moved_at in 0..300 {
            let mut generator = Generator::default();
            let mut feed = Feed::new(Ramp::new(settings));
            feed.go_to(300);
            feed.give(&mut generator);
            while generator.pulse() {
                feed.count(&mut generator);
                if feed.position() == moved_at {
                    feed.go_to(900);
                }
                feed.give(&mut generator);
            }
            let made = &generator.made;
            let us: Vec<u64> = made.windows(2).map(|pair| pair[1] - pair[0]).collect();
            for (at, pair) in us.windows(2).enumerate() {
                // v^2 changes by 2 a in a step; half a microsecond of rounding,
                // and the speed in whole steps a second
                let fastest = |us: u64| 1e6 / (us as f64 - 0.51);
                let slowest = |us: u64| 1e6 / (us as f64 + 0.51) - 1.0;
                let gained = slowest(pair[1]).powi(2) - fastest(pair[0]).powi(2);
                assert!(gained <= twice_a, "rig {n}, moved at {moved_at}, step {at}");
            }
        }
    }
}

/// The board may be busy with something else for as long as three of the
/// shortest steps take, and the motor does not notice.
#[test]
fn a_poll_that_is_late_by_less_than_three_steps_shifts_no_pulse() {
    let settings = rig(RIGS[0]);
    let punctual = moments(&settings, 2_000, |_| 0);
    // 400 mm/s at 20 steps a millimetre: 125 us
    let late = |step: u32| u64::from(step) * 7_919 % 375;
    assert_eq!(moments(&settings, 2_000, late), punctual);
}

#[test]
fn a_late_poll_is_never_made_up_for_by_a_shorter_step() {
    let settings = rig(RIGS[0]);
    let punctual = moments(&settings, 2_000, |_| 0);
    for (every, late_us) in [(1, 400), (7, 900), (50, 380), (100, 5_000)] {
        let late = |step: u32| u64::from(step.is_multiple_of(every)) * late_us;
        let made = moments(&settings, 2_000, late);
        assert_ne!(made, punctual);
        for at in 1..made.len() {
            let (us, least) = (made[at] - made[at - 1], punctual[at] - punctual[at - 1]);
            assert!(us >= least, "{late_us} us late, step {at}: {us} < {least}");
        }
    }
}

/// A motor that has stopped cannot go on at full speed.
#[test]
fn a_feed_that_ran_out_of_steps_is_brought_up_to_speed_anew() {
    let settings = rig(RIGS[0]);
    let ramp = Ramp::new(&settings);
    let made = moments(&settings, 2_000, |step| u64::from(step == 1_000) * 20_000);
    let after = made
        .windows(2)
        .skip_while(|pair| pair[1] - pair[0] < 10_000)
        .skip(1);
    for (rung, pair) in (1u32..).zip(after).take(40) {
        let us = pair[1] - pair[0];
        assert!(
            us >= u64::from(ramp.interval_us(rung + 4)),
            "rung {rung}: {us}"
        );
    }
}

/// After a halt in the middle no pulse comes, and the place is still known.
#[test]
fn a_halted_feed_makes_no_step_and_knows_where_it_is() {
    let settings = rig(RIGS[0]);
    for steps in 1..60 {
        let mut generator = Generator::default();
        let mut feed = Feed::new(Ramp::new(&settings));
        feed.go_to(100);
        feed.give(&mut generator);
        for _ in 0..steps {
            generator.pulse();
            feed.count(&mut generator);
            feed.give(&mut generator);
        }
        feed.halt(&mut generator);
        assert!(!generator.pulse());
        assert_eq!((feed.position(), feed.at_rest()), (steps, true));
        feed.go_to(100);
        feed.give(&mut generator);
        while generator.pulse() {
            feed.count(&mut generator);
            feed.give(&mut generator);
        }
        assert_eq!(generator.made.len(), 100);
    }
}

#[test]
fn a_feed_moves_as_many_steps_as_its_length_has() {
    let mut bench = Bench::new(56);
    let settings = bench.settings;
    bench
        .order(&HostToUnit::Configure(settings))
        .expect("settings");
    bench.order(&HostToUnit::Reset).expect("reset");
    // 20 steps a millimetre; to the nearest step
    for (um, steps) in [
        (0, 0),
        (24, 0),
        (25, 1),
        (50, 1),
        (6_804, 136),
        (100_000, 2_000),
    ] {
        let before = bench.steps();
        bench
            .order(&HostToUnit::Exercise(Exercise::Feed(um)))
            .expect("feed");
        bench.run(1_000_000);
        assert_eq!(bench.steps() - before, steps, "{um} um");
        let fed = bench.heard.iter().rev().find_map(|notice| match notice {
            UnitToHost::Exercised {
                report: ExerciseReport::Fed { steps, .. },
                ..
            } => Some(*steps),
            _ => None,
        });
        assert_eq!(fed.map(u64::from), Some(steps));
    }
}

#[test]
fn every_row_is_one_pitch_on_and_no_error_adds_up() {
    let mut bench = Bench::new(56);
    bench.start();
    bench.card(1, &rows(56, 0x11), Work::Cut, false);
    bench.run(15_000_000);
    let world = bench.world.borrow();
    let strokes = &world.truth().strokes;
    assert_eq!(strokes.len(), 56);
    for (n, stroke) in strokes.iter().enumerate() {
        // 14.2 mm to the first, then 1.875/7 in apart (Taylor p. 122)
        let place = 14.2 + n as f64 * 1.875 / 7.0 * 25.4;
        // a step is 0.05 mm, the play 0.1 mm
        assert!(
            (stroke.along_mm - place).abs() < 0.2,
            "{n}: {} for {place}",
            stroke.along_mm
        );
    }
}

#[test]
fn an_empty_magazine_is_tried_twice_and_then_a_person_is_asked() {
    let settings = WorldSettings::for_card(8, 10);
    let mut bench = Bench::new(10);
    let world = cardwright_virtual::World::new(settings, &Faults::default());
    *bench.world.borrow_mut() = world;
    bench.start();
    bench.card(1, &rows(10, 0x11), Work::Cut, false);
    bench.run(5_000_000);
    assert_eq!(bench.world.borrow().truth().picks_empty, 2);
    assert_eq!(bench.state(), State::WaitingForCard);
    assert_eq!((bench.ended().len(), bench.strokes_begun()), (0, 0));
    let steps = bench.steps();
    bench.run(5_000_000);
    assert_eq!(bench.steps(), steps, "nothing moves meanwhile");
    assert!(bench.machine.tally().waited_card_us >= 5_000_000);
    bench.world.borrow_mut().fill_magazine(1);
    bench.order(&HostToUnit::CardLaidIn).expect("laid in");
    assert!(bench.until(8_000_000, |bench| bench.ended().len() == 1));
    assert!(bench.ended()[0].complete);
}

fn by_hand() -> Bench {
    let settings = WorldSettings::for_card(8, 10);
    let mut told = settings.as_told_to_unit(10);
    told.magazine = false;
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    bench.card(1, &rows(10, 0x11), Work::Cut, false);
    assert!(bench.until(5_000_000, |bench| {
        bench
            .heard
            .contains(&UnitToHost::State(State::WaitingForCard))
    }));
    bench
}

#[test]
fn by_hand_nothing_is_fed_until_the_card_is_said_to_lie_there() {
    let mut bench = by_hand();
    let steps = bench.steps();
    bench.world.borrow_mut().lay_in_card();
    bench.run(1_000_000);
    assert_eq!(bench.steps(), steps);
    bench.order(&HostToUnit::CardLaidIn).expect("laid in");
    assert!(bench.until(8_000_000, |bench| bench.ended().len() == 1));
    assert_eq!(bench.strokes_begun(), 10);
}

#[test]
fn a_card_said_to_lie_there_that_does_not_is_waited_for_again() {
    let mut bench = by_hand();
    bench.order(&HostToUnit::CardLaidIn).expect("laid in");
    bench.run(3_000_000);
    assert_eq!(bench.state(), State::WaitingForCard);
    assert_eq!(bench.strokes_begun(), 0);
}

#[test]
fn two_cards_at_once_and_a_card_that_stays_are_noticed_and_cut_no_further() {
    let mut by_light = 0;
    for seed in 0..10 {
        let settings = WorldSettings::for_card(8, 20);
        let told = settings.as_told_to_unit(20);
        for (light, reasons) in [
            (
                told.single_card_permille,
                &[StopReason::DoubleFeed, StopReason::FeedStalled][..],
            ),
            (0, &[StopReason::FeedStalled][..]),
        ] {
            let mut faults = Faults::seeded(seed);
            faults.doubled_feed.rate = 1.0;
            let mut told = told;
            (told.single_card_permille, told.gross_holes) = (light, 8);
            let mut bench = Bench::with(settings.clone(), &faults, told);
            bench.start();
            bench.card(1, &rows(20, 0x11), Work::Cut, false);
            bench.run(10_000_000);
            let stagger = bench.world.borrow().truth().injected[0].amount;
            match bench.last_reason() {
                Some(reason) => {
                    assert!(reasons.contains(&reason), "seed {seed}: {reason:?}");
                    by_light += u32::from(reason == StopReason::DoubleFeed);
                }
                // without the light, two cards that lie true are not to be told
                None => assert!(light == 0 && stagger < 5.0, "seed {seed}, {stagger} mm"),
            }
        }
    }
    assert!(
        by_light > 0,
        "the light through two cards was never noticed"
    );
}

/// Cuts one card that jams somewhere.
fn jammed(seed: u64) -> Bench {
    let settings = WorldSettings::for_card(8, 20);
    let mut faults = Faults::seeded(seed);
    faults.jam.rate = 1.0;
    let told = settings.as_told_to_unit(20);
    let mut bench = Bench::with(settings, &faults, told);
    bench.start();
    bench.card(1, &rows(20, 0x11), Work::Cut, false);
    bench.run(10_000_000);
    bench
}

#[test]
fn a_card_that_jams_under_the_punches_is_never_told_as_complete() {
    let mut complete = 0;
    for seed in 0..40 {
        let bench = jammed(seed);
        if !bench.ended().iter().any(|ended| ended.complete) {
            continue;
        }
        complete += 1;
        // then it jammed on its way out, after the last stroke
        let world = bench.world.borrow();
        for (n, stroke) in world.truth().strokes.iter().enumerate() {
            let place = 14.2 + n as f64 * 1.875 / 7.0 * 25.4;
            assert!(
                (stroke.along_mm - place).abs() < 0.2,
                "seed {seed}, stroke {n}"
            );
        }
    }
    assert!(complete < 40, "no jam was ever noticed");
}

#[test]
fn stock_shorter_than_it_should_be_is_not_cut_to_the_end() {
    let mut settings = WorldSettings::for_card(8, 20);
    let told = settings.as_told_to_unit(20);
    settings.stock.length_mm -= 30.0;
    let mut bench = Bench::with(settings, &Faults::default(), told);
    bench.start();
    bench.card(1, &rows(20, 0x11), Work::Cut, false);
    bench.run(10_000_000);
    assert_eq!(bench.last_reason(), Some(StopReason::FeedStalled));
}

#[test]
fn a_card_left_in_the_rig_is_run_out_before_the_next_is_taken() {
    let mut bench = Bench::new(20);
    bench.start();
    bench.card(1, &rows(20, 0x11), Work::Cut, false);
    assert!(bench.until(8_000_000, |bench| bench.strokes_begun() == 8));
    bench.order(&HostToUnit::Stop).expect("stop");
    bench.run(1_000);
    bench.start();
    bench.card(2, &rows(20, 0x22), Work::Cut, false);
    bench.run(10_000_000);
    assert_eq!(bench.last_reason(), Some(StopReason::HostStop));
    let world = bench.world.borrow();
    assert_eq!(world.truth().picks_blocked, 0);
    assert_eq!(world.truth().cards.len(), 2);
    assert_eq!(world.truth().cards[1].card.holes.len(), 20 * 2);
}

#[test]
fn a_jam_that_is_not_cleared_stops_the_start_again() {
    let mut met = 0;
    for seed in 0..40 {
        let mut bench = jammed(seed);
        let covered = bench.machine.inputs().edge_covered;
        if !covered || bench.state() != State::Stopped {
            continue;
        }
        met += 1;
        let stops = bench.stops().len();
        bench.start();
        bench.run(10_000_000);
        assert_eq!(bench.stops().len(), stops + 1, "seed {seed}");
        assert_eq!(bench.last_reason(), Some(StopReason::FeedStalled));
        // taken out, it goes on
        bench.world.borrow_mut().take_out_cards();
        bench.start();
        bench.run(5_000_000);
        assert_eq!(bench.state(), State::Idle, "seed {seed}");
    }
    assert!(met > 3, "{met} jams under the edge sensor");
}
