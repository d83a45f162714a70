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
mod read;
mod runs;
mod section;
mod table;

pub use faults::{PlanError, PlanFault};
pub use runs::{Run, Runs};

use super::walk::Direction;
use crate::cloth::Rgb;
use crate::deck::{Deck, DeckFileError};
use cardwright_protocol::CardNumber;
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

/// A millimetre more or less is lost in the take-up; a float's last digit must not
/// add a pick.
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

/// A part of the cloth that is woven in one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    name: String,
    work: SectionWork,
    repeats: u64,
    to_length: bool,
    wefts: Vec<WeftIndex>,
    marks: Vec<Mark>,
}

/// What one pass of a section is.
#[derive(Clone, Debug, PartialEq)]
pub enum SectionWork {
    /// So many picks without a card.
    Ground(u64),
    /// Cards.
    Cards(Cards),
}

/// One pass of a section with cards.
#[derive(Clone, Debug, PartialEq)]
pub struct Cards {
    /// The deck they are of.
    pub deck: DeckIndex,
    /// Which, in what order.
    pub runs: Runs,
    /// Ground picks between them.
    pub between: Option<Between>,
    /// Wefts of single cards: rising ranges that do not overlap.
    wefts: Vec<(CardNumber, CardNumber, WeftIndex)>,
}

/// Ground picks between cards. The count begins anew with each pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Between {
    /// After every so many cards.
    pub every: u64,
    /// So many picks.
    pub picks: u64,
    /// Their wefts, in turn.
    wefts: Vec<WeftIndex>,
}

/// Words for the weaver at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Where.
    pub place: MarkPlace,
    /// What is said.
    pub say: String,
}

/// Where a mark stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkPlace {
    /// At a card, each time it is woven, or each time its run goes this way.
    Card(Side, CardNumber, Option<Direction>),
    /// At a pick of each pass, from 0.
    Step(Side, u64),
    /// After every so many picks of the section, over all its passes.
    Every(u64),
}

/// Before a pick or after it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Before it is woven.
    Before,
    /// When it is woven.
    After,
}

/// What a step of a section's pass is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The how-manieth ground pick of the pass, from 0.
    Ground(u64),
    /// The how-manieth card of the pass, from 0, and which it is.
    Card(u64, CardNumber, Direction),
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

impl Section {
    /// What it is called; others may be called the same.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What one pass is.
    #[must_use]
    pub fn work(&self) -> &SectionWork {
        &self.work
    }

    /// Its cards, if it has any.
    #[must_use]
    pub fn cards(&self) -> Option<&Cards> {
        match &self.work {
            SectionWork::Ground(_) => None,
            SectionWork::Cards(cards) => Some(cards),
        }
    }

    /// How many passes are woven, at least 1.
    #[must_use]
    pub fn repeats(&self) -> u64 {
        self.repeats
    }

    /// Whether there are as many as the wanted length needs.
    #[must_use]
    pub fn to_length(&self) -> bool {
        self.to_length
    }

    /// Words for the weaver.
    #[must_use]
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// Picks of one pass, at least 1.
    #[must_use]
    pub fn pass(&self) -> u64 {
        match &self.work {
            SectionWork::Ground(picks) => *picks,
            SectionWork::Cards(cards) => cards.steps_before(cards.runs.cards()),
        }
    }

    /// Carded picks of one pass.
    #[must_use]
    pub fn carded(&self) -> u64 {
        self.cards().map_or(0, |cards| cards.runs.cards())
    }

    /// Picks in all.
    #[must_use]
    pub fn picks(&self) -> u64 {
        self.pass().saturating_mul(self.repeats)
    }

    /// What this step of a pass is.
    #[must_use]
    pub fn step(&self, step: u64) -> Option<Step> {
        match &self.work {
            SectionWork::Ground(picks) => (step < *picks).then_some(Step::Ground(step)),
            SectionWork::Cards(cards) => cards.step(step),
        }
    }

    /// The weft of this step, if the plan says. Each list of wefts begins anew with
    /// each pass; a card with a weft of its own has its turn in the list too.
    #[must_use]
    pub fn weft(&self, step: Step) -> Option<WeftIndex> {
        let in_turn = |wefts: &[WeftIndex], place: u64| {
            let count = u64::try_from(wefts.len()).ok()?;
            let place = usize::try_from(place.checked_rem(count)?).ok()?;
            wefts.get(place).copied()
        };
        match (step, self.cards()) {
            (Step::Ground(place), Some(cards)) => match &cards.between {
                Some(between) if !between.wefts.is_empty() => in_turn(&between.wefts, place),
                _ => in_turn(&self.wefts, place),
            },
            (Step::Card(place, card, _), Some(cards)) => {
                cards.weft(card).or_else(|| in_turn(&self.wefts, place))
            }
            (Step::Ground(place) | Step::Card(place, ..), None) => in_turn(&self.wefts, place),
        }
    }
}

impl Cards {
    /// Steps of a pass before its card at `place`, from 0: each card before it, and
    /// the ground picks after each full count.
    #[must_use]
    pub fn steps_before(&self, place: u64) -> u64 {
        match &self.between {
            None => place,
            Some(between) => {
                place.saturating_add(between.picks.saturating_mul(place / between.every))
            }
        }
    }

    /// Cards of a pass before this step.
    #[must_use]
    pub fn cards_before(&self, step: u64) -> u64 {
        match &self.between {
            None => step,
            Some(between) => {
                let group = between.every + between.picks;
                step / group * between.every + (step % group).min(between.every)
            }
        }
    }

    fn step(&self, step: u64) -> Option<Step> {
        let place = self.cards_before(step);
        // a ground pick has as many cards before it as the step after it
        if self.steps_before(place) == step {
            let (card, direction) = self.runs.at(place)?;
            return Some(Step::Card(place, card, direction));
        }
        let ground = step - place;
        (step < self.steps_before(self.runs.cards())).then_some(Step::Ground(ground))
    }

    fn weft(&self, card: CardNumber) -> Option<WeftIndex> {
        let at = self.wefts.partition_point(|(first, ..)| *first <= card);
        let (_, last, weft) = self.wefts.get(at.checked_sub(1)?)?;
        (card <= *last).then_some(*weft)
    }
}
