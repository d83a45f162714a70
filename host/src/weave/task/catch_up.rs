//! What happened while nobody looked, until it is known whether it counts.
//!
//! Enters: events that no answer has reached yet, of this session or left by one
//! before. Leaves: the same, taken as they were counted or laid aside, and then what
//! was woven since. Refuses to lose them: they are written down with the place until
//! there is an answer.

use cardwright_protocol::loom::Happening;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Seen, Weave};
use crate::job::Effect;
use crate::ledger::{NewWeaving, UnixMillis, WeavingKind};
use crate::weave::watch::Apart;

/// What to do about it first of all.
pub(super) const ANSWER_FIRST: &str = "first answer what happened while this program was off: \
                                       Enter takes it as it was counted, x does not";

/// What was seen and stored, and is neither taken nor laid aside.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Undecided {
    /// The events, in order.
    pub seen: Vec<Seen>,
    /// How count and plan came apart after them, if they did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub apart: Option<Apart>,
    /// Another chain was hung after them.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub other_chain: bool,
}

impl Undecided {
    /// Whether there is nothing to decide.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.seen.is_empty() && self.apart.is_none()
    }
}

/// What happened while nobody looked, until it is known whether it counts.
#[derive(Debug)]
pub(super) struct CatchUp {
    /// The first event that was seen as it happened.
    until: u32,
    /// Whether all of it is here.
    asked: bool,
    pub missed: Undecided,
    /// What was seen as it happened, before there was an answer.
    live: Vec<Seen>,
}

impl CatchUp {
    /// What a session before has left without an answer.
    pub fn left(missed: &Undecided) -> Option<CatchUp> {
        (!missed.is_empty()).then(|| CatchUp {
            until: 0,
            asked: false,
            missed: missed.clone(),
            live: Vec::new(),
        })
    }

    /// What was seen while something else was asked, all of it.
    pub fn here(seen: Vec<Seen>) -> Option<CatchUp> {
        let until = seen.last()?.number.wrapping_add(1);
        let missed = Undecided {
            seen,
            ..Undecided::default()
        };
        Some(CatchUp {
            until,
            asked: true,
            missed,
            live: Vec::new(),
        })
    }

    /// Takes an event; whether it is the first of those seen as they happened.
    fn take(&mut self, seen: Seen) -> bool {
        let left = self.until.wrapping_sub(seen.number);
        if left != 0 && left < u32::MAX / 2 {
            self.missed.seen.push(seen);
            return false;
        }
        self.live.push(seen);
        self.live.len() == 1
    }
}

impl Weave {
    /// What is to be asked about, once all of it is here.
    pub(super) fn asks_catch_up(&self) -> Option<&CatchUp> {
        self.catch_up.as_ref().filter(|catch_up| catch_up.asked)
    }

    /// What is stored, and has not moved the place.
    pub(super) fn undecided(&self) -> Undecided {
        let mut all = Undecided::default();
        if let Some(catch_up) = &self.catch_up {
            all = catch_up.missed.clone();
            all.seen.extend(&catch_up.live);
        }
        all.seen.extend(&self.unplaced);
        all
    }

    /// What the unit has from `next` up to `until` was seen while nobody looked.
    pub(super) fn missed(&mut self, next: u32, until: u32) {
        if self.catch_up.is_none() && next != until {
            self.catch_up = Some(CatchUp {
                until,
                asked: false,
                missed: Undecided::default(),
                live: Vec::new(),
            });
        }
        if let Some(catch_up) = &mut self.catch_up {
            catch_up.until = until;
        }
        self.caught_until(next);
    }

    /// Everything before this event is here, or will never be.
    pub(super) fn caught_until(&mut self, next: u32) {
        if let Some(catch_up) = &mut self.catch_up {
            let left = catch_up.until.wrapping_sub(next);
            catch_up.asked |= left == 0 || left > u32::MAX / 2;
        }
    }

    /// Count and plan came apart after what is not decided yet; whether there is such.
    pub(super) fn apart_later(&mut self, apart: Apart) -> bool {
        let catch_up = self.catch_up.as_mut();
        let Some(catch_up) = catch_up.filter(|catch_up| !catch_up.missed.is_empty()) else {
            return false;
        };
        catch_up.missed.apart = Some(apart);
        true
    }

    /// Keeps an event until there is an answer; whether there is to be one.
    pub(super) fn keeps_for_later(&mut self, seen: Seen, now: i64, fx: &mut Vec<Effect>) -> bool {
        let Some(catch_up) = &mut self.catch_up else {
            if self.asks_place() {
                self.unplaced.push(seen);
            }
            return self.asks_place();
        };
        if catch_up.take(seen) {
            let words = "weaving has gone on; what is woven now is counted once it is answered what \
                         happened while this program was off";
            self.line(now, words.to_string(), true, fx);
        }
        true
    }

    /// If nothing happened meanwhile but wefts laid aside and cloth wound on, there
    /// is nothing to ask.
    pub(super) fn nothing_missed(&mut self, now: i64, fx: &mut Vec<Effect>) {
        let Some(catch_up) = self.asks_catch_up() else {
            return;
        };
        if catch_up.missed.is_empty() && catch_up.live.is_empty() {
            self.catch_up = None;
            return;
        }
        let idle = |seen: &Seen| matches!(seen.what, Happening::TakenUp | Happening::LetOff);
        if catch_up.missed.apart.is_none() && catch_up.missed.seen.iter().all(idle) {
            self.caught_up(true, now, fx);
        }
    }

    /// What was seen meanwhile is taken as it was counted, or laid aside; what was
    /// woven since follows.
    pub(super) fn caught_up(&mut self, take: bool, now: i64, fx: &mut Vec<Effect>) {
        let Some(catch_up) = self.catch_up.take_if(|catch_up| catch_up.asked) else {
            return;
        };
        let missed = catch_up.missed;
        let (turns, beats) = sums(&missed.seen);
        let detail = json!({
            "taken": take, "events": missed.seen.len(), "turns": turns, "beats": beats
        });
        let mut records = vec![NewWeaving {
            at: UnixMillis(now),
            kind: WeavingKind::Caught,
            detail,
        }];
        let mut told = Vec::new();
        if take {
            for seen in &missed.seen {
                self.see(*seen, "weaver", now, &mut records, fx);
            }
        }
        if missed.other_chain || !take && turns != 0 {
            self.watch.forget_stand(&mut told);
        }
        if let Some(apart) = missed.apart {
            self.watch.apart(apart, self.seen_now(now), &mut told);
        }
        self.tell_all(&told, "weaver", now, &mut records, fx);
        // not decided until it is looked at: a power cut in between loses none of it
        self.unplaced = catch_up.live;
        self.store(Vec::new(), records, fx);
        if !self.asks_place() && !self.unplaced.is_empty() {
            let mut records = Vec::new();
            for seen in std::mem::take(&mut self.unplaced) {
                self.see(seen, "loom", now, &mut records, fx);
            }
            self.store(Vec::new(), records, fx);
        }
    }
}

/// Cards turned on less those turned back, and beats.
pub(super) fn sums(events: &[Seen]) -> (i64, u64) {
    events
        .iter()
        .fold((0, 0), |(turns, beats), seen| match seen.what {
            Happening::CardForward => (turns + 1, beats),
            Happening::CardBack => (turns - 1, beats),
            Happening::Beat => (turns, beats + 1),
            _ => (turns, beats),
        })
}
