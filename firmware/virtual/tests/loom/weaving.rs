//! A weaver who makes no mistake, alone and at the unit.

use super::decoder::{Read, read, take_up};
use super::{Trace, watch};
use cardwright_protocol::Micros;
use cardwright_virtual::loom::{Counts, LoomPlace, LoomWorld, Pick, Script, Step, WeaverSettings};
use cardwright_virtual::{Faults, LoomOptions, Nameplate, VirtualUnit, World, WorldSettings};

/// Both directions, two cards at once, a shed used again, ground picks. A round
/// ends on the card on which it began.
pub fn round() -> Vec<Step> {
    let carded = |turns| Step {
        turns,
        carded: true,
    };
    let mut steps: Vec<Step> = [1, 1, 1, 2, 0, 1, -1, -1, -2, -1, -1].map(carded).into();
    steps.insert(2, Step::GROUND);
    steps.insert(9, Step::GROUND);
    steps
}

pub fn place(world: LoomWorld, script: Script, settings: WeaverSettings) -> LoomPlace {
    LoomPlace::new(LoomOptions {
        world,
        seed: 11,
        weaver: Some((script, settings)),
    })
}

/// What the cloth should be after so many rounds.
pub fn cloth(rounds: usize) -> Vec<Option<i32>> {
    let mut card = 0;
    let mut picks = Vec::new();
    for step in round().repeat(rounds) {
        card += step.turns;
        picks.push(step.carded.then_some(card));
    }
    picks
}

/// What should be read off the lines for one pick.
fn reads(step: Step, left: bool, lowers_first: bool) -> Vec<Read> {
    let turn = if step.turns > 0 {
        Read::Forward
    } else {
        Read::Back
    };
    let mut reads = vec![turn; step.turns.unsigned_abs() as usize];
    reads.extend(step.carded.then_some(Read::Lift));
    reads.extend(if left {
        [Read::LeavesLeft, Read::Right]
    } else {
        [Read::LeavesRight, Read::Left]
    });
    reads.push(Read::Beat);
    if step.carded {
        reads.push(Read::Lower);
        if lowers_first {
            let last = reads.len() - 1;
            reads.swap(last - 1, last);
        }
    }
    reads
}

#[test]
fn the_script_is_woven_pick_by_pick_and_the_cloth_is_as_it_says() {
    for lowers_first in [true, false] {
        let settings = WeaverSettings {
            picks_a_minute: 200.0,
            lowers_first: Some(lowers_first),
            half_turns: 0.1,
            light_beats: 0.2,
            ..WeaverSettings::default()
        };
        let script = Script::once(round().repeat(10));
        let mut place = place(LoomWorld::default(), script, settings);
        let trace = watch(&mut place, Micros(600_000_000));
        let wanted: Vec<Read> = round()
            .repeat(10)
            .into_iter()
            .enumerate()
            .flat_map(|(number, step)| reads(step, number % 2 == 0, lowers_first))
            .collect();
        assert_eq!(read(&trace, 8_001), wanted);
        let weaver = place.weaver.as_ref().expect("there is one");
        assert!(weaver.finished() && weaver.waiting().is_none());
        let found: Vec<_> = place.loom.cloth().picks().to_vec();
        let pick = |card| Pick { card, beats: 1 };
        assert_eq!(found, cloth(10).into_iter().map(pick).collect::<Vec<_>>());
        // 130 picks at 20 a centimetre, wound on every 10; 20 edges a centimetre.
        assert_eq!(take_up(&trace, 8_001), 130);
        assert!(place.loom.counts().half_turns > 3);
    }
}

#[test]
fn habits_are_drawn_by_weaver() {
    let lowers_first = |seed| {
        let settings = WeaverSettings {
            seed,
            ..WeaverSettings::default()
        };
        let place = place(LoomWorld::default(), Script::once(round()), settings);
        place.weaver.is_some_and(|weaver| weaver.lowers_first())
    };
    let first = (0..100).filter(|seed| lowers_first(*seed)).count();
    assert!((20..=80).contains(&first), "{first} of 100");
}

/// The moments of the beats, in seconds.
fn beats(trace: &Trace) -> Vec<f64> {
    let pairs = trace.windows(2);
    pairs
        .filter(|two| two[0].1 & 0x08 == 0 && two[1].1 & 0x08 != 0)
        .map(|two| two[1].0 as f64 / 1e6)
        .collect()
}

#[test]
fn the_rhythm_is_as_fast_and_as_uneven_as_it_is_set() {
    // With the beat last in a pick, and nothing else uneven, the time from beat
    // to beat is one draw of the lognormal amount. Its mean and the deviation of
    // its logarithm are the two that were set (the lognormal's formulas: from
    // memory).
    let world = LoomWorld {
        bounce_us: 0,
        unevenness: 0.0,
        ..LoomWorld::default()
    };
    for (picks_a_minute, spread) in [(20.0, 0.3), (40.0, 0.15), (60.0, 0.05)] {
        let settings = WeaverSettings {
            picks_a_minute,
            spread,
            drift: 0.0,
            breaks: 0.0,
            lowers_first: Some(true),
            winds_on_every: 0,
            ..WeaverSettings::default()
        };
        let script = Script::once(vec![Step::NEXT_CARD; 10_000]);
        let mut place = place(world.clone(), script, settings);
        let times = beats(&watch(&mut place, Micros(100_000_000_000)));
        assert_eq!(times.len(), 10_000);
        let gaps: Vec<f64> = times.windows(2).map(|two| two[1] - two[0]).collect();
        let count = gaps.len() as f64;
        let mean = gaps.iter().sum::<f64>() / count;
        let wanted = 60.0 / picks_a_minute;
        let off = (mean / wanted - 1.0).abs();
        assert!(off < 5.0 * spread / count.sqrt(), "mean {mean} s");
        let logs: Vec<f64> = gaps.iter().map(|gap| gap.ln()).collect();
        let middle = logs.iter().sum::<f64>() / count;
        let squares = logs.iter().map(|log| (log - middle).powi(2)).sum::<f64>();
        let found = (squares / count).sqrt();
        let off = (found / spread - 1.0).abs();
        assert!(off < 5.0 / (2.0 * count).sqrt(), "spread {found}");
    }
}

