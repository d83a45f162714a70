//! What each movement shows on the lines.

use super::decoder::{Read, read, take_up};
use super::{Trace, perform};
use cardwright_protocol::Micros;
use cardwright_virtual::loom::{Act, Direction, Loom, LoomWorld};

const ON: Act = Act::Turn(Direction::Forwards);
const BACK: Act = Act::Turn(Direction::Back);

fn quiet() -> LoomWorld {
    LoomWorld {
        bounce_us: 0,
        ..LoomWorld::default()
    }
}

/// The lines one after the other, without the moments.
fn levels(trace: &Trace) -> Vec<u8> {
    trace.iter().map(|(_, lines)| *lines).collect()
}

#[test]
fn without_bounce_each_act_shows_its_edges_and_no_other() {
    let show = |before: &[Act], act: Act| {
        let mut loom = Loom::new(quiet(), 1);
        perform(&mut loom, before, 1_000);
        levels(&perform(&mut loom, &[act], 1_000))
    };
    // The shuttle lies in the left box, bit 4, from the beginning.
    assert_eq!(show(&[], ON), [0x11, 0x13, 0x12, 0x10]);
    assert_eq!(show(&[], BACK), [0x12, 0x13, 0x11, 0x10]);
    let half = Act::TurnHalfAndBack(Direction::Forwards);
    assert_eq!(show(&[], half), [0x11, 0x13, 0x11, 0x10]);
    assert_eq!(show(&[], Act::Lift), [0x14]);
    assert_eq!(show(&[Act::Lift], Act::Lift), [0; 0], "it is up already");
    assert_eq!(show(&[Act::Lift], Act::Lower), [0x10]);
    assert_eq!(show(&[], Act::Lower), [0; 0]);
    assert_eq!(show(&[], Act::Throw), [0x00, 0x20]);
    assert_eq!(show(&[Act::Throw], Act::Throw), [0x00, 0x10]);
    assert_eq!(show(&[], Act::Beat), [0x18, 0x10]);
    assert_eq!(show(&[], Act::BeatLightly), [0x18, 0x10]);
    assert_eq!(show(&[], Act::Wait(1_000_000)), [0; 0]);
    // 20 edges a centimetre, the first after a quarter of a millimetre.
    let wound = show(&[], Act::TakeUp(2.0));
    assert_eq!(wound, [0x50, 0xD0, 0x90, 0x10]);
    let off = show(&[Act::TakeUp(2.0)], Act::LetOff(2.0));
    assert_eq!(off, [0x90, 0xD0, 0x50, 0x10]);
}

#[test]
fn no_line_changes_at_the_same_moment_as_another_and_each_stays_long_enough() {
    let mut loom = Loom::new(LoomWorld::default(), 7);
    let trace = perform(&mut loom, &everything(), 0);
    assert!(trace.windows(2).all(|two| {
        let changed: u8 = two[0].1 ^ two[1].1;
        two[0].0 < two[1].0 && changed.count_ones() == 1
    }));
    // A settling time of the longest bounce and a little more loses nothing.
    let mut quiet = Loom::new(quiet(), 7);
    let plain = perform(&mut quiet, &everything(), 0);
    assert!(trace.len() > 2 * plain.len(), "it bounces");
    assert_eq!(read(&trace, 8_001), read(&plain, 0));
}

fn everything() -> Vec<Act> {
    let pick = |direction| {
        let turn = Act::Turn(direction);
        [turn, Act::Lift, Act::Throw, Act::Beat, Act::Lower]
    };
    let mut acts = Vec::new();
    for _ in 0..40 {
        acts.extend(pick(Direction::Forwards));
        acts.extend([Act::TurnHalfAndBack(Direction::Back), Act::TakeUp(3.1)]);
        acts.extend(pick(Direction::Back));
        acts.extend([Act::BeatLightly, Act::LetOff(1.3), ON, ON, BACK]);
        acts.push(Act::TurnHalfAndBack(Direction::Forwards));
    }
    acts
}

/// What a decoder should read for these acts.
fn expected(acts: &[Act]) -> Vec<Read> {
    let mut left = true;
    let mut reads = Vec::new();
    for act in acts {
        match act {
            Act::Turn(Direction::Forwards) => reads.push(Read::Forward),
            Act::Turn(Direction::Back) => reads.push(Read::Back),
            Act::Lift => reads.push(Read::Lift),
            Act::Lower => reads.push(Read::Lower),
            Act::Beat | Act::BeatLightly => reads.push(Read::Beat),
            Act::Throw | Act::ThrowBack => {
                reads.extend(if left {
                    [Read::LeavesLeft, Read::Right]
                } else {
                    [Read::LeavesRight, Read::Left]
                });
                left = !left;
            }
            _ => {}
        }
    }
    reads
}

