//! The verdict with the measurements behind it.

use super::verdict::Verdict;
use serde::{Deserialize, Serialize};

/// What was found at one position of the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cell {
    /// The stroke that cuts it, from 0.
    pub stroke: u16,
    /// The hole, from 1; 0 is the peg hole.
    pub hole: u8,
    /// Whether a hole should be here.
    pub required: bool,
    /// How it was judged.
    pub judged: Judged,
    /// Light found, in thousandths of a whole hole's (may pass 1000 by noise).
    pub open_permille: u16,
    /// Centre of that light from its nominal place along the feed, in
    /// micrometres, nothing taken out; none where there is too little light.
    pub offset_um: Option<i32>,
}

/// How a position was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Judged {
    /// As it should be.
    Right,
    /// A required hole is not wholly there.
    Missing,
    /// Light where card should be solid.
    Extra,
    /// It lies within a peg hole and cannot be told apart.
    WithinPeg,
}

/// Where one stroke's holes lie along the feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowRegister {
    /// The stroke, from 0.
    pub stroke: u16,
    /// From its place along the feed, in micrometres, after the fit.
    pub offset_um: i32,
    /// Whole holes it was measured by.
    pub holes: u8,
}

/// All that was found out about one card.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Report {
    /// What became of it.
    pub verdict: Verdict,
    /// Every position: stroke by stroke, holes 1 to the last, then the peg hole
    /// where the stroke has one. Empty if the reading could not be measured.
    pub cells: Vec<Cell>,
    /// Every stroke with a measurable hole, in order.
    pub register: Vec<RowRegister>,
    /// Shift taken out by the fit, in micrometres.
    pub offset_um: i32,
    /// Stretch taken out by the fit, in millionths.
    pub stretch_ppm: i32,
    /// Measured length, in micrometres; none if the trailing edge was not seen.
    pub length_um: Option<u32>,
    /// Light through solid card, in thousandths of the open light.
    pub solid_permille: Option<u16>,
    /// What was found, in one sentence.
    pub summary: String,
    /// What a person does about it; empty for a good card.
    pub remedy: String,
}
