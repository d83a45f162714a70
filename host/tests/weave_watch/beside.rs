//! Picks beside the plan, and what can be decided of them.

use super::{ALL, CYLINDER_AND_BATTEN, along, faults, section, watch, weave};
use cardwright::weave::watch::{
    Apart, Choice, Decision, FaultKind, NotDecided, Remedy, Stand, Told, Watch,
};
use cardwright::weave::{DeckIndex, words};
use cardwright_protocol::CardNumber;
use cardwright_protocol::loom::{Happening, LoomLine};

fn decide(watch: &mut Watch, decision: &Decision) -> Result<Vec<Told>, NotDecided> {
    let mut told = Vec::new();
    watch.decide(decision, 0, &mut told).map(|()| told)
}

/// Decides about the fault that is open longest.
fn choose(watch: &mut Watch, choice: Choice) -> Result<Vec<Told>, NotDecided> {
    let fault = watch.place().open[0].id;
    decide(watch, &Decision::Fault { fault, choice })
}

fn choices(watch: &Watch) -> Vec<Choice> {
    watch.choices(&watch.place().open[0])
}

/// One letter a movement: F and B turn, L lifts, < and > throw, T beats.
fn sees(watch: &mut Watch, movements: &str) -> Vec<FaultKind> {
    let what = |movement| match movement {
        'F' => Happening::CardForward,
        'B' => Happening::CardBack,
        'L' => Happening::Lift,
        '<' => Happening::ShuttleLeft,
        '>' => Happening::ShuttleRight,
        'T' => Happening::Beat,
        other => panic!("no movement {other}"),
    };
    let movements = movements.chars().filter(|letter| *letter != ' ');
    let seen: Vec<_> = (20..)
        .zip(movements)
        .map(|(at, movement)| (at * 1_000, what(movement)))
        .collect();
    faults(watch, &seen)
}

fn four_cards(lines: &[LoomLine]) -> Watch {
    let head = "name = \"p\"\n[decks]\nd = \"d.deck\"\n";
    let mut watch = along(&format!("{head}{}", section("s", "d", "1-4")), lines);
    decide(&mut watch, &Decision::ChainReady).expect("it is laid");
    watch
}

/// They were neither counted nor told, and the next `u` took out picks of the plan.
#[test]
fn picks_after_the_last_lie_beside_the_plan() {
    let mut watch = four_cards(&ALL);
    assert_eq!(sees(&mut watch, "FL<T FL>T FL<T FL>T"), []);
    assert!(watch.is_finished());
    // beaten up once more is no pick
    assert_eq!(sees(&mut watch, "T"), []);
    assert_eq!(watch.in_the_cloth(), 4);
    let after = FaultKind::Apart(Apart::AfterTheLast);
    assert_eq!(sees(&mut watch, "L<T L>T"), [after]);
    assert_eq!((watch.in_the_cloth(), watch.place().stray), (6, 2));
    let fault = watch.place().open[0].clone();
    assert_eq!(watch.remedy(&fault), Remedy::Unweave { picks: 2 });
    assert_eq!(
        words::evidence(watch.walk(), &fault),
        "a pick was beaten after the last one of the plan"
    );
    // one of the plan's with them: then the plan has a pick to come
    let mut further = watch.clone();
    decide(&mut further, &Decision::Unwove { picks: 3 }).expect("they lie there");
    assert_eq!((further.place().next, further.in_the_cloth()), (3, 3));
    assert!(further.place().open.is_empty());
    // or they stay
    assert_eq!(choices(&watch), [Choice::StandsSo]);
    choose(&mut watch, Choice::StandsSo).expect("it is offered");
    assert!(watch.is_finished() && watch.place().open.is_empty());
    assert_eq!((watch.in_the_cloth(), watch.place().stray), (6, 0));
}

