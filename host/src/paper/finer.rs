//! Whether the ruling is finer than what repeats.
//!
//! Enters: a picture, the grid of what repeats in it, and which squares of that are
//! ruled. Leaves: into how many parts its squares are ruled, usually one. Refuses, by
//! telling that paint was taken for lines, squares that are crossed otherwise, and squares
//! crossed by lines too faint to be seen in any one of them.
//!
//! On a sheet that is striped all over, the stripes repeat and the ruling, which does so
//! more often, is seen only between bare squares. But both lines and the edges of paint
//! lie on the ruling alone: where they are in the grid's squares tells how these are
//! ruled. Faint lines are far more than what is left of noise and paint in the middle of
//! hundreds of squares.

use super::grid::{Grid, median};
use super::outline::beside;
use super::picture::Picture;
use super::pitch::PITCHES;
use std::ops::Range;

/// How far to both sides of a place to look, in pixels.
const REACH: f64 = 1.3;

/// Levels of all colours together beyond which an edge is not stronger.
const STRONG: f32 = 90.0;

/// What a line or an edge has in the mean, at least, and how much more than what lies
/// between.
const SEEN: f32 = 25.0;
const MORE: f32 = 2.5;

/// Pixels of a square: larger ones hardly anybody scans, and what is taken for them may be
/// what heavy lines enclose.
pub const MOST_SCANNED: f64 = 30.0;

/// How far a faint line is from both its sides at least; levels of all colours together.
/// Of so many parts of each square one of so many is asked, the brightest.
const FAINT: f32 = 1.0;
const PARTS: u32 = 6;
const BRIGHTEST: usize = 8;

/// Farther from the grid's lines than this, in squares and in pixels, nothing may be
/// crossed on half of all squares.
const CLOSE: f64 = 0.33;
const CLOSE_PIXELS: f64 = 3.5;
const CROSSED: f32 = 45.0;

/// So many squares tell it, and most parts of one.
const ASKED: usize = 800;
const MOST_PARTS: usize = 16;

/// How the squares of a grid are ruled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ruled {
    /// Into so many parts.
    Into(usize),
    /// They are crossed, but not evenly.
    Unevenly,
    /// Lines cross them that are too faint to be followed.
    Faintly,
}

/// How the squares are ruled by upright lines, or by lines across, of which `pitch`
/// pixels lie from one to the next.
#[must_use]
pub fn ruled(
    picture: &Picture,
    grid: &Grid,
    (across, along): (&Range<usize>, &Range<usize>),
    upright: bool,
    pitch: f64,
) -> Ruled {
    let places = ((2.0 * pitch).round() as usize).max(12);
    let within = || (0..places).map(|place| place as f64 / places as f64);
    let ask = Asked {
        picture,
        grid,
        across,
        along,
        upright,
        pitch,
    };
    let most = ((pitch / PITCHES.start()) as usize).min(MOST_PARTS);
    let strong: Vec<f32> = within().map(|within| ask.crossed(within)).collect();
    if let Some(parts) = finest(&strong, most, SEEN) {
        return Ruled::Into(parts);
    }
    if pitch > MOST_SCANNED {
        let faint: Vec<f32> = within().map(|within| ask.faint(within)).collect();
        if finest(&faint, most, FAINT).is_some() {
            return Ruled::Faintly;
        }
    }
    let close = CLOSE.max(CLOSE_PIXELS / pitch);
    let middle = strong
        .iter()
        .enumerate()
        .filter(|(place, _)| {
            let within = *place as f64 / places as f64;
            (close..=1.0 - close).contains(&within)
        })
        .map(|(_, strong)| *strong);
    if middle.fold(0.0, f32::max) > CROSSED {
        return Ruled::Unevenly;
    }
    Ruled::Into(1)
}

