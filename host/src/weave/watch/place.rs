//! Where the work stands. It is written down with every event, so that the next
//! session resumes where this one ended.

use cardwright_protocol::CardNumber;
use serde::{Deserialize, Serialize};

use super::fault::Fault;
use crate::weave::plan::DeckIndex;

/// A card of a deck.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Stand {
    /// Which deck of the plan.
    pub deck: DeckIndex,
    /// Which card of it.
    pub card: CardNumber,
}

/// Where the work stands.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// The pick of the plan that is to be woven next, from 0.
    pub next: u64,
    /// Picks that lie in the cloth after `next - 1` and are none of the plan's.
    pub stray: u32,
    /// How each of them was made, of the first ones.
    #[serde(default)]
    pub beside: Vec<Beside>,
    /// Picks in the cloth that count towards its length: those of the plan, and
    /// those a weaver has left in it.
    pub in_cloth: i64,
    /// What of it was woven when, in order: what is taken out of the cloth comes from
    /// its end. Of older pieces there is nothing.
    #[serde(default)]
    pub cloth: Vec<Laid>,
    /// The card that the last turn brought, if it is known.
    pub stands: Option<Stand>,
    /// The card of the pick woven last.
    pub last: Option<Stand>,
    /// Events of the take-up, less those let off.
    pub take_up: i64,
    /// What is wrong and neither righted nor decided, oldest first.
    pub open: Vec<Fault>,
    /// The number of the next fault.
    pub next_fault: u32,
    /// What was seen since the pick made last.
    pub since: Since,
    /// Picks in a row without an arrival of the shuttle, before the one in hand.
    pub picks_without_weft: u32,
    /// The rhythm of the turns.
    pub rhythm: Rhythm,
}

/// How a pick was made that is none of the plan's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Beside {
    /// The card that stood.
    pub stands: Option<Stand>,
    /// The cylinder had turned since the pick before.
    pub turned: bool,
    /// No weft was seen to be missing.
    pub whole: bool,
}

/// Picks that lie in the cloth one after another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Laid {
    /// Which pick of the plan the first of them is; of others the one that is next when
    /// they are taken out.
    pub pick: u64,
    /// How many.
    pub picks: u64,
    /// Whether they were counted as the plan's, one after another.
    pub of_plan: bool,
}

/// Picks beside the plan of which it is remembered how they were made.
const MOST_BESIDE: usize = 256;

/// Stretches of the cloth that are remembered: nobody takes out more.
const MOST_LAID: usize = 1_000;

impl Place {
    /// A pick of the plan lies in the cloth.
    pub(super) fn lay(&mut self, pick: u64) {
        self.in_cloth += 1;
        match self.cloth.last_mut() {
            Some(last) if last.of_plan && last.pick + last.picks == pick => last.picks += 1,
            _ => self.lay_anew(pick, 1, true),
        }
    }

    /// A pick beyond the plan lies in the cloth.
    pub(super) fn lay_beside(&mut self, beside: Beside) {
        if self.beside.len() == self.stray as usize && self.beside.len() < MOST_BESIDE {
            self.beside.push(beside);
        }
        self.stray += 1;
    }

    /// So many of the picks beyond the plan were taken out, the last ones.
    pub(super) fn take_beside(&mut self, picks: u32) {
        self.stray = self.stray.saturating_sub(picks);
        self.beside.truncate(self.stray as usize);
    }

    /// One of the picks beyond the plan was none; it is not known which.
    pub(super) fn was_no_pick(&mut self) {
        self.stray = self.stray.saturating_sub(1);
        self.beside.clear();
    }

    /// So many of the picks beyond the plan are the plan's, the first ones.
    pub(super) fn take_up_beside(&mut self, picks: u32) {
        self.stray = self.stray.saturating_sub(picks);
        let known = self.beside.len().min(picks as usize);
        self.beside.drain(..known);
    }

    /// The picks beyond the plan stay in the cloth; the last of them may be one of the
    /// plan's.
    pub(super) fn keep_stray(&mut self, last: Option<u64>) {
        let stray = std::mem::take(&mut self.stray);
        self.beside.clear();
        self.in_cloth += i64::from(stray);
        let beyond = stray.saturating_sub(u32::from(last.is_some()));
        if beyond > 0 {
            self.lay_anew(self.next, beyond.into(), false);
        }
        if let Some(pick) = last {
            self.lay_anew(pick, 1, false);
        }
    }

    /// Picks in the cloth that were never counted as the plan's.
    #[must_use]
    pub fn beyond_plan(&self) -> u64 {
        let beyond = self.cloth.iter().filter(|laid| !laid.of_plan);
        u64::from(self.stray) + beyond.map(|laid| laid.picks).sum::<u64>()
    }

    /// The weaver has said which pick is next: what lies in the cloth is what comes
    /// before it in the plan.
    pub(super) fn keep_as_said(&mut self) {
        self.in_cloth += i64::from(std::mem::take(&mut self.stray));
        self.beside.clear();
        self.cloth.clear();
    }

    fn lay_anew(&mut self, pick: u64, picks: u64, of_plan: bool) {
        if self.cloth.len() == MOST_LAID {
            self.cloth.remove(0);
        }
        self.cloth.push(Laid {
            pick,
            picks,
            of_plan,
        });
    }

    /// So many of the picks that count were taken out. The pick that is then next.
    pub(super) fn take_out(&mut self, mut picks: u64) -> u64 {
        self.in_cloth -= i64::try_from(picks).unwrap_or(i64::MAX);
        let mut next = self.next;
        while picks > 0 {
            let Some(last) = self.cloth.last_mut() else {
                // what comes before in the plan
                return next.saturating_sub(picks);
            };
            let taken = picks.min(last.picks);
            picks -= taken;
            last.picks -= taken;
            next = if last.of_plan {
                last.pick + last.picks
            } else {
                last.pick
            };
            if last.picks == 0 {
                self.cloth.pop();
            }
        }
        next
    }
}

/// What was seen since the pick made last.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Since {
    /// Turns of the cylinder, either way.
    pub turns: u32,
    /// Lifts of the griffe since the cylinder turned last.
    pub lifts: u32,
    /// Arrivals of the shuttle.
    pub wefts: u32,
}

/// How the cylinder's turns follow each other.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rhythm {
    /// When it turned last.
    pub turned_at: Option<i64>,
    /// Time from turn to turn as it mostly is, in milliseconds.
    pub turn_ms: Option<i64>,
}
