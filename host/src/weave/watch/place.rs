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
    /// Picks in the cloth that count towards its length: those of the plan, and
    /// those a weaver has left in it.
    pub in_cloth: i64,
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
