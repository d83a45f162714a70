//! Why no paper was found that makes a deck's cards, in words.

use super::super::MountingFault;
use super::super::woven::OtherFormat;

/// Why no squares were found.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BackFault {
    /// Two colours that make the same holes wherever they stand.
    #[error(
        "the colours \"{first}\" and \"{second}\" of the cloth file have the same weaves, so no card tells one from the other; leave one of them out for the way back"
    )]
    Alike {
        /// The one.
        first: String,
        /// The other.
        second: String,
    },
    /// Not the cloth's cards.
    #[error(transparent)]
    Format(#[from] OtherFormat),
    /// The paper's width does not fit the cloth.
    #[error(transparent)]
    Mounting(#[from] MountingFault),
    /// Cards that are no whole lines.
    #[error(
        "the deck has {cards} cards, which are no whole lines of {wefts} wefts: a multiple of {wefts} is expected; give the cloth file the deck was made with"
    )]
    Cards {
        /// Cards of the deck.
        cards: u32,
        /// Wefts of the cloth.
        wefts: usize,
    },
    /// Cards for another number of wefts.
    #[error(
        "the deck has {cards} cards for a paper of {lines} lines, and with the wefts of the cloth file, {wefts}, {expected} are expected; give the cloth file the deck was made with"
    )]
    Wefts {
        /// Cards of the deck.
        cards: u32,
        /// Lines of its paper.
        lines: u32,
        /// Wefts of the cloth.
        wefts: usize,
        /// As many cards as these make.
        expected: u64,
    },
    /// Holes that no colour makes.
    #[error(
        "line {line}, column {column}: no colour of the cloth file makes the holes of cards {first} to {last} there; give the cloth file the deck was made with, its wefts in the order of the cards"
    )]
    NoColour {
        /// Line, from 1 at the first woven.
        line: u32,
        /// Column, from 1.
        column: u32,
        /// First card of the line.
        first: u32,
        /// Its last.
        last: u32,
    },
    /// The squares found make other cards.
    #[error(
        "card {card}, row {row}, hole {hole}: no paper that was found makes the card as it is; give the cloth file the deck was made with"
    )]
    Other {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// The hole, from 1.
        hole: u8,
    },
    /// Squares whose holes depend on others could not be settled.
    #[error(
        "card {card}, row {row}, hole {hole}: no paper that was found makes the card as it is ({squares} squares make other holes, the first in line {line}, column {column}): where edges are kept clear, floats bound or binding starts afresh, the cards may tell too little of the painting, or the deck was made with another cloth file; give that one, or paint these places anew from the picture of deck cloth"
    )]
    Unsettled {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// The hole, from 1.
        hole: u8,
        /// How many squares make other holes.
        squares: usize,
        /// Line of the first, from 1 at the first woven.
        line: u32,
        /// Its column, from 1.
        column: u32,
    },
}
