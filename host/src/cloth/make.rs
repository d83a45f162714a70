//! From the squares of a paper to cards.
//!
//! Enters: a cloth and squares in its colours. Leaves: the cards, one a weft
//! for each line of the paper, first woven first (Bell ch. IX). Refuses: a
//! paper that does not fit the hooks.

use super::hooks::Place;
use super::lift::Lifter;
use super::squares::Squares;
use super::{Cloth, Face, Mounting, MountingFault, Selvedge};
use crate::deck::Row;
use crate::deck::file::MOST_CARDS;

/// Why no cards were made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MakeFault {
    /// The paper does not fit the hooks.
    #[error(transparent)]
    Mounting(#[from] MountingFault),
    /// More cards than a deck can have.
    #[error(
        "the paper has {lines} lines, which make {cards} cards with {wefts} wefts; at most {MOST_CARDS} are taken"
    )]
    TooLong {
        /// Lines of the paper.
        lines: u32,
        /// Wefts.
        wefts: usize,
        /// Cards they make.
        cards: u64,
    },
    /// Squares of a colour that is not one of the cloth's.
    #[error(
        "the squares have colour {0}, counted from 0, and the cloth file names fewer; give squares in its colours"
    )]
    Colour(u8),
}

/// Cards made of a paper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Rows of each card, first card first.
    pub cards: Vec<Vec<Row>>,
    /// How the hooks are used.
    pub mounting: Mounting,
}

impl Cloth {
    /// The cards that weave these squares.
    ///
    /// # Errors
    /// The squares do not fit the hooks, or make too many cards.
    pub fn make(&self, squares: &Squares) -> Result<Made, MakeFault> {
        if let Some(colour) = squares.beyond(self.colours.len()) {
            return Err(MakeFault::Colour(colour));
        }
        let (lines, wefts) = (squares.lines(), self.wefts.len());
        let cards = u64::from(lines) * wefts as u64;
        if cards > u64::from(MOST_CARDS) {
            return Err(MakeFault::TooLong {
                lines,
                wefts,
                cards,
            });
        }
        let mounting = self.mounting(squares.columns())?;
        let cards = self.cards(squares, &mounting);
        Ok(Made { cards, mounting })
    }

    /// The cards of squares that fit this mounting.
    pub(super) fn cards(&self, squares: &Squares, mounting: &Mounting) -> Vec<Vec<Row>> {
        let wefts = self.wefts.len();
        let rows = usize::from(self.format.rows());
        let hooks = Hooks::of(mounting);
        let mut cards = Vec::with_capacity(squares.lines() as usize * wefts);
        let mut lifter = Lifter::new(self, squares);
        let mut lifted = vec![false; squares.columns() as usize];
        for line in 0..squares.lines() {
            lifter.go_to(line);
            for weft in 0..wefts {
                let mut card = vec![Row::BLANK; rows];
                lifter.lift(weft, &mut lifted);
                hooks.cut(&lifted, self.face, &mut card);
                if let Some(selvedge) = self.selvedge() {
                    cut_selvedge(selvedge, mounting, cards.len(), self.face, &mut card);
                }
                cards.push(card);
            }
        }
        cards
    }
}

/// Row, from 0, and bit of each hook in use.
struct Hooks(Vec<(usize, u16)>);

impl Hooks {
    fn of(mounting: &Mounting) -> Hooks {
        let bit = |place: &Place| (usize::from(place.row) - 1, 1 << (place.hole - 1));
        Hooks(mounting.hooks().iter().map(bit).collect())
    }

    /// Cuts one card: column after column, the paper over and over.
    fn cut(&self, lifted: &[bool], face: Face, card: &mut [Row]) {
        let down = face == Face::Down;
        for paper in self.0.chunks(lifted.len()) {
            for ((row, bit), lifted) in paper.iter().zip(lifted) {
                let cut = u16::from(*lifted != down).wrapping_neg();
                card[*row].0 |= bit & cut;
            }
        }
    }
}

/// Cuts the holes of the spare row that work selvedge ends.
fn cut_selvedge(
    selvedge: &Selvedge,
    mounting: &Mounting,
    number: usize,
    face: Face,
    card: &mut [Row],
) {
    for (hole, place) in mounting.selvedge_holes().enumerate() {
        if selvedge.weave.lifts(hole, number) != (face == Face::Down) {
            card[usize::from(place.row) - 1].0 |= 1 << (place.hole - 1);
        }
    }
}
