//! The way back: from cards to the squares of a point paper.
//!
//! Enters: a deck and the cloth it was made with. Leaves: squares that make
//! these very cards, hole for hole, and how many of them could have been
//! another colour too. Refuses: colours that no card could tell apart, cards
//! that this cloth does not make, naming the first hole.
//!
//! Where a square's holes depend on its own colour only, `nearest` takes the
//! colour they fit, or that of the squares beside it. Where they depend on the
//! squares around it (points left out at clear edges, floats bound, binding that
//! starts afresh), a guess is settled until every square makes its holes. Outlines that
//! only the points of a satin tell are moved midway between these (`outline`).
//! Whatever is found is made into cards again and compared.

mod blocks;
mod fault;
mod guess;
mod labels;
mod nearest;
mod outline;
mod paper;
mod settle;

use super::repeat::Over;
use super::seams::Seams;
use super::squares::Squares;
use super::woven::same_format;
use super::{Binding, Cloth, Colour, Edges, Face, Mounting, Weave};
use crate::deck::{Deck, FirstPick, Row};
pub use fault::BackFault;
use labels::Label;
use paper::Paper;
use std::collections::{BTreeSet, HashSet};

/// How often what was settled is made into cards and settled again.
const ROUNDS: usize = 32;

/// Squares found from cards.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// They make the same cards.
    pub squares: Squares,
    /// How many of them could have another colour and make the same holes there.
    pub either: u64,
}

impl Cloth {
    /// The squares that these cards were made of; `columns` is the paper's
    /// width.
    ///
    /// # Errors
    /// The cards are not this cloth's, or its colours cannot be told apart.
    pub fn unmake(&self, deck: &Deck, columns: u32) -> Result<Found, BackFault> {
        self.colours_differ()?;
        same_format(deck, self)?;
        let mounting = self.mounting(columns)?;
        self.whole_lines(deck)?;
        let seen = self.lifted_by(deck, &mounting);
        let lines = seen.len() / columns as usize;
        let seams = Seams::of(self, &mounting, u32::try_from(lines).unwrap_or(u32::MAX));
        if self.colours.iter().all(stands_alone) {
            let (colours, either) = self.nearest(&seen, columns as usize)?;
            let mut paper = self.paper(&seen, &mounting, &seams, colours);
            outline::move_outlines(&mut paper);
            let squares = self.squares(paper.colours(), columns)?;
            let cards = self.cards(&squares, &mounting);
            return match first_difference(&cards, deck) {
                None => Ok(Found { squares, either }),
                Some((card, row, hole)) => Err(BackFault::Other { card, row, hole }),
            };
        }
        self.guessed(&seen, deck, &mounting, &seams)
    }

    /// Refuses cards that are no whole lines.
    fn whole_lines(&self, deck: &Deck) -> Result<(), BackFault> {
        self.as_its_paper(deck)?;
        let (cards, wefts) = (deck.card_count(), self.wefts.len());
        if !(cards as usize).is_multiple_of(wefts) {
            return Err(BackFault::Cards { cards, wefts });
        }
        Ok(())
    }

    /// Refuses more or fewer cards than the paper makes with these wefts that the deck
    /// says it was made of.
    pub(crate) fn as_its_paper(&self, deck: &Deck) -> Result<(), BackFault> {
        let (cards, wefts) = (deck.card_count(), self.wefts.len());
        if let (Some(_), Some(design)) = (deck.cloth(), deck.design()) {
            let lines = design.picks;
            let expected = u64::from(lines) * wefts as u64;
            if expected != u64::from(cards) {
                return Err(BackFault::Wefts {
                    cards,
                    lines,
                    wefts,
                    expected,
                });
            }
        }
        Ok(())
    }

