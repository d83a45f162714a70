//! Going on by a plan that was changed.

use super::Weave;
use super::catch_up::CatchUp;
use crate::job::Effect;
use crate::ledger::PlanChanged;
use crate::ledger::WeavingKind;
use crate::ledger::writer::Command;
use crate::weave::Change;
use crate::weave::view::Asking;
use serde_json::json;

impl Weave {
    /// The same by a plan that was changed since the piece was begun.
    #[must_use]
    pub fn changed(self, change: Option<Change>) -> Weave {
        let decks = match change {
            // until that is accepted the piece is woven from what it was
            Some(_) => self.order.stored.decks.clone(),
            None => self.decks,
        };
        Weave {
            change,
            decks,
            ..self
        }
    }

    /// Whether the weaver is to say which pick of a changed plan is next.
    pub(super) fn asks_place(&self) -> bool {
        let change = self.change.as_ref();
        change.is_some_and(|change| change.moved.is_some())
    }

    pub(super) fn asking_place(&self) -> Option<Asking> {
        let moved = self.change.as_ref()?.moved.as_ref()?;
        if !self.begun {
            return None;
        }
        Some(Asking::Place {
            was: moved.was.clone(),
            same_number: moved.same_number.clone(),
            next: moved.next + 1,
            proposed: moved.proposed.clone(),
        })
    }

    /// Begins with a plan that was changed: where the place in it is known, there is
    /// nothing to ask.
    pub(super) fn begin_changed(&mut self, at: i64, fx: &mut Vec<Effect>) {
        if self.change.is_none() || self.asks_place() {
            return;
        }
        self.accept_change(at, fx);
    }

    /// The weaver has said which pick is next: whether what was seen before that goes on
    /// from there is asked.
    pub(super) fn placed(&mut self) {
        let seen = std::mem::take(&mut self.unplaced);
        self.catch_up = self.catch_up.take().or_else(|| CatchUp::here(seen));
    }

    /// What comes now is to stay behind what was seen while the place is asked.
    pub(super) fn place_asked_first(&mut self) {
        if self.asks_place() {
            self.placed();
        }
    }

    /// The plan as it is now is the piece's from here on.
    pub(super) fn accept_change(&mut self, at: i64, fx: &mut Vec<Effect>) {
        let Some(change) = self.change.take() else {
            return;
        };
        self.decks = self.watch.walk().plan().deck_sha256s();
        let next = self.watch.place().next + 1;
        let words = match &change.moved {
            None => "the plan was changed; the picks woven so far are the same in it".to_string(),
            Some(moved) => format!(
                "the plan was changed: {} was next by the plan as it was, and pick {next} is next now",
                moved.was
            ),
        };
        self.line(at, words.clone(), false, fx);
        let piece = self.order.piece;
        let changed = PlanChanged {
            piece,
            plan_sha256: change.plan_sha256,
            plan: change.plan,
        };
        self.record(Command::PlanChanged(changed), None, fx);
        let said = vec![(WeavingKind::Note, json!({ "text": words }))];
        self.keep(at, said, &[], fx);
    }
}
