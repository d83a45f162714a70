//! The lacing sheet: what lies beside the weaver when a checked deck is laced
//! into a chain.
//!
//! Enters: a [`Sheet`], which says what is known of every card. Leaves: a
//! [`Lacing`], which says the order, the wires and what is to be seen to first,
//! as lines for a terminal, as SVG pages and as a PDF. Refuses: a deck without
//! cards or of more than [`MOST_CARDS`], and faults that do not fit the card they
//! are said to be on.
//! Nothing here is judged, looked up or written anywhere.

mod chain;
mod check;
mod face;
mod flow;
mod pages;
mod text;
mod wires;
mod words;

use crate::deck::CardFormat;
use crate::picture::{Mark, MarkKind, pdf_from_svg};
use cardwright_protocol::{CardNumber, Stroke};

pub use crate::picture::PEG;
pub use chain::{Chain, Run};
pub use wires::{LARGE, LARGE_SET_FROM, SMALL, Wires};

/// Most cards on one sheet, so that no number makes paper without end.
pub const MOST_CARDS: usize = 20_000;

/// What is known when a deck is to be laced.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// The deck's name.
    pub deck: String,
    /// The deck's identity, shortened as it is shown elsewhere.
    pub sha: String,
    /// The date, in the words in which it is to be printed.
    pub date: String,
    /// The format of its cards.
    pub format: CardFormat,
    /// The machine that the chain is for.
    pub cylinders: Cylinders,
    /// One entry a card, card 1 first.
    pub cards: Vec<Card>,
    /// What is wrong with the order in which the cards lie.
    pub order: Vec<OrderFinding>,
}

/// How many cylinders press cards against the needles, which is also how many
/// chains the deck becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cylinders {
    /// One chain.
    One,
    /// Two chains (Bell ch. V).
    Two,
}

/// What is known of one card.
#[derive(Clone, Debug)]
pub enum Card {
    /// It is right.
    Good,
    /// It is not right, in the way given.
    Faulty(Fault),
    /// It is not cut yet, or missing from the stack.
    Owed,
    /// Nobody has checked it.
    Unjudged,
}

/// What is wrong with a card.
#[derive(Clone, Debug)]
pub struct Fault {
    /// What the card should be.
    pub strokes: Vec<Stroke>,
    /// Holes that are not there.
    pub missing: Vec<Place>,
    /// Holes where the card should be solid.
    pub extra: Vec<Place>,
    /// What was found, as a person would say it; may be empty.
    pub words: String,
    /// Whether the card cannot be mended. One without missing or extra holes
    /// never can, such as one out of register.
    pub cut_again: bool,
}

impl Fault {
    /// Every wrong position, to be drawn.
    fn marks(&self) -> Vec<Mark> {
        let mark = |kind: MarkKind| {
            move |place: &Place| Mark {
                stroke: place.stroke,
                hole: place.hole,
                kind,
                offset_mm: 0.0,
            }
        };
        let missing = self.missing.iter().map(mark(MarkKind::Missing));
        missing
            .chain(self.extra.iter().map(mark(MarkKind::Extra)))
            .collect()
    }
}

/// A place on a card where a hole is or is not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The stroke that cuts it, from 0.
    pub stroke: u16,
    /// The hole, from 1, or [`PEG`].
    pub hole: u8,
}

/// Something wrong with the order of the stack.
#[derive(Clone, Debug)]
pub struct OrderFinding {
    /// What was found.
    pub finding: String,
    /// What to do about it.
    pub remedy: String,
}

/// Why there is no sheet.
#[derive(Debug, thiserror::Error)]
pub enum LacingError {
    /// No cards.
    #[error("the deck has no cards, so there is nothing to lace; give one entry a card")]
    NoCards,
    /// More cards than fit.
    #[error(
        "the deck has {0} cards and a lacing sheet holds {MOST_CARDS}; lace it in parts, with a sheet for each"
    )]
    TooMany(usize),
    /// The strokes are not those of the format.
    #[error(
        "card {card} has {found} strokes and its format {wanted}; give the strokes that the format's programme makes"
    )]
    Strokes {
        /// The card.
        card: u32,
        /// Strokes given.
        found: usize,
        /// Strokes of the format.
        wanted: u16,
    },
    /// A place that the format does not have.
    #[error(
        "card {card} has no stroke {stroke} with a hole {hole}; look whether the faults are of a deck of another format"
    )]
    NoSuchPlace {
        /// The card.
        card: u32,
        /// The stroke, from 0.
        stroke: u16,
        /// The hole.
        hole: u8,
    },
    /// A fault that cannot be on this card.
    #[error(
        "card {card}: {place} is said to be {said}, which the card as it should be cannot have; look whether the faults are of another card"
    )]
    NotAFault {
        /// The card.
        card: u32,
        /// Where.
        place: String,
        /// What it is said to be.
        said: &'static str,
    },
    /// The PDF library would not have it.
    #[error("the PDF could not be made: {0}; the same sheet can be had as text or as SVG")]
    Pdf(String),
}

/// A sheet that has been checked, with its chains worked out.
#[derive(Clone, Debug)]
pub struct Lacing {
    sheet: Sheet,
    chains: Vec<Chain>,
}

impl Lacing {
    /// Checks the sheet and works the chains out.
    ///
    /// # Errors
    /// No cards or too many, or faults that do not fit their card.
    pub fn plan(sheet: Sheet) -> Result<Lacing, LacingError> {
        let sheet = check::checked(sheet)?;
        let count = u32::try_from(sheet.cards.len())
            .map_err(|_| LacingError::TooMany(sheet.cards.len()))?;
        let chains = chain::chains(count, sheet.cylinders);
        Ok(Lacing { sheet, chains })
    }

    /// The chains, each in the order in which it is laced.
    #[must_use]
    pub fn chains(&self) -> &[Chain] {
        &self.chains
    }

    /// Lines for a terminal of 80 columns. Long words of the caller's stand out.
    #[must_use]
    pub fn text(&self) -> String {
        text::text(self)
    }

    /// A4 pages, upright, as SVG documents whose user unit is the millimetre.
    #[must_use]
    pub fn pages(&self) -> Vec<String> {
        pages::pages(self)
    }

    /// The same pages as a PDF with real text in the font that is shipped.
    ///
    /// # Errors
    /// [`LacingError::Pdf`].
    pub fn pdf(&self) -> Result<Vec<u8>, LacingError> {
        let title = format!("Lacing sheet: {}", self.sheet.deck);
        pdf_from_svg(&title, &self.pages()).map_err(|error| LacingError::Pdf(error.to_string()))
    }

    fn card(&self, card: CardNumber) -> Option<&Card> {
        let index = usize::try_from(card.0.checked_sub(1)?).ok()?;
        self.sheet.cards.get(index)
    }

    /// The numbers of the cards of which this holds.
    fn which(&self, is: impl Fn(&Card) -> bool) -> Vec<u32> {
        let numbered = (1u32..).zip(&self.sheet.cards);
        numbered
            .filter(|(_, card)| is(card))
            .map(|(number, _)| number)
            .collect()
    }

    fn faults(&self) -> impl Iterator<Item = (u32, &Fault)> {
        let numbered = (1u32..).zip(&self.sheet.cards);
        numbered.filter_map(|(number, card)| match card {
            Card::Faulty(fault) => Some((number, fault)),
            _ => None,
        })
    }
}

impl Fault {
    fn is_cut_again(&self) -> bool {
        self.cut_again || (self.missing.is_empty() && self.extra.is_empty())
    }
}
