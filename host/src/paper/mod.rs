//! Point paper: the coloured squares of a sheet that was scanned or exported.
//!
//! Enters: a picture (PNG, BMP, GIF, TIFF or PBM) and whether each pixel is a
//! square or the squares are ruled. Leaves: a [`Sheet`], each square's colour,
//! its ruling, and the squares in doubt with why. Refuses: pictures that cannot
//! be read or are too large, and sheets on which no ruling is found; nothing is
//! guessed without being said.
//!
//! A ruled sheet is read in steps, a file each: the lines' rhythm (`pitch`, from
//! `lines`), the course of every line (`lattice`, from `phases`), whether the ruling is
//! finer than what repeats (`finer`), what is ruled (`outline`, `cut`, `edge`, `beyond`), the
//! heavy lines (`group`), the light (`light`) and the colours (`colours`, from
//! `clusters`).

mod beyond;
mod clusters;
mod colours;
mod cut;
mod edge;
mod finer;
mod gap;
mod grid;
mod group;
mod lattice;
mod light;
mod lines;
mod open;
mod outline;
mod paints;
mod phases;
mod picture;
mod pitch;
mod pixels;
mod sheet;
mod stored;
mod strip;
mod surface;
mod tint;
mod wide;

pub use finer::MOST_SCANNED;
pub use group::Group;
pub(crate) use open::{Opened, refusal};
pub use paints::Paints;
pub(crate) use picture::narrow;
pub use picture::{MOST_PIXELS, MOST_SIDE, Picture, Place, Rgb};
pub use sheet::{Doubt, PaperError, PaperFault, Ruling, Sheet, Why};

use finer::Ruled;
use grid::Grid;
use lattice::{Count, Lattice};
use light::Light;
use outline::{AllParts, Outline};
use pitch::Rhythm;
use std::path::Path;

/// Fewest ruled squares each way.
const FEWEST: usize = 4;

/// A picture of at most so many colours and without ruling has one pixel a square.
const FEW_COLOURS: usize = 24;

/// How far upright lines and those across may lean differently, in degrees.
const MOST_ASKEW: f64 = 3.0;

/// How the squares are told from the pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum How {
    /// One pixel is one square.
    Pixels,
    /// By the ruling.
    Ruled,
    /// By the ruling if there is one, else one pixel a square if there are few
    /// colours.
    #[default]
    Either,
}

/// The squares of the sheet in this file.
///
/// # Errors
/// It cannot be read as a picture, or no squares are found.
pub fn read(file: &Path, how: How) -> Result<Sheet, PaperError> {
    Picture::read(file)
        .and_then(|picture| squares(&picture, how))
        .map_err(|fault| PaperError {
            file: file.to_owned(),
            fault,
        })
}

/// The squares of a picture.
///
/// # Errors
/// No squares are found.
pub fn squares(picture: &Picture, how: How) -> Result<Sheet, PaperFault> {
    squares_painted(picture, how, &Paints::default())
}

/// The squares of a picture that was painted in these paints; other colours are found
/// as well.
///
/// # Errors
/// No squares are found.
pub fn squares_painted(picture: &Picture, how: How, paints: &Paints) -> Result<Sheet, PaperFault> {
    match how {
        How::Pixels => pixels::squares(picture),
        How::Ruled => ruled(picture, paints),
        How::Either => match ruled(picture, paints) {
            Ok(sheet) => Ok(sheet),
            Err(_) if pixels::colour_count(picture, FEW_COLOURS) <= FEW_COLOURS => {
                pixels::squares(picture)
            }
            Err(fault) => Err(PaperFault::Neither {
                fault: Box::new(fault),
            }),
        },
    }
}