#[test]
fn the_decoder_finds_exactly_the_acts_with_and_without_bounce() {
    for (bounce_us, settle_us) in [(0, 0), (500, 501), (8_000, 8_001)] {
        for seed in 0..10 {
            let world = LoomWorld {
                bounce_us,
                ..LoomWorld::default()
            };
            let mut loom = Loom::new(world, seed);
            let acts = everything();
            let trace = perform(&mut loom, &acts, 0);
            let found = read(&trace, settle_us);
            assert_eq!(found, expected(&acts), "seed {seed}, {bounce_us} us");
            let unsettled = read(&trace, 0);
            assert_eq!(unsettled == found, bounce_us == 0, "the bounce is read too");
            let counts = loom.counts();
            assert_eq!((counts.forward, counts.back), (120, 80));
            assert_eq!((counts.lifts, counts.beats, counts.throws), (80, 120, 80));
            assert_eq!((counts.left, counts.right, counts.half_turns), (40, 40, 80));
            // 40 times 3.1 mm on and 1.3 mm off, 2 edges a millimetre.
            assert!((counts.wound_mm - 72.0).abs() < 1e-9);
            assert_eq!(take_up(&trace, settle_us), 144);
            assert_eq!(counts.edges_on - counts.edges_off, 144);
        }
    }
}

#[test]
fn tracks_can_be_counted_without_waiting_for_the_bounce() {
    // At most one track of a pair chatters at a time, however long the bounce.
    for picks in [200.0, 10_000.0] {
        let mut world = LoomWorld::default().for_picks_a_minute(picks);
        world.bounce_us = 8_000;
        let mut loom = Loom::new(world, 5);
        let trace = perform(&mut loom, &everything(), 0);
        let turns = |read: &Read| matches!(read, Read::Forward | Read::Back);
        let found: Vec<Read> = read(&trace, 0).into_iter().filter(turns).collect();
        let wanted: Vec<Read> = expected(&everything()).into_iter().filter(turns).collect();
        assert_eq!(found, wanted, "{picks} picks a minute");
        assert_eq!(take_up(&trace, 0), 144);
    }
}

#[test]
fn a_faster_loom_is_the_same_loom_with_shorter_times() {
    let world = LoomWorld::default().for_picks_a_minute(10_000.0);
    assert_eq!(world.turn_us, LoomWorld::default().turn_us / 50);
    assert_eq!(world.bounce_us, 160);
    let mut loom = Loom::new(world, 3);
    let acts = everything();
    assert_eq!(read(&perform(&mut loom, &acts, 0), 161), expected(&acts));
    let slow = LoomWorld::default().for_picks_a_minute(20.0);
    assert_eq!(slow, LoomWorld::default());
}

#[test]
fn the_same_seed_gives_the_same_run_and_another_does_not() {
    let run = |seed| perform(&mut Loom::new(LoomWorld::default(), seed), &everything(), 9);
    assert_eq!(run(4), run(4));
    assert_ne!(run(4), run(5));
}

#[test]
fn a_second_act_is_refused_while_one_is_under_way_and_no_act_breaks_the_loom() {
    let mut loom = Loom::new(LoomWorld::default(), 1);
    let done = loom.begin(ON, Micros(100)).expect("at rest");
    assert_eq!(loom.begin(Act::Beat, Micros(done.0 - 1)), None);
    assert!(loom.begin(Act::Beat, done).is_some());
    let odd = [
        Act::TakeUp(f64::NAN),
        Act::TakeUp(-4.0),
        Act::TakeUp(f64::INFINITY),
        Act::LetOff(1e300),
        Act::ThrowBack,
    ];
    let mut loom = Loom::new(LoomWorld::default(), 1);
    perform(&mut loom, &odd, 0);
    assert_eq!(loom.counts().wound_mm, 0.0, "a metre on and a metre off");
    assert_eq!(loom.cloth().spoilt(), 1, "there was no weft to take out");
    assert!(loom.begin(Act::Wait(u64::MAX), loom.now()).is_some());
}

#[test]
fn the_cloth_is_what_was_really_laid_in() {
    let mut loom = Loom::new(LoomWorld::default(), 1);
    let acts = [
        ON,
        Act::Lift,
        Act::Throw,
        Act::Beat,
        Act::Lower, // a pick on card 1
        Act::Throw,
        Act::BeatLightly, // a ground pick
        ON,
        Act::Lift,
        Act::Throw,
        Act::Lower,
        Act::Beat,
        Act::Beat, // card 2
        Act::Lift,
        Act::ThrowBack,
        Act::Lower,
        BACK, // and out again
        Act::Lift,
        Act::ThrowBack, // no shed of the ground pick
    ];
    perform(&mut loom, &acts, 0);
    let picks = loom.cloth().picks();
    let seen: Vec<_> = picks.iter().map(|pick| (pick.card, pick.beats)).collect();
    assert_eq!(seen, [(Some(1), 1), (None, 1)]);
    assert_eq!(loom.cloth().spoilt(), 1);
}
