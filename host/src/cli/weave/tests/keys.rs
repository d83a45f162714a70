//! What comes of the keys. If one of these fails, a weaver's word is lost or taken
//! for another.

use super::made::{self, *};
use crate::cli::weave::keys::{Act, Entry, Keys, Mode};
use crate::cli::weave::said::DeckKnown;
use crate::weave::Says;
use crate::weave::plan::DeckIndex;
use crate::weave::view::{Asking, View};
use crate::weave::watch::{Choice, Decision, FaultId};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

fn keys(decks: &[(&str, u32)]) -> Keys {
    let known = |(name, cards): &(&str, u32)| DeckKnown {
        name: (*name).to_string(),
        cards: *cards,
    };
    Keys::new(decks.iter().map(known).collect())
}

fn two() -> Keys {
    keys(&[("sedge", 160), ("border", 24)])
}

/// Types it all; `\n` is Enter, `\t` Tab, `<` Esc, `~` rubs out. What came of the
/// last key.
fn typed(keys: &mut Keys, view: &View, text: &str) -> Act {
    let mut last = Act::None;
    for letter in text.chars() {
        let code = match letter {
            '\n' => KeyCode::Enter,
            '\t' => KeyCode::Tab,
            '<' => KeyCode::Esc,
            '~' => KeyCode::Backspace,
            letter => KeyCode::Char(letter),
        };
        last = keys.press(KeyEvent::from(code), Some(view));
    }
    last
}

fn decided(decision: Decision) -> Act {
    Act::Say(Says::Decided { decision })
}

#[test]
fn every_word_a_weaver_has() {
    let view = forwards();
    let cases = [
        ("u3\n", decided(Decision::Unwove { picks: 3 })),
        ("c12\n", decided(Decision::Stands { card: stand(0, 12) })),
        ("c12\t\n", decided(Decision::Stands { card: stand(1, 12) })),
        (
            "c12\t\t\n",
            decided(Decision::Stands { card: stand(0, 12) }),
        ),
        ("n700\n", decided(Decision::NextIs { pick: 699 })),
        ("n5716\n", decided(Decision::NextIs { pick: 5_715 })),
        ("p", Act::Say(Says::Pause)),
        (
            "t a 2nd pirn \n",
            Act::Say(Says::Note {
                text: "a 2nd pirn".to_string(),
            }),
        ),
        ("qy", Act::Leave),
        ("qn", Act::None),
        ("q<", Act::None),
        ("?u", Act::None),
        ("\n", Act::None),
        ("x", Act::None),
        ("1", Act::None),
        ("u12~5\n", decided(Decision::Unwove { picks: 15 })),
    ];
    for (text, wanted) in cases {
        let mut keys = two();
        assert_eq!(typed(&mut keys, &view, text), wanted, "{text}");
        assert_eq!(keys.mode(), Mode::Weaving, "{text}");
    }
    let paused = View {
        paused: true,
        ..forwards()
    };
    assert_eq!(typed(&mut two(), &paused, "p"), Act::Say(Says::Resume));
}

#[test]
fn the_deck_in_hand_is_the_one_meant() {
    let mut keys = two();
    typed(&mut keys, &back(), "c");
    assert_eq!(keys.mode(), Mode::Typing(Entry::Stands(DeckIndex(1))));
    let mut none = self::keys(&[]);
    typed(&mut none, &ground(), "c");
    assert_eq!(
        (none.mode(), none.wrong()),
        (Mode::Weaving, Some("the plan has no cards"))
    );
}

#[test]
fn a_wrong_number_is_asked_again_and_nothing_is_lost() {
    let view = forwards();
    for (text, wrong) in [
        (
            "u0\n",
            "0 cannot be: there are 1253 picks in the cloth; give 1 to 1253",
        ),
        (
            "u1254\n",
            "1254 cannot be: there are 1253 picks in the cloth; give 1 to 1253",
        ),
        (
            "c161\n",
            "161 cannot be: there are 160 cards in the deck; give 1 to 160",
        ),
        (
            "c25\t\n",
            "25 cannot be: there are 24 cards in the deck; give 1 to 24",
        ),
        (
            "n5717\n",
            "5717 cannot be: there are 5716 picks in the plan; give 1 to 5716",
        ),
        ("u\n", "type a number, then Enter; Esc goes back"),
        ("t  \n", "type the note, then Enter; Esc goes back"),
        ("u-", "type a number, then Enter; Esc goes back"),
        (
            "n9999999999999999999999\n",
            "999999999999 cannot be: there are 5716 picks in the plan; give 1 to 5716",
        ),
    ] {
        let mut keys = two();
        assert_eq!(typed(&mut keys, &view, text), Act::None, "{text}");
        assert!(matches!(keys.mode(), Mode::Typing(_)), "{text}");
        assert_eq!(keys.wrong(), Some(wrong), "{text}");
        let before = keys.text().to_string();
        typed(&mut keys, &view, "x".repeat(3).as_str());
        if !text.starts_with('t') {
            assert_eq!(keys.text(), before, "{text}");
        }
        typed(&mut keys, &view, "<");
        assert_eq!((keys.mode(), keys.wrong()), (Mode::Weaving, None), "{text}");
    }
    let nothing = View {
        in_cloth: 0,
        ..forwards()
    };
    let mut keys = two();
    typed(&mut keys, &nothing, "u1\n");
    assert_eq!(
        keys.wrong(),
        Some("there are no picks in the cloth yet; Esc goes back"),
        "the place in the plan is no pick in the cloth"
    );
    let one_and_two = View {
        in_cloth: 1,
        stray: 2,
        ..forwards()
    };
    let mut keys = two();
    typed(&mut keys, &one_and_two, "u4\n");
    assert_eq!(
        keys.wrong(),
        Some("4 cannot be: there are 3 picks in the cloth; give 1 to 3")
    );
}

