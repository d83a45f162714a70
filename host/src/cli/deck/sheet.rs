//! The squares of a painting that is given with a cloth file: a pixel each, or found
//! by the ruling of a scanned or exported sheet.
//!
//! Enters: the picture's bytes, the cloth. Leaves: squares in the cloth's colours,
//! and which of them are doubtful. Refuses: colours the cloth has not, sheets on which
//! no squares are found or that could be either; doubtful squares, unless they are taken.

use crate::cloth::{Cloth, Recognised, Squares};
use crate::deck::FirstPick;
use crate::paper::{self, Doubt, Group, How, Paints, PaperFault, Picture, Ruling, Sheet, Why};
use crate::words::counted;
use anyhow::{Context as _, Result, bail};
use serde_json::{Value, json};

/// How many doubtful squares an error names.
const DOUBTS_NAMED: usize = 5;

/// How the squares are told from the pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum SquaresBy {
    /// One pixel is one square
    Pixels,
    /// By the ruling of a scanned or exported sheet
    Ruled,
}

/// What was read.
pub(super) struct ReadPaper {
    pub squares: Squares,
    /// Squares that were not exactly of a paint.
    pub near: u64,
    pub doubtful: Vec<Doubt>,
    pub ruling: Option<Ruling>,
    first_line: FirstPick,
}

impl ReadPaper {
    /// How large it was read.
    pub(super) fn size(&self) -> String {
        let [columns, lines] = [self.squares.columns(), self.squares.lines()];
        format!("{columns} columns, {lines} lines")
    }
}

/// Reads a painting.
pub(super) fn read_paper(bytes: &[u8], cloth: &Cloth, by: Option<SquaresBy>) -> Result<ReadPaper> {
    let picture = Picture::from_bytes(bytes)?;
    match by {
        Some(SquaresBy::Pixels) => in_colours(paper::squares(&picture, How::Pixels)?, cloth),
        Some(SquaresBy::Ruled) => in_colours(ruled(&picture, cloth)?, cloth),
        None => either(&picture, cloth),
    }
}

/// A painting of one pixel a square has the cloth's colours and is no wider than its
/// hooks. Anything else may be ruled, also what is only near those colours: light ruling
/// is near those of bare paper, and a painting may have a lattice in it. If it is not
/// ruled, what speaks against the pixels is what a person can mend, unless it is a scan.
fn either(picture: &Picture, cloth: &Cloth) -> Result<ReadPaper> {
    let pixels = paper::squares(picture, How::Pixels);
    let few = !matches!(pixels, Err(PaperFault::ManyColours { .. }));
    let as_pixels = pixels
        .map_err(anyhow::Error::from)
        .and_then(|sheet| in_colours(sheet, cloth));
    let narrow = picture.width() <= cloth.widest() as usize;
    if narrow && as_pixels.as_ref().is_ok_and(|read| read.near == 0) {
        return as_pixels;
    }
    match ruled(picture, cloth) {
        Ok(sheet) => {
            let squares = sheet.ruling.map(|r| [r.pitch_across, r.pitch_down]);
            let [across, down] = squares.unwrap_or_default();
            let (columns, lines) = (sheet.columns, sheet.rows);
            if narrow && as_pixels.is_ok() {
                bail!(
                    "it can be read in two ways: one pixel a square, {} columns and {} lines of \
                     colours near the cloth's, or by its ruling, {columns} columns and {lines} \
                     lines; say which with --squares pixels or --squares ruled",
                    picture.width(),
                    picture.height(),
                );
            }
            if across.max(down) > paper::MOST_SCANNED {
                bail!(
                    "by its ruling it has {columns} columns and {lines} lines, squares of \
                     {across:.1} x {down:.1} pixels; if these are its squares, and not what heavy \
                     lines enclose, say so with --squares ruled"
                );
            }
            in_colours(sheet, cloth)
        }
        Err(_) if few && narrow => as_pixels,
        Err(_) if few => as_pixels.context(
            "no squares were found by a ruling (--squares ruled tells why), so each pixel was \
             taken for one",
        ),
        Err(fault) => Err(PaperFault::Neither {
            fault: Box::new(fault),
        }
        .into()),
    }
}

