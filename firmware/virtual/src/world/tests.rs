//! The physics, driven pin by pin without the firmware.

use super::*;
use crate::chance::Fault;
use crate::truth::{Difference, Fate, StrokeEnd};
use cardwright_protocol::card::{Row, Stroke};

mod faults;

/// A machine without chance: plain dry cards, no noise, no play.
fn plain() -> WorldSettings {
    let mut settings = WorldSettings {
        backlash_mm: 0.0,
        gain_spread: 0.0,
        noise_level: 0.0,
        lamp_ageing: 0.0,
        ..WorldSettings::default()
    };
    settings.stock.stretch_spread = 0.0;
    settings.stock.skew_spread = 0.0;
    settings.stock.paper_spread = 0.0;
    settings.stock.most_patches = 0;
    settings
}

/// Hands on the pins.
struct Bench {
    world: World,
    at: u64,
}

impl Bench {
    fn new(settings: WorldSettings, faults: &Faults) -> Bench {
        let mut world = World::new(settings, faults);
        world.set_output(Output::FeedOn, true);
        Bench { world, at: 0 }
    }

    fn wait(&mut self, us: u64) {
        self.at += us;
        self.world.advance(Micros(self.at));
    }

    fn steps(&mut self, count: u64) {
        for _ in 0..count {
            self.wait(250);
            self.world.set_output(Output::Step, true);
            self.world.set_output(Output::Step, false);
        }
    }

    /// Steps until the edge sensor shows `covered`; how many it took.
    fn step_until_edge(&mut self, covered: bool) -> u64 {
        let mut count = 0;
        while self.world.input(Input::Edge) != covered {
            self.steps(1);
            count += 1;
            assert!(count < 20_000, "no edge");
        }
        count
    }

    /// A card from the magazine to the edge sensor.
    fn bring_in(&mut self) {
        self.world.set_output(Output::Pick, true);
        self.wait(200_000);
        self.world.set_output(Output::Pick, false);
        self.step_until_edge(true);
    }

    /// Locks the punches, drives one turn, unlocks.
    fn stroke(&mut self, needles: Row, peg: bool) {
        let [high, low] = needles.0.to_be_bytes();
        self.world.shift(high);
        self.world.shift(low);
        self.world.set_output(Output::LocksLatch, true);
        self.world.set_output(Output::LocksLatch, false);
        self.world.set_output(Output::LocksOn, true);
        self.world.set_output(Output::Peg, peg);
        self.wait(5_000);
        self.turn();
        self.world.set_output(Output::LocksOn, false);
        self.world.set_output(Output::Peg, false);
    }

    /// One turn of the block; gives up when it does not come.
    fn turn(&mut self) {
        self.world.set_output(Output::Stroke, true);
        self.wait(20_000);
        self.world.set_output(Output::Stroke, false);
    }

    fn scan(&mut self) -> [u8; 16] {
        self.world.begin_scan();
        assert_eq!(self.world.take_scan(), None);
        self.wait(40);
        self.world
            .take_scan()
            .expect("the scan is ready after 40 us")
    }

    /// Steps for so many millimetres, to the nearest step.
    fn feed_mm(&mut self, mm: f64) {
        let steps = (mm / self.world.settings().step_mm()).round() as u64;
        self.steps(steps);
    }

    /// Cuts a card of these strokes as a unit would and feeds it out.
    fn cut(&mut self, strokes: &[Stroke]) -> crate::truth::Card {
        self.bring_in();
        let settings = self.world.settings().clone();
        let mut steps = 0;
        for (n, stroke) in strokes.iter().enumerate() {
            let place = settings.edge_to_punch_mm + 14.2 + n as f64 * settings.pitch_mm;
            let to = (place / settings.step_mm()).round() as u64;
            self.steps(to - steps);
            steps = to;
            self.stroke(stroke.punches(), stroke.peg());
        }
        self.step_until_edge(false);
        self.feed_mm(settings.edge_to_reader_mm() + settings.reader_to_exit_mm + 50.0);
        self.world.truth_mut().cards.pop().expect("the card is out")
    }
}

