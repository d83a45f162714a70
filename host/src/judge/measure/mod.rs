//! The measurement: how open each position is, where its light lies, how wide
//! its hole is.
//!
//! Enters: scaled light, where peg holes belong, the geometry. Leaves: for each
//! position the light found, the hole's centre and diameter, and what it is:
//! whole, solid, neither, or not to be told, with a probability; and the card's
//! own shift, stretch and skew. It does not know what should be there: the same
//! measurement reads a card of a known deck and one of none.
//!
//! How: the light of a hole of known size is known at every line (`bases.rs`).
//! Rows are found by the middle of their light (`track.rs`), then every hole is
//! fitted on its own (`window.rs`, `rows.rs`). Lamp, dust and the paper's light
//! are followed along the card (`levels.rs`) before anything is called what it
//! is (`tell.rs`).

mod bases;
mod dust;
mod levels;
mod paper;
mod peg;
mod peg_shape;
mod pegs;
mod pick;
mod rows;
mod tell;
mod track;
mod window;

use super::input::{Geometry, Limits};
use super::light::Light;
use super::plane::Plane;
use super::verdict::UnreadReason;
use bases::Bases;
use cardwright_protocol::Stroke;
use dust::Margin;
use peg_shape::PegShape;
use pegs::Pegs;
use rows::Rows;
use serde::{Deserialize, Serialize};
use track::{Taps, Tracker};

/// What a position is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum What {
    /// A whole hole.
    Whole,
    /// Solid card.
    #[default]
    Solid,
    /// Light, but not a whole hole's: a hanging chad, a half-cut hole, a tear.
    Partial,
    /// It lies within a peg hole.
    WithinPeg,
}

/// Light at one position.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spot {
    /// What it is most likely.
    pub(super) what: What,
    /// How likely a whole hole explains it, 0 to 1.
    pub(super) whole: f32,
    /// How likely solid card does.
    pub(super) solid: f32,
    /// Open area, in thousandths of a whole hole's.
    pub(super) open_permille: u16,
    /// Whether there is enough light to tell the next two by.
    pub(super) is_lit: bool,
    /// Its centre's offset along the feed, in micrometres.
    pub(super) offset_um: i32,
    /// Diameter of its hole, in micrometres.
    pub(super) diameter_um: i32,
}

/// A peg hole that should be there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PegSpot {
    /// The stroke that cuts it.
    pub(super) stroke: usize,
    /// Its centre's offset across the feed, in millimetres.
    pub(super) across_mm: Option<f32>,
    /// Its light.
    pub(super) spot: Spot,
}

/// Everything measured on one card.
#[derive(Clone, Debug, Default)]
pub(super) struct Measured {
    /// Channels.
    pub(super) holes: usize,
    /// Row after row, a spot for each hole.
    pub(super) spots: Vec<Spot>,
    /// Each row's offset along the feed by its own holes, if it has any.
    pub(super) rows_mm: Vec<Option<f32>>,
    /// The peg holes.
    pub(super) pegs: Vec<PegSpot>,
    /// How the card lies.
    pub(super) plane: Plane,
    /// Noise of one level, in levels.
    pub(super) noise: f32,
    /// Light through solid card, as a share of the open light.
    pub(super) solid: f32,
}

/// What is the same for every card of a format: the light of its holes.
#[derive(Clone, Debug)]
pub(super) struct Gauge {
    bases: Bases,
    taps: Taps,
    peg: PegShape,
}

impl Gauge {
    /// # Errors
    /// Geometry, aperture or number of lines that tell no hole from the next.
    pub(super) fn new(
        geometry: &Geometry,
        limits: &Limits,
        per_row: usize,
    ) -> Result<Gauge, UnreadReason> {
        let bases = Bases::new(geometry, limits, per_row)?;
        Ok(Gauge {
            taps: Taps::new(&bases, per_row),
            bases,
            peg: PegShape::new(geometry, limits),
        })
    }
}

/// Measures one card. Of `strokes` only their number and the peg holes count.
///
/// # Errors
/// Two cards together, and light too noisy to tell a chad by.
pub(super) fn measure<const N: usize>(
    gauge: &Gauge,
    strokes: &[Stroke],
    geometry: &Geometry,
    limits: &Limits,
    mut light: Light<N>,
) -> Result<Measured, UnreadReason> {
    let Gauge { bases, taps, peg } = gauge;
    let mut pegs = Pegs::new(peg, strokes, bases.pitch_mm);
    let near_peg = pegs.in_sight(strokes.len(), bases);
    let within = pegs.within(strokes.len(), bases);
    let mut tracker = Tracker::new(bases, taps, &light, &near_peg);
    let first = tracker.track(Plane::default());
    let mut line = track::line(&first, bases.pitch_mm);
    let rows_mm = tracker.track(line);
    if rows_mm != first {
        line = track::line(&rows_mm, bases.pitch_mm);
    }
    pegs.settle(bases, &light, line, &rows_mm, &within);
    pegs.take_away(bases, &mut light);
    let mut across = [0.0; N];
    for (hole, across) in (1u8..=geometry.holes).zip(&mut across) {
        *across = geometry.across_mm(hole) as f32;
    }
    let pegs_at = rows::Pegged {
        near: &near_peg,
        within: &within,
    };
    let mut rows = Rows::new(bases, &light, &rows_mm, line, across, pegs_at);
    rows.settle(&pegs.across());
    let margin = margin(&rows, &pegs, geometry, limits);
    let levels = levels::levels(&rows, margin, limits)?;
    let mut measured = tell::tell(&rows, &levels, geometry, limits)?;
    measured.pegs = pegs.spots(&rows, &levels);
    Ok(measured)
}

/// The margin behind the last stroke of a card that lies so.
fn margin<const N: usize>(
    rows: &Rows<'_, N>,
    pegs: &Pegs<'_, N>,
    geometry: &Geometry,
    limits: &Limits,
) -> Margin<N> {
    let last = rows.each.len().saturating_sub(1);
    let needles = last as f32 * rows.bases.pitch_mm + rows.lead_mm(last);
    let holes = (needles + rows.bases.needle.reach_mm()).max(pegs.end_mm());
    let length = geometry.card_length_mm * (1.0 + rows.plane.stretch);
    let edge = length + rows.plane.offset_mm - geometry.first_stroke_mm - limits.aperture_mm / 2.0;
    Margin::new(rows, holes, edge as f32)
}
