//! Where each row lies, roughly: the middle of its light.
//!
//! Enters: light, places that a peg hole lights. Leaves: each row's offset along
//! the feed, if it has light, and the card's own shift and stretch. A card may be
//! shifted by half a pitch and swollen by one in a hundred, so each row is looked
//! for where those before it lead.

use super::super::light::{Lanes, Light};
use super::super::plane::{Place, Plane};
use super::bases::Bases;

/// Less of a whole hole's light than this, on one channel, tells nothing.
const CLEAR: f32 = 0.35;

/// A row further than this from where it was looked for is a displaced one, and
/// does not lead to the next.
const LEADING_MM: f32 = 1.0;

/// Unless so many rows running are displaced alike.
const FOLLOWED: usize = 3;

/// The rows' offsets, looked for around `plane`; none where there is no light to
/// tell.
pub(super) fn track<const N: usize>(
    bases: &Bases,
    light: &Light<N>,
    near_peg: &[[bool; N]],
    plane: Plane,
) -> Vec<Option<f32>> {
    let whole: f32 = {
        let lines = light.per_row as i32;
        let along = |n: i32| n as f32 * bases.line_mm;
        (-lines..=lines).map(|n| bases.needle.at(along(n))).sum()
    };
    // the first and the last line are half in this pitch, half in the next
    let half = light.per_row as i32 / 2;
    let taps: Vec<(f32, f32)> = (-half..=half)
        .map(|number| {
            let weight = if number.abs() == half { 0.5 } else { 1.0 };
            (weight, number as f32 * weight)
        })
        .collect();
    let mut lead = 0.0f32;
    let mut strays: heapless::Vec<f32, FOLLOWED> = heapless::Vec::new();
    let mut rows = Vec::with_capacity(near_peg.len());
    for (row, near_peg) in near_peg.iter().enumerate() {
        let place = row as f32 * bases.pitch_mm;
        let place = place + plane.at(f64::from(place), 0.0) as f32;
        let found = middle(bases, light, place + lead, &taps, near_peg, CLEAR * whole);
        rows.push(found.map(|at| at - row as f32 * bases.pitch_mm));
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

/// The middle of the light around `at_mm`, of all channels with clear holes.
fn middle<const N: usize>(
    bases: &Bases,
    light: &Light<N>,
    at_mm: f32,
    taps: &[(f32, f32)],
    near_peg: &[bool; N],
    clear: f32,
) -> Option<f32> {
    let centre = (at_mm / bases.line_mm).round() as i64 + light.per_row as i64;
    let first = usize::try_from(centre - taps.len() as i64 / 2).ok()?;
    let lines = light.lines.get(first..first + taps.len())?;
    let (mut sum, mut moment): (Lanes<N>, Lanes<N>) = ([0.0; N], [0.0; N]);
    for ((weight, along), line) in taps.iter().zip(lines) {
        for lane in 0..N {
            sum[lane] += weight * line[lane];
            moment[lane] += along * line[lane];
        }
    }
    let (mut all, mut moments) = (0.0, 0.0);
    for lane in 0..N {
        // without a branch, which would be guessed wrong at every other hole
        let told = f32::from(u8::from((sum[lane] > clear) & !near_peg[lane]));
        all += told * sum[lane];
        moments += told * moment[lane];
    }
    let start_mm = (centre - light.per_row as i64) as f32 * bases.line_mm;
    (all > 0.0).then(|| start_mm + moments / all * bases.line_mm)
}

/// The card's shift and stretch by its rows alone: the line from which the rows
/// farthest off are left out one by one, a third of them at most.
pub(super) fn line(rows: &[Option<f32>], pitch_mm: f32) -> Plane {
    let mut places: Vec<Place> = rows
        .iter()
        .enumerate()
        .filter_map(|(row, off)| {
            Some(Place {
                x_mm: row as f64 * f64::from(pitch_mm),
                y_mm: 0.0,
                off_mm: f64::from((*off)?),
                weight: 1.0,
            })
        })
        .collect();
    let fewest = (places.len() * 2).div_ceil(3).max(2);
    loop {
        let plane = Plane::least_squares(&places);
        let far = |place: &Place| (place.off_mm - plane.at(place.x_mm, 0.0)).abs();
        let worst = places
            .iter()
            .enumerate()
            .map(|(number, place)| (number, far(place)))
            .max_by(|(_, a), (_, b)| a.total_cmp(b));
        match worst {
            Some((number, far)) if far > f64::from(pitch_mm) / 16.0 && places.len() > fewest => {
                places.swap_remove(number);
            }
            _ => return plane,
        }
    }
}
