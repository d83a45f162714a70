//! Each mistake: that it happens and what it leaves behind, and that a weaver who
//! is told the remedy weaves the cloth that was wanted.

use super::decoder::{Read, read};
use super::watch;
use super::weaving::{cloth, place, round};
use cardwright_protocol::Micros;
use cardwright_virtual::chance::Fault;
use cardwright_virtual::loom::{
    Act, Direction, LoomPlace, LoomWorld, Mistake, MistakeKind, Mistakes, Script, WeaverSettings,
};

const KINDS: [MistakeKind; 9] = [
    MistakeKind::TurnsTwice,
    MistakeKind::TurnsWrongWay,
    MistakeKind::ForgetsToTurnBack,
    MistakeKind::ForgetsToTurn,
    MistakeKind::ForgetsWeft,
    MistakeKind::SkipsBeat,
    MistakeKind::BeatsTwice,
    MistakeKind::Unweaves,
    MistakeKind::TurnsBackAndOnAgain,
];

const LONG: Micros = Micros(1_000_000_000_000);

fn weaver(mistakes: Mistakes, weaves_on: u32, rounds: usize) -> LoomPlace {
    let settings = WeaverSettings {
        lowers_first: Some(false),
        unweaves_most: 1,
        weaves_on,
        mistakes,
        ..WeaverSettings::default()
    };
    let script = Script::once(round().repeat(rounds));
    place(LoomWorld::default(), script, settings)
}

fn waiting(place: &LoomPlace) -> Option<Mistake> {
    place.weaver.as_ref().and_then(|weaver| weaver.waiting())
}

/// At rate 1: the mistake, how far the chain stands from where it should, how
/// many picks too many there are, and what was read off the lines since the pick
/// that it happened at began.
fn first(kind: MistakeKind, weaves_on: u32) -> (Mistake, i64, i64, Vec<Read>) {
    let mut place = weaver(Mistakes::only(kind, Fault::new(1.0, 5)), weaves_on, 3);
    let trace = watch(&mut place, LONG);
    let mistake = waiting(&place).expect("at rate 1 it happens");
    assert_eq!(mistake.kind, kind);
    assert_eq!(mistake.stands.card, place.loom.card());
    assert_eq!(mistake.stands.picks, place.loom.cloth().count());
    let off = mistake.stands.card - mistake.should.card;
    let picks = mistake.stands.picks as i64 - mistake.should.picks as i64;
    (mistake, off, picks, read(&trace, 8_001))
}

#[test]
fn each_mistake_at_rate_one_happens_at_once_and_leaves_what_it_leaves() {
    use Read::{Back, Beat, Forward, LeavesLeft, LeavesRight, Left, Lift, Lower, Right};
    let pick = [Forward, Lift, LeavesLeft, Right, Beat, Lower];
    let and = |more: &[Read]| [&pick[..], more].concat();
    let thrown_back = and(&[Lift, LeavesRight, Left, Lower, Back]);
    // The step; the next; cards the chain is off; picks too many; what is read.
    let cases = [
        (MistakeKind::TurnsTwice, 0, 0, 2, 0, vec![Forward, Forward]),
        (MistakeKind::TurnsWrongWay, 0, 0, -1, 0, vec![Back]),
        (MistakeKind::ForgetsToTurn, 0, 1, -1, 0, pick[1..].to_vec()),
        (
            MistakeKind::ForgetsWeft,
            0,
            1,
            0,
            -1,
            vec![Forward, Lift, Beat, Lower],
        ),
        (
            MistakeKind::SkipsBeat,
            0,
            1,
            1,
            0,
            vec![Forward, Lift, LeavesLeft, Right, Lower, Forward],
        ),
        (MistakeKind::BeatsTwice, 0, 1, 0, 0, and(&[Beat])),
        (MistakeKind::Unweaves, 0, 0, 0, 0, thrown_back),
        (
            MistakeKind::TurnsBackAndOnAgain,
            0,
            1,
            0,
            0,
            and(&[Back, Forward]),
        ),
    ];
    for (kind, step, next, off, picks, wanted) in cases {
        let (mistake, found_off, found_picks, found) = first(kind, 0);
        assert_eq!((mistake.step, mistake.next), (step, next), "{kind:?}");
        assert_eq!((found_off, found_picks), (off, picks), "{kind:?}");
        assert_eq!(found, wanted, "{kind:?}");
    }
    // The script first turns back at step 7.
    let (mistake, off, picks, found) = first(MistakeKind::ForgetsToTurnBack, 0);
    assert_eq!((mistake.step, mistake.next, off, picks), (7, 7, 1, 0));
    assert_eq!(found.last(), Some(&Forward));
    assert!(!found.contains(&Back));
}

#[test]
fn who_does_not_look_up_at_once_weaves_on_out_of_place() {
    let cases = [
        (MistakeKind::TurnsTwice, 3, 1, 0),
        (MistakeKind::TurnsWrongWay, 3, -2, 0),
        (MistakeKind::ForgetsToTurnBack, 10, 2, 0),
        (MistakeKind::ForgetsToTurn, 4, -1, 0),
        (MistakeKind::ForgetsWeft, 4, 0, -1),
        (MistakeKind::SkipsBeat, 4, 0, 0),
        (MistakeKind::BeatsTwice, 4, 0, 0),
    ];
    for (kind, next, off, picks) in cases {
        let (mistake, found_off, found_picks, _) = first(kind, 3);
        assert_eq!(mistake.next, next, "{kind:?}");
        assert_eq!((found_off, found_picks), (off, picks), "{kind:?}");
    }
}