/// The finest parts that fit what is seen at places within the squares: lines are plainly
/// more than what is half-way between them.
fn finest(seen: &[f32], most: usize, least: f32) -> Option<usize> {
    let places = seen.len();
    let at = |within: f64| seen[(within * places as f64).round() as usize % places];
    (2..=most).rev().find(|parts| {
        let step = 1.0 / *parts as f64;
        let fits = |start: f64| {
            let lines = (0..*parts).map(|part| at(start + part as f64 * step));
            let between = (0..*parts).map(|part| at(start + (part as f64 + 0.5) * step));
            let faintest = lines.fold(f32::INFINITY, f32::min);
            faintest > least && faintest > MORE * between.fold(0.0, f32::max)
        };
        let starts = (0..places).map(|place| place as f64 / places as f64);
        starts.take_while(|start| *start < step).any(fits)
    })
}

/// The squares that are asked how they are ruled.
struct Asked<'a> {
    picture: &'a Picture,
    grid: &'a Grid,
    across: &'a Range<usize>,
    along: &'a Range<usize>,
    upright: bool,
    pitch: f64,
}

impl Asked<'_> {
    /// The middles of so many squares, across and along.
    fn squares(&self) -> impl Iterator<Item = (f64, f64)> {
        let (across, along) = (self.across, self.along);
        let count = across.len() * along.len();
        // no step that always comes to the same lines: some are heavy, some painted
        let shared = |step: &usize| {
            (2..=*step).any(|by| step.is_multiple_of(by) && across.len().is_multiple_of(by))
        };
        let least = (count / ASKED).max(1);
        let step = (least..).find(|step| !shared(step)).unwrap_or(least);
        (0..count).step_by(step).map(|at| {
            let line = across.start + at % across.len();
            let square = along.start + at / across.len();
            (line as f64, square as f64 + 0.5)
        })
    }

    /// What is at a place and on both its sides: the means over this reach along.
    fn beside(&self, line: f64, square: f64, reach: f64) -> [[f32; 3]; 3] {
        let off = REACH / self.pitch;
        [-off, 0.0, off].map(|off| {
            let levels = [-reach, 0.0, reach].map(|along| {
                let at = beside(self.upright, line + off, square + along);
                self.picture.between(self.grid.place(at))
            });
            [0, 1, 2].map(|colour: usize| levels.iter().map(|at| at[colour]).sum::<f32>() / 3.0)
        })
    }

    /// How strong lines and edges are at a place within the squares, in the mean.
    fn crossed(&self, within: f64) -> f32 {
        let apart = |a: [f32; 3], b: [f32; 3]| -> f32 {
            (0..3).map(|colour| (a[colour] - b[colour]).abs()).sum()
        };
        let strengths = self.squares().map(|(line, square)| {
            let [left, middle, right] = self.beside(line + within, square, 0.2);
            let line = apart(left, middle).min(apart(middle, right));
            line.max(apart(left, right)).min(STRONG)
        });
        let (sum, asked) = strengths.fold((0.0, 0), |(sum, asked), one| (sum + one, asked + 1));
        sum / asked.max(1) as f32
    }

    /// How far a line there is from both its sides, in the median of the brightest parts of
    /// squares: paint may hide it. On tinted paper a grey line may be lighter in one colour.
    fn faint(&self, within: f64) -> f32 {
        let parts = (0..PARTS).map(|part| (f64::from(part) + 0.5) / f64::from(PARTS) - 0.5);
        let asked = self
            .squares()
            .flat_map(|(line, square)| parts.clone().map(move |part| (line, square + part)));
        let mut seen: Vec<(f32, [f32; 3])> = asked
            .map(|(line, square)| {
                let [left, middle, right] = self.beside(line + within, square, 0.05);
                let sides = [0, 1, 2].map(|colour: usize| (left[colour] + right[colour]) / 2.0);
                let off = [0, 1, 2].map(|colour: usize| sides[colour] - middle[colour]);
                (sides.iter().sum(), off)
            })
            .collect();
        seen.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        seen.truncate(seen.len() / BRIGHTEST);
        let of_colour = |colour: usize| {
            let mut off: Vec<f32> = seen.iter().map(|(_, off)| off[colour]).collect();
            median(&mut off).unwrap_or_default().abs()
        };
        (0..3).map(of_colour).sum()
    }
}