#[test]
fn a_word_that_is_refused_is_asked_again_as_it_was_typed() {
    let view = forwards();
    let mut keys = two();
    typed(&mut keys, &view, "n700\n");
    keys.refused("the plan has picks 1 to 600; give one of these");
    assert_eq!(keys.mode(), Mode::Typing(Entry::Next));
    assert_eq!(keys.text(), "700");
    assert_eq!(
        typed(&mut keys, &view, "~~~42\n"),
        decided(Decision::NextIs { pick: 41 })
    );
    keys.heard();
    keys.refused("that fault is no longer open");
    assert_eq!(keys.mode(), Mode::Weaving);
    assert_eq!(keys.wrong(), Some("that fault is no longer open"));
}

#[test]
fn what_is_asked_is_answered() {
    let asked = |asking| View {
        asking: Some(asking),
        ..forwards()
    };
    let mut keys = two();
    let chain_laid = decided(Decision::ChainReady);
    assert_eq!(typed(&mut keys, &asked(chain()), "\n"), chain_laid);
    assert_eq!(typed(&mut keys, &asked(chain()), "x"), Act::None);
    let take = |take| Act::Say(Says::CatchUp { take });
    assert_eq!(typed(&mut keys, &asked(catch_up()), "\n"), take(true));
    assert_eq!(typed(&mut keys, &asked(catch_up()), "x"), take(false));
    let done = Act::Say(Says::End);
    assert_eq!(typed(&mut keys, &asked(Asking::End), "\n"), done);
    assert_eq!(typed(&mut keys, &asked(Asking::End), "x"), Act::None);
}

#[test]
fn choices_are_about_the_fault_on_the_screen() {
    let walk = walk(PLAN);
    let (_, kind, hands, evidence) = made::faults()[0];
    let mut view = faulty(&walk, kind, hands, evidence);
    let chosen = |choice| {
        decided(Decision::Fault {
            fault: FaultId(4),
            choice,
        })
    };
    assert_eq!(typed(&mut two(), &view, "1"), chosen(Choice::OnlyBeaten));
    assert_eq!(typed(&mut two(), &view, "2"), chosen(Choice::GoOnFromHere));
    assert_eq!(typed(&mut two(), &view, "3"), Act::None);
    assert_eq!(typed(&mut two(), &view, "0"), Act::None);
    view.asking = Some(catch_up());
    assert_eq!(
        typed(&mut two(), &view, "1"),
        Act::None,
        "the fault is not shown"
    );
}

#[test]
fn what_hands_were_told_is_offered() {
    let walk = walk(PLAN);
    let (_, kind, hands, evidence) = made::faults()[6];
    let view = faulty(&walk, kind, hands, evidence);
    assert_eq!(
        typed(&mut two(), &view, "u\n"),
        decided(Decision::Unwove { picks: 3 })
    );
    assert_eq!(
        typed(&mut two(), &view, "u2\n"),
        decided(Decision::Unwove { picks: 2 })
    );
    assert_eq!(
        typed(&mut two(), &view, "u~2\n"),
        decided(Decision::Unwove { picks: 2 })
    );
}

#[test]
fn interrupting_needs_no_view_and_no_mode() {
    let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    let mut keys = two();
    assert_eq!(keys.press(interrupt, None), Act::Interrupt);
    typed(&mut keys, &forwards(), "t a note");
    assert_eq!(keys.press(interrupt, Some(&forwards())), Act::Interrupt);
    assert_eq!(keys.text(), " a note");
    // before anything is known nothing can be said of it, but one can leave
    let mut keys = two();
    for letter in ['u', 'c', 'n', 'p', 't', '1', 'x'] {
        assert_eq!(
            keys.press(KeyEvent::from(KeyCode::Char(letter)), None),
            Act::None
        );
        assert_eq!(keys.mode(), Mode::Weaving);
    }
    keys.press(KeyEvent::from(KeyCode::Char('q')), None);
    assert_eq!(
        keys.press(KeyEvent::from(KeyCode::Char('y')), None),
        Act::Leave
    );
}
