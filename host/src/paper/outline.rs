//! How far the ruling goes.
//!
//! Enters: a picture, the grid of all its squares, its light. Leaves: an
//! [`Outline`], the columns and lines of squares that are ruled. Refuses, by
//! giving none, a picture whose bare squares have no lines around them.
//!
//! A column is ruled if the lines that cross it are seen in it. So the paper's
//! edge, a frame or a shadow beside the ruling are not taken for it. A column
//! painted all over shows no lines; it belongs to the sheet if it lies between
//! ruled ones, or ends where a line must be.

use super::grid::{Grid, contains};
use super::lattice::Count;
use super::light::Light;
use super::picture::Picture;
use super::strip::tell;
pub use super::strip::{Part, Strip};
use std::ops::Range;

/// Bare paper on both sides: a line must be seen there. All its colours are as bright as
/// this part of the paper's, and none by more than this part less than another; light
/// paint hides lines as dark paint does.
const BARE: f32 = 0.88;
const TINT: f32 = 0.12;

/// How far beside a line to look for bare paper, in squares: a blurred line does not
/// reach so far.
const BARE_BESIDE: f64 = 0.45;

/// So many columns in which no line is seen may lie within a sheet: a stain.
const STAIN: usize = 3;

/// Every part of the lines of one direction.
pub struct Parts {
    /// Of each line, as many as there are squares along it.
    list: Vec<Part>,
    along: usize,
    lines: usize,
}

/// The parts of all lines.
pub struct AllParts {
    /// Of upright lines; along them are the sheet's lines of squares.
    pub upright: Parts,
    /// Of lines across.
    pub across: Parts,
}

/// The ruled squares, counted in the grid.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outline {
    /// Columns.
    pub columns: Range<usize>,
    /// Lines of squares.
    pub rows: Range<usize>,
}

/// A place beside a line: across it and along it, in squares.
pub fn beside(upright: bool, across: f64, along: f64) -> Count {
    if upright {
        Count {
            column: across,
            row: along,
        }
    } else {
        Count {
            column: along,
            row: across,
        }
    }
}

/// What a part of a line is like: how much its middle is darker, or lighter,
/// than both its sides, and how far these are apart; levels of all colours
/// together.
pub struct Look {
    /// Darker than both sides.
    pub dark: f32,
    light: f32,
    edge: f32,
}

/// So many lines of squares may have a line drawn within them that is none of the ruling.
const MOST_DRAWN: usize = 4;

/// How far along a line, to both sides, to look in a square, and in a strip of one.
const SQUARE: f64 = 0.2;
const STRIP: f64 = 0.07;

/// The look of a part of a line; none outside the picture.
pub fn look(
    picture: &Picture,
    grid: &Grid,
    upright: bool,
    line: f64,
    (along, reach): (f64, f64),
) -> Option<Look> {
    let mean = |across: f64| -> Option<[f32; 3]> {
        let mut sum = [0.0; 3];
        for off in [-reach, 0.0, reach] {
            let place = grid.place(beside(upright, across, along + off));
            if !contains(picture, place) {
                return None;
            }
            let levels = picture.between(place);
            sum = [0, 1, 2].map(|colour| sum[colour] + levels[colour] / 3.0);
        }
        Some(sum)
    };
    let sides = [mean(line - 0.3)?, mean(line + 0.3)?];
    let (mut dark, mut light) = (0.0f32, 0.0f32);
    for off in [-0.12, -0.06, 0.0, 0.06, 0.12] {
        let middle = mean(line + off)?;
        let (mut below, mut above) = (0.0, 0.0);
        for colour in 0..3 {
            let (a, b) = (sides[0][colour], sides[1][colour]);
            below += (a.min(b) - middle[colour]).max(0.0);
            above += (middle[colour] - a.max(b)).max(0.0);
        }
        (dark, light) = (dark.max(below), light.max(above));
    }
    let edge = (0..3).map(|colour| (sides[0][colour] - sides[1][colour]).abs());
    Some(Look {
        dark,
        light,
        edge: edge.sum(),
    })
}

