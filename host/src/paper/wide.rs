//! Whether what was taken for lines is paint.
//!
//! Enters: a picture, its grid, its outline. Leaves: whether so many lines are as wide
//! as paint is that they are columns, painted from end to end, and no ruling. Refuses
//! nothing.
//!
//! A line is thin: beside it lies what lies in the middle of the squares. Beside the
//! middle of a painted column lies the same paint.

use super::grid::{Grid, contains};
use super::outline::{Outline, beside};
use super::picture::Picture;

/// How far beside a line to look, in squares: beyond any line and within a column that
/// is a half of what was taken for a square, or, where there are pixels enough, a third.
const BESIDE: f64 = 0.2;
const BESIDE_LARGE: f64 = 0.13;

/// Pixels of a square that could be three.
const LARGE: f64 = 16.0;

/// A line plainly differs from the squares by so many levels of all three colours.
const PLAINLY: f32 = 60.0;

/// A place beside a line is as the line is if it has this part of the difference.
const AS_LINE: f32 = 0.7;

/// So many of the parts of lines that can be judged are wide if paint was taken for them.
const MOST_WIDE: f64 = 0.3;

/// Fewest parts to go by.
const FEWEST: usize = 12;

/// Whether painted columns, or with `upright` unset painted lines of squares, were taken
/// for the ruling.
#[must_use]
pub fn painted(picture: &Picture, grid: &Grid, outline: &Outline, upright: bool) -> bool {
    let (across, along) = match upright {
        true => (&outline.columns, &outline.rows),
        false => (&outline.rows, &outline.columns),
    };
    let lines = across.start + 1..across.end;
    let parts = lines.flat_map(|line| along.clone().map(move |square| (line, square)));
    let judged: Vec<bool> = parts
        .filter_map(|(line, square)| wide(picture, grid, upright, line as f64, square as f64))
        .collect();
    let wide = judged.iter().filter(|wide| **wide).count();
    judged.len() >= FEWEST && wide as f64 > MOST_WIDE * judged.len() as f64
}

/// Whether a part of a line is wide. None where its squares differ, or it hardly does
/// from them.
fn wide(picture: &Picture, grid: &Grid, upright: bool, line: f64, square: f64) -> Option<bool> {
    let at = |off: f64| -> Option<[f32; 3]> {
        let mut sum = [0.0; 3];
        for along in [0.3, 0.5, 0.7] {
            let place = grid.place(beside(upright, line + off, square + along));
            if !contains(picture, place) {
                return None;
            }
            let levels = picture.between(place);
            sum = [0, 1, 2].map(|colour| sum[colour] + levels[colour] / 3.0);
        }
        Some(sum)
    };
    let apart = |a: [f32; 3], b: [f32; 3]| -> f32 {
        let off = (0..3).map(|colour| (a[colour] - b[colour]).abs());
        off.sum()
    };
    let (left, middle, right) = (at(-0.5)?, at(0.0)?, at(0.5)?);
    let depth = apart(middle, left).min(apart(middle, right));
    if depth < PLAINLY || apart(left, right) > depth / 2.0 {
        return None;
    }
    let far = if grid.pitch >= LARGE {
        BESIDE_LARGE
    } else {
        BESIDE
    };
    let as_line = |off: f64, side: [f32; 3]| Some(apart(at(off)?, side) >= AS_LINE * depth);
    Some(as_line(-far, left)? && as_line(far, right)?)
}
