//! What a screen shows of the work: everything in it is ready to be read.

use serde::{Deserialize, Serialize};

use super::task::Says;
use super::watch::{Choice, Decision, Fault, Remedy, Stand};

/// The next pick.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct NextPick {
    /// Its number in the plan, from 1.
    pub number: u64,
    /// The section's name.
    pub section: String,
    /// Which section, from 1, and how many there are.
    pub section_of: (usize, usize),
    /// Which repeat, from 1, and how many there are.
    pub repeat_of: (u64, u64),
    /// The card; none for a ground pick.
    pub card: Option<u32>,
    /// The card's deck, where the plan has several.
    pub deck: Option<String>,
    /// The weft, and its colour if the plan says one.
    pub weft: Option<(String, Option<[u8; 3]>)>,
    /// Whether the cards run backwards there; none for a ground pick.
    pub back: Option<bool>,
    /// How the cylinder gets there, if not by one turn on or back as before.
    pub turns: Option<String>,
}

/// A fault that is open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpenFault {
    /// The fault.
    pub fault: Fault,
    /// What is wrong.
    pub words: String,
    /// How it shows.
    pub evidence: String,
    /// How to get right again.
    pub remedy: String,
    /// The same, for hands.
    pub hands: Remedy,
    /// What can be decided instead.
    pub choices: Vec<(Choice, String)>,
}

impl Asking {
    /// What it is to say yes to it.
    #[must_use]
    pub fn yes(&self) -> Says {
        let decision = match self {
            Asking::CatchUp { .. } => return Says::CatchUp { take: true },
            Asking::End => return Says::End,
            Asking::Chain { .. } => Decision::ChainReady,
            Asking::Place { next, .. } => Decision::NextIs {
                pick: next.saturating_sub(1),
            },
        };
        Says::Decided { decision }
    }

    /// What is to be known of a plan that was changed, if that is what is asked about.
    #[must_use]
    pub fn changed(&self) -> Option<String> {
        let Asking::Place {
            was, same_number, ..
        } = self
        else {
            return None;
        };
        Some(format!(
            "the plan was changed, and the picks woven so far are not those it begins with now: by \
             the plan as it was {was} was next; there the plan as it is now has {same_number}"
        ))
    }

    /// What Enter says, if it can be said while a fault is told of.
    #[must_use]
    pub fn beside_a_fault(&self) -> Option<String> {
        match self {
            Asking::Chain { .. } => {
                let turn = self.next_turn()?;
                Some(format!("the chain is laid: {turn}"))
            }
            Asking::End => Some("the piece is done, with this fault open".to_string()),
            Asking::Place { .. } | Asking::CatchUp { .. } => None,
        }
    }

    /// What the next turn is and brings, if it is asked how the chain lies.
    #[must_use]
    pub fn next_turn(&self) -> Option<String> {
        let Asking::Chain { card, back } = self else {
            return None;
        };
        let way = if *back { "back" } else { "forwards" };
        Some(format!("the next turn, {way}, brings {card}"))
    }
}

impl View {
    /// Whether the weaver has said that the piece is done.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.begun && self.next.is_none() && self.asking.is_none()
    }

    /// All picks that lie in the cloth, those beside the plan with them.
    #[must_use]
    pub fn in_the_cloth(&self) -> u64 {
        u64::from(self.stray) + u64::try_from(self.in_cloth).unwrap_or_default()
    }
}

/// What the weaver is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "asks")]
pub enum Asking {
    /// Lay the chain so that the next turn brings this card, and say so.
    Chain {
        /// The card, in words.
        card: String,
        /// That turn goes backwards.
        #[serde(default)]
        back: bool,
    },
    /// The plan was changed, and the picks woven so far are no longer those it begins
    /// with: which one is next?
    Place {
        /// What was next by the plan as it was.
        was: String,
        /// What the pick of that number is by the plan as it is now.
        same_number: String,
        /// The pick that may be next, from 1.
        next: u64,
        /// What that is.
        proposed: String,
    },
    /// Something happened while this program was off: is it to be taken as it was
    /// counted?
    CatchUp {
        /// Events in all.
        events: u64,
        /// Cards turned on, less those turned back.
        turns: i64,
        /// Beats.
        beats: u64,
        /// The pick that would be next if it is, from 1; none if that was the last.
        next: Option<u64>,
        /// Faults that it shows.
        faults: Vec<String>,
    },
    /// The last pick of the plan is woven: is the piece done, or do picks come out
    /// again?
    End,
}

/// One line of what has happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// When, in milliseconds since 1970.
    pub at: i64,
    /// What.
    pub words: String,
    /// The pick that was woven, from 1, if it is of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pick: Option<u64>,
}

/// The work as it stands.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// The plan's name.
    pub plan: String,
    /// The piece's number in the ledger.
    pub piece: u32,
    /// The time, by the loom's clock, in milliseconds since 1970.
    pub now: i64,
    /// The next pick; none when all are woven.
    pub next: Option<NextPick>,
    /// The card that stands; none if it is not known or not seen.
    pub stands: Option<Stand>,
    /// Cards that the cylinder must be turned by until the plan's card stands, on
    /// positive; none if it is not known.
    pub turns_wanted: Option<i64>,
    /// Picks of the plan that are woven, and in all.
    pub picks: (u64, u64),
    /// Picks in the cloth that count.
    pub in_cloth: i64,
    /// Picks in the cloth that are none of the plan's.
    pub stray: u32,
    /// By the sett: millimetres that lie in the cloth, and that the plan weaves.
    pub length_mm: (Option<f64>, Option<f64>),
    /// Millimetres wound on, if that is seen.
    pub take_up_mm: Option<f64>,
    /// Picks a minute.
    pub picks_a_minute: Option<f64>,
    /// Seconds left at this pace.
    pub seconds_left: Option<f64>,
    /// What is wrong.
    pub open: Vec<OpenFault>,
    /// What is asked.
    pub asking: Option<Asking>,
    /// The unit is followed: what is asked before it can be woven is asked here.
    #[serde(default)]
    pub begun: bool,
    /// The weaver rests.
    pub paused: bool,
    /// The unit is heard.
    pub heard: bool,
    /// What happened last, the newest at the end.
    pub last: Vec<Line>,
    /// The picks of the plan woven last, the newest at the end.
    pub woven: Vec<u64>,
}
