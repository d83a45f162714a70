//! What a designer would check before cards are cut.
//!
//! Enters: a cloth, its squares if they are known, and the deck made of them.
//! Leaves: sizes, the ruling of the paper, how the design divides into the
//! hooks, weaves that break at the edge of the repeat, the longest floats with
//! their places, lifts, cards that are alike, hours and paper. Judges nothing:
//! what is too long or too heavy is the designer's to say.

mod breaks;
mod floats;
mod words;

pub use breaks::{Break, Turn, WeaveOf};
pub use floats::{Float, Floats};

use super::hooks::{self, Place};
use super::{Cloth, Mounting, OtherFormat, Squares, Unit, Woven};
use crate::deck::{CardFormat, CardNumber, Deck, Row};
use serde::Serialize;

/// How many alike neighbours are named.
const ALIKE_NAMED: usize = 5;

/// Cards of about [`HAND_STROKES`] strokes that a cutter cuts by hand in an hour
/// (Bell ch. V).
const HAND_CARDS: (f64, f64) = (100.0, 150.0);
const HAND_STROKES: f64 = 56.0;

/// Cards of the 400 size to the pound of paper (Bell ch. II).
const CARDS_TO_THE_POUND: (f64, f64) = (16.0, 18.0);

/// Everything that is told of a design before it is cut.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Checks {
    /// Width and length.
    pub size: Size,
    /// The paper it is best painted on.
    pub ruling: Ruling,
    /// How it goes into the hooks.
    pub division: Division,
    /// Weaves whose repeat does not go whole times into the design.
    pub breaks: Vec<Break>,
    /// Ends side by side that lift alike since the tie turns between them.
    pub turns: Vec<Turn>,
    /// The longest floats.
    pub floats: Floats,
    /// Hooks that are lifted.
    pub lifts: Lifts,
    /// Cards that are the same as the one before them, and how many there are.
    pub alike: Alike,
    /// What it takes to cut it.
    pub work: Work,
}

/// Width and length of one mounting and of one set of cards.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Size {
    /// What lengths are in.
    pub unit: Unit,
    /// Of the figure, without selvedges.
    pub width: f64,
    /// Of both selvedges.
    pub selvedges: f64,
    /// Once through all the cards.
    pub length: f64,
    /// Ends of the figure.
    pub ends: usize,
    /// Picks: cards.
    pub picks: u32,
}

/// How point paper is ruled so that the figure keeps its form: squares across
/// and up in one heavy square. The first number is the holes of a row (Brooks).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ruling {
    /// Across.
    pub across: u8,
    /// Up, the nearest whole number.
    pub up: u32,
    /// Up, as the sett has it.
    pub exactly: f64,
}

/// How a paper goes into the hooks of a card.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Division {
    /// Columns of the paper.
    pub columns: u32,
    /// Hooks of the card that a design could work.
    pub hooks: u32,
    /// How often the paper goes into them.
    pub times: u32,
    /// Hooks that are then over.
    pub over: u32,
    /// Rows that would be cast out whole for it to go in.
    pub rows: Vec<u16>,
    /// Single holes that would be cast out beside them: row and hole.
    pub holes: Vec<(u16, u8)>,
}

/// How many hooks the cards lift.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Lifts {
    /// In the mean.
    pub mean: f64,
    /// Most on one card.
    pub most: u32,
    /// The first card with so many.
    pub heaviest: u32,
}

/// Cards with the same holes as the card before them. They are no fault: the
/// order of a stack cannot tell them apart.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Alike {
    /// How many.
    pub count: u32,
    /// The first of them.
    pub first: Vec<u32>,
}

/// What it takes to cut a deck.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Work {
    /// Cards.
    pub cards: u32,
    /// Strokes in all.
    pub strokes: u64,
    /// Rows in which no card has a hole.
    pub blank_rows: Vec<u16>,
    /// Hours by hand at a treadle punch, at the fastest and at the slowest
    /// (Bell ch. V).
    pub hours_by_hand: (f64, f64),
    /// Pounds of card paper of medium weight, least and most (Bell ch. II).
    pub pounds: (f64, f64),
}

impl Cloth {
    /// All checks of a deck; those of the figure's weaves only where the squares it
    /// was made of are known.
    ///
    /// # Errors
    /// The deck has another card format.
    pub fn check(
        &self,
        deck: &Deck,
        mounting: &Mounting,
        squares: Option<&Squares>,
    ) -> Result<Checks, OtherFormat> {
        let woven = Woven::new(deck, self, mounting)?;
        Ok(Checks {
            size: self.size(&woven),
            ruling: self.ruling(),
            division: self.division(mounting.columns()),
            breaks: squares
                .map_or_else(Vec::new, |squares| self.breaks(mounting, squares))
                .into_iter()
                .chain(self.selvedges_break(deck.card_count()))
                .collect(),
            turns: squares.map_or_else(Vec::new, |squares| self.turns(mounting, squares)),
            floats: Floats::of(&woven),
            lifts: lifts(deck),
            alike: alike(deck),
            work: work(deck),
        })
    }

