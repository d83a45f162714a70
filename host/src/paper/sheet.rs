//! What is on a sheet of point paper, and its faults.
//!
//! Enters: what the reading found. Leaves: the squares as they are asked for,
//! and in words what is doubtful or refused.

use super::group::Group;
use super::picture::{MOST_PIXELS, MOST_SIDE, Place, Rgb};
use super::pitch::{MOST_LEAN, PITCHES};
use std::fmt;
use std::path::PathBuf;

/// The squares of a sheet. Line 0 is the picture's uppermost.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Squares across.
    pub columns: u32,
    /// Squares down.
    pub rows: u32,
    /// The colours there are, the commonest first.
    pub palette: Vec<Rgb>,
    /// Which of the palette each square is, line by line from the top. Of a
    /// doubtful square it is the likeliest.
    pub squares: Vec<u16>,
    /// Squares a person should look at, line by line.
    pub doubtful: Vec<Doubt>,
    /// The ruling they were found by; none where each pixel is a square.
    pub ruling: Option<Ruling>,
}

impl Sheet {
    /// The colour of a square. None beyond the sheet.
    #[must_use]
    pub fn colour(&self, column: u32, row: u32) -> Option<Rgb> {
        if column >= self.columns {
            return None;
        }
        let at = row as usize * self.columns as usize + column as usize;
        self.palette
            .get(usize::from(*self.squares.get(at)?))
            .copied()
    }
}

/// A ruling as it was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ruling {
    /// Pixels from upright line to upright line, in the mean.
    pub pitch_across: f64,
    /// Pixels from line across to line across, in the mean.
    pub pitch_down: f64,
    /// How far the sheet is turned clockwise, in degrees.
    pub skew_degrees: f64,
    /// Which upright lines are heavy.
    pub heavy_across: Option<Group>,
    /// Which lines across are heavy.
    pub heavy_down: Option<Group>,
    /// Corners of the ruled squares: upper left, upper right, lower right, lower
    /// left.
    pub outline: [Place; 4],
}

/// A square that is in doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// From the left, from 0.
    pub column: u32,
    /// From the top, from 0.
    pub row: u32,
    /// Why.
    pub why: Why,
    /// The colour that was seen there; none where it is not in the picture.
    pub seen: Option<Rgb>,
}

/// Why a square is in doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// Not all of one colour.
    Mixed {
        /// Its own, and the one most of the rest is.
        colours: [Rgb; 2],
        /// How much of it each is.
        percent: [u8; 2],
    },
    /// Of a colour between two that were painted.
    Between {
        /// The nearer, and the other.
        colours: [Rgb; 2],
    },
    /// Of a colour that too few other squares have.
    Unlike {
        /// Its colour.
        seen: Rgb,
        /// The nearest painted one.
        nearest: Rgb,
    },
    /// Farther from the paint it is taken for than the tolerance.
    Beyond {
        /// Its colour.
        seen: Rgb,
        /// The nearest painted one.
        nearest: Rgb,
    },
    /// Taken for bare paper, but of another tint than most of that.
    Tinted,
    /// More than a third of it is not in the picture.
    Outside,
    /// No ruling is seen in its column or its line of squares.
    Unruled,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::Mixed {
                colours: [own, other],
                percent: [own_percent, other_percent],
            } => write!(
                f,
                "{own_percent} % of it is {own} and {other_percent} % {other}"
            ),
            Why::Between {
                colours: [nearer, other],
            } => write!(f, "its colour is between {nearer} and {other}"),
            Why::Unlike { seen, nearest } => write!(
                f,
                "it is {seen}, as hardly any other square is; the nearest colour is {nearest}"
            ),
            Why::Beyond { seen, nearest } => write!(
                f,
                "it is {seen}, and from {nearest} that is more than the tolerance"
            ),
            Why::Tinted => write!(
                f,
                "it is nearly of the colour of most bare squares, but of another tint"
            ),
            Why::Unruled => write!(f, "no ruling is seen in its column or line"),
            Why::Outside => write!(f, "too little of it is in the picture"),
        }
    }
}

/// Why a file gave no squares.
#[derive(Debug, thiserror::Error)]
#[error("{}: {fault}", file.display())]
pub struct PaperError {
    /// The file.
    pub file: PathBuf,
    /// What is wrong.
    pub fault: PaperFault,
}

