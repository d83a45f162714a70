//! A loom with few sensors: what is wrong must be told from what there is to see.

#[path = "weave_watch/beside.rs"]
mod beside;

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::weave::watch::{
    Choice, Decision, FaultKind, Fitted, NotDecided, Place, Remedy, Seen, Stand, Told, Watch,
};
use cardwright::weave::{DeckIndex, Direction, Plan, Walk, words};
use cardwright_protocol::CardNumber;
use cardwright_protocol::loom::{Happening, LoomLine};
use std::sync::Arc;

/// A watch along a plain chain, which is laid.
fn watch(lines: &[LoomLine]) -> Watch {
    let text = "name = \"p\"\n[decks]\nd = \"d.deck\"\n[[section]]\nname = \"s\"\ndeck = \"d\"\n";
    let mut watch = along(text, lines);
    watch
        .decide(&Decision::ChainReady, 0, &mut Vec::new())
        .expect("it is laid");
    watch
}

/// A watch along a plan of a deck of 30 cards, with no chain laid.
fn along(text: &str, lines: &[LoomLine]) -> Watch {
    let dir = tempfile::tempdir().expect("a directory");
    let format = CardFormat::named("400").expect("a built-in format");
    let cards = vec![vec![Row(0b1001); usize::from(format.rows())]; 30];
    let deck = Deck::new("d", format, None, Cutting::default(), cards).expect("a deck");
    deck.write(&dir.path().join("d.deck"), true)
        .expect("the disk");
    let file = dir.path().join("plan.toml");
    std::fs::write(&file, text).expect("the disk");
    let walk = Walk::new(Arc::new(Plan::read(&file).expect("a plan")));
    let fitted = Fitted(lines.iter().fold(0, |set, line| set | line.bit()));
    Watch::new(walk, fitted, Place::default())
}

fn faults(watch: &mut Watch, seen: &[(i64, Happening)]) -> Vec<FaultKind> {
    let mut told = Vec::new();
    for (number, (at, what)) in (0..).zip(seen) {
        let (at, what) = (*at, *what);
        watch.see(Seen { number, at, what }, &mut told);
    }
    let faults = told.into_iter().filter_map(|told| match told {
        Told::Fault(fault) => Some(fault.kind),
        _ => None,
    });
    faults.collect()
}

/// Ten picks, one every two seconds, then two turns this long apart.
fn two_turns_after_ten_picks(apart_ms: i64) -> Vec<FaultKind> {
    let lines = [LoomLine::CylinderA, LoomLine::CylinderB, LoomLine::Batten];
    let mut seen: Vec<(i64, Happening)> = (1..=10)
        .flat_map(|pick| {
            let at = pick * 2_000;
            [(at, Happening::CardForward), (at + 900, Happening::Beat)]
        })
        .collect();
    seen.extend([22_000, 22_000 + apart_ms].map(|at| (at, Happening::CardForward)));
    faults(&mut watch(&lines), &seen)
}

/// With no sensor at griffe or boxes the time alone tells a card passed over from one
/// that was lifted and not beaten.
#[test]
fn without_griffe_and_boxes_the_rhythm_tells_two_mistakes_apart() {
    let quick = two_turns_after_ten_picks(200);
    assert!(
        matches!(quick[..], [FaultKind::TurnedTwice { .. }]),
        "{quick:?}"
    );
    let slow = two_turns_after_ten_picks(1_900);
    assert!(
        matches!(slow[..], [FaultKind::CardWithoutBeat { .. }]),
        "{slow:?}"
    );
}

/// Picks woven on a chain, each with its card and its beat.
fn weave(watch: &mut Watch, picks: i64) {
    let seen: Vec<(i64, Happening)> = (1..=picks)
        .flat_map(|pick| {
            let at = pick * 2_000;
            [(at, Happening::CardForward), (at + 900, Happening::Beat)]
        })
        .collect();
    assert_eq!(faults(watch, &seen), []);
}

const ALL: [LoomLine; 6] = [
    LoomLine::CylinderA,
    LoomLine::CylinderB,
    LoomLine::Batten,
    LoomLine::Griffe,
    LoomLine::BoxLeft,
    LoomLine::BoxRight,
];

const CYLINDER_AND_BATTEN: [LoomLine; 3] =
    [LoomLine::CylinderA, LoomLine::CylinderB, LoomLine::Batten];

