//! Plain lines: what a typed line says, and what is told of a fault.

use super::made::{self, *};
use crate::cli::session::Attend;
use crate::cli::weave::lines::{asked_in_json, fault};
use crate::cli::weave::plain::Lines;
use crate::cli::weave::said::DeckKnown;
use crate::job::{News, Person, WeaveNews};
use crate::weave::Says;
use crate::weave::view::{Asking, View};
use crate::weave::watch::{Decision, FaultKind, Remedy};

fn lines(view: &View) -> Lines {
    let mut lines = Lines::for_decks(DeckKnown::all(&walk(PLAN)));
    let told = WeaveNews::View(Box::new(view.clone()));
    lines.news(&News::Weave(Box::new(told)));
    lines
}

fn decision(said: Result<Option<Says>, String>) -> Decision {
    match said {
        Ok(Some(Says::Decided { decision })) => decision,
        other => panic!("no decision: {other:?}"),
    }
}

#[test]
fn a_card_is_of_the_deck_in_hand_or_of_the_one_named() {
    let lines = lines(&forwards());
    let card = |typed: &str| match decision(lines.says(typed)) {
        Decision::Stands { card } => card,
        other => panic!("{other:?}"),
    };
    let place = |name: &str| {
        let walk = walk(PLAN);
        let decks = walk.plan().decks().iter();
        decks
            .map(|deck| deck.name.clone())
            .position(|deck| deck == name)
    };
    let (sedge, border) = (
        place("sedge").expect("it is there"),
        place("border").expect("too"),
    );
    assert_eq!(card("c 12"), stand(sedge, 12));
    assert_eq!(card("c border 12"), stand(border, 12));
    let refused = lines.says("c reeds 12").expect_err("there is no such deck");
    assert!(
        refused.contains("reeds") && refused.contains("sedge"),
        "{refused}"
    );
}

#[test]
fn a_number_decides_about_the_fault_told_of_or_is_refused_with_words() {
    let nothing = lines(&forwards()).says("1").expect_err("nothing is open");
    assert!(nothing.starts_with("no fault is open"), "{nothing}");
    let walk = walk(PLAN);
    let (_, kind, hands, evidence) = made::faults()[6];
    let mut view = faulty(&walk, kind, hands, evidence);
    let (_, kind, hands, evidence) = made::faults()[5];
    view.open.push(open(&walk, kind, hands, evidence));
    let told = fault(&view);
    assert!(told[0].starts_with("FAULT 1 of 2: "), "{told:?}");
    assert!(told[0].ends_with(&view.open[0].words), "{told:?}");
    let number = told
        .iter()
        .any(|line| line.contains("    1  leave the cloth"));
    assert!(number, "{told:?}");
    let lines = lines(&view);
    match decision(lines.says("1")) {
        Decision::Fault { fault, choice } => {
            assert_eq!(fault, view.open[0].fault.id);
            assert_eq!(choice, view.open[0].choices[0].0);
        }
        other => panic!("{other:?}"),
    }
    assert!(
        lines
            .says("9")
            .expect_err("no such choice")
            .contains("9 is no choice")
    );
    view.asking = Some(catch_up());
    assert!(fault(&view).is_empty(), "that is asked first");
    let refused = self::lines(&view)
        .says("1")
        .expect_err("that is asked first");
    assert!(refused.contains("first"), "{refused}");
}

/// Where standard input had ended the program waited for an answer for ever.
#[test]
fn what_is_asked_waits_for_a_line() {
    let mut view = View {
        next: None,
        ..forwards()
    };
    assert!(!lines(&view).waits_for_a_line());
    view.asking = Some(Asking::End);
    assert!(lines(&view).waits_for_a_line());
}

#[test]
fn a_note_is_of_at_most_200_characters_and_orders_nothing_of_a_terminal() {
    let lines = lines(&forwards());
    let most = format!("t {}", "ä".repeat(200));
    assert!(lines.says(&most).is_ok());
    let refused = lines.says(&format!("{most}ä")).expect_err("too long");
    assert!(
        refused.contains("at most 200 characters") && refused.len() < 100,
        "{refused}"
    );
    let text = "red\u{1b}[31m\u{7}".to_string();
    let said = lines.says(&format!("t {text}"));
    let Ok(Some(Says::Note { text })) = said else {
        panic!("no note: {said:?}");
    };
    assert!(
        !text.contains(char::is_control) && text.starts_with("red"),
        "{text:?}"
    );
}

#[test]
fn what_is_asked_is_told_to_other_programs() {
    let walk = walk(PLAN);
    let (_, kind, hands, evidence) = made::faults()[6];
    let mut view = faulty(&walk, kind, hands, evidence);
    let told = asked_in_json(&view);
    assert_eq!(told["asking"], serde_json::Value::Null);
    assert_eq!(told["open_faults"], 1);
    assert_eq!(told["fault"]["words"], view.open[0].words);
    assert_eq!(told["fault"]["choices"][0], view.open[0].choices[0].1);
    view.asking = Some(chain());
    assert_eq!(asked_in_json(&view)["asking"]["asks"], "chain");
}

#[test]
fn an_answer_that_nothing_asks_for_is_refused() {
    let mut lines = lines(&forwards());
    assert_eq!(lines.typed("x"), None);
    assert_eq!(lines.typed("q"), Some(Person::Stop));
}

/// Whoever comes back to an open fault reads what was seen and what puts it right, and
/// reads anew what does once that has changed; what was told as it happened is not told
/// again.
#[test]
fn a_fault_is_told_with_what_puts_it_right() {
    let walk = walk(PLAN);
    let stray = |picks| {
        let hands = Remedy::Unweave { picks };
        faulty(&walk, FaultKind::BeatWithoutCard, hands, [0, 0, 1])
    };
    let mut lines = Lines::default();
    let told = |view: &View| format!("{}; {}", view.open[0].evidence, view.open[0].remedy);
    let (two, one) = (stray(2), stray(1));
    assert_eq!(lines.about(&two, true), Some(told(&two)));
    lines.news(&News::Weave(Box::new(WeaveNews::View(Box::new(
        two.clone(),
    )))));
    assert_eq!(lines.about(&two, false), None);
    assert_eq!(lines.about(&one, false), Some(told(&one)));
    assert_eq!(
        lines.about(&stray(3), true),
        None,
        "it was told as it happened"
    );
}