/// Where only the batten is seen, each beat is a pick, after the last one too.
#[test]
fn beats_after_the_last_are_picks_where_no_shuttle_is_seen() {
    let mut watch = four_cards(&CYLINDER_AND_BATTEN);
    weave(&mut watch, 4);
    let after = FaultKind::Apart(Apart::AfterTheLast);
    assert_eq!(sees(&mut watch, "T T"), [after]);
    assert_eq!(watch.in_the_cloth(), 6);
}

/// `it was woven` counted whichever pick was next by then.
#[test]
fn nothing_is_decided_about_a_pick_that_is_not_next_any_more() {
    let mut watch = watch(&ALL);
    assert_eq!(sees(&mut watch, "FL<T FL>T FL<T"), []);
    let open = sees(&mut watch, "FL>F");
    assert!(
        matches!(open[..], [FaultKind::CardWithoutBeat { .. }]),
        "{open:?}"
    );
    assert_eq!(choices(&watch), [Choice::WasWoven, Choice::LeaveOut]);
    decide(&mut watch, &Decision::Unwove { picks: 2 }).expect("they lie there");
    assert_eq!(choices(&watch), []);
    let refused = choose(&mut watch, Choice::WasWoven);
    assert_eq!(refused, Err(NotDecided::NoSuchFault));
    assert_eq!((watch.place().next, watch.in_the_cloth()), (1, 1));
    // what rights it does so still
    assert_eq!(sees(&mut watch, "BBBB FL>T FL<T"), []);
    assert_eq!((watch.place().next, watch.place().open.len()), (3, 0));
}

/// The pick after one that a sensor has missed stayed beside the plan, though it is the
/// plan's own.
#[test]
fn picks_that_follow_a_missed_one_are_the_plans() {
    for missed in ["FLT", "FL>"] {
        for (after, follow) in [("FL<T", 1), ("FL<T FL>T FL<T", 3)] {
            let mut watch = watch(&ALL);
            assert_eq!(sees(&mut watch, "FL<T FL>T FL<T"), []);
            sees(&mut watch, missed);
            sees(&mut watch, after);
            assert_eq!((watch.place().next, watch.place().stray), (3, follow));
            assert_eq!(watch.goes_on_after(), 4 + u64::from(follow));
            choose(&mut watch, Choice::WasWoven).expect("it is offered");
            assert_eq!(
                watch.place().next,
                4 + u64::from(follow),
                "{missed} {after}"
            );
            assert_eq!((watch.place().stray, watch.place().open.len()), (0, 0));
            assert_eq!(sees(&mut watch, "FL>T"), []);
        }
    }
    // a card was passed over meanwhile: nothing follows
    let mut watch = watch(&ALL);
    sees(&mut watch, "FL<T FL>T FL<T FLT FFL<T");
    assert_eq!(watch.goes_on_after(), 4);
    choose(&mut watch, Choice::WasWoven).expect("it is offered");
    assert_eq!((watch.place().next, watch.place().stray), (4, 1));
}

/// A pick made twice and a card passed over were taken as the plan's, as the first card,
/// the last one and the number were right.
#[test]
fn what_follows_ends_where_it_is_not_the_plans() {
    let mut watch = watch(&ALL);
    sees(&mut watch, "FL<T FL>T FL< FL>T L<T FFL>T");
    assert_eq!((watch.place().next, watch.place().stray), (2, 3));
    assert_eq!(watch.goes_on_after(), 4);
    let left_out = watch.clone();
    choose(&mut watch, Choice::WasWoven).expect("it is offered");
    assert_eq!((watch.place().next, watch.place().stray), (4, 2));
    assert_eq!(watch.in_the_cloth(), 6);
    assert!(!watch.place().open.is_empty());
    // taken out, they are forgotten: the next ones are looked at anew
    decide(&mut watch, &Decision::Unwove { picks: 2 }).expect("they lie there");
    sees(&mut watch, "BB FL<T");
    assert_eq!((watch.place().next, watch.place().open.len()), (5, 0));
    // so where it is left out; what was seen of its weft is over with it
    let mut watch = left_out;
    choose(&mut watch, Choice::LeaveOut).expect("it is offered");
    assert_eq!((watch.place().next, watch.place().stray), (4, 2));
    assert_eq!(watch.in_the_cloth(), 5);
    let of_weft = |kind| matches!(kind, FaultKind::WeftWithoutBeat | FaultKind::NoWeft);
    assert!(!watch.place().open.iter().any(|fault| of_weft(fault.kind)));
}

