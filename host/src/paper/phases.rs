//! How far the lines lie from an even rhythm, block by block.
//!
//! Enters: a picture and its lines' rhythm. Leaves: [`Phases`], a grid of
//! blocks, each with its lines' shift and how surely it was seen. A block in
//! which no lines are seen weighs nothing.

use super::lines::Band;
use super::picture::{Picture, Place};
use super::pitch::{Rhythm, levelled};
use std::f64::consts::TAU;

/// Pixels in the height of a block.
const HEIGHT: usize = 48;

/// Half of a block's width, in pitches. Blocks overlap by half.
const HALF: f64 = 4.0;

/// A rhythm stands out of a block if it is this much of what there is beside
/// and at the rhythm. Of chance alone it is a third.
const STANDS_OUT: f64 = 0.5;

/// Weakest block that counts, beside a strong one.
const WEAKEST: f64 = 0.15;

/// A block of the picture.
#[derive(Clone, Copy, Debug)]
pub struct Block {
    /// Its middle.
    pub place: Place,
    /// By how much of a pitch its lines are further right than the even rhythm.
    pub shift: f64,
    /// How surely, from 0 to 1.
    pub weight: f64,
}

/// A grid of blocks.
#[derive(Clone, Debug)]
pub struct Phases {
    /// Line by line.
    pub list: Vec<Block>,
    columns: usize,
    rows: usize,
    /// Place of the first block, and from block to block.
    first: Place,
    step: Place,
}

/// The phases of the picture's upright lines. None if no block shows any.
#[must_use]
pub fn measured(picture: &Picture, rhythm: Rhythm) -> Option<Phases> {
    let half = HALF * rhythm.pitch * rhythm.lines as f64;
    let columns = (picture.width() as f64 / half).ceil().max(1.0) as usize;
    let step = picture.width() as f64 / columns as f64;
    let mut list = Vec::new();
    for band in bands(picture, HEIGHT, rhythm.reach) {
        let profile = levelled(&band.profile(rhythm.shear));
        list.extend((0..columns).map(|column| {
            let place = Place {
                x: (column as f64 + 0.5) * step,
                y: band.middle(),
            };
            block(&profile, place, rhythm, half)
        }));
    }
    let rows = list.len() / columns;
    let mut weights: Vec<f64> = list.iter().map(|block| block.weight).collect();
    weights.sort_unstable_by(f64::total_cmp);
    let strong = weights[weights.len() * 9 / 10];
    if strong <= 0.0 {
        return None;
    }
    for block in &mut list {
        let weight = (block.weight / strong).min(1.0);
        block.weight = if weight < WEAKEST { 0.0 } else { weight };
    }
    let step = Place {
        x: step,
        y: picture.height() as f64 / rows as f64,
    };
    Some(Phases {
        list,
        columns,
        rows,
        first: Place {
            x: step.x / 2.0,
            y: step.y / 2.0,
        },
        step,
    })
}

/// The rhythm's phase in a window around a place of a band's profile.
fn block(profile: &[f32], place: Place, rhythm: Rhythm, half: f64) -> Block {
    // beside the rhythm, as far off as the window can tell apart, but not on what repeats
    let off = match rhythm.lines {
        1 => 0.3,
        lines => 0.5 / lines as f64,
    };
    let beside =
        [1.0 - off, 1.0 + off].map(|part| wave(profile, place.x, rhythm.pitch / part, half).1);
    let (phase, height) = wave(profile, place.x, rhythm.pitch, half);
    let stands_out = height / (height + beside[0] + beside[1]).max(f64::MIN_POSITIVE);
    // the even rhythm goes through the picture's upper left corner
    let even = (place.x - rhythm.shear * place.y) / rhythm.pitch;
    Block {
        place,
        shift: wrapped(even + phase),
        weight: if stands_out > STANDS_OUT { height } else { 0.0 },
    }
}

