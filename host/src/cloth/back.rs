//! The way back: from cards to the squares of a point paper.
//!
//! Enters: a deck and the cloth it was made with. Leaves: squares that make
//! these very cards, hole for hole, and how many of them could have been
//! another colour too. Refuses: colours that no card could tell apart, cards
//! that this cloth does not make, naming the first hole.
//!
//! A square is known where its holes fit one colour only. Two weaves that
//! differ are alike at many a square (a satin is all lifted but for its
//! points), so the others take the colour of the nearest known square among
//! those that fit. Whatever is found is made into cards again and compared.

use super::lift::Points;
use super::repeat::Over;
use super::squares::Squares;
use super::woven::{OtherFormat, same_format};
use super::{Binding, Cloth, Colour, Edges, Face, Mounting, MountingFault, Weave};
use crate::deck::{Deck, FirstPick, Row};

/// No colour yet.
const UNKNOWN: u8 = u8::MAX;

/// How often squares that make other holes are given another colour.
const ROUNDS: usize = 16;

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
        "the deck has {cards} cards, which are no whole lines of {wefts} wefts; give the cloth file the deck was made with"
    )]
    Cards {
        /// Cards of the deck.
        cards: u32,
        /// Wefts of the cloth.
        wefts: usize,
    },
    /// Holes that no colour makes.
    #[error(
        "line {line}, column {column}: no colour of the cloth file makes the holes of cards {first} to {last} there; give the cloth file the deck was made with"
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
        "card {card}, row {row}, hole {hole}: no paper that was found makes the card as it is: where edges are kept clear, or binding starts afresh, the cards may tell too little of the painting; if this cloth file has neither, give the one the deck was made with"
    )]
    Other {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// The hole, from 1.
        hole: u8,
    },
}

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
        let (cards, wefts) = (deck.card_count(), self.wefts.len());
        if !(cards as usize).is_multiple_of(wefts) {
            return Err(BackFault::Cards { cards, wefts });
        }
        let seen = self.lifted_by(deck, &mounting);
        let (mut squares, either) = self.nearest(&seen, columns)?;
        self.mend(&seen, &mut squares, Over::of(self, &mounting));
        let cards = self.cards(&squares, &mounting);
        match first_difference(&cards, deck) {
            None => Ok(Found { squares, either }),
            Some(fault) => Err(fault),
        }
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

    /// Known squares, and the others as the nearest known that fits.
    fn nearest(&self, seen: &[u16], columns: u32) -> Result<(Squares, u64), BackFault> {
        let width = columns as usize;
        let fits = Fits::of(self);
        let mut colours = vec![UNKNOWN; seen.len()];
        let mut either = 0;
        for (at, seen) in seen.iter().enumerate() {
            let mut candidates = fits.all(at / width, at % width, *seen);
            match (candidates.next(), candidates.next()) {
                (None, _) => return Err(self.no_colour(at / width, at % width)),
                (Some(colour), None) => colours[at] = colour,
                (Some(_), Some(_)) => either += 1,
            }
        }
        // only those beside an unknown square have anything to spread
        let unknown = |at: usize| colours[at] == UNKNOWN;
        let edge = |at: &usize| !unknown(*at) && beside(*at, width, seen.len()).any(unknown);
        let known = (0..seen.len()).filter(edge).collect();
        spread(&fits, seen, width, &mut colours, known);
        for at in 0..colours.len() {
            if colours[at] == UNKNOWN {
                let mut candidates = fits.all(at / width, at % width, seen[at]);
                colours[at] = candidates.next().unwrap_or_default();
                spread(&fits, seen, width, &mut colours, vec![at]);
            }
        }
        let squares = self.top_first(colours, width);
        // made of whole lines, and a deck has at least one card
        let squares = Squares::new(columns, squares).ok_or(BackFault::Cards {
            cards: 0,
            wefts: self.wefts.len(),
        })?;
        Ok((squares, either))
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

    /// Gives squares that make other holes than the cards have another colour
    /// that fits, as long as there are such squares and it helps.
    fn mend(&self, seen: &[u16], squares: &mut Squares, over: Over) {
        let fits = Fits::of(self);
        if fits.exact {
            return;
        }
        let width = squares.columns() as usize;
        for _ in 0..ROUNDS {
            let made = self.lifts_of(squares, over);
            let wrong: Vec<usize> = (0..seen.len())
                .filter(|at| made[*at] != seen[*at])
                .collect();
            if wrong.is_empty() {
                return;
            }
            for at in wrong {
                let (line, column) = (at / width, at % width);
                let square = squares.square_mut(line, column, self.first_line);
                let mut candidates = fits.all(line, column, seen[at]);
                let other = candidates.find(|colour| *colour > *square);
                let first = fits.all(line, column, seen[at]).next();
                *square = other.or(first).unwrap_or(*square);
            }
        }
    }

    /// As [`Cloth::lifted_by`], of squares instead of cards.
    fn lifts_of(&self, squares: &Squares, over: Over) -> Vec<u16> {
        let (columns, wefts) = (squares.columns() as usize, self.wefts.len());
        let mut made = vec![0; squares.colours().len()];
        let mut pick = 0;
        self.each_pick(squares, over, |lifted| {
            let line = &mut made[pick / wefts * columns..][..columns];
            for (made, lifted) in line.iter_mut().zip(lifted) {
                *made |= u16::from(*lifted) << (pick % wefts);
            }
            pick += 1;
        });
        made
    }
}

