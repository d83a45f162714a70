//! A job: cards of a deck, cut and read back one by one, or read only. A pure
//! state machine.
//!
//! Enters: what the unit says, what the ledger has on disk, what a person
//! orders. Leaves: messages for the unit, records for the ledger, and news for
//! the person. Refuses to call a card good before its good verdict is on disk,
//! to send a card whose attempt is not on disk, and to let anything move after
//! a stop before a person has said so.

mod account;
pub(crate) mod collect;
pub(crate) mod flight;
mod news;
mod run;
mod settle;
mod stacked;
pub(crate) mod verdict;
mod words;

pub use account::{Account, SpoiledCard};
pub use news::{CalibrationNews, FaultPlace, News, UnitInfo, UpkeepNews, WeaveNews};
pub use run::Job;
pub use stacked::StackFinding;
pub use words::{remedy_of_stop, setting_words, stop_words, unsafe_words};

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::{CardId, CardNumber, HostToUnit, JobNumber, UnitToHost};

use crate::copy::Known;
use crate::deck::{Deck, Stroke};
use crate::judge::{Geometry, Limits};
use crate::ledger::writer::Command;
use crate::ledger::{OpenAttempt, UnixMillis};

/// What is done with the cards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Cut and read back.
    Cut,
    /// Read a stack already cut.
    Verify,
    /// Read a stack that no deck is known of; the order's deck is blank.
    Read,
    /// Cut what is missing into cards already cut.
    Mend,
}

/// When a spoiled card is cut again.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    clap::ValueEnum,
    serde::Serialize,
    serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Recut {
    /// After all others.
    #[default]
    End,
    /// As soon as the verdict is there.
    Now,
    /// Not in this run.
    Never,
}

/// What is to be done.
#[derive(Clone, Debug)]
pub struct Order {
    /// The job's number in the ledger.
    pub number: JobNumber,
    /// What is done.
    pub kind: Kind,
    /// The deck.
    pub deck: Arc<Deck>,
    /// Other decks that a card of a verified stack may be of.
    pub others: Arc<Vec<Deck>>,
    /// The cards to be done, in order: for cutting, those not yet good.
    pub cards: Vec<CardNumber>,
    /// For mending: the strokes that cut what is missing, for each of `cards`.
    pub mending: BTreeMap<CardNumber, Vec<Stroke>>,
    /// For reading: the stack ends when a person says so, and `cards` are more than
    /// there can be.
    pub until_told: bool,
    /// For reading a card whose format is not known: the formats it may be of.
    pub formats: Option<Arc<Known>>,
    /// What a person has to see to before anything moves; none if the order was
    /// given by somebody who has.
    pub first: Option<String>,
    /// When spoiled cards are cut again.
    pub recut: Recut,
    /// For the unit.
    pub settings: Settings,
    /// For the verdict.
    pub geometry: Geometry,
    /// For the verdict.
    pub limits: Limits,
    /// Attempts an earlier run of this job left open, in the order sent.
    pub open: Vec<OpenAttempt>,
    /// The highest attempt number used in this job, for each card tried.
    pub used: BTreeMap<CardNumber, u32>,
    /// Attempts of other jobs that are open: their readings must not be lost.
    pub open_elsewhere: BTreeSet<CardId>,
}

impl Order {
    /// The strokes this card is sent with.
    fn strokes(&self, card: CardNumber) -> Vec<Stroke> {
        match self.kind {
            Kind::Mend => self.mending.get(&card).cloned(),
            Kind::Cut | Kind::Verify | Kind::Read => self.deck.strokes(card),
        }
        .unwrap_or_default()
    }
}

/// A mark by which the ledger's answer finds its question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Mark(pub u64);

/// What a job is told.
#[derive(Clone, Debug)]
pub enum Input {
    /// A session with the unit has begun.
    Opened {
        /// The unit's boot number.
        boot: u32,
        /// The version agreed on.
        version: u16,
    },
    /// The unit says something.
    Message(Box<UnitToHost>),
    /// The unit has restarted; a new session will be opened.
    UnitRestarted,
    /// Nothing is heard from the unit.
    Silent,
    /// The unit is heard again.
    Heard,
    /// A record is on disk.
    Recorded(Mark),
    /// A person's order.
    Person(Person),
}

/// What a person orders.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case", tag = "order")]
pub enum Person {
    /// I have looked at the machine; let it move again.
    Reset,
    /// Hold the card in register.
    Pause,
    /// Go on after a pause.
    Resume,
    /// Finish the card in the rig, then end the job. Of a stack that nobody has
    /// counted it says that it ends here.
    Stop,
    /// As `Stop`, from somebody who does not want to go on: a stack that nobody has
    /// counted does not end here.
    Interrupt,
    /// Cards have been laid in.
    CardsLaidIn,
    /// Cut the spoiled cards again next.
    Recut,
    /// A weaver says something.
    Weave(Box<crate::weave::Says>),
}

/// What a job wants done.
#[derive(Clone, Debug)]
pub enum Effect {
    /// Send this to the unit.
    Send(HostToUnit),
    /// Write this into the ledger, and say when it is on disk.
    Record(Mark, Box<Command>),
    /// Tell the person.
    Tell(News),
}

/// Something that can be done over a link to a unit.
pub trait Task {
    /// Takes an input; `at` is the time of day. What it wants done is appended
    /// to `effects`.
    fn take(&mut self, input: Input, at: UnixMillis, effects: &mut Vec<Effect>);

    /// Whether the unit owes a message: it moves, or was asked something.
    fn waits_for_unit(&self) -> bool;

    /// How it ended, once nothing is left to be done or waited for.
    fn end(&self) -> Option<&End>;
}

/// The end of a task.
#[derive(Clone, Debug, PartialEq)]
pub enum End {
    /// Everything asked for was done; whether any fault was found or is left.
    Done {
        /// Faults found that are not mended.
        faults: bool,
    },
    /// A person stopped it.
    Stopped,
    /// The unit would not.
    Failed(String),
    /// What was asked cannot be done by this unit with these settings.
    Refused(String),
}
