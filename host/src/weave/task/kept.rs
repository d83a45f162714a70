//! What is written down. Enters: events and what came of them. Leaves: records for the
//! ledger, each with the numbers of its own moment, and lines for the screen.

use serde_json::{Value, json};

use super::{Line, PICKS_KEPT, Seen, Stored, Told, Weave, push_bounded};
use crate::job::{Effect, Mark};
use crate::ledger::writer::Command;
use crate::ledger::{NewLoomEvent, NewWeaving, UnitStored, UnixMillis, WeavingKind, Woven};

impl Weave {
    /// Looks at an event, and tells at once what came of it: what a pick's record says
    /// of the cloth is so when it is woven.
    pub(super) fn see(
        &mut self,
        seen: Seen,
        by: &str,
        now: i64,
        records: &mut Vec<NewWeaving>,
        fx: &mut Vec<Effect>,
    ) {
        let mut told = Vec::new();
        self.watch.see(seen, &mut told);
        self.tell_all(&told, by, now, records, fx);
    }

    pub(super) fn tell_all(
        &mut self,
        told: &[Told],
        by: &str,
        now: i64,
        records: &mut Vec<NewWeaving>,
        fx: &mut Vec<Effect>,
    ) {
        for told in told {
            self.tell(told, by, now, records, fx);
        }
    }

    /// Writes down what was said and what came of it.
    pub(super) fn keep(
        &mut self,
        at: i64,
        said: Vec<(WeavingKind, Value)>,
        told: &[Told],
        fx: &mut Vec<Effect>,
    ) {
        let mut records: Vec<NewWeaving> = said
            .into_iter()
            .map(|(kind, detail)| NewWeaving {
                at: UnixMillis(at),
                kind,
                detail,
            })
            .collect();
        // what is righted as the weaver says something is righted by that
        let by = if records.is_empty() { "loom" } else { "weaver" };
        self.tell_all(told, by, at, &mut records, fx);
        self.store(Vec::new(), records, fx);
    }

    /// Writes down events and what came of them, with the place as it is then.
    pub(super) fn store(
        &mut self,
        events: Vec<NewLoomEvent>,
        records: Vec<NewWeaving>,
        fx: &mut Vec<Effect>,
    ) {
        let unit = self
            .board
            .zip(self.next_event)
            .map(|(board, next)| UnitStored {
                board,
                boot: self.boot,
                next,
            });
        let stored = Stored {
            place: self.watch.place().clone(),
            counts: self.counts,
            undecided: self.undecided(),
            decks: self.decks.clone(),
            unfinished: false,
        };
        let woven = Woven {
            piece: self.order.piece,
            ended: records.iter().any(|r| r.kind == WeavingKind::Finished),
            events,
            records,
            place: serde_json::to_value(stored).unwrap_or_default(),
            unit,
        };
        self.record(Command::Woven(Box::new(woven)), self.next_event, fx);
    }

    /// Hands a command to the ledger; `next` is the first event that is on disk neither
    /// before it nor with it.
    pub(super) fn record(&mut self, command: Command, next: Option<u32>, fx: &mut Vec<Effect>) {
        let mark = Mark(self.marks);
        self.marks += 1;
        self.under_way.push_back((mark, next));
        fx.push(Effect::Record(mark, Box::new(command)));
    }

    /// Puts one thing told into words, for the screen and for the ledger.
    fn tell(
        &mut self,
        told: &Told,
        by: &str,
        now: i64,
        records: &mut Vec<NewWeaving>,
        fx: &mut Vec<Effect>,
    ) {
        let (at, kind, detail) = match told {
            Told::Woven { pick, at } => {
                self.pace.pick(*at);
                push_bounded(&mut self.woven, *pick, PICKS_KEPT);
                (*at, WeavingKind::Pick, self.pick_detail(*pick))
            }
            Told::Fault(fault) => (fault.at, WeavingKind::Fault, self.fault_detail(fault)),
            Told::Righted { fault, at, .. } => {
                let detail = json!({ "fault": fault, "by": by });
                (*at, WeavingKind::Righted, detail)
            }
            Told::Mark { words } => {
                self.line(now, words.clone(), true, fx);
                return;
            }
            Told::WantsChain => {
                self.wants_chain = true;
                return;
            }
            Told::Finished => {
                let words = "the last pick of the plan is woven".to_string();
                self.line(now, words, true, fx);
                return;
            }
        };
        if let Some(words) = self.words(told) {
            let sound = matches!(told, Told::Fault(_));
            let pick = match told {
                Told::Woven { pick, .. } => Some(pick + 1),
                _ => None,
            };
            self.push_line(Line { at, words, pick }, sound, fx);
        }
        records.push(NewWeaving {
            at: UnixMillis(at),
            kind,
            detail,
        });
    }
}
