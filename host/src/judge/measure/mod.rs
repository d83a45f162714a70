//! The measurement: how open each position is, and where its light lies.
//!
//! Enters: scaled light, the strokes, the geometry. Leaves: for each position
//! the light found as a share of a whole hole's and the offset of its centre,
//! and for each stroke the common offset of its holes, which one block cuts.
//! Nothing is judged here. A measurement by other means takes the place of
//! [`measure`] and fills the same [`Measured`].
//!
//! How: the light of a hole of known size is known at every line, so each row's
//! offset is the one at which its required holes' light fits best, with the
//! light of neighbouring rows and peg holes taken away first. Rows and pegs are
//! gone over in turn until their offsets settle.

use super::input::{Fit, Geometry, Limits};
use super::light::Light;
use cardwright_protocol::Stroke;
use work::Work;

mod fitting;
mod pegs;
mod rows;
mod strays;
mod work;

pub(super) use fitting::median;

/// A row is looked for this far from its place, in row pitches. Beyond it, its
/// holes count as missing here and extra there.
const SEARCH_PITCHES: f32 = 0.38;
/// Offsets tried first, on either side.
const SEARCH_TRIES: i16 = 7;
/// How often rows and pegs are gone over at most.
const SWEEPS: usize = 3;
/// They have settled when none moves by more than this, in millimetres.
const SETTLED_MM: f32 = 0.02;
/// Less light than this, of a whole hole's, has no centre worth telling.
const LEAST_LIGHT: f32 = 0.3;
/// How far one hole is looked for from its row, in millimetres.
const HOLE_SEARCH_MM: f32 = 1.2;
/// Light on two lines running that no position accounts for.
const STRAY_LIGHT: f32 = 0.35;

/// Light at one position.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spot {
    /// As a share of a whole hole's.
    pub(super) open: f32,
    /// Its centre's offset along the feed, in millimetres.
    pub(super) offset_mm: Option<f32>,
    /// It lies within a required peg hole.
    pub(super) within_peg: bool,
}

/// A required peg hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PegSpot {
    /// The stroke that cuts it.
    pub(super) stroke: usize,
    /// Its light.
    pub(super) spot: Spot,
}

/// Light where nothing is cut, in register or out of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stray {
    /// The nearest position's stroke.
    pub(super) stroke: usize,
    /// Its hole, from 0.
    pub(super) channel: usize,
    /// Light beyond what is accounted for.
    pub(super) open: f32,
    /// From the nearest position, in millimetres.
    pub(super) offset_mm: f32,
}

/// Everything measured on one card.
#[derive(Clone, Debug, Default)]
pub(super) struct Measured {
    /// Stroke after stroke, a spot for each hole.
    pub(super) spots: Vec<Spot>,
    /// Each stroke's offset by its own needle punches, if it has holes.
    pub(super) rows_mm: Vec<Option<f32>>,
    /// The required peg holes.
    pub(super) pegs: Vec<PegSpot>,
    /// Light nothing accounts for.
    pub(super) strays: Vec<Stray>,
}

/// Measures one card.
pub(super) fn measure(
    strokes: &[Stroke],
    geometry: &Geometry,
    limits: &Limits,
    light: &Light,
    fit: Fit,
) -> Measured {
    let mut work = Work::new(strokes, geometry, limits, light);
    for stroke in 0..strokes.len() {
        work.seek_row(stroke);
    }
    if fit == Fit::OffsetAndStretch {
        // The card as a whole may be far off; rows are then sought from there.
        work.follow_trend();
        for stroke in 0..strokes.len() {
            work.seek_row(stroke);
        }
    }
    work.settle_pegs();
    for _ in 0..SWEEPS {
        let moved = work.settle_rows().max(work.settle_pegs());
        if moved < SETTLED_MM {
            break;
        }
    }
    let mut spots = Vec::with_capacity(work.open.len());
    for stroke in 0..strokes.len() {
        work.finish_row(stroke, &mut spots);
    }
    // Extra holes beside a peg hole are known only now.
    work.settle_pegs();
    let strays = work.strays();
    let pegs = work.pegs.each.iter().map(|peg| PegSpot {
        stroke: peg.stroke,
        spot: peg.spot,
    });
    Measured {
        spots,
        pegs: pegs.collect(),
        rows_mm: work.rows_mm,
        strays,
    }
}
