//! Where every line of the ruling runs.
//!
//! Enters: a picture and the rhythms of its lines. Leaves: a [`Lattice`], which
//! tells the place of every crossing and, of every place, between which lines it
//! is. Refuses nothing: where no line is seen it goes on as around there.
//!
//! The lines of both directions are found on their own. In blocks of some
//! squares' width the lines' phase is measured; a smooth surface goes through the
//! phases, and what the blocks around a place have over it is added, so that a
//! lens's bend or an uneven feed is followed.

use super::phases::{Phases, measured, wrapped};
use super::picture::{Picture, Place};
use super::pitch::Rhythm;
use super::surface::{Surface, Value};

/// A block's phase may differ from its surroundings' by this part of a pitch;
/// beyond, it is letters or a stain that was measured.
const ASTRAY: f64 = 0.25;

/// What a block's own deviation weighs against none at all.
const STAY: f64 = 0.7;

/// Lines of one direction. Numbered so that line 0 is any one of them.
#[derive(Clone, Debug)]
struct Lines {
    rhythm: Rhythm,
    /// By how much of a pitch lines lie further right than the even rhythm.
    shift: Surface,
    blocks: Phases,
    /// What blocks have beyond `shift`.
    beyond: Vec<f64>,
}

/// Both directions' lines.
#[derive(Clone, Debug)]
pub struct Lattice {
    upright: Lines,
    /// In the turned picture.
    across: Lines,
}

/// A place told by lines: whole numbers are lines.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Count {
    /// From left to right.
    pub column: f64,
    /// From top to bottom.
    pub row: f64,
}

impl Lattice {
    /// The lattice of a picture's lines; `turned` is the same picture turned.
    /// None if there is no block in which lines are seen.
    #[must_use]
    pub fn of(
        picture: &Picture,
        turned: &Picture,
        upright: Rhythm,
        across: Rhythm,
    ) -> Option<Lattice> {
        Some(Lattice {
            upright: Lines::of(picture, upright)?,
            across: Lines::of(turned, across)?,
        })
    }

    /// Between which lines a place is.
    #[must_use]
    pub fn count(&self, place: Place) -> Count {
        let turned = Place {
            x: place.y,
            y: place.x,
        };
        Count {
            column: self.upright.count(place),
            row: self.across.count(turned),
        }
    }

    /// The place that is told by lines.
    #[must_use]
    pub fn place(&self, count: Count) -> Place {
        let (upright, across) = (&self.upright.rhythm, &self.across.rhythm);
        let mut place = Place::default();
        // Newton's steps with the even rhythm's slopes: each leaves a
        // hundredth or less, as that is how far real lines deviate
        for _ in 0..8 {
            let now = self.count(place);
            let right = (count.column - now.column) * upright.pitch;
            let down = (count.row - now.row) * across.pitch;
            let whole = 1.0 - upright.shear * across.shear;
            let x = (right + upright.shear * down) / whole;
            place.x += x;
            place.y += down + across.shear * x;
            if right.abs() + down.abs() < 1e-3 {
                break;
            }
        }
        place
    }
}

impl Lines {
    fn of(picture: &Picture, rhythm: Rhythm) -> Option<Lines> {
        let blocks = measured(picture, rhythm)?;
        let flat = Surface::flat(picture.width(), picture.height());
        let shift = smooth(&blocks, &flat);
        let beyond = beyond(&blocks, &shift);
        Some(Lines {
            rhythm,
            shift,
            blocks,
            beyond,
        })
    }

    fn count(&self, place: Place) -> f64 {
        let even = (place.x - self.rhythm.shear * place.y) / self.rhythm.pitch;
        even - self.shift.at(place) - self.blocks.between(&self.beyond, place)
    }
}

/// A smooth surface through the phases, made continuous: a phase tells a shift
/// only but for whole pitches.
fn smooth(blocks: &Phases, flat: &Surface) -> Surface {
    let mut shifts = blocks.continued();
    let mut surface = flat.clone();
    let mut spread = 0.1f64;
    for round in 0..12 {
        let seen = shifts.iter().flatten().count();
        let degree = match seen {
            _ if round < 3 => 1,
            0..12 => 1,
            12..40 => 2,
            _ => 3,
        };
        let values = blocks
            .list
            .iter()
            .zip(&shifts)
            .filter_map(|(block, shift)| {
                let value = (*shift)?;
                let off = (value - surface.at(block.place)).abs();
                // a first round has no surface yet
                let trust = if round == 0 || off < spread {
                    1.0
                } else {
                    spread / off
                };
                let trust = if round > 3 && off > ASTRAY {
                    0.0
                } else {
                    trust
                };
                Some(Value {
                    place: block.place,
                    value,
                    weight: block.weight * trust,
                })
            });
        surface = surface.fitted(degree, values);
        // from now on every block that sees lines, also beyond a gap
        for (block, shift) in blocks.list.iter().zip(&mut shifts) {
            let expected = surface.at(block.place);
            if block.weight > 0.0 {
                *shift = Some(expected + wrapped(block.shift - expected));
            }
        }
        let mut off: Vec<f64> = blocks
            .list
            .iter()
            .filter(|block| block.weight > 0.0)
            .map(|block| wrapped(block.shift - surface.at(block.place)).abs())
            .collect();
        off.sort_unstable_by(f64::total_cmp);
        spread = (2.0 * off.get(off.len() / 2).copied().unwrap_or(0.1)).clamp(0.01, 0.1);
    }
    surface
}

/// What each block and those around it have beyond the surface.
fn beyond(blocks: &Phases, surface: &Surface) -> Vec<f64> {
    let own: Vec<(f64, f64)> = blocks
        .list
        .iter()
        .map(|block| {
            let off = wrapped(block.shift - surface.at(block.place));
            let weight = if off.abs() < ASTRAY {
                block.weight
            } else {
                0.0
            };
            (off, weight)
        })
        .collect();
    (0..blocks.list.len())
        .map(|at| {
            let (mut sum, mut whole) = (0.0, STAY);
            for (near, share) in blocks.around(at) {
                let (off, weight) = own[near];
                sum += off * weight * share;
                whole += weight * share;
            }
            sum / whole
        })
        .collect()
}
