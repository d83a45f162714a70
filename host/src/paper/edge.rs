//! Outermost squares that may be none of the sheet's.
//!
//! Enters: a picture, its grid, the parts of the lines, the squares that are ruled.
//! Leaves: the ruled squares without a line that is drawn around the sheet, and the
//! outermost columns and lines of squares which no line ends, or which are crossed within
//! their squares too: marks that stick out of the ruling, a ruler beside it, what is dark
//! to the picture's edge. Refuses nothing.

use super::grid::Grid;
use super::light::Light;
use super::outline::{AllParts, Outline, Part, Parts, Strip};
use super::outline::{bare, beside, chance, crossed, look};
use super::picture::Picture;
use super::strip::FEW_BARE;
use std::collections::BTreeSet;
use std::ops::Range;

/// Of the bare squares of a strip so many are crossed in their middles by lines of another
/// pitch.
const CROSSED: f64 = 0.25;

/// Pixels by which the picture's edge may be off a line that it was cut at.
const EXACT: f64 = 1.5;

/// How far along a line to look, in squares.
const ALONG: f64 = 0.2;

/// Where the outer part of a strip is, in squares from its outer side.
const OUTER: f64 = 0.25;

/// Where beside what lies in a strip to look, in squares: near the line that is drawn
/// there, but not so near a heavy one of the ruling.
const BESIDE: [f64; 2] = [0.14, 0.22];

/// The outline without the outermost strips into which lines were drawn a little too far,
/// or in which nothing but a line around the sheet is.
#[must_use]
pub fn without_frame(
    picture: &Picture,
    grid: &Grid,
    light: &Light,
    parts: &AllParts,
    found: &Outline,
) -> Outline {
    let [columns, rows] = [true, false].map(|upright| {
        let side = Side::of(picture, grid, light, parts, found, upright);
        let strips = side.strips;
        let none = |strip: usize, first: bool| {
            side.strayed_into(strip, first) || side.only_framed(strip, first)
        };
        let first = strips.start + usize::from(none(strips.start, true));
        let last = strips.end - 1;
        first..strips.end - usize::from(last > first && none(last, false))
    });
    Outline { columns, rows }
}

/// The columns and the lines of squares that are in doubt.
#[must_use]
pub fn unsure(
    picture: &Picture,
    grid: &Grid,
    light: &Light,
    parts: &AllParts,
    outline: &Outline,
) -> [BTreeSet<usize>; 2] {
    [true, false].map(|upright| {
        let side = Side::of(picture, grid, light, parts, outline, upright);
        let squares = if upright { grid.columns } else { grid.rows };
        let chance = chance(picture, grid, !upright, side.along.end, squares);
        let unsure = |strip: usize, outer_line: usize| {
            side.open(outer_line) || side.cut(strip, outer_line) || side.crossed(strip, chance)
        };
        let first = side.strips.clone().take_while(|at| unsure(*at, *at));
        let last = side.strips.clone().rev();
        let last = last.take_while(|at| unsure(*at, *at + 1));
        first.chain(last).collect()
    })
}

/// What the strips of one direction are seen by: columns, or lines of squares.
struct Side<'a> {
    picture: &'a Picture,
    grid: &'a Grid,
    light: &'a Light,
    strips: &'a Range<usize>,
    /// The lines between the strips, those across them, and the squares along them.
    own: &'a Parts,
    crossing: &'a Parts,
    along: &'a Range<usize>,
    upright: bool,
}

