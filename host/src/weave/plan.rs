//! The weave plan: what is woven from which decks, in what order.
//!
//! Enters: a plan file (TOML) and the decks it names. Leaves: sections of ground
//! picks or of cards, how often each is woven, its wefts and marks, and how many
//! picks make the wanted length. Refuses: keys it does not know, cards that a deck
//! has not got, sections that weave nothing, and whatever could be meant in two
//! ways, naming the file, the line, the cause and the remedy.
//!
//! The words: a *pass* is what a section weaves before it begins again; its
//! *steps* are the picks of one pass, from 0. A *carded* pick reads a card, a
//! *ground* pick does not, and the cylinder stays.

mod faults;
mod pass;
mod read;
mod runs;
mod section;
mod table;

pub use faults::{PlanError, PlanFault};
pub use pass::{Between, Cards, Mark, MarkPlace, Section, SectionWork, Side, Step};
pub use runs::{Run, Runs};

use crate::cloth::Rgb;
use crate::deck::{Deck, DeckFileError};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Most picks in one plan.
pub const MOST_PICKS: u64 = 100_000_000;

/// Most sections in one plan.
pub const MOST_SECTIONS: usize = 1_000;

/// Most decks, and most wefts.
pub const MOST_NAMES: usize = 100;

/// Most entries of one list in a section: runs of cards, wefts in turn, marks.
pub const MOST_ENTRIES: usize = 1_000;

/// Part of a pick that is none: a division's last digit must not add one.
const ROUNDING: f64 = 1e-6;

/// A deck's place in [`Plan::decks`].
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
pub struct DeckIndex(pub usize);

/// A weft's place in [`Plan::wefts`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct WeftIndex(pub usize);

/// What is to be woven.
#[derive(Clone, Debug)]
pub struct Plan {
    file: PathBuf,
    text: String,
    sha256: String,
    name: String,
    length: Option<Length>,
    sett: Option<Sett>,
    loom: Option<PathBuf>,
    cloth: Option<PathBuf>,
    decks: Vec<PlanDeck>,
    wefts: Vec<PlanWeft>,
    sections: Vec<Section>,
}

/// How long the cloth is to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Length {
    /// In millimetres.
    Millimetres(f64),
    /// In picks.
    Picks(u64),
}

/// How close the picks lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sett {
    /// Picks to `unit_mm`.
    pub picks: f64,
    /// The unit they are counted in, in millimetres.
    pub unit_mm: f64,
}

impl Sett {
    /// How long this many picks are, in millimetres.
    #[must_use]
    pub fn length_of(&self, picks: u64) -> f64 {
        picks as f64 * self.unit_mm / self.picks
    }

    /// The fewest picks that are at least this long.
    #[must_use]
    pub fn picks_of(&self, mm: f64) -> u64 {
        (mm / self.unit_mm * self.picks - ROUNDING).ceil().max(0.0) as u64
    }
}

/// A deck, and what the plan calls it.
#[derive(Clone, Debug)]
pub struct PlanDeck {
    /// Its name in the plan.
    pub name: String,
    /// Its file.
    pub file: PathBuf,
    /// Its cards, laced as one endless chain.
    pub deck: Arc<Deck>,
}

/// A weft.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanWeft {
    /// Its name in the plan.
    pub name: String,
    /// Its colour, if the plan has a list of them.
    pub colour: Option<Rgb>,
}

impl Plan {
    /// Reads a plan file and the decks it names, which are looked for from the
    /// plan's own folder.
    ///
    /// # Errors
    /// The file or a deck cannot be read, or is refused.
    pub fn read(file: &Path) -> Result<Plan, PlanError> {
        let text = crate::input::text(file).map_err(|cause| match cause.kind() {
            std::io::ErrorKind::InvalidData => PlanError::NotText {
                file: file.to_owned(),
            },
            _ => PlanError::Unreadable {
                file: file.to_owned(),
                cause,
            },
        })?;
        Plan::parse(&text, file, &mut Deck::read)
    }

    /// Reads the text of a plan. `file` is what errors call it, and its folder is
    /// where the paths in it are seen from. `deck` gives the deck of a file.
    ///
    /// # Errors
    /// As [`Plan::read`].
    pub fn parse(
        text: &str,
        file: &Path,
        deck: &mut dyn FnMut(&Path) -> Result<Deck, DeckFileError>,
    ) -> Result<Plan, PlanError> {
        read::parse(text, file, deck)
    }

    /// The file it was read from.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Its text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of its text, as hexadecimal. The decks have their own.
    #[must_use]
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How long the cloth is to be, if the plan says.
    #[must_use]
    pub fn length(&self) -> Option<Length> {
        self.length
    }

    /// How close the picks lie, if the plan says.
    #[must_use]
    pub fn sett(&self) -> Option<Sett> {
        self.sett
    }

    /// The picks that the wanted length needs.
    #[must_use]
    pub fn wanted(&self) -> Option<u64> {
        match self.length? {
            Length::Picks(picks) => Some(picks),
            Length::Millimetres(mm) => Some(self.sett?.picks_of(mm)),
        }
    }

    /// The file of the loom, if the plan names one; it is not opened here.
    #[must_use]
    pub fn loom(&self) -> Option<&Path> {
        self.loom.as_deref()
    }

    /// The cloth file, if the plan names one; it is not opened here.
    #[must_use]
    pub fn cloth(&self) -> Option<&Path> {
        self.cloth.as_deref()
    }

    /// The decks, in the order of the file.
    #[must_use]
    pub fn decks(&self) -> &[PlanDeck] {
        &self.decks
    }

    /// SHA-256 of each deck, by its name in the plan.
    #[must_use]
    pub fn deck_sha256s(&self) -> BTreeMap<String, String> {
        let sha256 = |deck: &PlanDeck| (deck.name.clone(), deck.deck.sha256());
        self.decks.iter().map(sha256).collect()
    }

    /// The wefts: those of the list, or those the sections name.
    #[must_use]
    pub fn wefts(&self) -> &[PlanWeft] {
        &self.wefts
    }

    /// The sections, in the order in which they are woven.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }
}
