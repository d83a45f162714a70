//! What is written down: plain values. Enters: numbers,
//! words and bytes from the job. Leaves: the same. Refuses nothing by itself.

use super::words::{EventKind, JobKind, Verdict};
use cardwright_protocol::unit_to_host::{Identity, Levels, Role, StopReason};
use cardwright_protocol::{CardId, JobNumber};
use serde::{Deserialize, Serialize, Serializer};
use serde_json::Value;
use std::fmt;

/// A moment in milliseconds since 1970-01-01 00:00 UTC. The caller passes it
/// in; there is no clock in the ledger.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UnixMillis(pub i64);

impl fmt::Display for UnixMillis {
    /// ISO 8601 in UTC with milliseconds, `2026-03-01T08:15:00.250Z`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_millisecond(self.0) {
            Ok(time) => write!(f, "{time:.3}"),
            Err(_) => write!(f, "{} ms", self.0),
        }
    }
}

impl Serialize for UnixMillis {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// SHA-256 of a deck file's content: which deck, whatever it is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeckSha(pub [u8; 32]);

impl fmt::Display for DeckSha {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for DeckSha {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The unchanging number of a unit's board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BoardId(pub [u8; 8]);

impl BoardId {
    /// The number that is written like this.
    #[must_use]
    pub fn parse(text: &str) -> Option<BoardId> {
        let number = u64::from_str_radix(text, 16).ok()?;
        (text.len() == 16).then_some(BoardId(number.to_be_bytes()))
    }
}

impl fmt::Display for BoardId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for BoardId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// One thing wrong with a card.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// What is wrong, in a word or three such as `missing`; counted in lists.
    pub kind: String,
    /// The stroke, from 0; none for the card as a whole.
    #[serde(default)]
    pub stroke: Option<u16>,
    /// The needle row, from 1; none for lace and peg holes.
    #[serde(default)]
    pub row: Option<u16>,
    /// The hole in the row, from 1; 0 is the peg hole; none for a whole row.
    #[serde(default)]
    pub hole: Option<u8>,
    /// What was measured.
    #[serde(default)]
    pub measured: Option<f64>,
    /// What `measured` is: `open permille`, `um`; empty if nothing was.
    #[serde(default)]
    pub measured_in: String,
    /// The reason and the remedy in words, where there is more to say.
    #[serde(default)]
    pub note: String,
}

/// The raw readings of one card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Readings {
    /// Channels in a line, 1 to 16.
    pub holes: u8,
    /// Levels with the lamp off.
    pub dark: Levels,
    /// Levels with the lamp on and no card.
    pub open: Levels,
    /// Levels, `holes` bytes a line, lines in order.
    pub samples: Vec<u8>,
}

impl Readings {
    /// How many whole lines there are.
    #[must_use]
    pub fn lines(&self) -> usize {
        self.samples
            .len()
            .checked_div(usize::from(self.holes))
            .unwrap_or(0)
    }
}

/// A deck as a job meets it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewDeck {
    /// SHA-256 of the deck file's content.
    pub sha256: DeckSha,
    /// What it is called.
    pub name: String,
    /// The name of its card format.
    pub format: String,
    /// How many cards it has.
    pub cards: u32,
    /// The deck file's text.
    pub text: String,
}

/// A job about to begin.
#[derive(Clone, Debug, PartialEq)]
pub struct NewJob {
    /// What for.
    pub kind: JobKind,
    /// Its deck; none when a stack is read into a new one.
    pub deck: Option<NewDeck>,
    /// The unit, if it is known yet.
    pub unit: Option<BoardId>,
    /// The job's settings.
    pub settings: Value,
    /// Now.
    pub started: UnixMillis,
}

/// A card about to be sent to the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NewAttempt {
    /// Which.
    pub id: CardId,
    /// How many strokes it takes.
    pub strokes: u16,
    /// `strokes_crc` over them.
    pub crc: u32,
    /// Now.
    pub sent: UnixMillis,
}

/// The end of an attempt.
#[derive(Clone, Debug, PartialEq)]
pub struct EndedAttempt {
    /// Which.
    pub id: CardId,
    /// What became of it; never [`Verdict::Sent`]. [`Verdict::Good`] wants
    /// readings and no faults.
    pub verdict: Verdict,
    /// Everything wrong with it.
    pub faults: Vec<Fault>,
    /// Strokes begun.
    pub strokes_made: u16,
    /// Lines read.
    pub lines: u16,
    /// Measured length in micrometres; 0 if it is not known.
    pub length_um: u32,
    /// Its place in the stack, as the unit counts; none if not begun.
    pub place: Option<u32>,
    /// The raw readings, if there are any.
    pub readings: Option<Readings>,
    /// What the holes of each punch were like, if this card was cut now.
    pub punches: Vec<PunchSeen>,
    /// Now.
    pub ended: UnixMillis,
}

/// What one punch's holes in one card were like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PunchSeen {
    /// The hole, from 1; 0 is the peg punch.
    pub hole: u8,
    /// Its whole holes.
    pub holes: u16,
    /// Their mean diameter, in micrometres.
    pub diameter_um: i32,
    /// How far behind the other punches' they lie along the feed, in micrometres.
    pub along_um: i32,
}

/// An attempt that was sent and has not ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct OpenAttempt {
    /// Which.
    #[serde(flatten)]
    pub id: CardId,
    /// How many strokes it takes.
    pub strokes: u16,
    /// `strokes_crc` over them.
    pub crc: u32,
    /// When it was sent.
    pub sent: UnixMillis,
}

/// A unit that has said what it is.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenUnit {
    /// Its board.
    pub board: BoardId,
    /// Its kind.
    pub role: Role,
    /// Its firmware's version.
    pub firmware: String,
    /// The protocol version agreed on.
    pub protocol: u16,
    /// Its boot number.
    pub boot: u32,
    /// Why it last stopped.
    pub last_stop: StopReason,
    /// Settings sent; none leaves what was written down before.
    pub settings: Option<Value>,
    /// Now.
    pub at: UnixMillis,
}

impl SeenUnit {
    /// A unit as it says what it is, spoken to in this version of the protocol.
    #[must_use]
    pub fn of(
        identity: &Identity,
        protocol: u16,
        settings: Option<Value>,
        at: UnixMillis,
    ) -> SeenUnit {
        SeenUnit {
            board: BoardId(identity.board),
            role: identity.role,
            firmware: identity.firmware.to_string(),
            protocol,
            boot: identity.boot,
            last_stop: identity.last_stop,
            settings,
            at,
        }
    }
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct NewEvent {
    /// When.
    pub at: UnixMillis,
    /// In which job, if in any.
    pub job: Option<JobNumber>,
    /// What.
    pub kind: EventKind,
    /// More about it.
    pub detail: Value,
}

/// What a unit was found to be like.
#[derive(Clone, Debug, PartialEq)]
pub struct NewCalibration {
    /// Its board.
    pub board: BoardId,
    /// Holes a row of the card format.
    pub holes: u8,
    /// Now.
    pub at: UnixMillis,
    /// What was found.
    pub detail: Value,
}
