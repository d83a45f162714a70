//! What the weaver says: taken, refused in words, written down.

use super::catch_up::ANSWER_FIRST;
use super::{Asking, Says, Weave};
use crate::job::{Effect, News};
use crate::ledger::WeavingKind;
use crate::weave::watch::Decision;
use crate::weave::words;
use serde_json::json;

impl Weave {
    pub(super) fn says(&mut self, says: &Says, at: i64, fx: &mut Vec<Effect>) {
        match says {
            Says::Decided { decision } => {
                if self.asks_place() && !matches!(decision, Decision::NextIs { .. }) {
                    let words = "first say which pick of the changed plan is next".to_string();
                    fx.push(Effect::Tell(News::Refused { words }));
                    return;
                }
                // what was seen before is older than what is decided now
                if !self.asks_place() && self.asks_catch_up().is_some() {
                    let words = ANSWER_FIRST.to_string();
                    fx.push(Effect::Tell(News::Refused { words }));
                    return;
                }
                let mut told = Vec::new();
                let beyond = self.watch.place().beyond_plan();
                if let Err(not) = self.watch.decide(decision, at, &mut told) {
                    let words = not.to_string();
                    fx.push(Effect::Tell(News::Refused { words }));
                    return;
                }
                // how the chain lies is asked until that is said of the deck that is wanted
                self.wants_chain = false;
                self.watch.want_chain(&mut told);
                if self.asks_place() {
                    self.placed();
                }
                let mut detail = serde_json::to_value(decision).unwrap_or_default();
                if let Decision::Unwove { .. } = decision {
                    // of these so many were none of the plan's
                    let left = self.watch.place().beyond_plan();
                    detail["beside"] = json!(beyond.saturating_sub(left));
                }
                let words = self.decision_words(decision);
                self.line(at, words, false, fx);
                let said = vec![(WeavingKind::Decided, detail)];
                self.keep(at, said, &told, fx);
                if matches!(decision, Decision::Stands { .. }) {
                    self.still_asks_chain(at, fx);
                }
                self.accept_change(at, fx);
                self.nothing_missed(at, fx);
            }
            Says::CatchUp { take } => self.caught_up(*take, at, fx),
            Says::End => {
                if self.asking() != Some(Asking::End) {
                    let words = "the piece is not woven to its end".to_string();
                    fx.push(Effect::Tell(News::Refused { words }));
                    return;
                }
                self.ended = true;
                self.line(at, "the piece is done".to_string(), false, fx);
                self.keep(at, vec![(WeavingKind::Finished, json!({}))], &[], fx);
            }
            Says::Note { text } => {
                self.line(at, format!("note: {text}"), false, fx);
                let said = vec![(WeavingKind::Note, json!({ "text": text }))];
                self.keep(at, said, &[], fx);
            }
            Says::Pause | Says::Resume => {
                let paused = *says == Says::Pause;
                if paused == self.paused {
                    return;
                }
                self.paused = paused;
                self.pace.pause();
                let (kind, words) = match paused {
                    true => (WeavingKind::Paused, "pause"),
                    false => (WeavingKind::Resumed, "going on"),
                };
                self.line(at, words.to_string(), false, fx);
                self.keep(at, vec![(kind, json!({}))], &[], fx);
            }
        }
    }

    /// The card that was said to stand is of another deck than the next pick wants.
    fn still_asks_chain(&mut self, at: i64, fx: &mut Vec<Effect>) {
        if let Some(wanted) = self.watch.target().filter(|_| self.wants_chain) {
            let wanted = words::card(self.watch.walk().plan(), wanted);
            let words = format!("{wanted} is wanted next: how its chain lies is still asked");
            self.line(at, words, false, fx);
        }
    }

    pub(super) fn leave(&mut self, at: i64, fx: &mut Vec<Effect>) {
        if self.leaving {
            return;
        }
        self.leaving = true;
        let detail = self.stands_at();
        self.keep(at, vec![(WeavingKind::Left, detail)], &[], fx);
    }
}
