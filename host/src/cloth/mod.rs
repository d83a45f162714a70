//! The cloth: everything between the weaver's painting and the holes.
//!
//! Enters: a cloth file (sett, card, tie, wefts, a weave for each colour of the
//! paper) and the squares of a point paper. Leaves: cards, the squares again
//! from cards, the cloth as the cards will weave it, and what a designer would
//! check. Refuses: what cannot be woven as it is written, and paper that does
//! not fit the cloth. Pure: no pictures are opened here, and nothing is drawn.
//!
//! The words: a *column* of the paper is one square wide, a *line* one square
//! high. A *hook* is counted from the corner of the card that works the left
//! end; each works the column that stands over it. One line gives one card a
//! weft (Bell ch. IX), so *picks* are cards.

mod areas;
mod back;
pub mod checks;
mod edges;
mod faults;
pub mod hooks;
mod lift;
mod make;
mod mounting;
mod read;
mod repeat;
pub mod satin;
mod seams;
mod squares;
mod text;
pub mod tie;
pub mod weave;
mod words;
mod woven;

pub use back::{BackFault, Found};
pub use faults::{ClothError, ClothFault};
pub use hooks::{Along, CardEnd, CastOut, Corner, Place, Side};
pub use make::{Made, MakeFault};
pub use mounting::{Mounting, MountingFault};
pub(crate) use read::rgb;
pub use squares::{OddSquare, Recognised, Squares, SquaresFault};
pub use tie::{Section, Tie, TieFault, Turning, Way};
pub use weave::{Bound, Weave, WeaveFault};
pub use woven::{OtherFormat, Woven};

use crate::deck::{CardFormat, FirstPick};
use std::path::Path;

/// Red, green and blue.
pub type Rgb = [u8; 3];

/// Most wefts in one cloth.
pub const MOST_WEFTS: usize = 16;

/// The longest float for the sake of a clear edge, if the file does not say (common
/// practice, no source).
pub const LONGEST_FLOAT: u32 = 12;

/// The most that a file can say.
const MOST_FLOAT: u32 = 1_000;

/// Most colours on one paper.
pub const MOST_COLOURS: usize = 64;

/// What setts are counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Centimetres.
    Cm,
    /// Inches.
    Inch,
}

/// How close the yarns lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sett {
    /// What it is counted in.
    pub unit: Unit,
    /// Ends in a unit.
    pub ends: f64,
    /// Picks in a unit, of all the wefts together.
    pub picks: f64,
    /// Ends, side by side, that one hook works.
    pub ends_per_hook: u32,
}

/// Which side of the cloth is up in the loom.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Face {
    /// The face.
    #[default]
    Up,
    /// The back; the cut is the complement (Bell ch. IX).
    Down,
}

/// What becomes of the spare row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Spare {
    /// It stays solid card.
    #[default]
    Blank,
    /// It belongs to the design like any other row.
    Used,
    /// It works the selvedges.
    Selvedge(Selvedge),
}

/// The selvedges. Their ends are counted from the left across both; the holes of
/// the spare row work them in turn, from the side where the tie begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Selvedge {
    /// Ends at the left of the cloth.
    pub left: u32,
    /// Ends at the right.
    pub right: u32,
    /// Their weave, over all the cards.
    pub weave: Weave,
}

/// A weft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weft {
    /// Its name.
    pub name: String,
    /// The colour of its yarn.
    pub colour: Rgb,
}

/// From where the binding points of a colour are counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Binding {
    /// From the corner of the paper, so that they go on from area to area.
    #[default]
    Continuous,
    /// From the left and first woven square of each area.
    Afresh,
}

/// What becomes of a binding point beside the edge of its area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Edges {
    /// It stays.
    #[default]
    Keep,
    /// It is left out, so that no dot touches the outline, but where a thread would
    /// float too far without it (common practice, no source).
    Clear,
}

/// A colour of the paper, and how it is woven.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Colour {
    /// Its name.
    pub name: String,
    /// What is painted.
    pub paint: Rgb,
    /// A weave for each weft, in their order.
    pub weaves: Vec<Weave>,
    /// From where its binding points are counted.
    pub binding: Binding,
    /// What becomes of them at its edges.
    pub edges: Edges,
}

/// A cloth file, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloth {
    file: String,
    sha256: String,
    sett: Sett,
    format: CardFormat,
    hooks: Option<u32>,
    cast_out: CastOut,
    spare: Spare,
    first_end: Corner,
    tie: Tie,
    first_line: FirstPick,
    face: Face,
    longest_float: usize,
    warp: Rgb,
    wefts: Vec<Weft>,
    tolerance: u8,
    colours: Vec<Colour>,
}

