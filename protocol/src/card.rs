//! The words of the trade that cross the link: a row of holes, a stroke of the
//! punch block, and which card of which job a stroke belongs to.

use serde::{Deserialize, Serialize};

/// Most holes in one row of a card (the fine pitch has 16; Bell ch. II).
pub const MOST_HOLES: u8 = 16;

/// Most strokes in one card's programme. A 51-row card takes 56.
pub const MOST_STROKES: u16 = 128;

/// The holes of one row. Bit 0 (value 1) is hole 1, the hole at the first edge
/// of the card; bit `n - 1` is hole `n`. A set bit is a hole, and a hole lifts
/// its hook. This is the one bit order, on the wire, in files and in memory.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct Row(pub u16);

impl Row {
    /// Solid card: no hole.
    pub const BLANK: Row = Row(0);

    /// Every one of the first `holes` positions cut.
    #[must_use]
    pub const fn full(holes: u8) -> Row {
        if holes >= MOST_HOLES {
            Row(u16::MAX)
        } else {
            Row((1 << holes) - 1)
        }
    }

    /// The row with these holes, each 1 to 16; others are left out.
    pub fn from_holes(holes: impl IntoIterator<Item = u8>) -> Row {
        Row(holes
            .into_iter()
            .filter(|hole| (1..=MOST_HOLES).contains(hole))
            .fold(0, |bits, hole| bits | 1 << (hole - 1)))
    }

    /// Whether hole `hole` (1 to 16) is cut.
    #[must_use]
    pub const fn has(self, hole: u8) -> bool {
        hole >= 1 && hole <= MOST_HOLES && self.0 >> (hole - 1) & 1 == 1
    }

    /// How many holes are cut.
    #[must_use]
    pub const fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// The numbers of the holes that are cut, in order.
    pub fn holes(self) -> impl Iterator<Item = u8> {
        (1..=MOST_HOLES).filter(move |hole| self.has(*hole))
    }
}

/// What one down-and-up of the punch block does. The order of the kinds is the
/// wire's and only grows at the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Stroke {
    /// The block comes down with no punch locked.
    Blank,
    /// A row of needle holes.
    Needles(Row),
    /// A row of needle holes and a peg hole in the same stroke.
    NeedlesAndPeg(Row),
    /// Lace holes, cut by the needle punches named.
    Lace(Row),
    /// Lace holes and a peg hole in the same stroke.
    LaceAndPeg(Row),
    /// A peg hole alone.
    Peg,
}

impl Stroke {
    /// The needle punches that are locked for this stroke.
    #[must_use]
    pub const fn punches(self) -> Row {
        match self {
            Stroke::Blank | Stroke::Peg => Row::BLANK,
            Stroke::Needles(row)
            | Stroke::NeedlesAndPeg(row)
            | Stroke::Lace(row)
            | Stroke::LaceAndPeg(row) => row,
        }
    }

    /// Whether the peg punch is locked for this stroke.
    #[must_use]
    pub const fn peg(self) -> bool {
        matches!(
            self,
            Stroke::NeedlesAndPeg(_) | Stroke::LaceAndPeg(_) | Stroke::Peg
        )
    }
}

/// A job's number in the ledger.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct JobNumber(pub u32);

/// A card's number in its deck, counted from 1.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct CardNumber(pub u32);

/// Which try at this card of this job, counted from 1. A number once used is
/// never used again, whatever became of the card.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct Attempt(pub u32);

/// One piece of card stock's identity. With a stroke's number it names a
/// stroke, and no name is ever punched twice.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct CardId {
    /// The job.
    pub job: JobNumber,
    /// The card in the deck.
    pub card: CardNumber,
    /// The try.
    pub attempt: Attempt,
}

/// CRC-32/ISO-HDLC over a card's identity and all its strokes, each as the
/// bytes that travel. The unit checks it before a card's first stroke.
#[must_use]
pub fn strokes_crc(id: CardId, strokes: &[Stroke]) -> u32 {
    let mut digest = crate::frame::CRC32.digest();
    for number in [id.job.0, id.card.0, id.attempt.0] {
        digest.update(&number.to_le_bytes());
    }
    for stroke in strokes {
        let kind = match stroke {
            Stroke::Blank => 0u8,
            Stroke::Needles(_) => 1,
            Stroke::NeedlesAndPeg(_) => 2,
            Stroke::Lace(_) => 3,
            Stroke::LaceAndPeg(_) => 4,
            Stroke::Peg => 5,
        };
        let [low, high] = stroke.punches().0.to_le_bytes();
        digest.update(&[kind, low, high]);
    }
    digest.finalize()
}