/// Which colours could stand in a square.
struct Fits<'a> {
    cloth: &'a Cloth,
    points: Vec<Vec<Option<Points>>>,
    /// Whether a colour that fits makes the very holes, whatever stands beside.
    exact: bool,
}

impl<'a> Fits<'a> {
    fn of(cloth: &'a Cloth) -> Fits<'a> {
        let points = |colour: &Colour| {
            let of_weave = |weave| Points::of(weave, colour.edges);
            colour.weaves.iter().map(of_weave).collect()
        };
        let exact = |colour: &Colour| {
            colour.binding == Binding::Continuous
                && colour.edges == Edges::Keep
                && colour.weaves.iter().all(|weave| weave.bound().is_none())
        };
        Fits {
            cloth,
            points: cloth.colours.iter().map(points).collect(),
            exact: cloth.colours.iter().all(exact),
        }
    }

    /// The colours, in their order, that can make these holes here.
    fn all(&self, line: usize, column: usize, seen: u16) -> impl Iterator<Item = u8> + '_ {
        let colours = (0..).zip(&self.cloth.colours);
        let fits = move |(place, colour): &(u8, &Colour)| {
            let mut wefts = colour.weaves.iter().enumerate();
            wefts.all(|(weft, weave)| {
                let points = self.points[usize::from(*place)][weft];
                can_be(colour, weave, points, line, column, seen >> weft & 1 == 1)
            })
        };
        colours.filter(fits).map(|(place, _)| place)
    }
}

/// Whether a square of this colour can be so, whatever its area.
fn can_be(
    colour: &Colour,
    weave: &Weave,
    points: Option<Points>,
    line: usize,
    column: usize,
    lifted: bool,
) -> bool {
    if colour.binding == Binding::Afresh {
        return weave.has(lifted) || points.is_some();
    }
    let left_out = colour.edges == Edges::Clear && weave.float() == Some(lifted);
    weave.lifts(column, line) == lifted
        || left_out
        || points.is_some_and(|points| points.at(column, line))
}

/// Spreads the colours of known squares to those beside them that they fit.
fn spread(fits: &Fits<'_>, seen: &[u16], width: usize, colours: &mut [u8], known: Vec<usize>) {
    let mut queue = std::collections::VecDeque::from(known);
    while let Some(at) = queue.pop_front() {
        for other in beside(at, width, colours.len()) {
            if colours[other] == UNKNOWN
                && let Some(colour) = like_most(fits, seen[other], width, colours, other)
            {
                colours[other] = colour;
                queue.push_back(other);
            }
        }
    }
}

/// The colour that most squares beside this one have, of those that fit it.
fn like_most(fits: &Fits<'_>, seen: u16, width: usize, colours: &[u8], at: usize) -> Option<u8> {
    let around = || beside(at, width, colours.len()).map(|other| colours[other]);
    let count = |colour: &u8| around().filter(|other| other == colour).count();
    let candidates = fits.all(at / width, at % width, seen);
    let candidates = candidates.filter(|colour| count(colour) > 0);
    candidates.max_by_key(count)
}

/// The squares that touch this one by a side.
fn beside(at: usize, width: usize, squares: usize) -> impl Iterator<Item = usize> {
    let column = at % width;
    let all = [
        (column > 0).then(|| at - 1),
        (column + 1 < width).then_some(at + 1),
        at.checked_sub(width),
        Some(at + width).filter(|at| *at < squares),
    ];
    all.into_iter().flatten()
}

fn first_difference(cards: &[Vec<Row>], deck: &Deck) -> Option<BackFault> {
    let (made, there) = (cards.iter(), deck.cards());
    made.zip(there).find_map(|(made, (card, rows))| {
        let differs = |(made, row): (&Row, &Row)| made.0 ^ row.0;
        let rows = made.iter().zip(rows).map(differs);
        let (row, holes) = (1..).zip(rows).find(|(_, holes)| *holes != 0)?;
        Some(BackFault::Other {
            card: card.0,
            row,
            hole: u8::try_from(holes.trailing_zeros() + 1).unwrap_or(u8::MAX),
        })
    })
}