impl AllParts {
    /// Every part of every line of the grid.
    #[must_use]
    pub fn of(picture: &Picture, grid: &Grid, light: &Light) -> AllParts {
        AllParts {
            upright: Parts::of(picture, grid, light, true),
            across: Parts::of(picture, grid, light, false),
        }
    }

    /// Columns and lines of squares in which most of what is seen lies.
    #[must_use]
    pub fn core(&self) -> (Range<usize>, Range<usize>) {
        (self.across.core(), self.upright.core())
    }
}

impl Parts {
    fn of(picture: &Picture, grid: &Grid, light: &Light, upright: bool) -> Parts {
        let (lines, along) = if upright {
            (grid.columns + 1, grid.rows)
        } else {
            (grid.rows + 1, grid.columns)
        };
        let chance = chance(picture, grid, upright, lines, along);
        let part = |line: usize, square: usize| {
            let middle = (square as f64 + 0.5, SQUARE);
            part(picture, grid, light, upright, line, middle, chance)
        };
        let list = (0..lines)
            .flat_map(|line| (0..along).map(move |square| (line, square)))
            .map(|(line, square)| part(line, square))
            .collect();
        Parts { list, along, lines }
    }

    /// A part of a line.
    #[must_use]
    pub fn at(&self, line: usize, along: usize) -> Part {
        self.list[line * self.along + along]
    }

    /// Whether lines are seen in a strip of squares across them.
    #[must_use]
    pub fn strip(&self, along: usize, lines: &Range<usize>) -> Strip {
        tell(lines.clone().map(|line| self.at(line, along)))
    }

    /// Whether a line is seen along these squares.
    #[must_use]
    pub fn line(&self, line: usize, along: &Range<usize>) -> Strip {
        tell(along.clone().map(|square| self.at(line, square)))
    }

    /// Where most of what is seen lies: strips across the lines.
    fn core(&self) -> Range<usize> {
        let seen = |along: usize| {
            (0..self.lines)
                .filter(|line| {
                    matches!(
                        self.at(*line, along),
                        Part::Bare(true) | Part::Painted(true)
                    )
                })
                .count()
        };
        let counts: Vec<usize> = (0..self.along).map(seen).collect();
        let mut sorted = counts.clone();
        sorted.sort_unstable();
        let most = sorted[sorted.len() * 9 / 10];
        let strong = |count: &usize| *count * 3 > most;
        let first = counts.iter().position(strong).unwrap_or(0);
        let last = counts.iter().rposition(strong).unwrap_or(0);
        first..last + 1
    }
}

fn part(
    picture: &Picture,
    grid: &Grid,
    light: &Light,
    upright: bool,
    line: usize,
    along: (f64, f64),
    chance: f32,
) -> Part {
    let Some(look) = look(picture, grid, upright, line as f64, along) else {
        return Part::Outside;
    };
    let white = light.white(grid.place(beside(upright, line as f64, along.0)));
    let middle = |off: f64| {
        let places =
            [-along.1, 0.0, along.1].map(|a| beside(upright, line as f64 + off, along.0 + a));
        let levels = places.map(|place| picture.between(grid.place(place)));
        [0, 1, 2].map(|colour: usize| levels.iter().map(|at| at[colour]).sum::<f32>() / 3.0)
    };
    if [-BARE_BESIDE, BARE_BESIDE]
        .iter()
        .all(|off| bare(&middle(*off), &white))
    {
        Part::Bare(look.dark > chance)
    } else {
        // in a blurred picture the middle of a square is a little lighter
        Part::Painted(look.dark > chance || look.light.max(look.edge) > 2.0 * chance)
    }
}

/// Whether levels are those of bare paper, where that has `white`.
pub fn bare(levels: &[f32; 3], white: &[f32; 3]) -> bool {
    let (mut least, mut most) = (f32::INFINITY, 0.0f32);
    for (level, white) in levels.iter().zip(white) {
        let share = level / white;
        (least, most) = (least.min(share), most.max(share));
    }
    least >= BARE && most - least <= TINT
}

