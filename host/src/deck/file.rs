//! Deck files: all the cards of one design, as text that a person can read,
//! compare and mend.
//!
//! Enters: a `.deck` file, or rows from elsewhere. Leaves: a [`Deck`], its one
//! canonical text, its hash, the strokes of each card. Refuses: another
//! version, unknown keys, cards that are missing, repeated, too short or have
//! holes beyond the row, a card format that is unknown or has changed.

mod faults;
mod read;
mod reading;
mod write;

pub use faults::CardFault;
pub use read::DeckFileError;
pub use reading::{Doubt, ReadFrom};

use super::format::CardFormat;
use crate::output::WriteError;
use cardwright_protocol::{CardNumber, Row, Stroke};
use std::path::Path;

/// The version of the deck file that is written and read.
pub const DECK_VERSION: i64 = 1;

/// Most cards in one deck.
pub const MOST_CARDS: u32 = 1_000_000;

/// Which squares of the picture are cut.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    clap::ValueEnum,
    serde::Serialize,
    serde::Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum Cut {
    /// The painted squares (Bell ch. V).
    #[default]
    Black,
    /// The ground; for cloth woven face down (Bell ch. IX).
    White,
}

/// Which end of the picture is woven first.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    clap::ValueEnum,
    serde::Serialize,
    serde::Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum FirstPick {
    /// The bottom line: cloth grows upwards on the paper (from memory).
    #[default]
    Bottom,
    /// The top line.
    Top,
}

/// What becomes of the spare row.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    clap::ValueEnum,
    serde::Serialize,
    serde::Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum SpareRow {
    /// It stays solid card.
    #[default]
    Blank,
    /// It belongs to the design like any other row.
    Used,
}

/// The picture a deck was made from.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Design {
    /// Its file name.
    pub file: String,
    /// SHA-256 of the file, as hexadecimal.
    pub sha256: String,
    /// Its width: hooks, or columns of a paper made with a cloth file.
    pub hooks: u32,
    /// Its height: picks, or lines of such a paper.
    pub picks: u32,
    /// The end that is woven first.
    pub first_pick: FirstPick,
}

/// How the design was laid on the cards.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cutting {
    /// Which squares are cut.
    pub cut: Cut,
    /// What becomes of the spare row.
    pub spare_row: SpareRow,
}

/// The cloth file a deck was made with.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MadeWith {
    /// Its file name.
    pub file: String,
    /// SHA-256 of the file, as hexadecimal.
    pub sha256: String,
}

/// All the cards of one design. Card `n` has as many rows as the format, and
/// cards are numbered from 1 without gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Deck {
    name: String,
    format: CardFormat,
    /// A user's format file, as the deck file names it.
    format_file: Option<String>,
    design: Option<Design>,
    cloth: Option<MadeWith>,
    cutting: Cutting,
    reading: Option<ReadFrom>,
    cards: Vec<Vec<Row>>,
}

impl Deck {
    /// A deck of these cards, from card 1 on.
    ///
    /// # Errors
    /// No cards or too many, a card with too few or too many rows, a hole
    /// beyond the row.
    pub fn new(
        name: impl Into<String>,
        format: CardFormat,
        design: Option<Design>,
        cutting: Cutting,
        cards: Vec<Vec<Row>>,
    ) -> Result<Deck, CardFault> {
        read::count_cards(cards.len())?;
        for (number, rows) in (1..).zip(&cards) {
            read::check_rows(&format, CardNumber(number), rows)?;
        }
        let format_file = format.file().map(|file| file.display().to_string());
        Ok(Deck {
            name: name.into(),
            format,
            format_file,
            design,
            cloth: None,
            cutting,
            reading: None,
            cards,
        })
    }

    /// The same cards, with a record of the cloth file they were made with.
    #[must_use]
    pub fn with_cloth(self, cloth: MadeWith) -> Deck {
        Deck {
            cloth: Some(cloth),
            ..self
        }
    }

    /// The same cards, with a record of how they were read.
    ///
    /// # Errors
    /// Positions that the deck has not got.
    pub fn with_reading(mut self, reading: ReadFrom) -> Result<Deck, CardFault> {
        match reading.fault(&self.format, self.cards.len()) {
            Some(fault) => Err(CardFault::Reading(fault)),
            None => {
                self.reading = Some(reading);
                Ok(self)
            }
        }
    }

    /// Reads a deck file. A user's format file is looked for from the deck
    /// file's own folder.
    ///
    /// # Errors
    /// The file cannot be read, or is refused.
    pub fn read(file: &Path) -> Result<Deck, DeckFileError> {
        read::read(file)
    }

