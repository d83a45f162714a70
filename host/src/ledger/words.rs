//! The lists of words in the ledger. Each only grows: a word once written is
//! read for as long as ledgers are kept.

use serde::{Deserialize, Serialize};

/// What a job is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum JobKind {
    /// Cut a deck's cards and read each back.
    Cut,
    /// Read a stack already cut and compare it with its deck.
    Verify,
    /// Read a stack into a new deck.
    Read,
    /// Cut missing holes into cards already cut.
    Mend,
    /// Read a blank and a full card to know the unit by.
    Calibrate,
}

impl JobKind {
    /// Every kind.
    pub const ALL: [JobKind; 5] = [
        JobKind::Cut,
        JobKind::Verify,
        JobKind::Read,
        JobKind::Mend,
        JobKind::Calibrate,
    ];

    /// The word in the ledger.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            JobKind::Cut => "cut",
            JobKind::Verify => "verify",
            JobKind::Read => "read",
            JobKind::Mend => "mend",
            JobKind::Calibrate => "calibrate",
        }
    }
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// All that was asked for was tried.
    Done,
    /// A person stopped it.
    Stopped,
    /// It could not go on.
    Failed,
}

impl Ending {
    /// Every ending.
    pub const ALL: [Ending; 3] = [Ending::Done, Ending::Stopped, Ending::Failed];

    /// The word in the ledger.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Ending::Done => "done",
            Ending::Stopped => "stopped",
            Ending::Failed => "failed",
        }
    }
}

/// What became of one piece of card stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Sent to the unit; nothing more is known.
    Sent,
    /// This very card was read and every hole position matched.
    Good,
    /// Holes are missing.
    Missing,
    /// Holes are not wholly cut or not clear.
    Partial,
    /// There are holes too many.
    Extra,
    /// Holes lie beside their places.
    #[serde(rename = "out of register")]
    OutOfRegister,
    /// Faults of more than one kind.
    Mixed,
    /// It was begun and not finished.
    Interrupted,
    /// It was finished and could not be read.
    Unread,
    /// It never entered the rig; no stock was used.
    #[serde(rename = "not begun")]
    NotBegun,
    /// A sound card of this deck, but another one than was expected here.
    #[serde(rename = "out of order")]
    OutOfOrder,
    /// Read, with no deck to be compared with.
    Read,
}

impl Verdict {
    /// Every verdict.
    pub const ALL: [Verdict; 12] = [
        Verdict::Sent,
        Verdict::Good,
        Verdict::Missing,
        Verdict::Partial,
        Verdict::Extra,
        Verdict::OutOfRegister,
        Verdict::Mixed,
        Verdict::Interrupted,
        Verdict::Unread,
        Verdict::NotBegun,
        Verdict::OutOfOrder,
        Verdict::Read,
    ];

    /// The word in the ledger.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Verdict::Sent => "sent",
            Verdict::Good => "good",
            Verdict::Missing => "missing",
            Verdict::Partial => "partial",
            Verdict::Extra => "extra",
            Verdict::OutOfRegister => "out of register",
            Verdict::Mixed => "mixed",
            Verdict::Interrupted => "interrupted",
            Verdict::Unread => "unread",
            Verdict::NotBegun => "not begun",
            Verdict::OutOfOrder => "out of order",
            Verdict::Read => "read",
        }
    }
}

/// What happened beside the cards.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// The unit switched its outputs off.
    Stop,
    /// A person looked at the machine and reset it.
    Reset,
    /// The card was held in register.
    Pause,
    /// It went on after a pause.
    Resume,
    /// A unit was found.
    #[serde(rename = "unit found")]
    UnitFound,
    /// A unit no longer answers.
    #[serde(rename = "unit lost")]
    UnitLost,
    /// A unit is of a protocol version this program does not speak.
    #[serde(rename = "version refused")]
    VersionRefused,
    /// The unit did not carry out an order.
    #[serde(rename = "order refused")]
    OrderRefused,
}

impl EventKind {
    /// Every kind.
    pub const ALL: [EventKind; 8] = [
        EventKind::Stop,
        EventKind::Reset,
        EventKind::Pause,
        EventKind::Resume,
        EventKind::UnitFound,
        EventKind::UnitLost,
        EventKind::VersionRefused,
        EventKind::OrderRefused,
    ];

    /// The word in the ledger.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            EventKind::Stop => "stop",
            EventKind::Reset => "reset",
            EventKind::Pause => "pause",
            EventKind::Resume => "resume",
            EventKind::UnitFound => "unit found",
            EventKind::UnitLost => "unit lost",
            EventKind::VersionRefused => "version refused",
            EventKind::OrderRefused => "order refused",
        }
    }
}
