//! What a person is told, in order. The same values are lines of JSON.

use std::path::PathBuf;

use cardwright_protocol::unit_to_host::{Counters, Identity, Status, StopReason, UnitToHost};
use cardwright_protocol::{Attempt, CardNumber, JobNumber};
use serde::{Deserialize, Serialize};

use super::account::Account;
use super::stacked::StackFinding;
use crate::calibrate::Calibration;
use crate::judge::HoleFault;
use crate::ledger::BoardId;
use crate::stack::Whereabouts;
use crate::wear::PunchState;

/// A wrong hole, for a person to find.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FaultPlace {
    /// `missing` or `extra`.
    pub kind: String,
    /// The stroke, from 1.
    pub stroke: u16,
    /// The needle row, from 1; none for lace and peg holes.
    pub row: Option<u16>,
    /// The hole, from 1; 0 is the peg hole.
    pub hole: u8,
    /// Light found, in thousandths of a whole hole's.
    pub open_permille: u16,
    /// The whole of it in words.
    pub words: String,
}

impl From<&HoleFault> for FaultPlace {
    fn from(fault: &HoleFault) -> FaultPlace {
        FaultPlace {
            kind: fault.kind.to_string(),
            stroke: fault.stroke + 1,
            row: fault.row,
            hole: fault.hole,
            open_permille: fault.open_permille,
            words: fault.to_string(),
        }
    }
}

/// What a unit says of itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitInfo {
    /// What it is.
    pub identity: Identity,
    /// How it stands.
    pub status: Status,
    /// What it has counted.
    pub counters: Counters,
    /// The protocol version agreed on.
    pub protocol: u16,
    /// The lowest and the highest that this program speaks.
    pub program_speaks: (u16, u16),
}

/// What the ledger knows of a unit's reader and punches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UpkeepNews {
    /// With cards of so many holes a row; none if it has never read a card.
    pub holes: Option<u8>,
    /// When it was calibrated for them; none if it never was.
    pub calibrated: Option<String>,
    /// Every punch that has cut such cards.
    pub punches: Vec<PunchState>,
    /// The punches in words: a line each that is not steady, or one for all.
    pub words: Vec<String>,
    /// What a person is advised to do.
    pub advice: Vec<String>,
}

/// What came of calibrating.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationNews {
    /// Whether it was stored.
    pub stored: bool,
    /// Why not, and what to do; empty if it was.
    pub refusal: String,
    /// What was found, if nothing was refused.
    pub found: Option<Calibration>,
    /// The same in words.
    pub words: Vec<String>,
}

/// What a weaver is told.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WeaveNews {
    /// The work as it stands now.
    View(Box<crate::weave::view::View>),
    /// Something has happened.
    Line {
        /// What and when.
        line: crate::weave::view::Line,
        /// Whether it is worth a sound.
        sound: bool,
    },
}

