//! Where each row lies, roughly: the middle of its light.
//!
//! Enters: light, places that a peg hole lights. Leaves: each row's offset along
//! the feed, if it has light, and the card's own shift and stretch. A card may be
//! shifted by half a pitch and swollen by one in a hundred, so each row is looked
//! for where those before it lead.

use super::super::light::{Lanes, Light};
use super::super::plane::{Place, Plane};
use super::bases::Bases;
use super::pick::halved;

/// Less of a whole hole's light than this, on one channel, tells nothing.
const CLEAR: f32 = 0.35;

/// A row further than this from where it was looked for is a displaced one, and
/// does not lead to the next.
const LEADING_MM: f32 = 1.0;

/// Unless so many rows running are displaced alike.
const FOLLOWED: usize = 3;

/// What the lines around a row count for.
#[derive(Clone, Debug)]
pub(super) struct Taps {
    /// Each line of a pitch, and that times its number.
    each: Vec<(f32, f32)>,
    /// So much of a whole hole's light, summed, is clear.
    clear: f32,
}

impl Taps {
    pub(super) fn new(bases: &Bases, per_row: usize) -> Taps {
        let lines = per_row as i32;
        let along = |n: i32| n as f32 * bases.line_mm;
        let whole: f32 = (-lines..=lines).map(|n| bases.needle.at(along(n))).sum();
        // the first and the last line are half in this pitch, half in the next
        let half = lines / 2;
        let tap = |number: i32| {
            let weight = if number.abs() == half { 0.5 } else { 1.0 };
            (weight, number as f32 * weight)
        };
        Taps {
            each: (-half..=half).map(tap).collect(),
            clear: CLEAR * whole,
        }
    }
}

/// The light in which rows are looked for.
pub(super) struct Tracker<'a, const N: usize> {
    bases: &'a Bases,
    taps: &'a Taps,
    light: &'a Light<N>,
    near_peg: &'a [[bool; N]],
    /// Where each row was looked for last, and found.
    seen: Vec<(usize, Option<f32>)>,
}

impl<'a, const N: usize> Tracker<'a, N> {
    pub(super) fn new(
        bases: &'a Bases,
        taps: &'a Taps,
        light: &'a Light<N>,
        near_peg: &'a [[bool; N]],
    ) -> Tracker<'a, N> {
        Tracker {
            bases,
            taps,
            light,
            near_peg,
            seen: vec![(usize::MAX, None); near_peg.len()],
        }
    }

    /// The rows' offsets, looked for around `plane`; none where there is no light to
    /// tell.
    pub(super) fn track(&mut self, plane: Plane) -> Vec<Option<f32>> {
        let pitch_mm = self.bases.pitch_mm;
        let mut lead = 0.0f32;
        let mut strays: heapless::Vec<f32, FOLLOWED> = heapless::Vec::new();
        let mut rows = Vec::with_capacity(self.near_peg.len());
        for row in 0..self.near_peg.len() {
            let nominal = row as f32 * pitch_mm;
            let place = nominal + plane.at(f64::from(nominal), 0.0) as f32;
            let found = self.row(row, place + lead);
            rows.push(found.map(|at| at - nominal));
            let Some(off) = found.map(|at| at - place) else {
                continue;
            };
            if (off - lead).abs() < LEADING_MM {
                lead += 0.5 * (off - lead);
                strays.clear();
                continue;
            }
            if strays
                .iter()
                .any(|before| (before - off).abs() > LEADING_MM / 2.0)
            {
                strays.clear();
            }
            if strays.push(off).is_err() {
                lead = off;
                strays.clear();
            }
        }
        rows
    }

    /// The middle of a row's light around `at_mm`. Most are looked for around the same
    /// line again.
    fn row(&mut self, row: usize, at_mm: f32) -> Option<f32> {
        // nothing before the first line is looked at, and `as` is quicker than rounding
        let centre = (at_mm / self.bases.line_mm + self.light.per_row as f32 + 0.5) as usize;
        let &(last, found) = self.seen.get(row)?;
        if last == centre {
            return found;
        }
        let found = self.middle(row, centre);
        if let Some(seen) = self.seen.get_mut(row) {
            *seen = (centre, found);
        }
        found
    }

    /// The middle of the light around a line, of all channels with clear holes.
    fn middle(&self, row: usize, centre: usize) -> Option<f32> {
        let taps = &self.taps.each;
        let first = centre.checked_sub(taps.len() / 2)?;
        let lines = self.light.lines.get(first..first + taps.len())?;
        let near_peg = self.near_peg.get(row)?;
        let (mut sum, mut moment): (Lanes<N>, Lanes<N>) = ([0.0; N], [0.0; N]);
        for ((weight, along), line) in taps.iter().zip(lines) {
            for lane in 0..N {
                sum[lane] += weight * line[lane];
                moment[lane] += along * line[lane];
            }
        }
        for lane in 0..N {
            // without a branch, which would be guessed wrong at every other hole
            let told = f32::from(u8::from((sum[lane] > self.taps.clear) & !near_peg[lane]));
            sum[lane] *= told;
            moment[lane] *= told;
        }
        let all = halved(sum, |a, b| a + b);
        let moments = halved(moment, |a, b| a + b);
        let middle = centre as f32 - self.light.per_row as f32 + moments / all;
        (all > 0.0).then_some(middle * self.bases.line_mm)
    }
}

/// The card's shift and stretch by its rows alone: the line from which the rows
/// farthest off are left out one by one, a third of them at most.
pub(super) fn line(rows: &[Option<f32>], pitch_mm: f32) -> Plane {
    let mut places = Vec::with_capacity(rows.len());
    places.extend(rows.iter().enumerate().filter_map(|(row, off)| {
        Some(Place {
            x_mm: row as f64 * f64::from(pitch_mm),
            y_mm: 0.0,
            off_mm: f64::from((*off)?),
            weight: 1.0,
        })
    }));
    let fewest = (places.len() * 2).div_ceil(3).max(2);
    loop {
        let plane = Plane::least_squares(&places);
        let far = |place: &Place| (place.off_mm - plane.at(place.x_mm, 0.0)).abs();
        let farthest = places.iter().map(far).fold(0.0, f64::max);
        if !(farthest > f64::from(pitch_mm) / 16.0 && places.len() > fewest) {
            return plane;
        }
        match places.iter().position(|place| far(place) >= farthest) {
            Some(number) => places.swap_remove(number),
            None => return plane,
        };
    }
}
