//! The squares of a point paper, as colours of the cloth file.
//!
//! Enters: red, green and blue of every square, top line first. Leaves:
//! [`Squares`]. Refuses: a colour that the cloth file does not have, naming the
//! first squares that have it.

use super::read::apart;
use super::{Cloth, Rgb};
use crate::deck::FirstPick;

/// How many offending squares an error names.
const SQUARES_NAMED: usize = 5;

/// A square of a colour that is not the cloth's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OddSquare {
    /// Column, from 1 at the left.
    pub column: u32,
    /// Line, from 1 at the first woven.
    pub line: u32,
    /// Its colour.
    pub colour: Rgb,
}

/// Why squares were refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SquaresFault {
    /// They do not make whole lines.
    #[error(
        "the paper has {squares} squares in lines of {columns}; give whole lines, at least one"
    )]
    Ragged {
        /// Squares in all.
        squares: usize,
        /// Squares in a line.
        columns: u32,
    },
    /// A colour that the cloth file has not.
    #[error("the paper has squares of colours that the cloth file does not name, {count} in all: {}; paint them in one of its colours, name the colour there, or raise tolerance", named(first, *count))]
    Colours {
        /// How many squares.
        count: u64,
        /// The first of them.
        first: Vec<OddSquare>,
    },
}

fn named(first: &[OddSquare], count: u64) -> String {
    let one = |square: &OddSquare| {
        let [red, green, blue] = square.colour;
        let OddSquare { column, line, .. } = square;
        format!("column {column} line {line} (#{red:02x}{green:02x}{blue:02x})")
    };
    let mut text = first.iter().map(one).collect::<Vec<_>>().join(", ");
    if count > first.len() as u64 {
        text.push_str(" and more");
    }
    text
}

/// The squares of a paper. Each is the place of its colour in the cloth file,
/// from 0.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Squares {
    columns: u32,
    /// Top line first, each from the left.
    colours: Vec<u8>,
}

/// Squares recognised by their paint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recognised {
    /// The squares.
    pub squares: Squares,
    /// How many were not exactly of a paint of the cloth file, but near one.
    pub near: u64,
}

impl Squares {
    /// Squares of `columns` a line, top line first. None if they do not make
    /// whole lines.
    #[must_use]
    pub fn new(columns: u32, colours: Vec<u8>) -> Option<Squares> {
        let whole =
            columns > 0 && !colours.is_empty() && colours.len().is_multiple_of(columns as usize);
        whole.then_some(Squares { columns, colours })
    }

    /// The squares of a picture: red, green and blue of each, top line first.
    ///
    /// # Errors
    /// They do not make whole lines, or one has a colour that the cloth has not.
    pub fn recognise(
        cloth: &Cloth,
        columns: u32,
        paints: impl IntoIterator<Item = Rgb>,
    ) -> Result<Recognised, SquaresFault> {
        let mut seen: Option<(Rgb, Option<u8>)> = None;
        let (mut near, mut odd, mut first) = (0, 0, Vec::new());
        let mut colours = Vec::new();
        for paint in paints {
            let colour = match seen {
                Some((last, colour)) if last == paint => colour,
                _ => colour_of(cloth, paint),
            };
            seen = Some((paint, colour));
            match colour {
                Some(colour) => {
                    near += u64::from(cloth.colours[usize::from(colour)].paint != paint)
                }
                None => {
                    odd += 1;
                    if first.len() < SQUARES_NAMED {
                        first.push((colours.len(), paint));
                    }
                }
            }
            colours.push(colour.unwrap_or_default());
        }
        let squares = colours.len();
        let Some(squares) = Squares::new(columns, colours) else {
            return Err(SquaresFault::Ragged { squares, columns });
        };
        if odd > 0 {
            let place = |(at, colour): (usize, Rgb)| squares.odd(cloth, at, colour);
            return Err(SquaresFault::Colours {
                count: odd,
                first: first.into_iter().map(place).collect(),
            });
        }
        Ok(Recognised { squares, near })
    }

    fn odd(&self, cloth: &Cloth, at: usize, colour: Rgb) -> OddSquare {
        let number = |place: usize| u32::try_from(place + 1).unwrap_or(u32::MAX);
        let (line, column) = (at / self.columns as usize, at % self.columns as usize);
        let line = match cloth.first_line {
            FirstPick::Top => line,
            FirstPick::Bottom => self.lines() as usize - 1 - line,
        };
        OddSquare {
            column: number(column),
            line: number(line),
            colour,
        }
    }

    /// Squares in a line.
    #[must_use]
    pub fn columns(&self) -> u32 {
        self.columns
    }

    /// How many lines there are.
    #[must_use]
    pub fn lines(&self) -> u32 {
        u32::try_from(self.colours.len() / self.columns as usize).unwrap_or(u32::MAX)
    }

    /// Every square, top line first.
    #[must_use]
    pub fn colours(&self) -> &[u8] {
        &self.colours
    }

    /// Line `line`, counted from 0 at the first woven.
    #[must_use]
    pub fn woven_line(&self, line: u32, first: FirstPick) -> &[u8] {
        let at = self.place_of(line, first);
        &self.colours[at..][..self.columns as usize]
    }

    /// Where a line, counted from 0 at the first woven, begins.
    fn place_of(&self, line: u32, first: FirstPick) -> usize {
        let from_top = match first {
            FirstPick::Top => line,
            FirstPick::Bottom => self.lines() - 1 - line,
        };
        from_top as usize * self.columns as usize
    }

    /// The colour of each square as the cloth file paints it, top line first.
    pub fn paints<'a>(&'a self, cloth: &'a Cloth) -> impl Iterator<Item = Rgb> + 'a {
        let paint = |colour: &u8| cloth.colours[usize::from(*colour)].paint;
        self.colours.iter().map(paint)
    }

    /// The first square of a colour that is not one of so many.
    pub(super) fn beyond(&self, colours: usize) -> Option<u8> {
        let beyond = |colour: &&u8| usize::from(**colour) >= colours;
        self.colours.iter().find(beyond).copied()
    }
}

/// The colour that has this paint, or the one near enough.
fn colour_of(cloth: &Cloth, paint: Rgb) -> Option<u8> {
    // paints lie more than twice the tolerance apart, so at most one is near
    let tolerance = u32::from(cloth.tolerance);
    let near = |colour: &super::Colour| apart(colour.paint, paint) <= tolerance;
    let place = cloth.colours.iter().position(near)?;
    u8::try_from(place).ok()
}
