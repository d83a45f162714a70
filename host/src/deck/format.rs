//! Card formats: where the holes of a card may be, and the order in which they
//! are cut.
//!
//! Enters: the name of a built-in format or a user's TOML file. Leaves: a
//! [`CardFormat`] that has been checked, and from it a card's strokes and
//! their places in millimetres. Refuses: unknown keys, sizes that are none,
//! rows that do not add up, holes that would run into one another.

mod built_in;
mod checks;
mod faults;
mod programme;
mod text;

pub use built_in::BUILT_IN;
pub use faults::FormatFault;
pub use programme::{Step, Work};

use cardwright_protocol::{Row, Stroke};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Why a card format cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FormatError {
    /// Neither a built-in name nor a file that could be read.
    #[error(
        "there is no built-in card format and no file called \"{name}\"; use one of {} or the path of a format file",
        built_in::names()
    )]
    Unknown {
        /// What was asked for.
        name: String,
    },
    /// The file is there but cannot be read.
    #[error("cannot read the card format {}: {cause}; check the path and the permissions", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Not TOML, a key missing, unknown or of the wrong kind.
    #[error(
        "{file}, line {line}: {cause}; the keys of a card format are those of the built-in ones, see formats/400.toml"
    )]
    Toml {
        /// The file, or the name of the built-in format.
        file: String,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong there.
        cause: String,
    },
    /// Well-formed, but no such card can be cut.
    #[error("{file}, line {line}: {fault}")]
    Fault {
        /// The file, or the name of the built-in format.
        file: String,
        /// Line in the file, from 1.
        line: usize,
        /// What does not fit.
        fault: FormatFault,
    },
}

/// One kind of card, checked. Lengths are in millimetres. Along the card they
/// are measured from the leading edge, which is the numbered end; across it
/// from the centre line, towards the higher hole numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct CardFormat {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) source: String,
    pub(crate) file: Option<PathBuf>,
    pub(crate) holes_per_row: u8,
    pub(crate) rows: u16,
    pub(crate) needles: u32,
    pub(crate) spare_row: Option<u16>,
    pub(crate) division: Vec<u16>,
    pub(crate) row_pitch_mm: f64,
    pub(crate) needle_pitch_mm: f64,
    pub(crate) needle_hole_mm: f64,
    pub(crate) lace_hole_mm: f64,
    pub(crate) peg_hole_mm: f64,
    pub(crate) peg_offset_rows: f64,
    pub(crate) lace_holes: Row,
    pub(crate) card_width_mm: f64,
    pub(crate) card_length_mm: f64,
    pub(crate) first_stroke_mm: f64,
    pub(crate) steps: Vec<Step>,
}

impl CardFormat {
    /// The built-in format of this name.
    ///
    /// # Errors
    /// [`FormatError::Unknown`] if there is none.
    pub fn named(name: &str) -> Result<CardFormat, FormatError> {
        match BUILT_IN.iter().find(|(known, _)| *known == name) {
            Some((known, text)) => CardFormat::parse(text, known),
            None => Err(FormatError::Unknown {
                name: name.to_owned(),
            }),
        }
    }

    /// The built-in format of this name, or else the format file at this path.
    ///
    /// # Errors
    /// Neither exists, or the file is refused.
    pub fn named_or_file(name: &str) -> Result<CardFormat, FormatError> {
        match CardFormat::named(name) {
            Err(FormatError::Unknown { .. }) if Path::new(name).exists() => {
                CardFormat::read(Path::new(name))
            }
            result => result,
        }
    }

    /// The format in this file.
    ///
    /// # Errors
    /// The file cannot be read or is refused.
    pub fn read(file: &Path) -> Result<CardFormat, FormatError> {
        let text = crate::input::text(file).map_err(|cause| FormatError::Unreadable {
            file: file.to_owned(),
            cause,
        })?;
        let mut format = CardFormat::parse(&text, &file.display().to_string())?;
        format.file = Some(file.to_owned());
        Ok(format)
    }

    /// The format in this text; `file` is what errors call it.
    ///
    /// # Errors
    /// [`FormatError::Toml`] or [`FormatError::Fault`].
    pub fn parse(text: &str, file: &str) -> Result<CardFormat, FormatError> {
        text::parse(text, file)
    }

    /// Short name, as given on the command line and in deck files.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What a person would call it.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Where its figures come from.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The user's file it was read from; none for a built-in format.
    #[must_use]
    pub fn file(&self) -> Option<&Path> {
        self.file.as_deref()
    }

    /// Holes in one row, 1 to 16.
    #[must_use]
    pub fn holes_per_row(&self) -> u8 {
        self.holes_per_row
    }

    /// Rows of needle holes.
    #[must_use]
    pub fn rows(&self) -> u16 {
        self.rows
    }

    /// Needles: rows times holes in a row.
    #[must_use]
    pub fn needles(&self) -> u32 {
        self.needles
    }

    /// The row kept for selvedges, if the format has one (row 1: Taylor
    /// pp. 122-123).
    #[must_use]
    pub fn spare_row(&self) -> Option<u16> {
        self.spare_row
    }

    /// How many rows lie between one set of lace holes and the next.
    #[must_use]
    pub fn division(&self) -> &[u16] {
        &self.division
    }