/// The wave of this length around a place: where its nearest summit is, in
/// lengths to the right, and how high.
fn wave(profile: &[f32], middle: f64, length: f64, half: f64) -> (f64, f64) {
    let from = (middle - half).floor().max(0.0) as usize;
    let to = ((middle + half).ceil().max(0.0) as usize).min(profile.len());
    let (mut even, mut odd, mut whole) = (0.0, 0.0, f64::MIN_POSITIVE);
    for (x, level) in profile.iter().enumerate().take(to).skip(from) {
        let off = x as f64 + 0.5 - middle;
        let window = 0.5 + 0.5 * (off / half * TAU / 2.0).cos();
        let (sine, cosine) = (off / length * TAU).sin_cos();
        even += f64::from(*level) * window * cosine;
        odd += f64::from(*level) * window * sine;
        whole += window;
    }
    (odd.atan2(even) / TAU, even.hypot(odd) / whole)
}

impl Phases {
    /// The shifts made continuous from the surest block on, as far as blocks
    /// that see lines hang together.
    #[must_use]
    pub fn continued(&self) -> Vec<Option<f64>> {
        let mut shifts = vec![None; self.list.len()];
        let surest = (0..self.list.len())
            .max_by(|a, b| self.list[*a].weight.total_cmp(&self.list[*b].weight));
        let mut open = std::collections::BinaryHeap::new();
        if let Some(surest) = surest {
            open.push((u64::MAX, surest, self.list[surest].shift.to_bits()));
        }
        while let Some((_, at, before)) = open.pop() {
            if shifts[at].is_some() {
                continue;
            }
            let before = f64::from_bits(before);
            let shift = before + wrapped(self.list[at].shift - before);
            shifts[at] = Some(shift);
            for (near, _) in self.around(at) {
                let weight = self.list[near].weight;
                if weight > 0.0 && shifts[near].is_none() {
                    // the surest first; a weight above nothing orders as its bits do
                    open.push((weight.to_bits(), near, shift.to_bits()));
                }
            }
        }
        shifts
    }

    /// A block and those around it, with how much each says about the first.
    pub fn around(&self, at: usize) -> impl Iterator<Item = (usize, f64)> {
        let (column, row) = (at % self.columns, at / self.columns);
        let rows = row.saturating_sub(1)..(row + 2).min(self.rows);
        let columns = column.saturating_sub(1)..(column + 2).min(self.columns);
        rows.flat_map(move |r| columns.clone().map(move |c| (c, r)))
            .map(move |(c, r)| {
                let apart = i32::from(c != column) + i32::from(r != row);
                (r * self.columns + c, 0.5f64.powi(apart))
            })
    }

    /// Of values that belong to the blocks, the one at a place between them.
    #[must_use]
    pub fn between(&self, values: &[f64], place: Place) -> f64 {
        let at = |place: f64, first: f64, step: f64, count: usize| {
            let at = ((place - first) / step).clamp(0.0, (count - 1) as f64);
            let whole = at as usize;
            (whole, (whole + 1).min(count - 1), at.fract())
        };
        let (left, right, over) = at(place.x, self.first.x, self.step.x, self.columns);
        let (top, below, down) = at(place.y, self.first.y, self.step.y, self.rows);
        let value = |column: usize, row: usize| values[row * self.columns + column];
        let upper = value(left, top) * (1.0 - over) + value(right, top) * over;
        let lower = value(left, below) * (1.0 - over) + value(right, below) * over;
        upper * (1.0 - down) + lower * down
    }
}

/// Less its whole pitches: between minus a half and a half.
pub fn wrapped(shift: f64) -> f64 {
    shift - shift.round()
}

/// Bands one below the other over the whole picture.
fn bands(picture: &Picture, height: usize, reach: usize) -> impl Iterator<Item = Band> {
    let height = height.min(picture.height());
    let count = (picture.height() / height).max(1);
    (0..count).map(move |band| {
        let top = picture.height() * band / count;
        let end = picture.height() * (band + 1) / count;
        Band::new(picture, top, end - top, reach)
    })
}
