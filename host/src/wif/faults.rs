//! What can be wrong with a draft, and with a deck that should become one, in
//! words.

use super::{MOST_BYTES, MOST_ENDS, MOST_PICKS, MOST_SHAFTS};
use crate::deck::CardFault;
use crate::words::counted;
use std::path::PathBuf;

/// Why a draft was refused, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}{}: {fault}", file.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
pub struct DraftError {
    /// What the draft is called.
    pub file: PathBuf,
    /// The line, from 1, if one line is to blame.
    pub line: Option<usize>,
    /// What is wrong.
    pub fault: DraftFault,
}

/// What is wrong with a draft.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DraftFault {
    /// Longer than any draft that can be used.
    #[error(
        "the draft has {0} bytes, and at most {MOST_BYTES} are read; save it without notes, pictures and private sections"
    )]
    TooLong(u64),
    /// No such file at all.
    #[error(
        "there is no section [WIF]; check that this is a weaving draft saved as WIF 1.1, as plain text"
    )]
    NotADraft,
    /// Text before any section.
    #[error(
        "{0} stands before the first section; a draft is plain text and begins with [WIF], and a comment with a semicolon"
    )]
    OutsideSection(String),
    /// Another version.
    #[error("version {0} of the form is not known; save the draft as WIF 1.1")]
    Version(String),
    /// A section's name is not between brackets.
    #[error(
        "{0} is not a section's name; write it between brackets on a line of its own, as in [WEAVING]"
    )]
    Header(String),
    /// A section or key there twice.
    #[error("{what} stands here and on line {first}; take one of the two out")]
    Twice {
        /// The section or key.
        what: String,
        /// Line of the first.
        first: usize,
    },
    /// A line of no known form.
    #[error("{0} is not keyword=value; write it so, or put a semicolon before a comment")]
    NoValue(String),
    /// More lines than there are ends.
    #[error(
        "the section [{0}] has more than {MOST_ENDS} lines; give the threading of one repeat, and no line twice"
    )]
    TooManyLines(&'static str),
    /// A key that must be there.
    #[error("the section [{section}] has no {key}; write {key}={example}")]
    Missing {
        /// The section.
        section: &'static str,
        /// The key.
        key: &'static str,
        /// What could stand there.
        example: &'static str,
    },
    /// A section that is promised.
    #[error(
        "[CONTENTS] says that there is a section [{0}], and there is none; if the file is whole, say {0}=no"
    )]
    Promised(&'static str),
    /// Not a whole number.
    #[error(
        "{text} is not a whole number, and {several} are told in whole numbers; write only digits, and commas between several"
    )]
    NotANumber {
        /// As written.
        text: String,
        /// What is counted.
        several: &'static str,
    },
    /// Not yes and not no.
    #[error("{text} for {key} is neither yes nor no; write one of the two")]
    NotYesOrNo {
        /// The key.
        key: String,
        /// As written.
        text: String,
    },
    /// Numbers begin at 1.
    #[error("there is no {0} 0; {0}s are numbered from 1 on")]
    Zero(&'static str),
    /// More than the draft says it has.
    #[error(
        "{what} {number} is named, and the draft says that there are {count} ({key}); one of the two is wrong"
    )]
    Beyond {
        /// What is counted.
        what: &'static str,
        /// The one named.
        number: u64,
        /// How many there are said to be.
        count: u32,
        /// Where that is said.
        key: &'static str,
    },
    /// More than are taken.
    #[error("{number} {what} are more than the {most} that a draft can have here; {remedy}")]
    TooMany {
        /// What is counted.
        what: &'static str,
        /// How many, or the number named.
        number: u64,
        /// The limit.
        most: u32,
        /// What to do.
        remedy: &'static str,
    },
    /// None at all.
    #[error("the draft has no {0}; give at least one")]
    NoneAtAll(&'static str),
    /// What rises cannot be known.
    #[error(
        "nothing says which shafts rise: {0}; save the draft with its liftplan, or with tie-up and treadling"
    )]
    NoShed(&'static str),
    /// Liftplan and treadling say different things.
    #[error(
        "pick {pick}: the liftplan says {lifted} and tie-up with treadling {treadled}; mend one, or say LIFTPLAN=no or TREADLING=no in [CONTENTS] for the one that does not hold"
    )]
    Disagree {
        /// The pick.
        pick: u32,
        /// By the liftplan.
        lifted: String,
        /// By tie-up and treadling.
        treadled: String,
    },
    /// One hook a shaft needs a straight threading.
    #[error(
        "end {end} is threaded on {found}, and straight would be shaft {straight}; a deck of one hook a shaft cannot keep another threading: give --hooks ends, or take [THREADING] out if the loom itself is threaded so"
    )]
    NotStraight {
        /// The end.
        end: u32,
        /// The shafts it is on.
        found: String,
        /// The shaft it would be on.
        straight: u32,
    },
    /// One hook an end needs a threading.
    #[error(
        "there is no [THREADING], so no end has a shaft; give --hooks shafts, or save the draft with it"
    )]
    NoThreading,
    /// The card is too small.
    #[error(
        "the draft has {found} {what}, one a hook, and the format {format} has {room} hooks in use{}; give {}a larger --format",
        spare.map(|row| format!(" (row {row} is spare)")).unwrap_or_default(),
        if *spare_helps { "--spare-row used, or " } else { "" },
    )]
    TooWide {
        /// Shafts or ends.
        what: &'static str,
        /// How many.
        found: u32,
        /// The format.
        format: String,
        /// Hooks it has in use.
        room: u32,
        /// The spare row, if it is left blank.
        spare: Option<u16>,
        /// Whether they fit if it is used.
        spare_helps: bool,
    },
    /// The deck cannot be.
    #[error("{0}")]
    Cards(CardFault),
}