/// The place in the plan says nothing of what can be taken out: with one pick woven
/// and the twelfth of the plan next, ten picks out made a cloth of -9.
#[test]
fn no_more_can_be_taken_out_than_lies_in_the_cloth() {
    let mut watch = watch(&CYLINDER_AND_BATTEN);
    weave(&mut watch, 1);
    let mut says = |decision| {
        let mut told = Vec::new();
        let before = watch.place().clone();
        let decided = watch.decide(&decision, 0, &mut told);
        assert!(decided.is_ok() || (watch.place() == &before && told.is_empty()));
        (decided, watch.place().next, watch.place().in_cloth)
    };
    assert_eq!(says(Decision::NextIs { pick: 11 }), (Ok(()), 11, 1));
    let (refused, ..) = says(Decision::Unwove { picks: 10 });
    let there = 1;
    assert_eq!(refused, Err(NotDecided::TooMany { picks: 10, there }));
    assert_eq!(
        refused.expect_err("it is refused").to_string(),
        "10 picks cannot have been taken out: 1 pick lies in the cloth; give 1"
    );
    let (refused, ..) = says(Decision::Unwove { picks: 0 });
    assert_eq!(refused, Err(NotDecided::NoPicks));
    assert_eq!(says(Decision::Unwove { picks: 1 }), (Ok(()), 10, 0));
    let (refused, ..) = says(Decision::Unwove { picks: 1 });
    assert_eq!(
        refused.expect_err("nothing is left").to_string(),
        "1 pick cannot have been taken out: no pick lies in the cloth"
    );
}

/// `0 picks` closed open faults and forgot what was seen since the last beat.
#[test]
fn nothing_taken_out_changes_nothing() {
    let mut watch = watch(&CYLINDER_AND_BATTEN);
    weave(&mut watch, 3);
    let open = faults(&mut watch, &[(9_000, Happening::Beat)]);
    assert!(matches!(open[..], [FaultKind::BeatWithoutCard]), "{open:?}");
    let before = watch.place().clone();
    let mut told = Vec::new();
    let refused = watch.decide(&Decision::Unwove { picks: 0 }, 9_500, &mut told);
    assert_eq!(refused, Err(NotDecided::NoPicks));
    assert_eq!((watch.place(), told), (&before, Vec::new()));
}

/// A place far on in the plan may be left for one near its beginning; the cloth is
/// as long as before, and what is taken out of it ends at the plan's first pick.
#[test]
fn what_is_taken_out_ends_at_the_plans_first_pick() {
    let mut watch = watch(&CYLINDER_AND_BATTEN);
    weave(&mut watch, 9);
    for decision in [Decision::NextIs { pick: 2 }, Decision::Unwove { picks: 5 }] {
        watch
            .decide(&decision, 0, &mut Vec::new())
            .expect("it can be");
    }
    assert_eq!((watch.place().next, watch.place().in_cloth), (0, 4));
}

/// What is taken out comes from the end of the cloth, whatever the plan has there: a pick
/// that was left out lies in no cloth, and one more of a pick is none of the plan's.
#[test]
fn what_is_taken_out_is_what_lies_in_the_cloth() {
    let turn = |at| (at, Happening::CardForward);
    let beat = |at| (at, Happening::Beat);
    let with_weft = |at, what| [(at, Happening::Lift), (at + 100, what), beat(at + 200)];
    let (left, right) = (Happening::ShuttleLeft, Happening::ShuttleRight);
    let three = || {
        let mut watch = watch(&ALL);
        for (pick, shuttle) in (1..).zip([left, right, left]) {
            let seen: Vec<_> = std::iter::once(turn(pick * 1_000))
                .chain(with_weft(pick * 1_000 + 300, shuttle))
                .collect();
            assert_eq!(faults(&mut watch, &seen), []);
        }
        watch
    };
    let decide = |watch: &mut Watch, decision| {
        let mut told = Vec::new();
        watch.decide(&decision, 0, &mut told).expect("it can be");
    };
    let choose = |watch: &mut Watch, choice| {
        let fault = watch.place().open[0].id;
        decide(watch, Decision::Fault { fault, choice });
    };
    // the fourth left out, then the fifth and sixth
    let mut watch = three();
    faults(&mut watch, &[turn(4_000), turn(4_100)]);
    choose(&mut watch, Choice::LeaveOut);
    faults(&mut watch, &with_weft(4_300, right));
    faults(&mut watch, &[turn(5_000)]);
    faults(&mut watch, &with_weft(5_300, left));
    assert_eq!((watch.place().next, watch.place().in_cloth), (6, 5));
    decide(&mut watch, Decision::Unwove { picks: 3 });
    assert_eq!((watch.place().next, watch.place().in_cloth), (2, 2));
    // one more weft in the third's shed, then the fourth
    let mut watch = three();
    faults(&mut watch, &[(3_900, right), beat(4_000)]);
    choose(&mut watch, Choice::GoOnFromHere);
    faults(&mut watch, &[turn(5_000)]);
    faults(&mut watch, &with_weft(5_300, left));
    assert_eq!((watch.place().next, watch.place().in_cloth), (4, 5));
    assert_eq!(watch.place().beyond_plan(), 1);
    decide(&mut watch, Decision::Unwove { picks: 2 });
    assert_eq!(watch.place().beyond_plan(), 0);
    assert_eq!((watch.place().next, watch.place().in_cloth), (3, 3));
    decide(&mut watch, Decision::Unwove { picks: 1 });
    assert_eq!((watch.place().next, watch.place().in_cloth), (2, 2));
}

