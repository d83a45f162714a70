//! Rows of the ledger's lists, each of which can be serialised. Enters: what
//! was read from the database. Leaves: plain values. Refuses nothing.

use super::types::{DeckSha, Fault, PunchSeen, Readings, UnixMillis};
use super::words::{Ending, EventKind, JobKind, Verdict};
use crate::judge::Reading;
use cardwright_protocol::unit_to_host::{CardBegan, CardEnded, Levels};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeMap;

/// A job in a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JobRow {
    /// Its number.
    pub job: JobNumber,
    /// What for.
    pub kind: JobKind,
    /// The deck's name.
    pub deck: Option<String>,
    /// The deck's content.
    pub deck_sha256: Option<DeckSha>,
    /// The board of the unit, hexadecimal.
    pub unit: Option<String>,
    /// When it began.
    pub started: UnixMillis,
    /// When it ended; none while it is open.
    pub ended: Option<UnixMillis>,
    /// How it ended; none while it is open.
    pub ending: Option<Ending>,
    /// Attempts sent.
    pub attempts: u32,
    /// Attempts that came out good.
    pub good: u32,
    /// Attempts sent and not heard of again yet.
    pub open: u32,
    /// The job's settings.
    pub settings: Value,
}

/// An attempt in a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AttemptRow {
    /// The job.
    pub job: JobNumber,
    /// The card.
    pub card: CardNumber,
    /// The try.
    pub attempt: Attempt,
    /// What became of it.
    pub verdict: Verdict,
    /// Everything wrong with it.
    pub faults: Vec<Fault>,
    /// How many strokes it takes.
    pub strokes: u16,
    /// `strokes_crc` over them.
    pub strokes_crc: u32,
    /// Strokes begun.
    pub strokes_made: u16,
    /// Lines read.
    pub lines: u16,
    /// Measured length in micrometres; 0 if it is not known.
    pub length_um: u32,
    /// Its place in the stack.
    pub place: Option<u32>,
    /// When it was sent.
    pub sent: UnixMillis,
    /// When it ended.
    pub ended: Option<UnixMillis>,
    /// Whether its raw readings are kept.
    pub readings: bool,
}

impl AttemptRow {
    /// Which attempt.
    #[must_use]
    pub fn id(&self) -> CardId {
        CardId {
            job: self.job,
            card: self.card,
            attempt: self.attempt,
        }
    }
}

/// The reading of an attempt, as the unit sent it.
#[must_use]
pub fn reading_of(attempt: &AttemptRow, raw: Readings, samples_per_row: u8) -> Reading {
    let (id, place) = (attempt.id(), attempt.place.unwrap_or(0));
    Reading {
        began: CardBegan {
            id,
            place,
            dark: raw.dark,
            open: raw.open,
        },
        ended: CardEnded {
            id,
            place,
            complete: true,
            strokes: attempt.strokes_made,
            lines: attempt.lines,
            length_um: attempt.length_um,
        },
        samples_per_row,
        holes: raw.holes,
        samples: raw.samples,
    }
}

/// A card of a deck, over all jobs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardRow {
    /// The card.
    pub card: CardNumber,
    /// Whether there is a good one.
    pub good: bool,
    /// How often it was sent.
    pub attempts: u32,
    /// The verdict of the last attempt; none if it was never sent.
    pub last: Option<Verdict>,
    /// Faults over all attempts, by kind.
    pub faults: BTreeMap<String, u32>,
}

/// A deck in a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeckRow {
    /// Its number in the ledger.
    pub deck: u32,
    /// What it is called.
    pub name: String,
    /// SHA-256 of its content.
    pub sha256: DeckSha,
    /// The name of its card format.
    pub format: String,
    /// How many cards it has.
    pub cards: u32,
    /// When it was first met.
    pub first_seen: UnixMillis,
}

/// A unit in a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnitRow {
    /// Its board, hexadecimal.
    pub board: String,
    /// `rig` or `loom`.
    pub role: String,
    /// Its firmware's version.
    pub firmware: String,
    /// The protocol version agreed on.
    pub protocol: u16,
    /// When it was first seen.
    pub first_seen: UnixMillis,
    /// When it was last seen.
    pub last_seen: UnixMillis,
    /// Its boot number when last seen.
    pub boot: u32,
    /// Why it last stopped.
    pub last_stop: String,
    /// Settings sent last.
    pub settings: Option<Value>,
}

/// An event in a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EventRow {
    /// Its number; events are numbered in the order they were written.
    pub event: u32,
    /// When.
    pub at: UnixMillis,
    /// In which job.
    pub job: Option<JobNumber>,
    /// What.
    pub kind: EventKind,
    /// More about it.
    pub detail: Value,
}

/// What one punch's holes in one card were like.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PunchRow {
    /// The job.
    pub job: JobNumber,
    /// The card.
    pub card: CardNumber,
    /// The try.
    pub attempt: Attempt,
    /// When it was judged.
    pub ended: UnixMillis,
    /// What was seen.
    #[serde(flatten)]
    pub seen: PunchSeen,
}

/// What a unit was found to be like when it was calibrated.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalibrationRow {
    /// Its number.
    pub calibration: i64,
    /// The board of the unit, hexadecimal.
    pub board: String,
    /// Holes a row of the card format.
    pub holes: u8,
    /// When.
    pub at: UnixMillis,
    /// What was found.
    pub detail: Value,
}

/// The levels with which a card's reading began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LevelsRow {
    /// With the lamp off.
    pub dark: Levels,
    /// With the lamp on and no card.
    pub open: Levels,
    /// When that card was judged.
    pub at: UnixMillis,
}

/// What the ledger knows of a unit's reader and punches, with cards of so many
/// holes a row. The default is that of a unit that has never read a card.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Upkeep {
    /// Holes a row.
    pub holes: Option<u8>,
    /// The newest calibration.
    pub calibration: Option<CalibrationRow>,
    /// Every card's holes, punch by punch, in the order in which they were cut.
    pub punches: Vec<PunchRow>,
    /// The levels of the card read last.
    pub levels: Option<LevelsRow>,
}
