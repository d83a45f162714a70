//! Whether the sheet goes on beyond the picture's edge.
//!
//! Enters: a picture, its grid, its light, the outline of the squares that can be read.
//! Leaves: the outline with the squares of which only a strip is in the picture, if the
//! ruling goes on in that strip. Refuses nothing: these squares are doubtful then.

use super::grid::Grid;
use super::light::Light;
use super::outline::{Outline, Strip, crossed};
use super::picture::Picture;
use std::ops::Range;

/// How far beyond the outermost line to look for those that cross it, in squares.
const STRIP: f64 = 0.17;

/// The outline of all that is ruled.
#[must_use]
pub fn whole(picture: &Picture, grid: &Grid, light: &Light, found: &Outline) -> Outline {
    let goes_on = |upright: bool, next: Option<usize>, edge: f64| {
        let (own, crossing) = match upright {
            true => (&found.rows, grid.columns),
            false => (&found.columns, grid.rows),
        };
        let Some(next) = next.filter(|next| *next < crossing) else {
            return false;
        };
        let in_picture = |along: &usize| match upright {
            true => grid.in_picture(picture, next, *along),
            false => grid.in_picture(picture, *along, next),
        };
        let read = own.clone().filter(in_picture).count();
        let inner = own.start + 1..own.end;
        2 * read < own.len()
            && crossed(picture, grid, light, !upright, &inner, edge) == Strip::Ruled
    };
    let grown = |upright: bool, squares: &Range<usize>| {
        let (start, end) = (squares.start, squares.end);
        let before = goes_on(upright, start.checked_sub(1), start as f64 - STRIP);
        let after = goes_on(upright, Some(end), end as f64 + STRIP);
        start - usize::from(before)..end + usize::from(after)
    };
    Outline {
        columns: grown(true, &found.columns),
        rows: grown(false, &found.rows),
    }
}