impl<'a> Side<'a> {
    fn of(
        picture: &'a Picture,
        grid: &'a Grid,
        light: &'a Light,
        parts: &'a AllParts,
        outline: &'a Outline,
        upright: bool,
    ) -> Side<'a> {
        let columns = (&outline.columns, &parts.upright);
        let rows = (&outline.rows, &parts.across);
        let ((strips, own), (along, crossing)) = match upright {
            true => (columns, rows),
            false => (rows, columns),
        };
        Side {
            picture,
            grid,
            light,
            strips,
            own,
            crossing,
            along,
            upright,
        }
    }

    /// The lines that cross a strip, but for the outermost.
    fn inner(&self) -> Range<usize> {
        self.along.start + 1..self.along.end
    }

    /// Whether those lines are seen so far from the outer side of an outermost strip.
    fn seen_at(&self, strip: usize, first: bool, off: f64) -> Strip {
        let at = strip as f64 + if first { off } else { 1.0 - off };
        let (picture, grid, light) = (self.picture, self.grid, self.light);
        crossed(picture, grid, light, !self.upright, &self.inner(), at)
    }

    /// Whether no line goes on into the outer part of a strip, and none ends it.
    fn strayed_into(&self, strip: usize, first: bool) -> bool {
        let outer_line = strip + usize::from(!first);
        self.own.line(outer_line, self.along) == Strip::Bare
            && self.seen_at(strip, first, OUTER) == Strip::Bare
    }

    /// Whether a line runs along a strip in which no paint lies: beside it is bare paper,
    /// and nothing crosses that.
    fn only_framed(&self, strip: usize, first: bool) -> bool {
        let inner = self.inner();
        let in_bare = |line: &usize| matches!(self.crossing.at(*line, strip), Part::Bare(_));
        if inner.clone().filter(in_bare).count() as f64 > FEW_BARE * inner.len() as f64 {
            return false;
        }
        let [outer, beyond] = BESIDE;
        let seen = [outer, 1.0 - beyond].map(|off| self.seen_at(strip, first, off));
        seen.contains(&Strip::Bare) && !seen.contains(&Strip::Ruled)
    }

    /// Whether what hides the ruling goes on to the picture's edge, and that is no line.
    fn cut(&self, strip: usize, line: usize) -> bool {
        let off = |square: usize| {
            let place = self
                .grid
                .place(beside(self.upright, line as f64, square as f64));
            let (at, size) = match self.upright {
                true => (place.x, self.picture.width()),
                false => (place.y, self.picture.height()),
            };
            at.abs().min((at - size as f64).abs())
        };
        let ends = [self.along.start, self.along.end];
        self.own.line(line, self.along) == Strip::Outside
            && self.crossing.strip(strip, &self.inner()) == Strip::Hidden
            && ends.map(off).iter().any(|off| *off > EXACT)
    }

    /// Whether bare paper is where a line must be.
    fn open(&self, line: usize) -> bool {
        let (mut seen, mut empty) = (0, 0);
        for square in self.along.clone() {
            match self.own.at(line, square) {
                Part::Bare(true) | Part::Painted(true) => seen += 1,
                // a line wider than half a square is darker than nothing beside it
                Part::Bare(false) => {
                    let at = beside(self.upright, line as f64, square as f64 + 0.5);
                    let place = self.grid.place(at);
                    let levels = self.picture.between(place);
                    match bare(&levels, &self.light.white(place)) {
                        true => empty += 1,
                        false => seen += 1,
                    }
                }
                Part::Painted(false) | Part::Outside => {}
            }
        }
        empty >= 2 && empty > seen
    }

    /// Whether there are lines across this strip between those of the ruling.
    fn crossed(&self, strip: usize, chance: f32) -> bool {
        let middle = (strip as f64 + 0.5, ALONG);
        let (mut bare_squares, mut crossed) = (0, 0);
        for square in self.along.clone() {
            let within = square as f64 + 0.5;
            let is_bare = |off: &f64| {
                let at = beside(!self.upright, within + off, middle.0);
                let place = self.grid.place(at);
                bare(&self.picture.between(place), &self.light.white(place))
            };
            // in blurred paint the middle is darker than what is near lighter lines
            if ![-0.3, 0.3].iter().all(is_bare) {
                continue;
            }
            bare_squares += 1;
            let look = look(self.picture, self.grid, !self.upright, within, middle);
            crossed += usize::from(look.is_some_and(|look| look.dark > chance));
        }
        crossed >= 2 && crossed as f64 >= CROSSED * f64::from(bare_squares)
    }
}