    /// Refuses two colours whose weaves lift the same ends everywhere.
    fn colours_differ(&self) -> Result<(), BackFault> {
        let same =
            |one: &Weave, other: &Weave| one.bound() == other.bound() && one.same_everywhere(other);
        let alike = |one: &Colour, other: &Colour| {
            let mut weaves = one.weaves.iter().zip(&other.weaves);
            weaves.all(|(one, other)| same(one, other))
        };
        for (place, one) in self.colours.iter().enumerate() {
            let rest = &self.colours[place + 1..];
            if let Some(other) = rest.iter().find(|other| alike(one, other)) {
                return Err(BackFault::Alike {
                    first: one.name.clone(),
                    second: other.name.clone(),
                });
            }
        }
        Ok(())
    }

    /// For each square, first woven line first, the wefts that lift it as seen
    /// on the face: bit 0 the first weft.
    fn lifted_by(&self, deck: &Deck, mounting: &Mounting) -> Vec<u16> {
        let (columns, wefts) = (mounting.columns() as usize, self.wefts.len());
        let places = &mounting.hooks()[..columns];
        let lines = deck.card_count() as usize / wefts;
        let mut seen = vec![0; lines * columns];
        for (number, (_, card)) in deck.cards().enumerate() {
            let line = &mut seen[number / wefts * columns..][..columns];
            for (place, seen) in places.iter().zip(line) {
                let cut = card[usize::from(place.row) - 1].has(place.hole);
                let lifted = cut != (self.face == Face::Down);
                *seen |= u16::from(lifted) << (number % wefts);
            }
        }
        seen
    }

    /// A paper with these labels.
    fn paper<'a>(
        &'a self,
        seen: &'a [u16],
        mounting: &Mounting,
        seams: &'a Seams,
        at: Vec<u8>,
    ) -> Paper<'a> {
        let labels = Label::all(self);
        Paper {
            wefts: self.wefts.len(),
            width: mounting.columns() as usize,
            over: Over::of(self, mounting),
            seams,
            longest: self.longest(),
            seen,
            at,
            free: HashSet::new(),
            far: far(&labels),
            labels,
        }
    }

    /// A guess that was settled: its outlines moved, or as it is if that goes nowhere.
    fn guessed(
        &self,
        seen: &[u16],
        deck: &Deck,
        mounting: &Mounting,
        seams: &Seams,
    ) -> Result<Found, BackFault> {
        let width = mounting.columns() as usize;
        let guess = guess::guess(&Label::all(self), seams, seen, width)
            .map_err(|at| self.no_colour(at / width, at % width))?;
        let mut paper = self.paper(seen, mounting, seams, guess.clone());
        if outline::move_outlines(&mut paper)
            && let Ok(found) = self.settled(paper, deck, mounting)
        {
            return Ok(found);
        }
        let paper = self.paper(seen, mounting, seams, guess);
        self.settled(paper, deck, mounting)
    }

    /// Squares settled until they make the cards.
    fn settled(
        &self,
        mut paper: Paper<'_>,
        deck: &Deck,
        mounting: &Mounting,
    ) -> Result<Found, BackFault> {
        let (seen, width, columns) = (paper.seen, paper.width, mounting.columns());
        let mut wrong = settle::settle(&mut paper);
        for _ in 0..ROUNDS {
            if !wrong.is_empty() {
                break;
            }
            wrong = self.freed(&mut paper, mounting)?;
            if wrong.is_empty() {
                break;
            }
            wrong = settle::mend(&mut paper, wrong);
        }
        let squares = self.squares(paper.colours(), columns)?;
        let cards = self.cards(&squares, mounting);
        let Some((card, row, hole)) = first_difference(&cards, deck) else {
            let either = (0..seen.len()).filter(|at| paper.either(*at)).count() as u64;
            return Ok(Found { squares, either });
        };
        let made = self.lifts_of(&squares, mounting);
        let differ = |at: &usize| made[*at] != seen[*at];
        let first = (0..seen.len()).find(differ).unwrap_or_default();
        let number = |place: usize| u32::try_from(place + 1).unwrap_or(u32::MAX);
        Err(BackFault::Unsettled {
            card,
            row,
            hole,
            squares: (0..seen.len()).filter(differ).count(),
            line: number(first / width),
            column: number(first % width),
        })
    }

    /// Points that the paper, made into cards, does without: no float keeps them. Leaves
    /// the squares that are then wrong.
    fn freed(
        &self,
        paper: &mut Paper<'_>,
        mounting: &Mounting,
    ) -> Result<BTreeSet<usize>, BackFault> {
        let columns = u32::try_from(paper.width).unwrap_or(u32::MAX);
        let squares = self.squares(paper.colours(), columns)?;
        let made = self.lifts_of(&squares, mounting);
        let mut wrong = BTreeSet::new();
        for (at, (made, seen)) in made.iter().zip(paper.seen).enumerate() {
            let wefts = (0..paper.wefts).filter(|weft| (made ^ seen) >> weft & 1 == 1);
            for weft in wefts {
                paper.free.insert((at, weft));
            }
            if made != seen && !paper.makes(at) {
                wrong.insert(at);
            }
        }
        Ok(wrong)
    }

    /// Squares of colours that stand in the order of weaving.
    fn squares(&self, woven: Vec<u8>, columns: u32) -> Result<Squares, BackFault> {
        let squares = self.top_first(woven, columns as usize);
        // made of whole lines, and a deck has at least one card
        Squares::new(columns, squares).ok_or(BackFault::Cards {
            cards: 0,
            wefts: self.wefts.len(),
        })
    }

    /// Lines in the paper's order instead of the order of weaving.
    fn top_first(&self, woven: Vec<u8>, width: usize) -> Vec<u8> {
        match self.first_line {
            FirstPick::Top => woven,
            FirstPick::Bottom => woven.rchunks(width).flatten().copied().collect(),
        }
    }

    fn no_colour(&self, line: usize, column: usize) -> BackFault {
        let number = |place: usize| u32::try_from(place + 1).unwrap_or(u32::MAX);
        let wefts = self.wefts.len();
        BackFault::NoColour {
            line: number(line),
            column: number(column),
            first: number(line * wefts),
            last: number(line * wefts + wefts - 1),
        }
    }

    /// As [`Cloth::lifted_by`], of squares instead of cards.
    fn lifts_of(&self, squares: &Squares, mounting: &Mounting) -> Vec<u16> {
        let (columns, wefts) = (squares.columns() as usize, self.wefts.len());
        let mut made = vec![0; squares.colours().len()];
        let mut pick = 0;
        self.each_pick(squares, mounting, |lifted| {
            let line = &mut made[pick / wefts * columns..][..columns];
            for (made, lifted) in line.iter_mut().zip(lifted) {
                *made |= u16::from(*lifted) << (pick % wefts);
            }
            pick += 1;
        });
        made
    }
}

