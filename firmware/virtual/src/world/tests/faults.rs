//! Every injector at rate 0, where nothing is hit, and at rate 1, where
//! everything is.

use super::*;

/// A few full strokes on one card with only this fault, at this rate.
fn run(kind: FaultKind, rate: f64) -> World {
    let mut faults = Faults::seeded(11);
    for (each, fault) in faults.each_mut() {
        if each == kind {
            fault.rate = rate;
        }
    }
    let mut bench = Bench::new(plain(), &faults);
    bench.world.fill_magazine(4);
    bench.world.set_output(Output::Pick, true);
    bench.wait(200_000);
    bench.world.set_output(Output::Pick, false);
    bench.feed_mm(100.0);
    for _ in 0..10 {
        bench.stroke(Row::from_holes([1, 2, 3, 4]), true);
        bench.feed_mm(13.0);
    }
    // Long enough for a jam anywhere on the way to be met.
    bench.feed_mm(600.0);
    bench.wait(100_000);
    bench.world
}

#[test]
fn at_nought_nothing_is_hit() {
    let mut kinds = Faults::default();
    for (kind, _) in kinds.each_mut() {
        let world = run(kind, 0.0);
        assert_eq!(world.truth().injected, [], "{kind:?}");
        assert_eq!(world.truth().cards.len(), 1, "{kind:?}");
        assert_eq!(world.truth().cards[0].card.holes.len(), 50, "{kind:?}");
        assert!(world.guard_shut() && world.stop_out() && !world.block_stuck());
    }
}

#[test]
fn at_one_every_locked_punch_fails() {
    let world = run(FaultKind::MissingHole, 1.0);
    assert_eq!(world.truth().count(FaultKind::MissingHole), 50);
    assert_eq!(world.truth().cards[0].card.holes, []);
    assert!(
        world
            .truth()
            .strokes
            .iter()
            .all(|stroke| stroke.made == 0 && stroke.locked == 0xf)
    );
}

#[test]
fn at_one_every_hole_has_its_chad() {
    let world = run(FaultKind::HangingChad, 1.0);
    assert_eq!(world.truth().count(FaultKind::HangingChad), 50);
    assert!(
        world.truth().cards[0]
            .card
            .holes
            .iter()
            .all(|hole| hole.open() < 0.81)
    );
}

#[test]
fn at_one_every_other_punch_comes_along() {
    let world = run(FaultKind::ExtraHole, 1.0);
    assert_eq!(world.truth().count(FaultKind::ExtraHole), 40);
    assert!(
        world
            .truth()
            .strokes
            .iter()
            .all(|stroke| stroke.made == 0xff)
    );
}

#[test]
fn at_one_the_feed_slips_after_every_stroke() {
    let world = run(FaultKind::FeedSlip, 1.0);
    assert_eq!(world.truth().count(FaultKind::FeedSlip), 10);
    let strokes = &world.truth().strokes;
    for (pair, slip) in strokes.windows(2).zip(&world.truth().injected) {
        assert!((0.3..7.0).contains(&slip.amount));
        let moved = pair[1].along_mm - pair[0].along_mm;
        assert!(
            (moved + slip.amount - 13.0).abs() < 0.06,
            "{moved} {}",
            slip.amount
        );
    }
}

#[test]
fn at_one_every_card_has_another_under_it() {
    let world = run(FaultKind::DoubledFeed, 1.0);
    assert_eq!(world.truth().count(FaultKind::DoubledFeed), 1);
    let [one, two] = &world.truth().cards[..] else {
        panic!("two cards leave")
    };
    assert_eq!(one.doubled_with, Some(two.card.serial));
    assert_eq!(two.doubled_with, Some(one.card.serial));
    let stagger = world.truth().injected[0].amount;
    assert!(two.card.holes.len() > 30);
    for b in &two.card.holes {
        let same = one
            .card
            .holes
            .iter()
            .find(|a| (a.stroke, a.y_mm, a.r_mm) == (b.stroke, b.y_mm, b.r_mm));
        let a = same.expect("what is cut in the lower card is cut in the upper");
        assert!(
            (a.x_mm - b.x_mm - stagger).abs() < 1e-6,
            "{} {} {stagger}",
            a.x_mm,
            b.x_mm
        );
    }
}