#[test]
fn breaks_come_as_often_and_last_as_long_as_they_are_set() {
    let settings = WeaverSettings {
        breaks: 0.01,
        break_picks: (50.0, 60.0),
        ..WeaverSettings::default()
    };
    let script = Script::once(vec![Step::NEXT_CARD; 10_000]);
    let world = LoomWorld {
        bounce_us: 0,
        ..LoomWorld::default()
    };
    let mut place = place(world, script, settings);
    let times = beats(&watch(&mut place, Micros(100_000_000_000)));
    let long = times
        .windows(2)
        .filter(|two| two[1] - two[0] > 60.0)
        .count();
    // 100 are expected; five deviations of that count are 50.
    assert!((50..=150).contains(&long), "{long} breaks");
}

/// Where the cylinder has come to, read at every change without any settling.
#[derive(Default)]
struct Cylinder {
    code: i64,
    quarters: i64,
}

impl Cylinder {
    fn see(&mut self, lines: u8) {
        let code = [0, 1, 3, 2][usize::from(lines & 3)];
        self.quarters += match (code - self.code).rem_euclid(4) {
            0 => 0,
            1 => 1,
            3 => -1,
            _ => panic!("both tracks went over at once"),
        };
        self.code = code;
    }
}

#[test]
fn a_million_picks_keep_the_sums() {
    let picks: u64 = 1_000_000;
    let world = LoomWorld {
        keep_cloth: false,
        ..LoomWorld::default()
    };
    let settings = WeaverSettings {
        picks_a_minute: 10_000.0,
        ..WeaverSettings::default()
    };
    let round = round();
    let length = round.len() as u64;
    let script = Script::by(move |number| {
        let step = round.get(usize::try_from(number % length).ok()?);
        step.filter(|_| number < picks).copied()
    });
    let mut place = place(world.for_picks_a_minute(10_000.0), script.clone(), settings);
    let mut cylinder = Cylinder::default();
    let mut changes = 0_u64;
    while place.next_change() < Micros::NEVER {
        place.advance(place.next_change());
        cylinder.see(place.loom.lines());
        changes += 1;
    }
    let steps = || (0..picks).filter_map(|number| script.step(number));
    let sum = |sign: i32| -> u64 {
        let turns = steps().map(|step| (step.turns * sign).max(0) as u64);
        turns.sum()
    };
    let counts = place.loom.counts();
    assert_eq!((counts.forward, counts.back), (sum(1), sum(-1)));
    assert_eq!(cylinder.quarters, 4 * place.loom.card());
    assert_eq!(
        counts.lifts,
        steps().filter(|step| step.carded).count() as u64
    );
    assert_eq!((counts.beats, counts.throws), (picks, picks));
    assert_eq!((counts.left, counts.right), (picks / 2, picks / 2));
    assert_eq!(place.loom.cloth().count(), picks);
    assert!(
        place.loom.cloth().picks().len() < 1_000,
        "only the last are kept"
    );
    assert!((counts.wound_mm - 500_000.0).abs() < 1e-3);
    assert!(changes > 20 * picks, "it bounces: {changes} changes");
}

#[test]
fn the_same_seeds_give_the_same_run() {
    let run = |seed| {
        let settings = WeaverSettings {
            seed,
            ..WeaverSettings::default()
        };
        let script = Script::over_and_over(round());
        watch(
            &mut place(LoomWorld::default(), script, settings),
            Micros(60_000_000),
        )
    };
    assert_eq!(run(1), run(1));
    assert_ne!(run(1), run(2));
}

#[test]
fn the_unit_is_polled_at_every_change_of_a_line() {
    let options = LoomOptions {
        world: LoomWorld::default(),
        seed: 11,
        weaver: Some((Script::once(round()), WeaverSettings::default())),
    };
    let mut alone = LoomPlace::new(options.clone());
    let wanted = watch(&mut alone, Micros(60_000_000));
    let mut world = World::new(WorldSettings::default(), &Faults::default());
    assert_eq!(world.loom_lines(), 0, "there is no loom");
    world.put_loom(options);
    let mut unit = VirtualUnit::new(world, Nameplate::default());
    let mut seen = Trace::new();
    let mut lines = unit.world().loom_lines();
    while unit.next() <= Micros(60_000_000) {
        unit.poll(unit.next());
        let now = unit.world().loom_lines();
        if now != lines {
            lines = now;
            seen.push((unit.now().0, lines));
        }
    }
    assert_eq!(seen, wanted);
    let done = unit.world().loom().map(|loom| loom.counts());
    assert_eq!(done, Some(alone.loom.counts()));
    assert_ne!(done, Some(Counts::default()));
}