/// What the screen says was done, with nothing decided: no fault is left, and a choice
/// would say where the plan goes on.
#[test]
fn a_pick_with_the_wrong_card_is_righted_at_the_loom() {
    let lines = [
        LoomLine::CylinderA,
        LoomLine::CylinderB,
        LoomLine::Batten,
        LoomLine::Griffe,
    ];
    let mut watch = watch(&lines);
    let turn = |at| (at, Happening::CardForward);
    let pick = |at| [(at, Happening::Lift), (at + 200, Happening::Beat)];
    for at in [1_000, 2_000, 3_000] {
        assert_eq!(faults(&mut watch, &[turn(at)]), []);
        assert_eq!(faults(&mut watch, &pick(at + 300)), []);
    }
    faults(&mut watch, &[turn(4_000), turn(4_100)]);
    faults(&mut watch, &pick(4_300));
    // the plan would go on after the fifth card
    assert_eq!((watch.place().open.len(), watch.goes_on()), (2, Some(5)));
    let mut told = Vec::new();
    let unwove = watch.decide(&Decision::Unwove { picks: 1 }, 5_000, &mut told);
    assert_eq!(unwove, Ok(()));
    faults(&mut watch, &[(6_000, Happening::CardBack)]);
    assert_eq!((&watch.place().open[..], watch.place().next), (&[][..], 3));
    assert_eq!(faults(&mut watch, &pick(6_300)), []);
    assert_eq!((watch.place().next, watch.place().in_cloth), (4, 4));
}

/// With the cylinder alone a turn by the plan is a pick, and one back is none: it is told
/// as what it is, and turned on again all is right.
#[test]
fn with_the_cylinder_alone_a_turn_against_the_plan_weaves_nothing() {
    let mut watch = watch(&[LoomLine::CylinderA, LoomLine::CylinderB]);
    let on = |at| (at, Happening::CardForward);
    assert_eq!(faults(&mut watch, &[on(1_000), on(2_000), on(3_000)]), []);
    assert_eq!((watch.place().next, watch.place().in_cloth), (3, 3));
    let back = faults(&mut watch, &[(4_000, Happening::CardBack)]);
    assert!(
        matches!(back[..], [FaultKind::TurnedWrongWay { .. }]),
        "{back:?}"
    );
    assert_eq!((watch.place().next, watch.place().stray), (3, 0));
}

/// A section of these cards.
fn section(name: &str, deck: &str, cards: &str) -> String {
    format!("[[section]]\nname = \"{name}\"\ndeck = \"{deck}\"\ncards = \"{cards}\"\n")
}

/// A chain is laid a turn before its card, on the side the plan comes from: where a
/// first section runs backwards, forwards turns brought the card two on.
#[test]
fn a_chain_is_laid_for_the_turn_that_the_plan_takes() {
    let head = "name = \"p\"\n[decks]\nd = \"d.deck\"\n";
    for (cards, way, laid, woven) in [
        ("20-10", Direction::Back, 21, vec![20, 19, 18]),
        ("30-10", Direction::Back, 1, vec![30, 29, 28]),
        ("20-25", Direction::Forward, 19, vec![20, 21, 22]),
        ("1-5", Direction::Forward, 30, vec![1, 2, 3]),
        ("7", Direction::Forward, 6, vec![7]),
    ] {
        let plan = format!("{head}{}", section("s", "d", cards));
        let mut watch = along(&plan, &CYLINDER_AND_BATTEN);
        assert_eq!(watch.next_turn(), Some(way), "{cards}");
        watch
            .decide(&Decision::ChainReady, 0, &mut Vec::new())
            .expect("it is laid");
        let stands = |watch: &Watch| watch.place().stands.map(|stands| stands.card.0);
        assert_eq!(stands(&watch), Some(laid), "{cards}");
        let turn = match way {
            Direction::Forward => Happening::CardForward,
            Direction::Back => Happening::CardBack,
        };
        for (pick, card) in (1..).zip(woven) {
            let at = pick * 2_000;
            let seen = [(at, turn), (at + 900, Happening::Beat)];
            assert_eq!(faults(&mut watch, &seen), [], "{cards}, card {card}");
            assert_eq!(stands(&watch), Some(card), "{cards}");
            assert_eq!(watch.place().in_cloth, pick, "{cards}");
        }
    }
}