/// The strokes of a 400 card in the order of Taylor pp. 122-123, with these
/// rows of eight.
fn card_400(row: impl Fn(u16) -> Row) -> Vec<Stroke> {
    let lace = Row::from_holes([2, 7]);
    let mut strokes = vec![Stroke::LaceAndPeg(lace), Stroke::Blank];
    strokes.extend((1..=26).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::Lace(lace));
    strokes.extend((27..=50).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::NeedlesAndPeg(row(51)));
    strokes.extend([Stroke::Blank, Stroke::Lace(lace)]);
    strokes
}

#[test]
fn a_picked_card_lies_forty_millimetres_before_the_edge_sensor() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.world.set_output(Output::Pick, true);
    bench.wait(149_999);
    assert_eq!(bench.world.cards_in_path(), 0);
    bench.wait(1);
    assert_eq!(bench.world.cards_in_path(), 1);
    assert_eq!(
        bench.step_until_edge(true),
        800,
        "40 mm at 20 steps a millimetre"
    );
    // The card is 402.596 mm long.
    assert_eq!(bench.step_until_edge(false), 8_052);
}

#[test]
fn a_short_push_or_an_empty_magazine_brings_nothing() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.world.set_output(Output::Pick, true);
    bench.wait(100_000);
    bench.world.set_output(Output::Pick, false);
    bench.wait(100_000);
    assert_eq!(bench.world.cards_in_path(), 0);
    bench.bring_in();
    bench.world.set_output(Output::Pick, true);
    bench.wait(200_000);
    assert_eq!(
        bench.world.truth().picks_blocked,
        1,
        "the first card is in the way"
    );
    bench.world.set_output(Output::Pick, false);
    bench.feed_mm(410.0);
    bench.world.set_output(Output::Pick, true);
    bench.wait(200_000);
    assert_eq!(bench.world.truth().picks_empty, 1);
}

#[test]
fn play_swallows_the_first_steps_after_the_current_comes_on() {
    let run = |backlash_mm| {
        let mut bench = Bench::new(
            WorldSettings {
                backlash_mm,
                ..plain()
            },
            &Faults::default(),
        );
        assert!(bench.world.lay_in_card());
        bench.steps(400);
        bench.world.set_output(Output::FeedOn, false);
        bench.steps(50); // no current, no motion
        bench.world.set_output(Output::FeedOn, true);
        bench.step_until_edge(true)
    };
    assert_eq!(run(0.0), 400);
    assert_eq!(run(0.5), 420, "10 steps of play were used up twice");
}

#[test]
fn a_hole_is_where_the_card_really_is() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.bring_in();
    bench.feed_mm(30.0 + 20.0);
    bench.stroke(Row::from_holes([1, 5]), true);
    let truth = bench.world.truth();
    let stroke = truth.strokes[0];
    assert!((stroke.along_mm - 20.0).abs() < 0.06);
    assert_eq!((stroke.locked, stroke.made), (0b1_0001, 0b1_0001));
    assert!(stroke.peg_made && stroke.end == StrokeEnd::Done);
    assert_eq!(bench.world.take_out_cards(), 1);
    let card = bench.world.truth_mut().take_cards().remove(0);
    assert_eq!(card.fate, Fate::TakenOut);
    let pitch = crate::settings::NEEDLE_PITCH_MM;
    let places: Vec<_> = card
        .card
        .holes
        .iter()
        .map(|hole| (hole.x_mm, hole.y_mm, hole.r_mm))
        .collect();
    let along = stroke.along_mm;
    assert_eq!(
        places,
        [
            (along, -3.5 * pitch, 2.2),
            (along, 0.5 * pitch, 2.2),
            (along + pitch, 0.0, 5.0)
        ]
    );
}