/// What is wrong with a picture of point paper.
#[derive(Debug, thiserror::Error)]
pub enum PaperFault {
    /// The file cannot be read.
    #[error("the picture cannot be read: {0}; check the path and the permissions")]
    Unreadable(std::io::Error),
    /// Nothing in it.
    #[error("there is nothing in the file; scan or export the sheet again")]
    Empty,
    /// Not a picture that is known, or damaged.
    #[error("it {}", super::open::refusal(.0))]
    NotAPicture(image::ImageError),
    /// Too many pixels.
    #[error(
        "{width} x {height} pixels are more than can be looked at: at most {MOST_SIDE} across or down, and {} million in all; scan with fewer dots an inch, 8 to 12 pixels a square are enough, or, if a pixel is a square, split the design into pieces",
        MOST_PIXELS / 1_000_000
    )]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// A square that is not there: nobody painted it.
    #[error(
        "pixel {column} of line {line} from the top is not opaque; paint it, or save the picture without transparency"
    )]
    Clear {
        /// From the left, from 1.
        column: usize,
        /// From the top, from 1.
        line: usize,
    },
    /// Nothing repeats.
    #[error("no ruling was found: looked for {lines} lines {} to {} pixels apart, leaning at most {MOST_LEAN} degrees; scan the sheet straighter or with more dots an inch, or save the design with one pixel a square (--squares pixels)", PITCHES.start(), PITCHES.end())]
    NoRuling {
        /// Which lines.
        lines: &'static str,
    },
    /// Lines that repeat, but around no squares.
    #[error(
        "no ruled squares were found: lines repeat every {across:.1} pixels across and {down:.1} down, but the ruling is not seen around bare squares: it is too faint, or what is painted repeats so that it hides in it; scan with more contrast and some bare paper around the ruling, or save the design with one pixel a square (--squares pixels)"
    )]
    NoSquares {
        /// Pixels from line to line.
        across: f64,
        /// Pixels from line to line.
        down: f64,
    },
    /// Painted columns or lines of squares were seen instead of the ruling.
    #[error(
        "painted {lines} of squares were found where the ruling must be, and no thin lines at every square; scan with more dots an inch, so that the lines show beside the paint, or save the design with one pixel a square (--squares pixels)"
    )]
    Painted {
        /// Columns or lines.
        lines: &'static str,
    },
    /// Lines that lean differently.
    #[error(
        "no square ruling was found: upright lines lean {upright:.1} degrees and those across {across:.1}; scan the sheet flat and all of it at once"
    )]
    Askew {
        /// Of upright lines, clockwise.
        upright: f64,
        /// Of lines across, clockwise.
        across: f64,
    },
    /// A corner of the ruling.
    #[error(
        "only {columns} x {rows} ruled squares were found, and a sheet has at least {} each way; scan all of the sheet",
        super::FEWEST
    )]
    FewSquares {
        /// Squares across.
        columns: usize,
        /// Squares down.
        rows: usize,
    },
    /// A second sheet, or the same behind a gap.
    #[error(
        "{columns} x {rows} ruled squares were found, and more ruling {side}, behind what is bare; scan one sheet, all in one piece, or cut the picture to what is to be read"
    )]
    Another {
        /// Squares across.
        columns: u32,
        /// Squares down.
        rows: u32,
        /// Where more is seen.
        side: &'static str,
    },
    /// All squares differ.
    #[error("no two squares have a colour in common; scan the sheet sharper, with even light")]
    NoColours,
    /// More than anyone paints.
    #[error(
        "{count} different colours were found, and a painted sheet has few (at most {} in a scan, {} with one pixel a square); paint flat colours, without anti-aliasing or JPEG",
        super::colours::MOST_PAINTED,
        super::pixels::MOST_COLOURS
    )]
    ManyColours {
        /// How many at least.
        count: usize,
    },
    /// Neither way of reading fits.
    #[error(
        "it is neither squares of one pixel each, as it has more than {} colours, nor a ruled sheet: {fault}",
        super::FEW_COLOURS
    )]
    Neither {
        /// Why it is no ruled sheet.
        fault: Box<PaperFault>,
    },
}
