//! The holes of one card as they are seen, and the four ways a card can lie.
//!
//! Enters: rows of holes, one a stroke place, with the positions that cannot be
//! trusted; or a card of a deck. Leaves: a [`Pattern`] that can be turned and
//! compared. Refuses: planes of different length, rows that are too wide, more
//! places than a card has.

use crate::deck::Deck;
use crate::judge::{Look, Position, Seen};
use cardwright_protocol::card::MOST_STROKES;
use cardwright_protocol::{CardNumber, Row};

/// Stroke places in one word of a packed pattern.
const PLACES_IN_WORD: usize = 4;

/// How a card lies in the reader.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Lie {
    /// Numbered end first, the right face up.
    #[default]
    AsIs,
    /// Turned half round in its own plane: last place first, last hole first.
    EndForEnd,
    /// Turned over about its long axis: last hole first.
    FaceOver,
    /// Turned over about its short axis: last place first.
    Both,
}

impl Lie {
    /// All four.
    pub const ALL: [Lie; 4] = [Lie::AsIs, Lie::EndForEnd, Lie::FaceOver, Lie::Both];

    fn reversals(self) -> (bool, bool) {
        match self {
            Lie::AsIs => (false, false),
            Lie::EndForEnd => (true, true),
            Lie::FaceOver => (false, true),
            Lie::Both => (true, false),
        }
    }

    /// How a card lies that lay like `self` and is then turned by `other`.
    #[must_use]
    pub fn then(self, other: Lie) -> Lie {
        let ((a, b), (c, d)) = (self.reversals(), other.reversals());
        match (a ^ c, b ^ d) {
            (false, false) => Lie::AsIs,
            (true, true) => Lie::EndForEnd,
            (false, true) => Lie::FaceOver,
            (true, false) => Lie::Both,
        }
    }
}

/// Why rows are no card's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PatternError {
    /// No holes in a row, or more than there are.
    #[error("a row of {0} holes is no card's; a row has 1 to 16 holes")]
    Holes(u8),
    /// No places, or too many.
    #[error("{0} stroke places are no card's; a card has 1 to {MOST_STROKES}")]
    Places(usize),
    /// The planes do not cover each other.
    #[error("{holes} rows of holes come with {doubtful} rows of doubtful positions; give as many")]
    Planes {
        /// Rows of holes.
        holes: usize,
        /// Rows of doubtful positions.
        doubtful: usize,
    },
    /// A hole or a doubtful position that the row has not got.
    #[error("place {place} has a hole beyond hole {holes}, the last of the row")]
    Beyond {
        /// The place, from 1.
        place: usize,
        /// Holes in a row.
        holes: u8,
    },
}

/// The holes of one card, a row a stroke place, and the positions that are
/// doubtful. A doubtful position is held as solid and never compared, so two
/// patterns are equal if they tell the same.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Pattern {
    holes: u8,
    places: Vec<u16>,
    doubtful: Vec<u16>,
}

/// In what two patterns differ, doubtful positions left out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Difference {
    /// Holes that the card should have and the seen one has not.
    pub missing: u32,
    /// Holes that the seen card has beside those.
    pub extra: u32,
    /// Positions that were compared.
    pub compared: u32,
}

impl Difference {
    /// Positions that differ.
    #[must_use]
    pub fn wrong(self) -> u32 {
        self.missing + self.extra
    }
}

impl Pattern {
    /// The pattern of these rows, stroke place by stroke place, with `holes`
    /// holes to a row. Bit `n - 1` of a row is hole `n`.
    ///
    /// # Errors
    /// The rows are no card's.
    pub fn new(holes: u8, places: Vec<u16>, doubtful: Vec<u16>) -> Result<Pattern, PatternError> {
        if !(1..=16).contains(&holes) {
            return Err(PatternError::Holes(holes));
        }
        if places.is_empty() || places.len() > usize::from(MOST_STROKES) {
            return Err(PatternError::Places(places.len()));
        }
        if places.len() != doubtful.len() {
            return Err(PatternError::Planes {
                holes: places.len(),
                doubtful: doubtful.len(),
            });
        }
        let outside = !Row::full(holes).0;
        let beyond = |(row, doubt): (&u16, &u16)| (row | doubt) & outside != 0;
        if let Some(place) = places.iter().zip(&doubtful).position(beyond) {
            let place = place + 1;
            return Err(PatternError::Beyond { place, holes });
        }
        Ok(Pattern::held(holes, places, doubtful))
    }