/// A beat without a weft on a ground pick, before any chain is laid, sent the weaver
/// to look for a card.
#[test]
fn a_weft_that_is_missing_on_ground_is_thrown_again() {
    let plan = format!(
        "name = \"p\"\n[decks]\nd = \"d.deck\"\n[[section]]\nname = \"hem\"\nground = 2\n{}",
        section("s", "d", "1-4")
    );
    let lines = [
        LoomLine::CylinderA,
        LoomLine::CylinderB,
        LoomLine::Batten,
        LoomLine::BoxLeft,
        LoomLine::BoxRight,
    ];
    let mut watch = along(&plan, &lines);
    let seen = [(900, Happening::Beat)];
    assert_eq!(faults(&mut watch, &seen), [FaultKind::NoWeft]);
    let remedy = watch.remedy(&watch.place().open[0]);
    assert_eq!(remedy, Remedy::Throw);
    assert_eq!(
        words::remedy(
            watch.walk().plan(),
            remedy,
            watch.card_of(&watch.place().open[0], remedy)
        ),
        "throw the shuttle through the ground shed and beat again"
    );
    let again = [(2_000, Happening::ShuttleLeft), (2_900, Happening::Beat)];
    assert_eq!(faults(&mut watch, &again), []);
    assert_eq!((watch.place().next, watch.place().open.len()), (1, 0));
}

#[test]
fn a_card_that_is_not_there_is_refused_in_words_of_what_is_there() {
    let refused = |plan: &str, card: u32| {
        let mut watch = along(plan, &CYLINDER_AND_BATTEN);
        let card = Stand {
            deck: DeckIndex(0),
            card: CardNumber(card),
        };
        let decided = watch.decide(&Decision::Stands { card }, 0, &mut Vec::new());
        decided.expect_err("there is none").to_string()
    };
    let ground = "name = \"p\"\n[[section]]\nname = \"s\"\nground = 8\n";
    assert_eq!(
        refused(ground, 1),
        "the plan has no cards: every pick of it is ground"
    );
    let head = "name = \"p\"\n[decks]\nd = \"d.deck\"\n";
    let plan = format!("{head}{}", section("s", "d", "1-4"));
    assert_eq!(
        refused(&plan, 31),
        "the deck has cards 1 to 30; give one of these"
    );
}

/// What was said of a fault must be true of it: after 18 turns without a beat a card
/// was `turned 18 times`, and as the chain had just been laid another `1 times`.
#[test]
fn what_is_said_of_counts_is_what_was_counted() {
    let mut watch = watch(&CYLINDER_AND_BATTEN);
    weave(&mut watch, 2);
    let seen = [
        (6_000, Happening::CardForward),
        (6_100, Happening::CardForward),
    ];
    let told = faults(&mut watch, &seen);
    assert!(
        matches!(told[..], [FaultKind::TurnedTwice { .. }]),
        "{told:?}"
    );
    assert_eq!(
        words::evidence(watch.walk(), &watch.place().open[0]),
        "card 3 was passed over: the cylinder turned on from it, with no lift between"
    );
    for (cards, said) in [
        (-1, "1 card turned back"),
        (0, "no card turned"),
        (1, "1 card turned on"),
        (-2, "2 cards turned back"),
    ] {
        assert_eq!(words::turned(cards), said);
    }
    // which fault is righted is told with it
    let mut told = Vec::new();
    for (number, at) in [(9, 8_000), (10, 10_000)] {
        let what = Happening::CardBack;
        watch.see(Seen { number, at, what }, &mut told);
    }
    let right = |told: &Told| match told {
        Told::Righted { kind, pick, .. } => Some((*kind, *pick)),
        _ => None,
    };
    let righted: Vec<_> = told.iter().filter_map(right).collect();
    assert!(
        matches!(righted[..], [(FaultKind::TurnedTwice { .. }, 2)]),
        "{told:?}"
    );
}

