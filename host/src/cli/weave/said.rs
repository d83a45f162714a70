//! What a weaver can say, by key or by line.
//!
//! Enters: what was typed, and the work as it stands. Leaves: what is said by it.
//! Refuses what cannot be said now, with words.

use crate::weave::view::{Asking, OpenFault, View};
use crate::weave::walk::Walk;
use crate::weave::watch::Decision;
use crate::weave::{DeckIndex, Says};

/// Longest note, in characters.
pub(super) const LONGEST_NOTE: usize = 200;

/// Why no more of a note is taken.
pub(super) const NOTE_FULL: &str = "a note has at most 200 characters";

/// A deck of the plan: what it is called and its cards.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DeckKnown {
    /// Its name.
    pub name: String,
    /// How many cards it has.
    pub cards: u32,
}

impl DeckKnown {
    /// Those of the plan, in its order.
    pub fn all(walk: &Walk) -> Vec<DeckKnown> {
        let decks = walk.plan().decks().iter();
        let known = decks.map(|deck| DeckKnown {
            name: deck.name.clone(),
            cards: deck.deck.card_count(),
        });
        known.collect()
    }
}

/// The deck that is woven from now.
pub(super) fn deck_in_hand(decks: &[DeckKnown], view: &View) -> DeckIndex {
    let next = view.next.as_ref().and_then(|next| next.deck.as_ref());
    let named = next.and_then(|name| decks.iter().position(|deck| deck.name == *name));
    named.map_or_else(
        || view.stands.map_or(DeckIndex(0), |stands| stands.deck),
        DeckIndex,
    )
}

/// A note of these words, if they are not too many. What would move a terminal's
/// cursor is a space in it.
pub(super) fn note(text: &str) -> Result<Says, String> {
    let plain = |letter: char| if letter.is_control() { ' ' } else { letter };
    let text: String = text.trim().chars().map(plain).collect();
    match text.chars().count() {
        ..=LONGEST_NOTE => Ok(Says::Note { text }),
        long => Err(format!("{NOTE_FULL}, this one {long}; it is not taken")),
    }
}

/// The fault that a number decides about: the open one on top. While something else is
/// asked first, no fault is told of to be decided about.
pub(super) fn to_decide(view: &View) -> Option<&OpenFault> {
    view.open.first().filter(|_| !asks_first(view))
}

/// What a number says about the fault it decides about, from 1.
pub(super) fn decided(number: usize, view: &View) -> Result<Says, String> {
    let Some(open) = to_decide(view) else {
        return Err(match asks_first(view) {
            true => "answer first what is asked".to_string(),
            false => format!("no fault is open that {number} could decide about"),
        });
    };
    let chosen = number.checked_sub(1).and_then(|at| open.choices.get(at));
    match (chosen, open.choices.len()) {
        (Some((choice, _)), _) => Ok(Says::Decided {
            decision: Decision::Fault {
                fault: open.fault.id,
                choice: *choice,
            },
        }),
        (None, 0) => Err(format!("of \"{}\" no number decides", open.words)),
        (None, most) => Err(format!(
            "{number} is no choice about \"{}\"; give 1 to {most}",
            open.words
        )),
    }
}

/// Whether what is asked comes before any fault: whether what was counted holds, and
/// where in a changed plan the piece stands.
pub(super) fn asks_first(view: &View) -> bool {
    matches!(
        view.asking,
        Some(Asking::CatchUp { .. } | Asking::Place { .. })
    )
}