#[test]
fn a_coil_that_is_not_on_long_enough_locks_nothing() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.bring_in();
    bench.feed_mm(60.0);
    // The punches meet the card 7 ms after the drive comes on.
    let stroke_with_coils_at = |bench: &mut Bench, us: u64| {
        bench.world.set_output(Output::Stroke, true);
        bench.wait(us);
        bench.world.shift(0);
        bench.world.shift(0xff);
        bench.world.set_output(Output::LocksLatch, true);
        bench.world.set_output(Output::LocksOn, true);
        bench.wait(20_000 - us);
        bench.world.set_output(Output::Stroke, false);
        bench.world.set_output(Output::LocksOn, false);
        bench.world.set_output(Output::LocksLatch, false);
        bench.world.truth().strokes.last().map(|stroke| stroke.made)
    };
    assert_eq!(stroke_with_coils_at(&mut bench, 3_001), Some(0));
    bench.feed_mm(5.0);
    assert_eq!(stroke_with_coils_at(&mut bench, 3_000), Some(0xff));
    // Shifted but never latched does nothing.
    bench.feed_mm(5.0);
    bench.stroke(Row::BLANK, false);
    bench.world.shift(0);
    bench.world.shift(0xff);
    bench.world.set_output(Output::LocksOn, true);
    bench.wait(5_000);
    bench.turn();
    assert_eq!(
        bench.world.truth().strokes.last().map(|stroke| stroke.made),
        Some(0)
    );
}

#[test]
fn the_block_stops_where_it_is_let_go_and_goes_on_from_there() {
    let mut bench = Bench::new(plain(), &Faults::default());
    let shown = |bench: &Bench| {
        (
            bench.world.input(Input::BlockUp),
            bench.world.input(Input::BlockDown),
        )
    };
    assert_eq!(shown(&bench), (true, false));
    bench.world.set_output(Output::Stroke, true);
    assert_eq!(bench.world.next_change(), Micros(600));
    bench.wait(5_000);
    assert_eq!(shown(&bench), (false, false));
    bench.world.set_output(Output::Stroke, false);
    assert_eq!(bench.world.next_change(), Micros::NEVER);
    bench.wait(1_000_000);
    assert_eq!(shown(&bench), (false, false));
    bench.world.set_output(Output::Stroke, true);
    bench.wait(4_999);
    assert_eq!(shown(&bench), (false, false));
    bench.wait(1);
    assert_eq!(shown(&bench), (false, true));
    bench.wait(10_000);
    assert_eq!(shown(&bench), (true, false));
    bench.world.set_output(Output::Stroke, false);
    assert_eq!(bench.world.truth().strokes_begun, 1);
    assert_eq!(bench.world.truth().strokes[0].end, StrokeEnd::Done);
}

#[test]
fn a_block_driven_on_past_the_top_makes_another_stroke() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.set_output(Output::Stroke, true);
    bench.wait(20_599);
    assert_eq!(bench.world.truth().strokes_begun, 1);
    bench.wait(1);
    assert_eq!(bench.world.truth().strokes_begun, 2);
}

#[test]
fn levels_are_those_of_the_light() {
    let mut bench = Bench::new(plain(), &Faults::default());
    assert_eq!(bench.scan()[..8], [4; 8], "lamp off");
    bench.world.set_output(Output::Lamp, true);
    let open = bench.scan();
    assert_eq!(open[..8], [220; 8]);
    assert_eq!(open[8..], [0; 8], "channels beyond the row's holes");
    bench.world.fill_magazine(1);
    bench.bring_in();
    bench.feed_mm(50.0);
    bench.stroke(Row::from_holes([3]), false);
    bench.feed_mm(6.0 * crate::settings::NEEDLE_PITCH_MM);
    let levels = bench.scan();
    // 6 % of 214 and the dark and stray levels.
    let solid = (4.0f64 + 2.0 + 0.06 * 214.0).round() as u8;
    assert_eq!(
        levels[..8],
        [solid, solid, 220, solid, solid, solid, solid, solid]
    );
    // Half a pitch on, the hole of radius 2.2 is 3.4 mm away: a thin lens of
    // the aperture of radius 1.5 is left.
    bench.feed_mm(crate::settings::NEEDLE_PITCH_MM / 2.0);
    let lens = crate::geometry::lens_area(1.5, 2.2, 3.4) / (core::f64::consts::PI * 2.25);
    let exact = 6.0 + 214.0 * (lens + (1.0 - lens) * 0.06);
    assert!((f64::from(bench.scan()[2]) - exact).abs() <= 1.0);
}

