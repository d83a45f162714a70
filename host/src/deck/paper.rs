//! A black-and-white picture, one pixel a hook by a pick, made into a deck.
//!
//! Enters: a PNG, BMP, GIF, TIFF or PBM file and the settings of the reading.
//! Leaves: a [`Deck`], one card a line. Refuses: other colours than pure black
//! and white, and a width that is not exactly the hooks in use.
//!
//! Paper in colours, with a cloth file that says how each is woven, is the
//! business of [`crate::cloth`]; its pixels are read here.

use super::file::{CardFault, Cut, Cutting, Deck, Design, FirstPick, MOST_CARDS, SpareRow};
use super::format::CardFormat;
use super::pixels::{Pixels, pixels};
use cardwright_protocol::Row;
use std::path::{Path, PathBuf};

/// Widest picture that is looked at; no format has more needles.
pub(super) const MOST_HOOKS: u32 = 128 * 16;

/// How many offending squares an error names.
const SQUARES_NAMED: usize = 5;

/// Why no deck was made of a picture.
#[derive(Debug, thiserror::Error)]
pub enum PaperError {
    /// The file cannot be read.
    #[error("cannot read the picture {}: {cause}; check the path and the permissions", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The file is not a picture that is known.
    #[error("{} {}", file.display(), crate::paper::refusal(cause))]
    NotAPicture {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        cause: image::ImageError,
    },
    /// Far too large for any card.
    #[error("{} is {width} x {height} pixels; a picture has one pixel a hook by a pick, at most {MOST_HOOKS} by {MOST_CARDS}", file.display())]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// Neither black nor white.
    #[error("{} has squares that are neither pure black nor pure white, {count} in all: {}; paint them black or white (anti-aliasing and JPEG leave such greys), or give the cloth file that says how each colour is woven (--cloth FILE)", file.display(), squares(named, *count))]
    Colours {
        /// The file.
        file: PathBuf,
        /// How many.
        count: u64,
        /// The first of them.
        named: Vec<OddSquare>,
    },
    /// Not as wide as the hooks in use.
    #[error("{} is {width} pixels wide, but the format {format} has {wanted} hooks in use{}; {fits}", file.display(), spare.map(|row| format!(" (row {row} is spare)")).unwrap_or_default())]
    Width {
        /// The file.
        file: PathBuf,
        /// Pixels across.
        width: u32,
        /// The format.
        format: String,
        /// Hooks in use.
        wanted: u32,
        /// The spare row, if it is left blank.
        spare: Option<u16>,
        /// What would fit.
        fits: String,
    },
    /// The deck cannot be.
    #[error("{}: {fault}", file.display())]
    Cards {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        fault: CardFault,
    },
}

/// A square of the wrong colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OddSquare {
    /// Hook, from 1 at the left.
    pub hook: u32,
    /// Pick, from 1 at the first line woven.
    pub pick: u32,
    /// Red, green, blue and opacity.
    pub colour: [u8; 4],
}

fn squares(named: &[OddSquare], count: u64) -> String {
    let one = |square: &OddSquare| {
        let [red, green, blue, opacity] = square.colour;
        let clear = if opacity == 255 { "" } else { ", not opaque" };
        format!(
            "hook {} pick {} (#{red:02x}{green:02x}{blue:02x}{clear})",
            square.hook, square.pick
        )
    };
    let mut text = named.iter().map(one).collect::<Vec<_>>().join(", ");
    if count > named.len() as u64 {
        text.push_str(" and more");
    }
    text
}

/// How a picture is to be read.
#[derive(Clone, Debug, PartialEq)]
pub struct PaperSettings {
    /// The card format.
    pub format: CardFormat,
    /// Which squares are cut.
    pub cut: Cut,
    /// Which end of the picture is woven first.
    pub first_pick: FirstPick,
    /// What becomes of the spare row.
    pub spare_row: SpareRow,
}

impl PaperSettings {
    /// The trade's usual reading onto cards of this format.
    #[must_use]
    pub fn usual(format: CardFormat) -> PaperSettings {
        PaperSettings {
            format,
            cut: Cut::default(),
            first_pick: FirstPick::default(),
            spare_row: SpareRow::default(),
        }
    }

    /// The row that stays blank, if there is one.
    #[must_use]
    pub fn blank_row(&self) -> Option<u16> {
        self.format
            .spare_row()
            .filter(|_| self.spare_row == SpareRow::Blank)
    }

    /// How many hooks the design works: the width of its picture.
    #[must_use]
    pub fn hooks(&self) -> u32 {
        let spare = u32::from(self.format.holes_per_row());
        self.format.needles() - self.blank_row().map_or(0, |_| spare)
    }
}

/// The squares of a design, painted or not, first pick first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Squares {
    hooks: u32,
    painted: Vec<bool>,
}

impl Squares {
    /// One line a pick, first pick first; `painted` holds `hooks` squares a
    /// pick. None if the squares do not make whole lines.
    #[must_use]
    pub fn new(hooks: u32, painted: Vec<bool>) -> Option<Squares> {
        let whole = hooks > 0 && painted.len().is_multiple_of(hooks as usize);
        whole.then_some(Squares { hooks, painted })
    }