/// The cylinder stays at a ground pick: which pick was missed, and which ones follow,
/// shows by that.
#[test]
fn ground_picks_follow_too() {
    let mut watch = {
        let ground = "[[section]]\nname = \"g\"\nground = 2\n";
        let head = "name = \"p\"\n[decks]\nd = \"d.deck\"\n";
        let (before, after) = (section("s", "d", "1-3"), section("t", "d", "4-8"));
        let mut watch = along(&format!("{head}{before}{ground}{after}"), &ALL);
        decide(&mut watch, &Decision::ChainReady).expect("it is laid");
        watch
    };
    assert_eq!(sees(&mut watch, "FL<T FL>T FL<T >T"), []);
    sees(&mut watch, "FL<T FL>T");
    assert_eq!((watch.place().next, watch.place().stray), (4, 2));
    assert_eq!(watch.goes_on_after(), 7);
    choose(&mut watch, Choice::WasWoven).expect("it is offered");
    assert_eq!((watch.place().next, watch.place().stray), (7, 0));
    assert!(watch.place().open.is_empty(), "{:?}", watch.place().open);
}

/// The weft comes after the lift: without a sensor at the batten each pick lacked it.
#[test]
fn without_a_batten_the_shuttle_makes_the_pick() {
    let lines = [
        LoomLine::CylinderA,
        LoomLine::CylinderB,
        LoomLine::Griffe,
        LoomLine::BoxLeft,
        LoomLine::BoxRight,
    ];
    let mut watch = four_cards(&lines);
    assert_eq!(sees(&mut watch, "FL< FL> FL< FL>"), []);
    assert!(watch.is_finished());
    // with one box the griffe does, and a weft that is not seen is no fault
    let mut watch = four_cards(&lines[..4]);
    assert_eq!(sees(&mut watch, "FL< FL FL< FL"), []);
    assert!(watch.is_finished());
}

/// To turn as it was told made picks of the turns.
#[test]
fn turns_that_put_the_cylinder_right_weave_nothing() {
    let mut watch = four_cards(&CYLINDER_AND_BATTEN[..2]);
    let open = sees(&mut watch, "FFF B");
    assert!(
        matches!(open[..], [FaultKind::TurnedWrongWay { .. }]),
        "{open:?}"
    );
    assert_eq!(watch.turns_wanted(), Some(1), "to the card before");
    assert_eq!(sees(&mut watch, "F"), []);
    assert!(watch.place().open.is_empty());
    assert_eq!(watch.in_the_cloth(), 3);
    assert_eq!(sees(&mut watch, "F"), []);
    assert!(watch.is_finished());
    assert_eq!(watch.in_the_cloth(), 4);
}

/// To go on from a card was offered where no pick of the plan has it.
#[test]
fn where_nothing_goes_on_from_the_card_it_is_left_as_it_is() {
    let mut watch = four_cards(&ALL);
    let card = CardNumber(20);
    let deck = DeckIndex(0);
    let stands = Stand { deck, card };
    decide(&mut watch, &Decision::Stands { card: stands }).expect("the deck has it");
    sees(&mut watch, "L<T");
    assert_eq!(watch.place().stray, 1);
    assert_eq!(choices(&watch), [Choice::StandsSo]);
    choose(&mut watch, Choice::StandsSo).expect("it is offered");
    assert_eq!((watch.place().next, watch.in_the_cloth()), (0, 1));
    assert_eq!(watch.place().stray, 0);
}
