//! What is known of how a deck was read from a stack of old cards: cards that
//! were not there, and positions that could not be told.
//!
//! Enters: the `[reading]` table of a deck file, or what a reading found.
//! Leaves: a [`ReadFrom`]. Refuses: a reading without a pass, cards, rows and holes
//! the deck has not got, the same position twice, doubt about a card that was
//! never read.

use crate::deck::format::CardFormat;
use cardwright_protocol::CardNumber;
use serde::{Deserialize, Serialize};

/// A position that could not be told. In the file: card, row, hole, light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(from = "(u32, u16, u8, u16)", into = "(u32, u16, u8, u16)")]
pub struct Doubt {
    /// The card.
    pub card: CardNumber,
    /// The row, from 1.
    pub row: u16,
    /// The hole, from 1.
    pub hole: u8,
    /// Mean light there, in thousandths of a whole hole's.
    pub open_permille: u16,
}

impl From<(u32, u16, u8, u16)> for Doubt {
    fn from((card, row, hole, open_permille): (u32, u16, u8, u16)) -> Doubt {
        Doubt {
            card: CardNumber(card),
            row,
            hole,
            open_permille,
        }
    }
}

impl From<Doubt> for (u32, u16, u8, u16) {
    fn from(doubt: Doubt) -> (u32, u16, u8, u16) {
        (doubt.card.0, doubt.row, doubt.hole, doubt.open_permille)
    }
}

/// How a deck was read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadFrom {
    /// How often the stack was read.
    pub passes: u32,
    /// Cards that were never read: their lines are blank.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gaps: Vec<CardNumber>,
    /// Positions that could not be told: their lines hold a guess.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubtful: Vec<Doubt>,
}

impl ReadFrom {
    /// What is wrong with it, for a deck of so many cards.
    pub(super) fn fault(&self, format: &CardFormat, cards: usize) -> Option<String> {
        if self.passes == 0 {
            return Some("it says the stack was read 0 times; passes is at least 1".to_string());
        }
        let there = |card: CardNumber| card.0 >= 1 && card.0 as usize <= cards;
        if let Some(gap) = self.gaps.iter().find(|gap| !there(**gap)) {
            return Some(format!(
                "card {} is said to be a gap, and the deck has cards 1 to {cards}",
                gap.0
            ));
        }
        let beyond = |doubt: &&Doubt| {
            !there(doubt.card)
                || !(1..=format.rows()).contains(&doubt.row)
                || !(1..=format.holes_per_row()).contains(&doubt.hole)
        };
        if let Some(doubt) = self.doubtful.iter().find(beyond) {
            return Some(format!(
                "card {}, row {}, hole {} is said to be doubtful, and the deck has no such position",
                doubt.card.0, doubt.row, doubt.hole
            ));
        }
        if let Some(doubt) = self.doubtful.iter().find(|at| self.gaps.contains(&at.card)) {
            return Some(format!(
                "card {}, row {}, hole {} is said to be doubtful, and card {0} to be a gap; of a card \
                 that was never read nothing is doubtful: take the one or the other out",
                doubt.card.0, doubt.row, doubt.hole
            ));
        }
        let place = |doubt: &Doubt| (doubt.card, doubt.row, doubt.hole);
        let rising = self.doubtful.is_sorted_by(|a, b| place(a) < place(b));
        (!rising || !self.gaps.is_sorted_by(|a, b| a < b)).then(|| {
            "gaps and doubtful positions stand in the order of cards, rows and holes, each once"
                .to_string()
        })
    }
}