    /// What is seen of this card of a deck that lies as it should. What lies
    /// within a peg hole is doubtful: the light of the peg hole covers it.
    #[must_use]
    pub fn of_card(deck: &Deck, card: CardNumber) -> Option<Pattern> {
        let strokes = deck.strokes(card)?;
        let format = deck.format();
        let (holes, radius) = (format.holes_per_row(), format.peg_hole_mm() / 2.0);
        let pegs: Vec<f64> = strokes
            .iter()
            .zip(0u16..)
            .filter(|(stroke, _)| stroke.peg())
            .map(|(_, number)| format.peg_position_mm(number))
            .collect();
        // A position whose middle is open lets through more than half of a
        // hole's light; that is where the judge draws the line as well.
        let within = |number: u16, hole: u8| {
            let (along, across) = (format.position_mm(number), format.hole_across_mm(hole));
            pegs.iter().any(|peg| (peg - along).hypot(across) <= radius)
        };
        let doubtful = |number| Row::from_holes((1..=holes).filter(|hole| within(number, *hole))).0;
        let places = strokes.iter().map(|stroke| stroke.punches().0).collect();
        let doubtful = (0..format.strokes()).map(doubtful).collect();
        Pattern::new(holes, places, doubtful).ok()
    }

    /// What was seen of a card that no deck is known of.
    ///
    /// # Errors
    /// As [`Pattern::new`].
    pub fn of_look(look: &Look) -> Result<Pattern, PatternError> {
        let rows = look.positions.chunks(usize::from(look.holes.max(1)));
        let plane = |which: fn(Seen) -> bool| {
            let bits = |row: &[Position]| {
                let marked = row.iter().zip(1u8..).filter(|(at, _)| which(at.seen));
                Row::from_holes(marked.map(|(_, hole)| hole)).0
            };
            rows.clone().map(bits).collect()
        };
        let doubtful = |seen| matches!(seen, Seen::Doubtful | Seen::WithinPeg);
        Pattern::new(
            look.holes,
            plane(|seen| seen == Seen::Hole),
            plane(doubtful),
        )
    }

    fn held(holes: u8, mut places: Vec<u16>, doubtful: Vec<u16>) -> Pattern {
        for (row, doubt) in places.iter_mut().zip(&doubtful) {
            *row &= !doubt;
        }
        Pattern {
            holes,
            places,
            doubtful,
        }
    }

    /// Holes to a row.
    #[must_use]
    pub fn holes(&self) -> u8 {
        self.holes
    }

    /// The holes of each stroke place.
    #[must_use]
    pub fn places(&self) -> &[u16] {
        &self.places
    }

    /// The doubtful positions of each stroke place.
    #[must_use]
    pub fn doubtful(&self) -> &[u16] {
        &self.doubtful
    }

    /// What is seen of this card when it lies like this. Turning twice the
    /// same way gives the card back.
    #[must_use]
    pub fn lying(&self, lie: Lie) -> Pattern {
        let (places, holes) = lie.reversals();
        let turn = |plane: &[u16]| -> Vec<u16> {
            let spare = 16 - u32::from(self.holes);
            let row = |row: &u16| {
                if holes {
                    row.reverse_bits() >> spare
                } else {
                    *row
                }
            };
            if places {
                plane.iter().rev().map(row).collect()
            } else {
                plane.iter().map(row).collect()
            }
        };
        Pattern {
            holes: self.holes,
            places: turn(&self.places),
            doubtful: turn(&self.doubtful),
        }
    }

    /// In what `seen` differs from this card; none if their sizes differ.
    #[must_use]
    pub fn difference(&self, seen: &Pattern) -> Option<Difference> {
        if self.size() != seen.size() {
            return None;
        }
        let (own, other) = (self.packed(), seen.packed());
        Some(difference(&own, &other, self.positions()))
    }

    pub(super) fn size(&self) -> (u8, usize) {
        (self.holes, self.places.len())
    }

    pub(super) fn positions(&self) -> u32 {
        u32::from(self.holes) * u32::try_from(self.places.len()).unwrap_or(u32::MAX)
    }

    /// Holes and doubtful positions in alternate words, for counting.
    pub(super) fn packed(&self) -> Vec<[u64; 2]> {
        let word = |rows: &[u16]| {
            rows.iter()
                .rev()
                .fold(0, |word, row| word << 16 | u64::from(*row))
        };
        self.places
            .chunks(PLACES_IN_WORD)
            .zip(self.doubtful.chunks(PLACES_IN_WORD))
            .map(|(places, doubtful)| [word(places), word(doubtful)])
            .collect()
    }
}

/// In what `seen` differs from `card`, both packed, of `positions` positions.
pub(super) fn difference(card: &[[u64; 2]], seen: &[[u64; 2]], positions: u32) -> Difference {
    let mut sum = Difference {
        compared: positions,
        ..Difference::default()
    };
    for ([card, card_doubt], [seen, seen_doubt]) in card.iter().zip(seen) {
        let doubt = card_doubt | seen_doubt;
        sum.missing += (card & !seen & !doubt).count_ones();
        sum.extra += (seen & !card & !doubt).count_ones();
        sum.compared = sum.compared.saturating_sub(doubt.count_ones());
    }
    sum
}

/// Whether `seen` differs from `card` in at most so many positions; most cards
/// are told to be others by a few of their rows.
pub(super) fn within(card: &[[u64; 2]], seen: &[[u64; 2]], most: u32) -> bool {
    let mut wrong = 0;
    card.iter().zip(seen).all(|(card, seen)| {
        wrong += ((card[0] ^ seen[0]) & !(card[1] | seen[1])).count_ones();
        wrong <= most
    })
}