#[test]
fn noise_spreads_the_readings_as_much_as_it_is_set_to() {
    let spread = |noise_level: f64| {
        let settings = WorldSettings {
            noise_level,
            open_level: 150.0,
            ..plain()
        };
        let mut bench = Bench::new(settings, &Faults::default());
        bench.world.set_output(Output::Lamp, true);
        let levels: Vec<f64> = (0..500)
            .flat_map(|_| bench.scan()[..8].to_vec())
            .map(f64::from)
            .collect();
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        let square = levels
            .iter()
            .map(|level| (level - mean).powi(2))
            .sum::<f64>();
        (mean, (square / levels.len() as f64).sqrt())
    };
    assert_eq!(spread(0.0), (150.0, 0.0));
    let (mean, deviation) = spread(4.0);
    assert!(
        (mean - 150.0).abs() < 0.5 && (deviation - 4.0).abs() < 0.3,
        "{mean} {deviation}"
    );
}

#[test]
fn a_whole_card_matches_its_strokes_and_no_others() {
    let strokes = card_400(|n| Row(0x5a ^ (n & 0xff)));
    assert_eq!(strokes.len(), 56, "Taylor pp. 122-123");
    let mut bench = Bench::new(
        WorldSettings {
            backlash_mm: 0.0,
            ..WorldSettings::default()
        },
        &Faults::default(),
    );
    bench.world.fill_magazine(2);
    let card = bench.cut(&strokes);
    let pitch = bench.world.settings().pitch_mm;
    assert_eq!(card.matches(&strokes, 8, pitch, 0.3), []);
    let pegs: Vec<_> = card
        .card
        .holes
        .iter()
        .filter(|hole| hole.r_mm > 4.0)
        .collect();
    let apart_in = (pegs[1].x_mm - pegs[0].x_mm) * card.card.stretch / 25.4;
    assert!(
        (14.1..14.5).contains(&apart_in),
        "nearly 14 1/2 in (Taylor p. 122): {apart_in}"
    );
    let mut other = strokes.clone();
    other[10] = Stroke::Needles(Row(other[10].punches().0 ^ 0b100_0001));
    let differences = card.matches(&other, 8, pitch, 0.3);
    assert_eq!(differences.len(), 2, "{differences:?}");
    // Turned end for end is another card.
    other = strokes.iter().rev().copied().collect();
    assert!(card.matches(&other, 8, pitch, 0.3).len() > 50);
}

#[test]
fn a_stroke_short_of_its_place_is_seen_in_the_truth() {
    let strokes = card_400(|_| Row::full(8));
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.bring_in();
    let settings = bench.world.settings().clone();
    let mut steps = 0;
    for (n, stroke) in strokes.iter().enumerate() {
        let short = if n == 20 { 1.0 } else { 0.0 };
        let place = settings.edge_to_punch_mm + 14.2 + n as f64 * settings.pitch_mm - short;
        let to = (place / settings.step_mm()).round() as u64;
        bench.steps(to - steps);
        steps = to;
        bench.stroke(stroke.punches(), stroke.peg());
    }
    bench.world.take_out_cards();
    let card = bench.world.truth_mut().take_cards().remove(0);
    let differences = card.matches(&strokes, 8, settings.pitch_mm, 0.3);
    assert_eq!(differences.len(), 8);
    for difference in differences {
        let Difference::Displaced {
            stroke: 20, dx_mm, ..
        } = difference
        else {
            panic!("{difference:?}");
        };
        assert!((dx_mm + 1.0).abs() < 0.1);
    }
}

#[test]
fn a_card_moved_with_punches_in_it_is_torn() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.bring_in();
    bench.feed_mm(60.0);
    bench.world.set_output(Output::Stroke, true);
    bench.wait(10_000);
    bench.steps(1);
    assert_eq!(bench.world.truth().steps_in_card, 1);
    bench.world.take_out_cards();
    let card = bench.world.truth_mut().take_cards().remove(0);
    assert!(card.card.torn);
    assert!(card.matches(&[], 8, 6.8, 0.3).contains(&Difference::Torn));
}

