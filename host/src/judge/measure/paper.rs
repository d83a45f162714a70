//! The light through solid card, stretch by stretch.
//!
//! Enters: the rows as measured. Leaves: the light over solid card along the card,
//! and of one channel against the others. Refuses nothing: a stretch with too little
//! solid card has no light.

use super::super::light::{Lanes, Light, middle_mean};
use super::pick::{Columns, Sorted};
use super::rows::{Row, Rows};

/// Rows over which the lamp and the paper are averaged.
pub(super) const STRETCH: usize = 8;
/// Fewest solid places of one channel that tell of its light.
const FEWEST_PAPER: usize = 10;
/// Fewest solid places that tell anything.
pub(super) const FEWEST_SOLID: usize = 4;
/// Less light than this over solid card is not a hole's.
pub(super) const SOLID: f32 = 0.15;
/// Stretches that are worked on together.
const TOGETHER: usize = 8;

/// Light over solid card.
pub(super) struct Paper<const N: usize> {
    /// Over each stretch, all channels.
    pub(super) stretches: Vec<Option<f32>>,
    /// Each row's light, and which channels of it are solid.
    rows: Vec<(Lanes<N>, [bool; N])>,
}

impl<const N: usize> Paper<N> {
    pub(super) fn new(rows: &Rows<'_, N>) -> Paper<N> {
        let own: Vec<_> = rows.each.iter().map(solid).collect();
        let stretches = by_stretch(own.len(), |row| own[row]);
        let light = |(found, column): (&Sorted<TOGETHER>, usize)| {
            let told = found.count(column) >= 2 * FEWEST_SOLID;
            told.then(|| found.middle_mean(column)).flatten()
        };
        Paper {
            stretches: columns(&stretches, own.len()).map(light).collect(),
            rows: own,
        }
    }

    /// Light over solid card in each row: between the stretches' middles in a
    /// straight line.
    pub(super) fn along(&self) -> Vec<f32> {
        let stretches = self.stretches.iter().enumerate();
        let knots: Vec<(f32, f32)> = stretches
            .filter_map(|(number, light)| Some((middle_of(number), (*light)?)))
            .collect();
        (0..self.rows.len())
            .map(|row| between(&knots, row as f32, 0.0))
            .collect()
    }

    /// Light over solid card of one channel from row `from` on, against all
    /// channels'; with nothing taken for the light of one hole.
    pub(super) fn against(&self, light: &Light<N>, lane: usize, from: usize) -> Option<f32> {
        let of = |own: bool| {
            let rows = self.rows.iter().skip(from);
            let values: Vec<f32> = rows
                .flat_map(|(light, solid)| light.iter().zip(solid).enumerate())
                .filter(|(other, (_, solid))| **solid && (*other == lane) == own)
                .map(|(_, (share, _))| light.through(*share))
                .collect();
            (values.len() >= FEWEST_PAPER)
                .then(|| middle_mean(&values))
                .flatten()
        };
        Some(of(true)? / of(false)?)
    }
}

/// A row's light on each channel, and whether that is solid card's.
fn solid<const N: usize>(row: &Row<'_, N>) -> (Lanes<N>, [bool; N]) {
    let Some(window) = &row.window else {
        return ([0.0; N], [false; N]);
    };
    let (mean, mut solid) = (window.mean(), row.clear);
    for (lane, solid) in solid.iter_mut().enumerate() {
        *solid &= (row.amplitude[lane] < SOLID) & (mean[lane] < SOLID);
    }
    (mean, solid)
}

/// Each stretch's values in order. `of` is asked for a row's, and which of them count.
pub(super) fn by_stretch<const N: usize>(
    rows: usize,
    of: impl Fn(usize) -> (Lanes<N>, [bool; N]),
) -> Vec<Sorted<TOGETHER>> {
    let together = (0..rows).step_by(STRETCH * TOGETHER);
    together
        .map(|first| {
            let mut columns = Columns::with_room(STRETCH * N);
            for row in first..(first + STRETCH * TOGETHER).min(rows) {
                let (values, counts) = of(row);
                columns.keep((row - first) / STRETCH, &values, &counts);
            }
            columns.sorted()
        })
        .collect()
}

/// Stretch by stretch, where its values are.
pub(super) fn columns(
    stretches: &[Sorted<TOGETHER>],
    rows: usize,
) -> impl Iterator<Item = (&Sorted<TOGETHER>, usize)> {
    let all = stretches.iter();
    all.flat_map(|found| (0..TOGETHER).map(move |column| (found, column)))
        .take(rows.div_ceil(STRETCH))
}

/// The row in the middle of a stretch.
pub(super) fn middle_of(stretch: usize) -> f32 {
    (stretch * STRETCH) as f32 + (STRETCH - 1) as f32 / 2.0
}

/// Between two knots in a straight line, and on in the same line beyond them.
pub(super) fn between(knots: &[(f32, f32)], at: f32, without: f32) -> f32 {
    let after = knots.partition_point(|(place, _)| *place <= at);
    let after = after.clamp(1, knots.len().max(2) - 1);
    match (knots.get(after - 1), knots.get(after)) {
        (Some((from, start)), Some((to, end))) => start + (end - start) * (at - from) / (to - from),
        (Some((_, only)), None) => *only,
        _ => without,
    }
}