/// The squares of a ruled sheet.
fn ruled(picture: &Picture, paints: &Paints) -> Result<Sheet, PaperFault> {
    let turned = picture.turned();
    let upright = pitch::rhythm(picture).ok_or(PaperFault::NoRuling { lines: "upright" })?;
    let across = pitch::rhythm(&turned).ok_or(PaperFault::NoRuling {
        lines: "horizontal",
    })?;
    // turned clockwise, upright lines go to the left on their way down
    let (lean_upright, lean_across) = (-upright.shear.atan(), across.shear.atan());
    if (lean_upright - lean_across).to_degrees().abs() > MOST_ASKEW {
        return Err(PaperFault::Askew {
            upright: lean_upright.to_degrees(),
            across: lean_across.to_degrees(),
        });
    }
    let seen = looked(picture, &turned, upright, across)?;
    drop(turned);
    let Looked {
        grid,
        light,
        parts,
        nothing,
    } = seen;
    let outline = Outline::of(&parts).ok_or(nothing)?;
    let outline = edge::without_frame(picture, &grid, &light, &parts, &outline);
    let outline = cut::whole(picture, &grid, &light, &outline);
    let (columns, rows) = (outline.columns.len(), outline.rows.len());
    if columns < FEWEST || rows < FEWEST {
        return Err(PaperFault::FewSquares { columns, rows });
    }
    for (upright, lines) in [(true, "columns"), (false, "lines")] {
        if wide::painted(picture, &grid, &outline, upright) {
            return Err(PaperFault::Painted { lines });
        }
    }
    let unsure = edge::unsure(picture, &grid, &light, &parts, &outline);
    let mut found = colours::colours(picture, &grid, &outline, light, paints)?;
    gap::doubt(&parts, &outline, unsure, &mut found.doubtful);
    let ruling = ruling(picture, &grid, &parts, &outline);
    let pitch = [ruling.pitch_across, ruling.pitch_down];
    if let Some(another) = beyond::another(picture, &ruling.outline, pitch) {
        if another.at_once {
            let lines = if another.columns { "columns" } else { "lines" };
            return Err(PaperFault::Painted { lines });
        }
        let side = another.side;
        let (columns, rows) = (columns as u32, rows as u32);
        return Err(PaperFault::Another {
            columns,
            rows,
            side,
        });
    }
    Ok(Sheet {
        columns: columns as u32,
        rows: rows as u32,
        palette: found.palette,
        squares: found.squares,
        doubtful: found.doubtful,
        ruling: Some(ruling),
    })
}

/// What is seen of a ruling.
struct Looked {
    grid: Grid,
    light: Light,
    parts: AllParts,
    /// If that is no sheet.
    nothing: PaperFault,
}

/// The grid of what repeats, or of a finer ruling in it.
fn looked(
    picture: &Picture,
    turned: &Picture,
    mut upright: Rhythm,
    mut across: Rhythm,
) -> Result<Looked, PaperFault> {
    // each time the ruling is finer, at most so often
    for _ in 0..3 {
        let nothing = PaperFault::NoSquares {
            across: upright.pitch,
            down: across.pitch,
        };
        let Some(lattice) = Lattice::of(picture, turned, upright, across) else {
            return Err(nothing);
        };
        let grid = Grid::of(picture, &lattice, upright.pitch.min(across.pitch));
        let seen = grid.seen(picture, &(0..grid.columns), &(0..grid.rows));
        let light = Light::of_brightest(picture, &seen);
        let parts = AllParts::of(picture, &grid, &light);
        let (columns, rows) = parts.core();
        let of_upright = finer::ruled(picture, &grid, (&columns, &rows), true, upright.pitch);
        let of_across = finer::ruled(picture, &grid, (&rows, &columns), false, across.pitch);
        match (of_upright, of_across) {
            (Ruled::Unevenly, _) => return Err(PaperFault::Painted { lines: "columns" }),
            (Ruled::Faintly, _) | (_, Ruled::Faintly) => return Err(nothing),
            (_, Ruled::Unevenly) => return Err(PaperFault::Painted { lines: "lines" }),
            (Ruled::Into(1), Ruled::Into(1)) => {
                return Ok(Looked {
                    grid,
                    light,
                    parts,
                    nothing,
                });
            }
            (Ruled::Into(columns), Ruled::Into(lines)) => {
                upright = upright.finer(columns);
                across = across.finer(lines);
            }
        }
    }
    Err(PaperFault::Painted { lines: "columns" })
}

/// The ruling as it is told to the caller.
fn ruling(picture: &Picture, grid: &Grid, parts: &AllParts, outline: &Outline) -> Ruling {
    let (columns, rows) = (&outline.columns, &outline.rows);
    let corners = [
        (columns.start, rows.start),
        (columns.end, rows.start),
        (columns.end, rows.end),
        (columns.start, rows.end),
    ];
    let middle = |column: f64, row: f64| {
        grid.place(Count {
            column: columns.start as f64 + column * columns.len() as f64,
            row: rows.start as f64 + row * rows.len() as f64,
        })
    };
    let (left, right) = (middle(0.0, 0.5), middle(1.0, 0.5));
    let (top, below) = (middle(0.5, 0.0), middle(0.5, 1.0));
    let apart = |a: Place, b: Place| (b.x - a.x).hypot(b.y - a.y);
    Ruling {
        pitch_across: apart(left, right) / columns.len() as f64,
        pitch_down: apart(top, below) / rows.len() as f64,
        skew_degrees: (right.y - left.y).atan2(right.x - left.x).to_degrees(),
        heavy_across: group::group(picture, grid, &parts.upright, outline, true),
        heavy_down: group::group(picture, grid, &parts.across, outline, false),
        outline: corners.map(|(column, row)| grid.crossing(column, row)),
    }
}