    /// Width of the design.
    #[must_use]
    pub fn hooks(&self) -> u32 {
        self.hooks
    }

    /// The lines of the design, first pick first.
    pub fn picks(&self) -> impl ExactSizeIterator<Item = &[bool]> {
        self.painted.chunks(self.hooks as usize)
    }
}

/// Makes a deck of the picture in this file; the deck is named after it.
///
/// # Errors
/// The picture cannot be read or does not fit the format.
pub fn deck_from_picture(file: &Path, settings: &PaperSettings) -> Result<Deck, PaperError> {
    let bytes = crate::input::bytes(file).map_err(|cause| PaperError::Unreadable {
        file: file.to_owned(),
        cause,
    })?;
    let squares = read_squares(&bytes, file, settings)?;
    let name = |name: Option<&std::ffi::OsStr>| {
        name.map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    };
    let design = Design {
        file: name(file.file_name()),
        sha256: super::hex(&<sha2::Sha256 as sha2::Digest>::digest(&bytes)),
        hooks: squares.hooks(),
        picks: u32::try_from(squares.picks().len()).unwrap_or(u32::MAX),
        first_pick: settings.first_pick,
    };
    let cutting = Cutting {
        cut: settings.cut,
        spare_row: settings.spare_row,
    };
    let cards = lay_out(&squares, settings);
    Deck::new(
        name(file.file_stem()),
        settings.format.clone(),
        Some(design),
        cutting,
        cards,
    )
    .map_err(|fault| PaperError::Cards {
        file: file.to_owned(),
        fault,
    })
}

/// The squares of a picture file's bytes.
fn read_squares(
    bytes: &[u8],
    file: &Path,
    settings: &PaperSettings,
) -> Result<Squares, PaperError> {
    let fits = |width| match width == settings.hooks() {
        true => Ok(()),
        false => Err(wrong_width(file, width, settings)),
    };
    let Pixels {
        width,
        height,
        colour,
    } = pixels(bytes, file, fits)?;
    let mut painted = Vec::with_capacity(width as usize * height as usize);
    let (mut count, mut named) = (0, Vec::new());
    for pick in 0..height {
        let line = match settings.first_pick {
            FirstPick::Bottom => height - 1 - pick,
            FirstPick::Top => pick,
        };
        for hook in 0..width {
            let colour = colour(hook, line);
            painted.push(colour == [0, 0, 0, 255]);
            if colour != [0, 0, 0, 255] && colour != [255, 255, 255, 255] {
                count += 1;
                if named.len() < SQUARES_NAMED {
                    named.push(OddSquare {
                        hook: hook + 1,
                        pick: pick + 1,
                        colour,
                    });
                }
            }
        }
    }
    if count > 0 {
        return Err(PaperError::Colours {
            file: file.to_owned(),
            count,
            named,
        });
    }
    Ok(Squares {
        hooks: width,
        painted,
    })
}

fn wrong_width(file: &Path, width: u32, settings: &PaperSettings) -> PaperError {
    let format = &settings.format;
    let wanted = settings.hooks();
    let mut fits = format!("make the picture {wanted} wide");
    if settings.blank_row().is_some() {
        fits += &format!(", or {} wide with --spare-row used", format.needles());
    } else if format.spare_row().is_some() {
        let without = format.needles() - u32::from(format.holes_per_row());
        fits += &format!(", or {without} wide with --spare-row blank");
    }
    PaperError::Width {
        file: file.to_owned(),
        width,
        format: format.name().to_owned(),
        wanted,
        spare: settings.blank_row(),
        fits,
    }
}

/// One card a pick. Hook 1 is hole 1 of the first row in use; hooks run across
/// the row and then to the next (Brooks, "Card cutting").
#[must_use]
pub fn lay_out(squares: &Squares, settings: &PaperSettings) -> Vec<Vec<Row>> {
    let holes = usize::from(settings.format.holes_per_row());
    let rows = usize::from(settings.format.rows());
    let blank = settings.blank_row().map(|row| usize::from(row) - 1);
    let cut_painted = settings.cut == Cut::Black;
    let card = |pick: &[bool]| {
        let mut groups = pick.chunks(holes);
        let row = |place| {
            if Some(place) == blank {
                return Row::BLANK;
            }
            let bits = |bits, (hole, painted): (usize, &bool)| {
                bits | u16::from(*painted == cut_painted) << hole
            };
            Row(groups
                .next()
                .unwrap_or_default()
                .iter()
                .enumerate()
                .fold(0, bits))
        };
        (0..rows).map(row).collect()
    };
    squares.picks().map(card).collect()
}

/// The hook, from 1, that a hole works under these settings; none in a row
/// that is left blank. Row and hole are counted from 1.
#[must_use]
pub fn hook_of_hole(settings: &PaperSettings, row: u16, hole: u8) -> Option<u32> {
    let format = &settings.format;
    if !(1..=format.rows()).contains(&row) || !(1..=format.holes_per_row()).contains(&hole) {
        return None;
    }
    let before = match settings.blank_row() {
        Some(blank) if blank == row => return None,
        Some(blank) if blank < row => row - 2,
        _ => row - 1,
    };
    Some(u32::from(before) * u32::from(format.holes_per_row()) + u32::from(hole))
}