/// Why a deck cannot be written as a draft.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ExportFault {
    /// Too many hooks.
    #[error(
        "the deck works {0} hooks, and a draft is written of at most {MOST_SHAFTS} (two 600 cards with full rows), as every hook is a shaft in it; give the deck file itself on instead, which is text"
    )]
    Hooks(u32),
    /// Too many cards.
    #[error(
        "the deck has {0} cards, and a draft is written of at most {MOST_PICKS} picks; give the deck file itself on instead, which is text"
    )]
    Cards(u32),
    /// Cards that were never read.
    #[error(
        "the deck has {}, the first at card {first}, and a draft cannot say so; read what is missing (cardwright read --more) or write its lines", counted(*count, "gap")
    )]
    Gaps {
        /// How many.
        count: usize,
        /// The first.
        first: u32,
    },
    /// Positions that could not be told.
    #[error(
        "the deck has {}, the first on card {first}, and a draft cannot say so; settle that first: cardwright deck settle DECK", counted(*count, "doubtful position")
    )]
    Doubtful {
        /// How many.
        count: usize,
        /// Card of the first.
        first: u32,
    },
}

/// A text as an error shows it: short, and without what a terminal would obey.
pub(super) fn quoted(text: &str) -> String {
    const LONGEST: usize = 40;
    let clipped: String = text.chars().take(LONGEST).collect();
    let more = if clipped.len() < text.len() {
        "..."
    } else {
        ""
    };
    format!("{:?}", clipped + more)
}

/// Shafts as an error names them.
pub(super) fn shafts(numbers: impl Iterator<Item = u32>) -> String {
    const NAMED: usize = 8;
    let numbers: Vec<String> = numbers.map(|number| number.to_string()).collect();
    match numbers.as_slice() {
        [] => "no shaft".to_owned(),
        [one] => format!("shaft {one}"),
        some if some.len() <= NAMED => format!("shafts {}", some.join(",")),
        many => format!("shafts {} and more", many[..NAMED].join(",")),
    }
}
