//! A card that no deck is known of: what each of its positions is.
//!
//! Enters: the measurement of a card. Leaves: a [`Look`]. What is neither surely
//! a hole nor surely solid is doubtful, never guessed.

use super::decide::{SURE, micrometres};
use super::measure::{Measured, Spot, What};
use serde::{Deserialize, Serialize};

/// What a position surely is, if it is surely anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Seen {
    /// A whole hole.
    Hole,
    /// Solid card.
    Solid,
    /// Neither is sure: a chad, a tear, a half-cut hole, dust.
    Doubtful,
    /// It lies within a peg hole and cannot be told apart.
    WithinPeg,
}

/// One position of a card.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Position {
    /// What it is.
    pub seen: Seen,
    /// Open area, in thousandths of a whole hole's (may pass 1000 by noise).
    pub open_permille: u16,
}

/// Everything that was seen of a card.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// Holes in a row.
    pub holes: u8,
    /// Row after row, holes 1 to the last, in the order of the strokes.
    pub positions: Vec<Position>,
    /// The peg holes, in order along the card.
    pub pegs: Vec<Position>,
    /// Shift along the feed, in micrometres.
    pub offset_um: i32,
    /// Stretch, in millionths.
    pub stretch_ppm: i32,
    /// Skew, in millionths of a radian.
    pub skew_urad: i32,
}

impl Look {
    pub(super) fn of(measured: &Measured) -> Look {
        let plane = measured.plane;
        Look {
            // at most 16
            holes: measured.holes as u8,
            positions: measured.spots.iter().map(position).collect(),
            pegs: measured
                .pegs
                .iter()
                .map(|peg| position(&peg.spot))
                .collect(),
            offset_um: micrometres(plane.offset_mm),
            stretch_ppm: (plane.stretch * 1e6).round() as i32,
            skew_urad: (plane.skew * 1e6).round() as i32,
        }
    }

    /// The position of this hole (from 1) in the row of this stroke (from 0).
    #[must_use]
    pub fn at(&self, stroke: u16, hole: u8) -> Option<&Position> {
        let place = usize::from(hole.checked_sub(1)?);
        let row = usize::from(stroke) * usize::from(self.holes);
        (hole <= self.holes).then(|| self.positions.get(row + place))?
    }
}

fn position(spot: &Spot) -> Position {
    let seen = match spot.what {
        What::WithinPeg => Seen::WithinPeg,
        _ if spot.whole >= SURE => Seen::Hole,
        _ if spot.solid >= SURE => Seen::Solid,
        _ => Seen::Doubtful,
    };
    Position {
        seen,
        open_permille: spot.open_permille,
    }
}
