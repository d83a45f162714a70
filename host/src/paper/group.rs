//! Which lines of the ruling are heavy.
//!
//! Enters: the parts of the lines, and the squares that are ruled. Leaves: a
//! [`Group`], or none if no lines stand out evenly.

use super::grid::{Grid, contains};
use super::outline::{Outline, Part, Parts, beside};
use super::picture::Picture;

/// Fewest and most squares between heavy lines.
const EVERY: std::ops::RangeInclusive<usize> = 4..=24;

/// How much of the lines' differences the heavy ones must explain.
const EXPLAINED: f64 = 0.5;

/// How much heavier they must be.
const HEAVIER: f64 = 1.2;

/// So many parts of a line tell how heavy it is.
const ASKED: usize = 64;

/// Heavy lines of one direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group {
    /// Squares from heavy line to heavy line.
    pub every: u32,
    /// Squares from the sheet's edge (left or upper) to the first heavy line.
    pub first: u32,
}

/// The heavy lines among the upright ones, or among those across.
#[must_use]
pub fn group(
    picture: &Picture,
    grid: &Grid,
    parts: &Parts,
    outline: &Outline,
    upright: bool,
) -> Option<Group> {
    let (lines, along) = if upright {
        (&outline.columns, &outline.rows)
    } else {
        (&outline.rows, &outline.columns)
    };
    let weights: Vec<Option<f64>> = (lines.start..=lines.end)
        .map(|line| {
            let bare = along
                .clone()
                .filter(|square| parts.at(line, *square) == Part::Bare(true));
            let mut weights: Vec<f64> = bare
                .take(ASKED)
                .filter_map(|square| {
                    weight(picture, grid, upright, line as f64, square as f64 + 0.5)
                })
                .collect();
            weights.sort_unstable_by(f64::total_cmp);
            (!weights.is_empty()).then(|| weights[weights.len() / 2])
        })
        .collect();
    heaviest(&weights)
}

/// How much darkness a part of a line holds: squares' widths of black.
fn weight(picture: &Picture, grid: &Grid, upright: bool, line: f64, along: f64) -> Option<f64> {
    let level = |across: f64| {
        let mut sum = 0.0;
        for off in [-0.15, 0.15] {
            let place = grid.place(beside(upright, across, along + off));
            if !contains(picture, place) {
                return None;
            }
            sum += f64::from(picture.between(place).iter().sum::<f32>()) / 2.0;
        }
        Some(sum)
    };
    let paper = (level(line - 0.42)? + level(line + 0.42)?) / 2.0;
    let mut dark = 0.0;
    for step in -7..=7 {
        dark += paper - level(line + f64::from(step) * 0.05)?;
    }
    Some((dark / paper.max(1.0)).max(0.0) * 0.05)
}

/// The even spacing that best explains which lines are heavy.
fn heaviest(weights: &[Option<f64>]) -> Option<Group> {
    let known: Vec<(usize, f64)> = weights
        .iter()
        .enumerate()
        .filter_map(|(line, weight)| Some((line, (*weight)?)))
        .collect();
    let count = known.len() as f64;
    let mean = known.iter().map(|(_, weight)| weight).sum::<f64>() / count.max(1.0);
    let whole: f64 = known
        .iter()
        .map(|(_, weight)| (weight - mean).powi(2))
        .sum();
    let mut best = (EXPLAINED, None);
    for every in EVERY {
        for first in 0..every {
            let (mut heavy, mut sum) = (0.0, 0.0);
            for (line, weight) in &known {
                if line % every == first {
                    heavy += 1.0;
                    sum += weight;
                }
            }
            let rest = count - heavy;
            if heavy < 2.0 || rest < 1.0 {
                continue;
            }
            let light = (mean * count - sum) / rest;
            let heavier = sum / heavy;
            let between = heavy * (heavier - mean).powi(2) + rest * (light - mean).powi(2);
            let explained = between / whole.max(f64::MIN_POSITIVE);
            if heavier > HEAVIER * light && explained > best.0 {
                let group = Group {
                    every: every as u32,
                    first: first as u32,
                };
                best = (explained, Some(group));
            }
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heavy_lines_are_counted_and_none_are_made_up() {
        for every in 4..=24usize {
            for first in [0, every / 2, every - 1] {
                let weight = |line: usize| {
                    let heavy = line % every == first;
                    // an unseen line now and then, and lines that are not all alike
                    (line % 29 != 5)
                        .then(|| 0.1 + (line % 3) as f64 * 0.01 + f64::from(u8::from(heavy)) * 0.1)
                };
                let weights: Vec<_> = (0..130).map(weight).collect();
                let group = heaviest(&weights).expect("heavy lines");
                assert_eq!((group.every as usize, group.first as usize), (every, first));
            }
        }
        assert_eq!(heaviest(&[Some(0.1); 90]), None);
        let uneven: Vec<_> = (0..90u32)
            .map(|line| Some(f64::from(line * line % 97)))
            .collect();
        assert_eq!(heaviest(&uneven), None);
        assert_eq!(heaviest(&[]), None);
    }
}