#[test]
fn two_cards_pass_hardly_any_light() {
    let mut faults = Faults::seeded(3);
    faults.doubled_feed.rate = 1.0;
    let mut bench = Bench::new(plain(), &faults);
    bench.world.fill_magazine(2);
    bench.world.set_output(Output::Lamp, true);
    bench.bring_in();
    bench.feed_mm(200.0);
    // 0.06 squared of 214, and 6 of dark and stray.
    assert_eq!(bench.scan()[0], (6.0f64 + 0.0036 * 214.0).round() as u8);
}

#[test]
fn at_one_every_card_jams_until_it_is_taken_out() {
    let mut world = run(FaultKind::Jam, 1.0);
    assert_eq!(world.truth().count(FaultKind::Jam), 1);
    assert!(world.jammed() && world.truth().cards.is_empty());
    assert_eq!(world.take_out_cards(), 1);
    assert!(!world.jammed());
}

#[test]
fn at_one_the_block_sticks_until_it_is_freed() {
    let mut world = run(FaultKind::StuckStroke, 1.0);
    assert!(world.block_stuck());
    assert_eq!(
        world.truth().strokes_begun,
        1,
        "it never came back to begin another"
    );
    assert!(!world.input(Input::BlockUp));
    world.free_block();
    assert!(world.input(Input::BlockUp) && !world.block_stuck());
    assert_eq!(world.truth().strokes[0].end, StrokeEnd::Stuck);
    world.set_output(Output::Stroke, true);
    world.advance(world.now().plus(30_000));
    assert_eq!(world.truth().count(FaultKind::StuckStroke), 2);
}

#[test]
fn at_one_the_lamp_drifts_under_every_card_and_dust_falls_on_every_card() {
    let light = |kind, rate| {
        let mut faults = Faults::seeded(11);
        for (each, fault) in faults.each_mut() {
            if each == kind {
                fault.rate = rate;
            }
        }
        let mut bench = Bench::new(plain(), &faults);
        bench.world.fill_magazine(1);
        bench.world.set_output(Output::Lamp, true);
        bench.bring_in();
        bench.feed_mm(460.0);
        let levels = bench.scan();
        (
            levels[..8]
                .iter()
                .map(|level| u32::from(*level))
                .sum::<u32>(),
            bench.world.truth_mut().take_injected(),
        )
    };
    for kind in [FaultKind::LampDrift, FaultKind::Dust] {
        let (plain, none) = light(kind, 0.0);
        let (less, one) = light(kind, 1.0);
        assert!(none.is_empty() && one.len() == 1, "{kind:?}");
        assert!(less < plain, "{kind:?}: {less} {plain}");
    }
}

#[test]
fn at_one_every_stroke_has_its_event() {
    let mut world = run(FaultKind::GuardOpened, 1.0);
    assert_eq!(world.truth().count(FaultKind::GuardOpened), 10);
    assert!(!world.input(Input::Guard));
    world.shut_guard();
    assert!(world.input(Input::Guard));
    world = run(FaultKind::StopPressed, 1.0);
    assert_eq!(world.truth().count(FaultKind::StopPressed), 10);
    assert!(!world.input(Input::Stop));
    for (kind, signal) in [
        (FaultKind::UnitRestarted, Signal::Restart),
        (FaultKind::CablePulled, Signal::CablePulled),
    ] {
        world = run(kind, 1.0);
        let mut signals = 0;
        while let Some(each) = world.take_signal() {
            assert_eq!(each, signal);
            signals += 1;
        }
        assert_eq!(signals, 10);
    }
}

#[test]
fn events_can_be_counted_by_the_second() {
    let mut faults = Faults::seeded(1);
    faults.events_per = crate::faults::Per::Second;
    faults.cable_pulled.rate = 1.0;
    let mut world = World::new(plain(), &faults);
    world.advance(Micros(10_999_999));
    assert_eq!(
        world.truth().count(FaultKind::CablePulled),
        10,
        "one in each second but the first"
    );
}
