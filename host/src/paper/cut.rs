//! Whether the sheet goes on beyond the picture's edge.
//!
//! Enters: a picture, its grid, its light, the outline of the squares that can be read.
//! Leaves: the outline with the squares of which only a strip is in the picture, if the
//! ruling goes on in that strip or paint is seen there. Refuses nothing: these squares are doubtful then.

use super::clusters::{Shade, distance};
use super::grid::{Grid, contains, median};
use super::lattice::Count;
use super::light::Light;
use super::outline::{Outline, Strip, beside, crossed};
use super::picture::Picture;
use std::ops::Range;

/// How far beyond the outermost line to look for those that cross it, in squares: as far
/// as the picture goes at most squares, for lines may be drawn a little too far.
const STRIP: f64 = 0.17;
const FARTHEST: f64 = 0.4;
const AROUND: f64 = 0.08;
const MOST: f64 = 0.6;

/// How much of a square may be left by the picture's edge so that nothing but its paint
/// is seen, in squares; less is taken up by the outermost line.
const LEFT: [f64; 2] = [0.07, 0.22];

/// Levels of all colours by which paint is neither paper, nor the line, nor between.
const PAINT: f32 = 60.0;

/// So many squares of a column show paint, as a speck does not.
const FEWEST_PAINTED: usize = 2;

/// The outline of all that is ruled.
#[must_use]
pub fn whole(picture: &Picture, grid: &Grid, light: &Light, found: &Outline) -> Outline {
    let goes_on = |upright: bool, next: Option<usize>, (line, way): (usize, f64)| {
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
        if 2 * own.clone().filter(in_picture).count() >= own.len() {
            return false;
        }
        let inner = own.start + 1..own.end;
        let beyond = |off: f64, along: f64| beside(upright, line as f64 + way * off, along);
        let seen_at = |off: &f64| {
            let seen = |square: &usize| {
                contains(
                    picture,
                    grid.place(beyond(off + AROUND, *square as f64 + 0.5)),
                )
            };
            own.clone().filter(seen).count() as f64 >= MOST * own.len() as f64
        };
        let mut offs = (0..24).map(|step| FARTHEST - f64::from(step) * 0.01);
        let off = offs.find(seen_at).unwrap_or(STRIP).max(STRIP);
        let edge = line as f64 + way * off;
        crossed(picture, grid, light, !upright, &inner, edge) == Strip::Ruled
            || shows_paint(picture, grid, light, own, &beyond)
    };
    let grown = |upright: bool, squares: &Range<usize>| {
        let (start, end) = (squares.start, squares.end);
        let before = goes_on(upright, start.checked_sub(1), (start, -1.0));
        let after = goes_on(upright, Some(end), (end, 1.0));
        start - usize::from(before)..end + usize::from(after)
    };
    Outline {
        columns: grown(true, &found.columns),
        rows: grown(false, &found.rows),
    }
}
/// Whether the strip that is left beyond an outermost line shows paint. `beyond` is
/// where a part of a square beyond that line is.
fn shows_paint(
    picture: &Picture,
    grid: &Grid,
    light: &Light,
    along: &Range<usize>,
    beyond: &dyn Fn(f64, f64) -> Count,
) -> bool {
    let share = |count: Count| {
        let place = grid.place(count);
        let share = light.share(place, picture.nearest(place));
        share.map(|share| share * 255.0)
    };
    let squares = along.clone().map(|square| square as f64 + 0.5);
    let mut of_line: [Vec<f32>; 3] = Default::default();
    for square in squares.clone() {
        let ink = share(beyond(0.0, square));
        (0..3).for_each(|colour| of_line[colour].push(ink[colour]));
    }
    let ink = of_line.map(|mut levels| median(&mut levels).unwrap_or_default());
    let steps = (0..16).map(|step| LEFT[1] - f64::from(step) * 0.01);
    let painted = squares.filter(|square| {
        let inside = |off: &f64| contains(picture, grid.place(beyond(*off, *square)));
        let outermost = steps.clone().find(inside);
        outermost
            .filter(|off| *off > LEFT[0])
            .is_some_and(|off| from_line(share(beyond(off, *square)), ink) > PAINT)
    });
    painted.count() >= FEWEST_PAINTED
}

/// How far a colour is from all that lie between paper and ink.
fn from_line(colour: Shade, ink: Shade) -> f32 {
    let paper = [255.0; 3];
    let way = distance(ink, paper).powi(2).max(1.0);
    let along: f32 = (0..3)
        .map(|at| (colour[at] - paper[at]) * (ink[at] - paper[at]))
        .sum();
    let part = (along / way).clamp(0.0, 1.0);
    distance(
        colour,
        [0, 1, 2].map(|at: usize| paper[at] + part * (ink[at] - paper[at])),
    )
}