#[test]
fn a_prepared_card_goes_through_with_its_holes() {
    let mut bench = Bench::new(plain(), &Faults::default());
    let mut card = crate::stock::Card {
        stretch: 1.004,
        ..crate::stock::Card::plain(402.6, 72.0)
    };
    let pitch = crate::settings::NEEDLE_PITCH_MM;
    card.add(crate::stock::Hole {
        x_mm: 100.0,
        y_mm: 0.5 * pitch,
        r_mm: 2.2,
        flap: None,
        stroke: None,
    });
    bench.world.load_cards([card]);
    bench.bring_in();
    bench.world.set_output(Output::Lamp, true);
    // Swollen by 0.4 %, the hole lies 100.4 mm behind the edge.
    let reader = bench.world.settings().edge_to_reader_mm();
    bench.feed_mm(reader + 100.4);
    assert_eq!(bench.scan()[4], 220);
    assert!(bench.scan()[3] < 40);
}

#[test]
fn the_watch_sees_coils_and_late_motion() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.world.fill_magazine(1);
    bench.bring_in();
    bench.stroke(Row::from_holes([1, 2, 3]), true);
    let now = bench.world.now();
    assert_eq!(bench.world.safety().most_coils_at_once(), 4);
    assert_eq!(bench.world.safety().coil_longest_us(3, now), 25_000);
    assert_eq!(bench.world.safety().coil_longest_us(4, now), 0);
    assert_eq!(bench.world.safety().coil_longest_us(17, now), 25_000);
    assert_eq!(
        bench.world.safety().longest_on_us(Output::Stroke, now),
        20_000
    );
    assert_eq!(bench.world.safety().worst_step_after_us(), None);
    bench.world.open_guard();
    bench.steps(2);
    assert_eq!(bench.world.safety().worst_step_after_us(), Some(500));
    bench.world.set_output(Output::Stroke, true);
    bench.wait(1_000);
    assert_eq!(
        bench.world.safety().worst_drive_after_us(bench.world.now()),
        Some(1_500)
    );
    bench.world.set_output(Output::Stroke, false);
    bench.world.shut_guard();
    assert!(
        bench
            .world
            .safety()
            .edges()
            .any(|edge| edge.output == Output::Stroke && !edge.high)
    );
}

#[test]
fn time_does_not_run_backwards() {
    let mut bench = Bench::new(plain(), &Faults::default());
    bench.wait(1_000);
    bench.world.advance(Micros(10));
    assert_eq!(bench.world.now(), Micros(1_000));
}

#[test]
fn a_fault_seed_can_be_given_back() {
    let run = |seed| {
        let mut faults = Faults::seeded(seed);
        faults.missing_hole.rate = 0.05;
        faults.feed_slip.rate = 0.05;
        let mut bench = Bench::new(plain(), &faults);
        bench.world.fill_magazine(1);
        bench.cut(&card_400(|_| Row::full(8)));
        bench.world.truth_mut().take_injected()
    };
    assert!(!run(5).is_empty());
    assert_eq!(run(5), run(5));
    assert_ne!(run(5), run(6));
}

#[test]
fn one_kind_of_fault_does_not_disturb_another() {
    let run = |extra: f64| {
        let mut faults = Faults::seeded(5);
        faults.missing_hole.rate = 0.05;
        faults.extra_hole = Fault::new(extra, 5);
        let mut bench = Bench::new(plain(), &faults);
        bench.world.fill_magazine(1);
        bench.cut(&card_400(|_| Row(0x3c)));
        let missing = bench.world.truth_mut().take_injected();
        missing
            .into_iter()
            .filter(|fault| fault.kind == FaultKind::MissingHole)
            .collect::<Vec<_>>()
    };
    assert_eq!(run(0.0), run(0.3));
}

#[test]
fn steps_said_to_be_unnoticed_change_no_sensor() {
    let mut bench = Bench::new(plain(), &Faults::default());
    assert!(bench.world.lay_in_card());
    let mut changes = 0;
    while bench.world.cards_in_path() > 0 {
        let before = bench.world.input(Input::Edge);
        bench.steps(bench.world.steps_unnoticed());
        assert_eq!(bench.world.input(Input::Edge), before);
        bench.steps(1);
        changes += u32::from(bench.world.input(Input::Edge) != before);
    }
    assert_eq!(changes, 2, "the card came and went");
    bench.world.set_output(Output::FeedOn, false);
    assert_eq!(bench.world.steps_unnoticed(), u64::MAX);
}