#[test]
fn no_mistake_at_rate_nought() {
    for kind in KINDS {
        let mut place = weaver(Mistakes::only(kind, Fault::new(0.0, 5)), 0, 100);
        watch(&mut place, LONG);
        let weaver = place.weaver.as_ref().expect("there is one");
        assert!(weaver.finished() && weaver.mistakes() == 0, "{kind:?}");
    }
}

#[test]
fn a_mistake_is_as_frequent_as_its_rate_says_whatever_the_others_do() {
    // 5,200 picks; beating twice is possible at each. What comes back is always
    // the weaver's own next step, so that the trials are these picks alone.
    let count = |mistakes: Mistakes| {
        let mut place = weaver(mistakes, 0, 400);
        let mut steps = Vec::new();
        loop {
            watch(&mut place, LONG);
            let Some(mistake) = waiting(&place) else {
                return steps;
            };
            if mistake.kind == MistakeKind::BeatsTwice {
                steps.push(mistake.step);
            }
            let weaver = place.weaver.as_mut().expect("there is one");
            assert!(weaver.go_on(mistake.next));
        }
    };
    let alone = Mistakes::only(MistakeKind::BeatsTwice, Fault::new(0.05, 9));
    let with = alone
        .clone()
        .with(MistakeKind::TurnsBackAndOnAgain, Fault::new(0.05, 9));
    let steps = count(alone);
    let spread = (5_200.0 * 0.05 * 0.95_f64).sqrt();
    assert!((steps.len() as f64 - 260.0).abs() < 5.0 * spread);
    assert_eq!(steps, count(with));
}

/// Turns that bring the chain from one card to another.
fn turns(from: i64, to: i64) -> Vec<Act> {
    let direction = if to > from {
        Direction::Forwards
    } else {
        Direction::Back
    };
    vec![Act::Turn(direction); from.abs_diff(to) as usize]
}

/// What a weaver is told after a mistake that was seen at once: the acts, and
/// with which step to go on.
fn remedy(mistake: &Mistake) -> (Vec<Act>, u64) {
    let script = round();
    let cards = i64::from(script[mistake.step as usize % script.len()].turns);
    let (stands, should) = (mistake.stands.card, mistake.should.card);
    match mistake.kind {
        MistakeKind::ForgetsToTurn => (vec![Act::Lift, Act::ThrowBack, Act::Lower], mistake.step),
        MistakeKind::ForgetsWeft => (turns(should, should - cards), mistake.step),
        MistakeKind::SkipsBeat => {
            let mut acts = turns(stands, should);
            acts.push(Act::Beat);
            (acts, mistake.next)
        }
        _ => (turns(stands, should), mistake.next),
    }
}

#[test]
fn a_weaver_who_is_told_the_remedies_weaves_the_cloth_that_was_wanted() {
    let mut kinds = std::collections::BTreeSet::new();
    for seed in 0..5 {
        let settings = WeaverSettings {
            mistakes: Mistakes::all_at(0.03, seed),
            seed,
            ..WeaverSettings::default()
        };
        let script = Script::once(round().repeat(100));
        let mut place = place(LoomWorld::default(), script, settings);
        loop {
            watch(&mut place, LONG);
            let Some(mistake) = waiting(&place) else {
                break;
            };
            kinds.insert(mistake.kind);
            let (acts, from) = remedy(&mistake);
            let weaver = place.weaver.as_mut().expect("there is one");
            assert!(weaver.remedy(acts) && weaver.go_on(from), "seed {seed}");
        }
        let weaver = place.weaver.as_ref().expect("there is one");
        assert!(weaver.finished() && weaver.mistakes() > 50, "seed {seed}");
        let picks = place.loom.cloth().picks();
        let found: Vec<_> = picks.iter().map(|pick| pick.card).collect();
        assert_eq!(found, cloth(100), "seed {seed}");
        assert!(picks.iter().all(|pick| pick.beats > 0), "seed {seed}");
        assert_eq!(place.loom.cloth().spoilt(), 0, "seed {seed}");
        // Cloth is wound on by ten picks, so it lags by at most so much.
        let behind = 650.0 - place.loom.counts().wound_mm;
        assert!((0.0..=5.0).contains(&behind), "seed {seed}: {behind} mm");
    }
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), KINDS);
}

#[test]
fn a_weaver_at_work_is_told_nothing() {
    let mut place = weaver(Mistakes::default(), 0, 3);
    watch(&mut place, Micros(3_000_000));
    let weaver = place.weaver.as_mut().expect("there is one");
    let step = weaver.step();
    assert!(!weaver.remedy(vec![Act::Beat]) && !weaver.go_on(0));
    assert!(!weaver.go_on(u64::MAX));
    assert_eq!(weaver.step(), step);
    watch(&mut place, LONG);
    let picks = place.loom.cloth().picks();
    let found: Vec<_> = picks.iter().map(|pick| pick.card).collect();
    assert_eq!(found, cloth(3));
    // Who has finished can be sent back.
    let weaver = place.weaver.as_mut().expect("there is one");
    assert!(weaver.finished() && weaver.go_on(26));
    watch(&mut place, LONG);
    assert_eq!(place.loom.cloth().count(), 52);
}