    /// Reads the text of a deck file. `file` is what errors call it, and its
    /// folder is where a user's format file is looked for.
    ///
    /// # Errors
    /// The text is refused.
    pub fn parse(text: &str, file: &Path) -> Result<Deck, DeckFileError> {
        read::parse(text, file)
    }

    /// The text of the deck's file: the same deck always gives the same bytes.
    #[must_use]
    pub fn to_text(&self) -> String {
        write::to_text(self, self.format_file.as_deref())
    }

    /// The same text for whoever keeps it elsewhere: it names a user's format file
    /// by the path it was read from, and not as seen from the deck's own folder.
    #[must_use]
    pub fn to_text_elsewhere(&self) -> String {
        let file = self.format.file();
        let whole = |file: &Path| file.canonicalize().unwrap_or_else(|_| file.to_owned());
        let file = file.map(|file| whole(file).display().to_string());
        write::to_text(self, file.as_deref())
    }

    /// Writes the deck's file: whole or not at all. An older file is kept
    /// unless `overwrite`.
    ///
    /// # Errors
    /// The file exists or is write-protected, or cannot be written.
    pub fn write(&self, file: &Path, overwrite: bool) -> Result<(), WriteError> {
        write::write(self, file, overwrite)
    }

    /// SHA-256 of the deck's text, as hexadecimal. Where a user's format file
    /// lies is no part of it; the format's own hash is.
    #[must_use]
    pub fn sha256(&self) -> String {
        use sha2::Digest;
        super::hex(&sha2::Sha256::digest(write::to_text(self, None)))
    }

    /// The deck's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The card format.
    #[must_use]
    pub fn format(&self) -> &CardFormat {
        &self.format
    }

    /// The picture it was made from, if it was made from one.
    #[must_use]
    pub fn design(&self) -> Option<&Design> {
        self.design.as_ref()
    }

    /// The cloth file it was made with, if it was.
    #[must_use]
    pub fn cloth(&self) -> Option<&MadeWith> {
        self.cloth.as_ref()
    }

    /// How the design was laid on the cards.
    #[must_use]
    pub fn cutting(&self) -> Cutting {
        self.cutting
    }

    /// How it was read from a stack of cards, if it was.
    #[must_use]
    pub fn reading(&self) -> Option<&ReadFrom> {
        self.reading.as_ref()
    }

    /// Settles a doubtful position: it is a hole, or it is solid.
    pub fn settle(&mut self, doubt: Doubt, hole: bool) {
        let Some(reading) = &mut self.reading else {
            return;
        };
        let same = |other: &Doubt| *other == doubt;
        let Some(at) = reading.doubtful.iter().position(same) else {
            return;
        };
        reading.doubtful.remove(at);
        let card = (doubt.card.0 as usize).checked_sub(1);
        let rows = card.and_then(|card| self.cards.get_mut(card));
        let row = usize::from(doubt.row).checked_sub(1);
        if let Some(row) = rows.zip(row).and_then(|(rows, row)| rows.get_mut(row)) {
            let bit = 1 << (doubt.hole - 1);
            row.0 = if hole { row.0 | bit } else { row.0 & !bit };
        }
    }

    /// How many cards there are, at least 1.
    #[must_use]
    pub fn card_count(&self) -> u32 {
        u32::try_from(self.cards.len()).unwrap_or(u32::MAX)
    }

    /// The rows of this card, row 1 first.
    #[must_use]
    pub fn card(&self, number: CardNumber) -> Option<&[Row]> {
        let place = usize::try_from(number.0.checked_sub(1)?).ok()?;
        self.cards.get(place).map(Vec::as_slice)
    }

    /// Every card with its number, in order.
    pub fn cards(&self) -> impl ExactSizeIterator<Item = (CardNumber, &[Row])> {
        self.cards.iter().enumerate().map(|(place, rows)| {
            (
                CardNumber(u32::try_from(place + 1).unwrap_or(u32::MAX)),
                rows.as_slice(),
            )
        })
    }

    /// The strokes of this card, in cutting order.
    #[must_use]
    pub fn strokes(&self, number: CardNumber) -> Option<Vec<Stroke>> {
        Some(self.format.programme(self.card(number)?))
    }

    /// Needle holes in the whole deck.
    #[must_use]
    pub fn needle_holes(&self) -> u64 {
        self.cards
            .iter()
            .flatten()
            .map(|row| u64::from(row.count()))
            .sum()
    }
}
