//! From the squares of a paper to cards.
//!
//! Enters: a cloth and squares in its colours. Leaves: the cards, one a weft
//! for each line of the paper, first woven first (Bell ch. IX). Refuses: a
//! paper that does not fit the hooks.

use super::edges::Picks;
use super::hooks::Place;
use super::lift::Lifter;
use super::repeat::Over;
use super::seams::Seams;
use super::squares::Squares;
use super::{Cloth, Edges, Face, Mounting, MountingFault, Selvedge, Spare};
use crate::deck::file::MOST_CARDS;
use crate::deck::{CardFault, Cut, Cutting, Deck, Design, MadeWith, Row, SpareRow, hex};
use std::path::Path;

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
    /// No deck can have these cards.
    #[error("{0}")]
    Cards(#[from] CardFault),
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

    /// The deck that weaves these squares, read from the picture `paper` with these
    /// bytes, and how the hooks are used. It is named after the picture.
    ///
    /// # Errors
    /// As [`Cloth::make`].
    pub fn deck(
        &self,
        paper: &Path,
        bytes: &[u8],
        squares: &Squares,
    ) -> Result<(Deck, Mounting), MakeFault> {
        let made = self.make(squares)?;
        let name = |name: Option<&std::ffi::OsStr>| {
            name.map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default()
        };
        let design = Design {
            file: name(paper.file_name()),
            sha256: hex(&<sha2::Sha256 as sha2::Digest>::digest(bytes)),
            hooks: squares.columns(),
            picks: squares.lines(),
            first_pick: self.first_line,
        };
        let cutting = Cutting {
            cut: match self.face {
                Face::Up => Cut::Black,
                Face::Down => Cut::White,
            },
            spare_row: match self.spare {
                Spare::Blank => SpareRow::Blank,
                Spare::Used | Spare::Selvedge(_) => SpareRow::Used,
            },
        };
        let (name, format) = (name(paper.file_stem()), self.format.clone());
        let deck = Deck::new(name, format, Some(design), cutting, made.cards)?;
        let deck = deck.with_cloth(MadeWith {
            file: self.file.clone(),
            sha256: self.sha256.clone(),
        });
        Ok((deck, made.mounting))
    }

    /// The cards of squares that fit this mounting.
    pub(super) fn cards(&self, squares: &Squares, mounting: &Mounting) -> Vec<Vec<Row>> {
        let rows = usize::from(self.format.rows());
        let hooks = Hooks::of(mounting);
        let mut cards = Vec::with_capacity(squares.lines() as usize * self.wefts.len());
        self.each_pick(squares, mounting, |lifted| {
            let mut card = vec![Row::BLANK; rows];
            hooks.cut(lifted, self.face, &mut card);
            if let Some(selvedge) = self.selvedge() {
                cut_selvedge(selvedge, mounting, cards.len(), self.face, &mut card);
            }
            cards.push(card);
        });
        cards
    }

    /// Which columns each pick lifts, as seen on the face, first woven first.
    pub(super) fn each_pick(
        &self,
        squares: &Squares,
        mounting: &Mounting,
        mut cut: impl FnMut(&[bool]),
    ) {
        let columns = squares.columns() as usize;
        let over = Over::of(self, mounting);
        let seams = Seams::of(self, mounting, squares.lines());
        let mut colours = self.colours.iter();
        let clear = colours.any(|colour| colour.edges == Edges::Clear);
        // what looks back from the last pick to the first needs them all
        let whole = clear || seams.along().is_some();
        let mut picks = whole.then(|| Picks::new(columns, over));
        let mut lifter = Lifter::new(self, squares, over);
        let mut lifted = vec![false; columns];
        for line in 0..squares.lines() {
            lifter.go_to(line);
            for weft in 0..self.wefts.len() {
                lifter.lift(weft, &mut lifted);
                lifter.bind_over_sides(weft, &seams, &mut lifted);
                match &mut picks {
                    Some(picks) => picks.push(&lifted, &lifter.points_at_edges(weft, &lifted)),
                    None => cut(&lifted),
                }
            }
        }
        if let Some(mut picks) = picks {
            lifter.bind_over_ends(&seams, &mut picks);
            picks
                .cleared(self.longest())
                .for_each(|lifted| cut(&lifted));
        }
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