/// Whether the holes of a square depend on its own colour only.
fn stands_alone(colour: &Colour) -> bool {
    colour.binding == Binding::Continuous
        && colour.edges == Edges::Keep
        && colour.weaves.iter().all(|weave| weave.bound().is_none())
}

/// How far along its line or end a square's holes depend on others.
fn far(labels: &[Label<'_>]) -> usize {
    let weaves = labels.iter().flat_map(|label| &label.colour.weaves);
    let bounds = weaves.map(Weave::bound);
    let limits = bounds.flat_map(|bound| [bound.ends, bound.picks]);
    limits.flatten().max().unwrap_or(1) as usize
}

/// Card, row and hole where the cards that were made first differ from the deck's.
fn first_difference(cards: &[Vec<Row>], deck: &Deck) -> Option<(u32, usize, u8)> {
    let (made, there) = (cards.iter(), deck.cards());
    made.zip(there).find_map(|(made, (card, rows))| {
        let differs = |(made, row): (&Row, &Row)| made.0 ^ row.0;
        let rows = made.iter().zip(rows).map(differs);
        let (row, holes) = (1..).zip(rows).find(|(_, holes)| *holes != 0)?;
        let hole = u8::try_from(holes.trailing_zeros() + 1).unwrap_or(u8::MAX);
        Some((card.0, row, hole))
    })
}