fn ruled(picture: &Picture, cloth: &Cloth) -> Result<Sheet, PaperFault> {
    paper::squares_painted(picture, How::Ruled, &paints_of(cloth))
}

fn paints_of(cloth: &Cloth) -> Paints {
    Paints {
        named: cloth.paints().map(paper::Rgb).collect(),
        tolerance: cloth.tolerance(),
    }
}

/// The sheet's squares, a doubtful one as the paint nearest to what was seen.
fn in_colours(sheet: Sheet, cloth: &Cloth) -> Result<ReadPaper> {
    let paint = |number: &u16| sheet.palette.get(usize::from(*number));
    let mut paints: Vec<_> = sheet.squares.iter().filter_map(paint).copied().collect();
    let named = paints_of(cloth);
    for doubt in &sheet.doubtful {
        let at = doubt.row as usize * sheet.columns as usize + doubt.column as usize;
        if let Some(paint) = paints.get_mut(at) {
            let seen = doubt.seen.unwrap_or(*paint);
            *paint = named.nearest(seen).unwrap_or(seen);
        }
    }
    let paints = paints.into_iter().map(|rgb| rgb.0);
    let Recognised { squares, near } = Squares::recognise(cloth, sheet.columns, paints)?;
    Ok(ReadPaper {
        squares,
        near,
        doubtful: sheet.doubtful,
        ruling: sheet.ruling,
        first_line: cloth.first_line(),
    })
}

/// No deck is made of squares that may be of another colour.
pub(super) fn refuse_doubtful(read: &ReadPaper) -> Result<()> {
    let count = read.doubtful.len();
    if count == 0 {
        return Ok(());
    }
    let line = |row: u32| match read.first_line {
        FirstPick::Top => row + 1,
        FirstPick::Bottom => read.squares.lines().saturating_sub(row),
    };
    let one = |doubt: &Doubt| {
        let Doubt {
            column, row, why, ..
        } = doubt;
        format!("column {} line {} ({why})", column + 1, line(*row))
    };
    let named = read.doubtful.iter().take(DOUBTS_NAMED).map(one);
    let more = if count > DOUBTS_NAMED {
        ", and more"
    } else {
        ""
    };
    let cut = |doubt: &Doubt| doubt.why == Why::Outside;
    let tinted = |doubt: &Doubt| doubt.why == Why::Tinted;
    let again = if read.doubtful.iter().any(cut) {
        "scan the sheet again as far as it goes"
    } else if read.doubtful.iter().all(tinted) {
        "paint such squares clearly and scan again, not as JPEG, which smears colours"
    } else {
        "paint such squares clearly and scan again"
    };
    bail!(
        "{} of the sheet of {} {} doubtful: {}{more}; {again}, or take \
         each for the paint nearest to what was read with --take-doubtful",
        counted(count, "square"),
        read.size(),
        if count == 1 { "is" } else { "are" },
        named.collect::<Vec<_>>().join(", ")
    )
}

/// The ruling in a line.
pub(super) fn ruling_line(ruling: &Ruling) -> String {
    let heavy = match heavy(ruling) {
        [Some(across), Some(down)] => format!("heavy lines every {across} x {down} squares"),
        [Some(across), None] => format!("heavy upright lines every {across} squares"),
        [None, Some(down)] => format!("heavy lines across every {down} squares"),
        [None, None] => "no heavy lines".to_owned(),
    };
    format!(
        "read by its ruling: squares of {:.1} x {:.1} pixels, turned {:.1} degrees, {heavy}",
        ruling.pitch_across, ruling.pitch_down, ruling.skew_degrees
    )
}

fn heavy(ruling: &Ruling) -> [Option<u32>; 2] {
    [ruling.heavy_across, ruling.heavy_down].map(|group| group.map(|group: Group| group.every))
}

/// The ruling as JSON.
pub(super) fn ruling_json(ruling: &Ruling) -> Value {
    json!({
        "pitch_across": ruling.pitch_across,
        "pitch_down": ruling.pitch_down,
        "skew_degrees": ruling.skew_degrees,
        "heavy": heavy(ruling),
    })
}