/// Whether lines are seen where they cross a narrow strip at `along`.
pub fn crossed(
    picture: &Picture,
    grid: &Grid,
    light: &Light,
    upright: bool,
    lines: &Range<usize>,
    along: f64,
) -> Strip {
    let squares = if upright { grid.rows } else { grid.columns };
    let chance = chance(picture, grid, upright, lines.end, squares);
    let part = |line| part(picture, grid, light, upright, line, (along, STRIP), chance);
    tell(lines.clone().map(part))
}

/// What stands out of the middle of squares, where there is no line: noise.
pub fn chance(picture: &Picture, grid: &Grid, upright: bool, lines: usize, along: usize) -> f32 {
    let step = (lines * along / 4_000).max(1);
    let mut by_line = vec![Vec::new(); lines];
    for at in (0..lines * along).step_by(step) {
        let (line, square) = ((at / along) as f64 + 0.5, (at % along) as f64 + 0.5);
        if let Some(look) = look(picture, grid, upright, line, (square, SQUARE)) {
            by_line[at / along].push(look.dark);
        }
    }
    let percentile = |sorted: &[f32], percent: usize| {
        let at = sorted.len() * percent / 100;
        sorted.get(at).copied().unwrap_or(0.0)
    };
    by_line
        .iter_mut()
        .for_each(|of_line| of_line.sort_unstable_by(f32::total_cmp));
    // a line drawn around the sheet may run in the middle of squares; it is no noise
    let mut usual: Vec<f32> = by_line
        .iter()
        .map(|of_line| percentile(of_line, 70))
        .collect();
    usual.sort_unstable_by(f32::total_cmp);
    let most = 4.0 * percentile(&usual, 50) + 6.0;
    let drawn = |of_line: &&Vec<f32>| percentile(of_line, 70) > most;
    let few = by_line.iter().filter(drawn).count() <= MOST_DRAWN;
    let noise = by_line.iter().filter(|of_line| !(few && drawn(of_line)));
    let mut chances: Vec<f32> = noise.flatten().copied().collect();
    chances.sort_unstable_by(f32::total_cmp);
    // two levels a colour are no line, however even the paper
    percentile(&chances, 98) * 1.2 + 6.0
}

impl Outline {
    /// The outline of what is ruled.
    #[must_use]
    pub fn of(parts: &AllParts) -> Option<Outline> {
        let (mut columns, mut rows) = parts.core();
        for _ in 0..3 {
            // the outermost lines may be bolder, fainter or not there at all
            let inner =
                |squares: &Range<usize>| squares.start + 1..squares.end.max(squares.start + 1);
            columns = extent(
                &parts.across,
                &inner(&rows),
                &parts.upright,
                &rows,
                &columns,
            )?;
            rows = extent(
                &parts.upright,
                &inner(&columns),
                &parts.across,
                &columns,
                &rows,
            )?;
        }
        Some(Outline { columns, rows })
    }
}

/// From a strip within the core outwards. `crossing` are the lines that cross
/// the strips, `own` those between them.
fn extent(
    crossing: &Parts,
    lines: &Range<usize>,
    own: &Parts,
    along: &Range<usize>,
    core: &Range<usize>,
) -> Option<Range<usize>> {
    let strip = |at: usize| crossing.strip(at, lines);
    let middle = (core.start + core.end) / 2;
    let start = core
        .clone()
        .filter(|at| strip(*at) == Strip::Ruled)
        .min_by_key(|at| at.abs_diff(middle))?;
    let outwards = |strips: &mut dyn Iterator<Item = (usize, usize)>| {
        let (mut last, mut bare) = (start, 0);
        for (at, outer_line) in strips {
            match strip(at) {
                Strip::Ruled => (last, bare) = (at, 0),
                Strip::Hidden if bare == 0 => {
                    // paint that ends on a line, or with the picture, ends with the sheet
                    if matches!(own.line(outer_line, along), Strip::Ruled | Strip::Outside) {
                        last = at;
                    }
                }
                Strip::Hidden | Strip::Bare if bare < STAIN => bare += 1,
                _ => break,
            }
        }
        last
    };
    let last = outwards(&mut (start + 1..crossing.along).map(|at| (at, at + 1)));
    let first = outwards(&mut (0..start).rev().map(|at| (at, at)));
    Some(first..last + 1)
}