/// A piece of news.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "event")]
pub enum News {
    /// The job begins.
    Job {
        /// Its number.
        job: JobNumber,
        /// `cut` or `verify`.
        kind: String,
        /// The deck's name.
        deck: String,
        /// Cards to be done.
        cards: u32,
        /// Cards of the deck that are good already and are left alone.
        already_good: u32,
        /// Whether an earlier run of this job is taken up.
        taken_up: bool,
    },
    /// A unit answers.
    Unit {
        /// Its board, hexadecimal.
        board: String,
        /// Its firmware.
        firmware: String,
        /// Its boot number.
        boot: u32,
    },
    /// A card's edge has been found.
    Begun {
        /// The card.
        card: CardNumber,
        /// The try.
        attempt: Attempt,
        /// Its place in the stack.
        place: u32,
    },
    /// Strokes done on the card in the rig.
    Progress {
        /// The card.
        card: CardNumber,
        /// Strokes done.
        strokes: u16,
        /// Strokes it takes.
        of: u16,
    },
    /// A card has its verdict, and the ledger has it.
    Card {
        /// The card.
        card: CardNumber,
        /// The try.
        attempt: Attempt,
        /// Its place in the stack, if it was begun.
        place: Option<u32>,
        /// The verdict.
        verdict: String,
        /// What was found, in a sentence.
        summary: String,
        /// What a person does about it; empty for a good card.
        remedy: String,
        /// Wrong holes.
        faults: Vec<FaultPlace>,
    },
    /// A card that lies where another one should, judged as the card that it is.
    Elsewhere {
        /// The card.
        card: CardNumber,
        /// Its place in the stack.
        place: Option<u32>,
        /// The verdict.
        verdict: String,
        /// What was found, in a sentence.
        summary: String,
        /// What a person does about it; empty for a good card.
        remedy: String,
        /// Wrong holes.
        faults: Vec<FaultPlace>,
    },
    /// The unit switched its outputs off.
    Stopped {
        /// Why.
        reason: StopReason,
        /// The same in words.
        words: String,
        /// What a person does about it.
        remedy: String,
        /// The card in the rig.
        card: Option<CardNumber>,
        /// At most this long after the cause everything was off.
        off_after_us: u32,
    },
    /// Nothing goes on until a person has looked and says so.
    NeedsReset {
        /// What is to be done first.
        remedy: String,
    },
    /// The machine moves, or is about to.
    Started,
    /// The card is held in register.
    Paused,
    /// It goes on after a pause.
    Resumed,
    /// A card has to be laid in, or the magazine filled.
    WantsCards,
    /// The unit is not heard.
    UnitSilent,
    /// It is heard again.
    UnitHeard,
    /// The unit has restarted.
    UnitRestarted,
    /// The unit did not carry out an order.
    Refused {
        /// Why.
        words: String,
    },
    /// What a unit is, how it stands, what it has counted, and the protocol
    /// version agreed on.
    Info(Box<UnitInfo>),
    /// A serial port, and the unit that answers on it.
    Port {
        /// Its name.
        port: String,
        /// The serial number of the board behind it, if it is one of ours.
        board: Option<String>,
        /// What the system knows of what is plugged in.
        what: String,
        /// The unit, if one answers.
        unit: Option<Box<UnitInfo>>,
    },
    /// What the ledger knows of a unit's reader and punches.
    Upkeep(Box<UpkeepNews>),
    /// Something a person should see to when there is time for it.
    Advice {
        /// What and why.
        words: String,
    },
    /// A rig was calibrated, or was not.
    Calibration(Box<CalibrationNews>),
    /// From the loom.
    Weave(Box<WeaveNews>),
    /// A part was moved on its own.
    Exercised {
        /// What was seen, in words.
        words: String,
        /// As the unit reported it.
        report: Box<UnitToHost>,
    },
    /// Something a person should know.
    Note {
        /// What.
        words: String,
    },
    /// A stack was copied into a deck file.
    Copied {
        /// The file.
        deck: PathBuf,
        /// Its cards.
        cards: u32,
        /// How often the stack was read.
        passes: u32,
        /// Cards that could not be read or were lacking.
        gaps: Vec<CardNumber>,
        /// Positions that could not be told.
        doubtful: u32,
    },
    /// Where a loose card belongs.
    Which {
        /// Every card that it may be, best first; none if it is of no known deck.
        found: Vec<Whereabouts>,
        /// Decks that were looked in.
        decks: u32,
    },
    /// A whole stack was read, and this is wrong with its order; nothing, if it is
    /// the deck in order.
    Stack {
        /// What is wrong.
        findings: Vec<StackFinding>,
    },
    /// The account; the last news of a job.
    Summary(Box<Account>),
}

impl News {
    /// A unit answers, which says this of itself.
    #[must_use]
    pub fn unit(identity: &Identity) -> News {
        News::Unit {
            board: BoardId(identity.board).to_string(),
            firmware: identity.firmware.to_string(),
            boot: identity.boot,
        }
    }

    /// Whether it is a picture of the present, which the next one makes worthless.
    #[must_use]
    pub fn is_view(&self) -> bool {
        matches!(self, News::Weave(news) if matches!(**news, WeaveNews::View(_)))
    }
}