    fn size(&self, woven: &Woven<'_>) -> Size {
        let (figure, all) = (woven.figure().len(), woven.ends());
        Size {
            unit: self.sett.unit,
            width: figure as f64 / self.sett.ends,
            selvedges: (all - figure) as f64 / self.sett.ends,
            length: f64::from(woven.picks()) / self.sett.picks,
            ends: figure,
            picks: woven.picks(),
        }
    }

    /// The ruling of the paper: a square is as wide as the ends of a hook and as
    /// high as a pick of each weft (80 ends by 120 picks an inch on 8 by 12
    /// paper: Posselt; 134 by 100 on 8 by 6: Taylor p. 225).
    #[must_use]
    pub fn ruling(&self) -> Ruling {
        let across = self.format.holes_per_row();
        let columns = self.sett.ends / f64::from(self.sett.ends_per_hook);
        let lines = self.sett.picks / self.wefts.len() as f64;
        let exactly = f64::from(across) * lines / columns;
        Ruling {
            across,
            // as casts from f64 do, it stops at the largest number there is
            up: (exactly.round() as u32).max(1),
            exactly,
        }
    }

    /// How a paper of so many columns goes into the hooks of the card, and what
    /// would be cast out, whatever the cloth file casts out.
    #[must_use]
    pub fn division(&self, columns: u32) -> Division {
        let hooks = self.hooks_of_card();
        let (times, over) = match columns {
            0 => (0, hooks),
            _ => (hooks / columns, hooks % columns),
        };
        let idle = hooks::cast_out_over(&self.format, self.row_kept_out(), over);
        let mut rows: Vec<u16> = idle.iter().map(|place| place.row).collect();
        rows.dedup();
        let whole = usize::from(self.format.holes_per_row());
        let is_whole = |row: &u16| idle.iter().filter(|place| place.row == *row).count() == whole;
        rows.retain(is_whole);
        let single = idle.iter().filter(|place| !rows.contains(&place.row));
        Division {
            columns,
            hooks,
            times,
            over,
            holes: single.map(|Place { row, hole }| (*row, *hole)).collect(),
            rows,
        }
    }
}

fn holes(card: &[Row]) -> u32 {
    card.iter().map(|row| row.count()).sum()
}

fn lifts(deck: &Deck) -> Lifts {
    let mut lifts = Lifts {
        mean: deck.needle_holes() as f64 / f64::from(deck.card_count()),
        most: 0,
        heaviest: 1,
    };
    for (CardNumber(number), card) in deck.cards() {
        let holes = holes(card);
        if holes > lifts.most {
            (lifts.most, lifts.heaviest) = (holes, number);
        }
    }
    lifts
}

fn alike(deck: &Deck) -> Alike {
    let mut alike = Alike {
        count: 0,
        first: Vec::new(),
    };
    for ((_, before), (number, card)) in deck.cards().zip(deck.cards().skip(1)) {
        if before == card {
            alike.count += 1;
            if alike.first.len() < ALIKE_NAMED {
                alike.first.push(number.0);
            }
        }
    }
    alike
}

fn work(deck: &Deck) -> Work {
    let format = deck.format();
    let cards = deck.card_count();
    let rows = usize::from(format.rows());
    let mut cut = vec![0; rows];
    for (_, card) in deck.cards() {
        for (cut, row) in cut.iter_mut().zip(card) {
            *cut |= row.0;
        }
    }
    let strokes = u64::from(format.strokes()) * u64::from(cards);
    let usual = strokes as f64 / HAND_STROKES;
    let weight = f64::from(cards) * size_to_a_400(format);
    Work {
        cards,
        strokes,
        blank_rows: (1..)
            .zip(cut)
            .filter(|(_, cut)| *cut == 0)
            .map(|(row, _)| row)
            .collect(),
        hours_by_hand: (usual / HAND_CARDS.1, usual / HAND_CARDS.0),
        pounds: (weight / CARDS_TO_THE_POUND.1, weight / CARDS_TO_THE_POUND.0),
    }
}

/// The paper of a card in cards of the 400 size.
fn size_to_a_400(format: &CardFormat) -> f64 {
    let area = |format: &CardFormat| format.card_length_mm() * format.card_width_mm();
    // the built-in format is there
    CardFormat::named("400").map_or(1.0, |usual| area(format) / area(&usual))
}