impl Cloth {
    /// Reads a cloth file. A user's card format is looked for from the cloth
    /// file's own folder.
    ///
    /// # Errors
    /// The file cannot be read, or is refused.
    pub fn read(file: &Path) -> Result<Cloth, ClothError> {
        let text = crate::input::text(file).map_err(|cause| match cause.kind() {
            std::io::ErrorKind::InvalidData => ClothError::NotText {
                file: file.to_owned(),
            },
            _ => ClothError::Unreadable {
                file: file.to_owned(),
                cause,
            },
        })?;
        Cloth::parse(&text, file)
    }

    /// Reads the text of a cloth file. `file` is what errors call it, and its
    /// folder is where a user's card format is looked for.
    ///
    /// # Errors
    /// The text is refused.
    pub fn parse(text: &str, file: &Path) -> Result<Cloth, ClothError> {
        read::parse(text, file)
    }

    /// The name of its file.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.file
    }

    /// SHA-256 of its file, as hexadecimal.
    #[must_use]
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// How close the yarns lie.
    #[must_use]
    pub fn sett(&self) -> Sett {
        self.sett
    }

    /// The card format.
    #[must_use]
    pub fn format(&self) -> &CardFormat {
        &self.format
    }

    /// What is cast out.
    #[must_use]
    pub fn cast_out(&self) -> &CastOut {
        &self.cast_out
    }

    /// What becomes of the spare row.
    #[must_use]
    pub fn spare(&self) -> &Spare {
        &self.spare
    }

    /// The selvedges, if the spare row works them.
    #[must_use]
    pub fn selvedge(&self) -> Option<&Selvedge> {
        match &self.spare {
            Spare::Selvedge(selvedge) => Some(selvedge),
            Spare::Blank | Spare::Used => None,
        }
    }

    /// The corner of the card that works the first end.
    #[must_use]
    pub fn first_end(&self) -> Corner {
        self.first_end
    }

    /// Which hook works which end.
    #[must_use]
    pub fn tie(&self) -> &Tie {
        &self.tie
    }

    /// The paint of each colour on the paper.
    pub fn paints(&self) -> impl Iterator<Item = Rgb> + '_ {
        self.colours.iter().map(|colour| colour.paint)
    }

    /// Which line of the paper is woven first.
    #[must_use]
    pub fn first_line(&self) -> FirstPick {
        self.first_line
    }

    /// Which side is up in the loom.
    #[must_use]
    pub fn face(&self) -> Face {
        self.face
    }

    /// Threads over which none may float for the sake of a clear edge.
    #[must_use]
    pub fn longest_float(&self) -> usize {
        self.longest_float
    }

    /// The same in columns, each of which works as many ends as a hook, and in picks.
    fn longest(&self) -> edges::Longest {
        edges::Longest {
            columns: self.longest_float / self.sett.ends_per_hook as usize,
            picks: self.longest_float,
        }
    }

    /// The column of the paper that each hook works, from left to right in the cloth.
    fn columns_across(&self, mounting: &Mounting) -> Vec<u32> {
        let ends = mounting.ends().iter();
        let hooks = ends.step_by(self.sett.ends_per_hook as usize);
        hooks.map(|hook| hook % mounting.columns()).collect()
    }

    /// The colour of the warp.
    #[must_use]
    pub fn warp(&self) -> Rgb {
        self.warp
    }

    /// The wefts, in the order in which they are woven.
    #[must_use]
    pub fn wefts(&self) -> &[Weft] {
        &self.wefts
    }

    /// By how much red, green and blue of a square may each differ from a paint
    /// and still be taken for it.
    #[must_use]
    pub fn tolerance(&self) -> u8 {
        self.tolerance
    }

    /// The colours of the paper.
    #[must_use]
    pub fn colours(&self) -> &[Colour] {
        &self.colours
    }

    /// The row that is kept out of the design.
    fn row_kept_out(&self) -> Option<u16> {
        self.format
            .spare_row()
            .filter(|_| self.spare != Spare::Used)
    }

    /// Hooks of the card that the design could work, none cast out.
    #[must_use]
    pub fn hooks_of_card(&self) -> u32 {
        let kept_out = self
            .row_kept_out()
            .map_or(0, |_| self.format.holes_per_row());
        self.format.needles() - u32::from(kept_out)
    }
}