    /// From one stroke to the next along the card.
    #[must_use]
    pub fn row_pitch_mm(&self) -> f64 {
        self.row_pitch_mm
    }

    /// From one hole to the next across the card.
    #[must_use]
    pub fn needle_pitch_mm(&self) -> f64 {
        self.needle_pitch_mm
    }

    /// Diameter of a needle hole.
    #[must_use]
    pub fn needle_hole_mm(&self) -> f64 {
        self.needle_hole_mm
    }

    /// Diameter of a lace hole.
    #[must_use]
    pub fn lace_hole_mm(&self) -> f64 {
        self.lace_hole_mm
    }

    /// Diameter of a peg hole.
    #[must_use]
    pub fn peg_hole_mm(&self) -> f64 {
        self.peg_hole_mm
    }

    /// How many row pitches after the needle line the peg punch stands.
    #[must_use]
    pub fn peg_offset_rows(&self) -> f64 {
        self.peg_offset_rows
    }

    /// The holes of a lace stroke.
    #[must_use]
    pub fn lace_holes(&self) -> Row {
        self.lace_holes
    }

    /// Width of the card.
    #[must_use]
    pub fn card_width_mm(&self) -> f64 {
        self.card_width_mm
    }

    /// Length of the card.
    #[must_use]
    pub fn card_length_mm(&self) -> f64 {
        self.card_length_mm
    }

    /// From the leading edge to the first stroke.
    #[must_use]
    pub fn first_stroke_mm(&self) -> f64 {
        self.first_stroke_mm
    }

    /// What each stroke does, in order.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// How many strokes one card takes, 1 to 128.
    #[must_use]
    pub fn strokes(&self) -> u16 {
        u16::try_from(self.steps.len()).unwrap_or(u16::MAX)
    }

    /// A card's strokes. Rows that are not given are left blank; holes beyond
    /// the row's are left out.
    #[must_use]
    pub fn programme(&self, rows: &[Row]) -> Vec<Stroke> {
        let inside = Row::full(self.holes_per_row).0;
        let row = |number: u16| {
            let row = rows.get(usize::from(number).wrapping_sub(1)).copied();
            Row(row.unwrap_or_default().0 & inside)
        };
        let stroke = |step: &Step| match (step.work, step.peg) {
            (Work::Nothing, false) => Stroke::Blank,
            (Work::Nothing, true) => Stroke::Peg,
            (Work::Row(number), false) => Stroke::Needles(row(number)),
            (Work::Row(number), true) => Stroke::NeedlesAndPeg(row(number)),
            (Work::Lace, false) => Stroke::Lace(self.lace_holes),
            (Work::Lace, true) => Stroke::LaceAndPeg(self.lace_holes),
        };
        self.steps.iter().map(stroke).collect()
    }

    /// The stroke, from 0, that cuts this row, from 1.
    #[must_use]
    pub fn stroke_of_row(&self, row: u16) -> Option<u16> {
        let place = self
            .steps
            .iter()
            .position(|step| step.work == Work::Row(row))?;
        u16::try_from(place).ok()
    }

    /// The row, from 1, that this stroke cuts, if it cuts one.
    #[must_use]
    pub fn row_of_stroke(&self, stroke: u16) -> Option<u16> {
        match self.steps.get(usize::from(stroke))?.work {
            Work::Row(row) => Some(row),
            Work::Nothing | Work::Lace => None,
        }
    }

    /// Where the needle punches stand at this stroke, from the leading edge.
    #[must_use]
    pub fn position_mm(&self, stroke: u16) -> f64 {
        self.first_stroke_mm + f64::from(stroke) * self.row_pitch_mm
    }

    /// Where the peg punch stands at this stroke, from the leading edge. It is
    /// on the centre line across.
    #[must_use]
    pub fn peg_position_mm(&self, stroke: u16) -> f64 {
        self.position_mm(stroke) + self.peg_offset_rows * self.row_pitch_mm
    }

    /// Where this hole, from 1, lies across the card, from the centre line.
    #[must_use]
    pub fn hole_across_mm(&self, hole: u8) -> f64 {
        (f64::from(hole) - (f64::from(self.holes_per_row) + 1.0) / 2.0) * self.needle_pitch_mm
    }

    /// SHA-256, as hexadecimal, of everything that decides which holes are cut
    /// and where; title and source are not part of it.
    #[must_use]
    pub fn sha256(&self) -> String {
        let mut text = format!(
            "name {}\nholes {}\nrows {}\nspare {:?}\ndivision {:?}\nlace {:04x}\n",
            self.name,
            self.holes_per_row,
            self.rows,
            self.spare_row,
            self.division,
            self.lace_holes.0,
        );
        for length in [
            self.row_pitch_mm,
            self.needle_pitch_mm,
            self.needle_hole_mm,
            self.lace_hole_mm,
            self.peg_hole_mm,
            self.peg_offset_rows,
            self.card_width_mm,
            self.card_length_mm,
            self.first_stroke_mm,
        ] {
            let _ = writeln!(text, "size {length}");
        }
        for step in &self.steps {
            let _ = writeln!(text, "{step}");
        }
        super::hex(&Sha256::digest(text))
    }
}
