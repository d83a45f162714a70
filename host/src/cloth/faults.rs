//! What can be wrong with a cloth file, in words.

use super::weave::WeaveFault;
use crate::deck::FormatError;
use std::path::PathBuf;

/// Why a cloth file was refused.
#[derive(Debug, thiserror::Error)]
pub enum ClothError {
    /// It is no text.
    #[error("{} is not a cloth file: a cloth file is a text file; its keys are those of demo-data/towel.toml", file.display())]
    NotText {
        /// The file.
        file: PathBuf,
    },
    /// The file cannot be read.
    #[error("cannot read the cloth file {}: {cause}; check the path and the permissions", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Not TOML, a key missing, unknown or of the wrong kind.
    #[error("{}, line {line}: {cause}; its keys are those of demo-data/towel.toml", file.display())]
    Toml {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong there.
        cause: String,
    },
    /// The card format is unknown or refused.
    #[error("{}, line {line}: {cause}", file.display())]
    Format {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong with the format.
        cause: FormatError,
    },
    /// Well-formed, but no such cloth can be woven.
    #[error("{}, line {line}: {fault}", file.display())]
    Fault {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What does not fit.
        fault: ClothFault,
    },
}

/// A number as it may have been written, and not in three hundred digits.
fn short(value: f64) -> String {
    if value != 0.0 && !(1e-6..1e15).contains(&value.abs()) && value.is_finite() {
        format!("{value:e}")
    } else {
        value.to_string()
    }
}

/// What does not fit in a cloth file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClothFault {
    /// A sett that is none.
    #[error("{key} = {} is no sett; give how many there are in a unit, 0.1 to 2000", short(*value))]
    Sett {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
    },
    /// A number that is too small or too large.
    #[error("{key} = {value} cannot be; give a whole number from {least} to {most}")]
    Number {
        /// The key.
        key: &'static str,
        /// Its value.
        value: u32,
        /// The least that can be.
        least: u32,
        /// The most.
        most: u32,
    },
    /// A colour that is none.
    #[error("\"{0}\" is no colour; write # and six hexadecimal digits, such as \"#20407f\"")]
    Colour(String),
    /// What is cast out is not understood, or not on the card.
    #[error(
        "\"{entry}\" cannot be cast out; write \"auto\", or a list of places such as \"row {rows}\", \"rows {}-{rows}\" or \"row {rows} holes 1-{}\" on a card of {rows} rows of {holes}",
        rows.saturating_sub(1).max(1),
        holes.min(&4)
    )]
    CastOut {
        /// As written.
        entry: String,
        /// Rows of the card.
        rows: u16,
        /// Holes of a row.
        holes: u8,
    },
    /// Nothing is left.
    #[error("every hook of the card is cast out; leave some in use")]
    NoHooks,
    /// The hooks named are not those that are left.
    #[error("hooks = {named}, but {left} are left in use of the card's; {remedy}")]
    Hooks {
        /// As written.
        named: u32,
        /// That are in use.
        left: u32,
        /// What would make them agree.
        remedy: String,
    },
    /// No spare row for the selvedge.
    #[error(
        "the format {0} has no spare row to work a selvedge from; leave [selvedge] out, or choose a format with one"
    )]
    NoSpareRow(String),
    /// No spare row for the design.
    #[error(
        "the format {0} has no spare row that could be \"used\"; leave spare_row out, or choose a format with one"
    )]
    NoSpareRowToUse(String),
    /// The spare row cannot be both.
    #[error(
        "the spare row cannot be \"used\" by the design and work a selvedge; leave out spare_row or [selvedge]"
    )]
    SpareRowTwice,
    /// What works the selvedges is cast out.
    #[error(
        "row {0} is the spare row, which works the selvedges, and cannot be cast out; take it out of cast_out, or leave [selvedge] out"
    )]
    SelvedgeCastOut(u16),
    /// The hooks of a section are none.
    #[error(
        "hooks = \"{0}\" are no hooks; write the first and the last, counted from 1, such as \"1-200\""
    )]
    Section(String),
    /// Only a centred section turns.
    #[error("only a centred section turns; leave turning out, or write way = \"centred\"")]
    Turning,
    /// No wefts, or too many.
    #[error("{0} wefts cannot be woven; give 1 to 16")]
    Wefts(usize),
    /// No colours, or too many.
    #[error("{0} colours of the paper cannot be told; give 1 to 64")]
    Colours(usize),
    /// A name given twice, or empty.
    #[error("the {what} \"{name}\" has no name of its own; name each once")]
    Name {
        /// What is named.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// Two colours that cannot be told apart on the paper.
    #[error(
        "the paint of \"{first}\" and of \"{second}\" are so near that tolerance = {tolerance} makes them one; lessen the tolerance or paint another colour"
    )]
    Near {
        /// The one.
        first: String,
        /// The other.
        second: String,
        /// As written.
        tolerance: u32,
    },
    /// Two colours of one paint.
    #[error("\"{first}\" and \"{second}\" have the same paint; give each a paint of its own")]
    OnePaint {
        /// The one.
        first: String,
        /// The other.
        second: String,
    },
    /// One weave, several wefts.
    #[error(
        "the colour \"{colour}\" has one weave, and there are {wefts} wefts; write one for each by its name, such as weave.{weft} = \"lift\""
    )]
    OneWeave {
        /// The colour.
        colour: String,
        /// Wefts there are.
        wefts: usize,
        /// One of them.
        weft: String,
    },
    /// A weave for a weft that is not there.
    #[error("there is no weft \"{weft}\"; the wefts are {known}")]
    UnknownWeft {
        /// As written.
        weft: String,
        /// Those there are.
        known: String,
    },
    /// A weft without a weave.
    #[error(
        "the colour \"{colour}\" says no weave for the weft \"{weft}\"; write weave.{weft} = \"leave\", or what it does there"
    )]
    NoWeave {
        /// The colour.
        colour: String,
        /// The weft.
        weft: String,
    },
    /// A weave that is none.
    #[error(transparent)]
    Weave(#[from] WeaveFault),
    /// A selvedge without ends, or bound.
    #[error("{0}")]
    Selvedge(&'static str),
    /// No binding points that could be left out.
    #[error(
        "the colour \"{0}\" has no binding points that can be left out at its edges; leave edges out, or give it a satin, or a limit such as \"lift bound 8 ends\""
    )]
    Edges(String),
}