/// It was told as "a whole pick's time since it was turned to", of a pick that no card is
/// turned to for.
#[test]
fn a_ground_pick_left_out_is_told_as_ground() {
    let text = format!(
        "name = \"p\"\n[decks]\nd = \"d.deck\"\n{}[[section]]\nname = \"hem\"\nground = 2\n{}",
        section("s", "d", "1-4"),
        section("t", "d", "5-8")
    );
    let mut watch = along(&text, &CYLINDER_AND_BATTEN);
    let laid = watch.decide(&Decision::ChainReady, 0, &mut Vec::new());
    laid.expect("it is laid");
    weave(&mut watch, 4);
    let told = faults(&mut watch, &[(20_000, Happening::CardForward)]);
    assert!(
        matches!(told[..], [FaultKind::CardWithoutBeat { .. }]),
        "{told:?}"
    );
    assert_eq!(
        words::evidence(watch.walk(), &watch.place().open[0]),
        "the cylinder went on from card 4, and pick 5, which is ground, was not beaten"
    );
}

/// The cylinder was turned by 16 cards while the last ground picks were woven, and
/// nothing was said.
#[test]
fn a_turn_after_the_last_card_is_told() {
    let plan = format!(
        "name = \"p\"\n[decks]\nd = \"d.deck\"\n{}[[section]]\nname = \"hem\"\nground = 3\n",
        section("s", "d", "1-4")
    );
    let woven = || {
        let mut watch = along(&plan, &CYLINDER_AND_BATTEN);
        watch
            .decide(&Decision::ChainReady, 0, &mut Vec::new())
            .expect("it is laid");
        weave(&mut watch, 4);
        assert_eq!(faults(&mut watch, &[(10_900, Happening::Beat)]), []);
        watch
    };
    let mut watch = woven();
    let turns: Vec<_> = (0..3)
        .map(|turn| (12_000 + turn * 1_000, Happening::CardForward))
        .collect();
    let told = faults(&mut watch, &turns);
    assert!(
        matches!(told[..], [FaultKind::TurnedOnGround { stood, .. }] if stood.card.0 == 4),
        "{told:?}"
    );
    let open = watch.place().open[0].clone();
    let remedy = watch.remedy(&open);
    assert_eq!(remedy, Remedy::Turn { cards: -3 });
    assert_eq!(
        words::remedy(watch.walk().plan(), remedy, watch.card_of(&open, remedy)),
        "turn the cylinder 3 cards back, until card 4 stands; then weave on"
    );
    let back = [16_000, 17_000, 18_000].map(|at| (at, Happening::CardBack));
    assert_eq!(faults(&mut watch, &back), []);
    assert_eq!(watch.place().open, []);
    // or it stands as it is: no card is woven any more
    let mut watch = woven();
    faults(&mut watch, &turns);
    let decision = Decision::Fault {
        fault: watch.place().open[0].id,
        choice: Choice::StandsSo,
    };
    watch
        .decide(&decision, 0, &mut Vec::new())
        .expect("it can be");
    assert_eq!(watch.place().open, []);
    assert_eq!((watch.place().next, watch.place().in_cloth), (5, 5));
}

/// Another chain follows the ground picks: the one that is on is not to turn.
#[test]
fn a_turn_on_ground_before_another_chain_is_told() {
    let plan = format!(
        "name = \"p\"\n[decks]\nd = \"d.deck\"\ne = \"d.deck\"\n{}[[section]]\nname = \"hem\"\n\
         ground = 3\n{}",
        section("s", "d", "1-4"),
        section("t", "e", "1-4")
    );
    let mut watch = along(&plan, &CYLINDER_AND_BATTEN);
    let laid = |watch: &mut Watch| {
        watch
            .decide(&Decision::ChainReady, 0, &mut Vec::new())
            .expect("it is laid");
    };
    laid(&mut watch);
    weave(&mut watch, 4);
    let told = faults(&mut watch, &[(12_000, Happening::CardForward)]);
    assert!(
        matches!(told[..], [FaultKind::TurnedOnGround { .. }]),
        "{told:?}"
    );
    for at in [13_000, 14_000, 15_000] {
        assert_eq!(faults(&mut watch, &[(at, Happening::Beat)]), []);
    }
    laid(&mut watch);
    assert_eq!(watch.place().open, [], "the other chain is on");
    weave(&mut watch, 4);
    assert_eq!(watch.place().in_cloth, 11);
}
