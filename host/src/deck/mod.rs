//! Card formats, deck files, and the ways into and out of a deck.
//!
//! Enters: format files, deck files, black-and-white pictures, card lists from
//! the command line. Leaves: rows, strokes and their places on the card, deck
//! files, differences. Refuses: whatever cannot be cut exactly as it is
//! written, naming the file, the line, the cause and the remedy. Nothing here
//! talks to a rig.

pub mod cards;
pub mod compare;
pub mod file;
pub mod format;
pub mod paper;
pub(crate) mod pixels;

pub use cards::{CardList, CardListError};
pub use cardwright_protocol::{CardNumber, Row, Stroke};
pub use compare::{Comparison, compare};
pub use file::{CardFault, Cut, Cutting, Deck, DeckFileError};
pub use file::{Design, Doubt, FirstPick, MadeWith, ReadFrom, SpareRow};
pub use format::{CardFormat, FormatError};

/// Lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The line, from 1, in which a place of a text begins.
pub(crate) fn line_at(text: &str, place: &std::ops::Range<usize>) -> usize {
    let before = text
        .as_bytes()
        .get(..place.start)
        .unwrap_or(text.as_bytes());
    1 + before.iter().filter(|byte| **byte == b'\n').count()
}
