//! Which card of which deck a seen card is, and how it lies.
//!
//! Enters: the cards of the deck at hand and of other decks that are known;
//! then what was seen of one card after another. Leaves: for each the cards it
//! may be, with the number of positions that are wrong. Refuses: a deck without
//! cards, cards of different sizes in one deck.
//!
//! Where two cards of the deck fit almost equally well both are kept, since the
//! order of the stack tells more about them than one hole does.

use super::pattern::{Difference, Lie, Pattern, difference, within};
use crate::deck::Deck;
use cardwright_protocol::CardNumber;
use std::collections::HashMap;

/// How much may be wrong with a card that is still taken for a deck's card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tolerance {
    /// Thousandths of the compared positions. Two unlike cards of a figured
    /// deck differ in a good tenth of them or more: common practice, no source.
    pub permille: u32,
    /// So many wrong positions are always borne.
    pub least: u32,
    /// A card that fits better by this many positions is surely the one. One
    /// position is what a single torn or hanging hole decides, so it takes two.
    pub margin: u32,
}

impl Default for Tolerance {
    fn default() -> Tolerance {
        Tolerance {
            permille: 60,
            least: 3,
            margin: 2,
        }
    }
}

impl Tolerance {
    /// Most wrong positions of a card with this many holes, so many positions
    /// being compared. A third of the holes of a sparse card, or of the solid
    /// places of a dense one, may be fewer than the permille; with more wrong
    /// than that, any other sparse card would do as well.
    fn limit(&self, holes: u32, compared: u32) -> u32 {
        let share = compared.saturating_mul(self.permille) / 1000;
        let rarer = holes.min(compared.saturating_sub(holes)) / 3;
        share.min(rarer).max(self.least)
    }

    /// Most wrong positions of any card.
    fn most(&self, positions: u32) -> u32 {
        (positions.saturating_mul(self.permille) / 1000).max(self.least)
    }
}

/// One card that a seen card may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The class: cards of the deck at hand that are identical. See
    /// [`Catalogue::cards_of`].
    pub class: usize,
    /// How it lies if it is that card.
    pub lie: Lie,
    /// What is wrong with it if it is that card.
    pub difference: Difference,
}

/// What a seen card is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Recognition {
    /// A card of the deck at hand: best first, as it is before turned; never
    /// empty.
    Known(Vec<Candidate>),
    /// A card of another deck.
    Foreign {
        /// That deck's label.
        deck: String,
        /// The first of the cards there that it is like.
        card: CardNumber,
        /// How it lies.
        lie: Lie,
        /// What is wrong with it.
        difference: Difference,
    },
    /// Nothing that is known.
    Unknown,
}

/// Why a deck cannot be looked up.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CatalogueError {
    /// There is nothing to find.
    #[error("the deck {0} has no cards; give a deck with at least one")]
    Empty(String),
    /// One card is not like the first.
    #[error("card {card} of the deck {deck} has not the size of card 1; check its card format", card = card.0)]
    Size {
        /// The deck.
        deck: String,
        /// The card.
        card: CardNumber,
    },
}

/// One deck's cards, each class once.
#[derive(Clone, Debug)]
struct Known {
    label: String,
    size: (u8, usize),
    positions: u32,
    /// Class of each card.
    classes: Vec<usize>,
    /// Cards of each class, rising.
    cards: Vec<Vec<CardNumber>>,
    /// Packed classes, one after the other.
    packed: Vec<[u64; 2]>,
    holes: Vec<u32>,
    words: usize,
    /// Class by its rows, if all have the same doubtful positions.
    exact: Option<Exact>,
}

#[derive(Clone, Debug)]
struct Exact {
    doubtful: Vec<u16>,
    classes: HashMap<Vec<u16>, usize>,
}

/// The deck at hand and the others that are known.
#[derive(Clone, Debug)]
pub struct Catalogue {
    own: Known,
    others: Vec<Known>,
    tolerance: Tolerance,
}

impl Catalogue {
    /// The deck at hand, card 1 first.
    ///
    /// # Errors
    /// No cards, or cards of different sizes.
    pub fn new(label: &str, cards: &[Pattern]) -> Result<Catalogue, CatalogueError> {
        Ok(Catalogue {
            own: Known::new(label, cards)?,
            others: Vec::new(),
            tolerance: Tolerance::default(),
        })
    }

    /// The deck at hand.
    ///
    /// # Errors
    /// As [`Catalogue::new`].
    pub fn of_deck(deck: &Deck) -> Result<Catalogue, CatalogueError> {
        Catalogue::new(deck.name(), &patterns(deck))
    }

    /// Knows these cards of another deck as well.
    ///
    /// # Errors
    /// As [`Catalogue::new`].
    pub fn add(&mut self, label: &str, cards: &[Pattern]) -> Result<(), CatalogueError> {
        self.others.push(Known::new(label, cards)?);
        Ok(())
    }

    /// Knows another deck as well, but for its gaps: nobody knows what a card that was
    /// never read is like.
    ///
    /// # Errors
    /// As [`Catalogue::new`].
    pub fn add_deck(&mut self, deck: &Deck) -> Result<(), CatalogueError> {
        let mut known = Known::new(deck.name(), &patterns(deck))?;
        let gaps = deck.reading().map_or(&[][..], |reading| &reading.gaps);
        for cards in &mut known.cards {
            cards.retain(|card| !gaps.contains(card));
        }
        self.others.push(known);
        Ok(())
    }

    /// With another tolerance.
    #[must_use]
    pub fn with_tolerance(mut self, tolerance: Tolerance) -> Catalogue {
        self.tolerance = tolerance;
        self
    }

    /// The class of every card of the deck at hand, card 1 first.
    #[must_use]
    pub fn classes(&self) -> &[usize] {
        &self.own.classes
    }

    /// How many classes there are.
    #[must_use]
    pub fn class_count(&self) -> usize {
        self.own.cards.len()
    }

    /// The cards of this class, rising: identical to one another.
    #[must_use]
    pub fn cards_of(&self, class: usize) -> &[CardNumber] {
        self.own.cards.get(class).map_or(&[], Vec::as_slice)
    }

    /// What this card is. A card of the deck at hand goes before the same card
    /// of another deck.
    #[must_use]
    pub fn recognise(&self, seen: &Pattern) -> Recognition {
        let turned = Lie::ALL.map(|lie| seen.lying(lie));
        let own = self.own.find(&turned, self.tolerance);
        let wrong = |found: &[Candidate]| found.first().map(|best| best.difference.wrong());
        let mut nearest = wrong(&own);
        let mut foreign = None;
        if nearest != Some(0) {
            for deck in &self.others {
                let found = deck.find(&turned, self.tolerance);
                let read =
                    |one: &&Candidate| deck.cards.get(one.class).is_some_and(|it| !it.is_empty());
                let Some(best) = found.iter().find(read) else {
                    continue;
                };
                // Against the deck at hand it must be clearly nearer.
                let ahead = if foreign.is_none() {
                    self.tolerance.margin
                } else {
                    1
                };
                if nearest.is_none_or(|nearest| best.difference.wrong() + ahead <= nearest) {
                    nearest = Some(best.difference.wrong());
                    foreign = Some((deck, *best));
                }
            }
        }
        match foreign {
            Some((deck, best)) => Recognition::Foreign {
                deck: deck.label.clone(),
                card: deck.first_card(best.class),
                lie: best.lie,
                difference: best.difference,
            },
            None if own.is_empty() => Recognition::Unknown,
            None => Recognition::Known(own),
        }
    }
}

fn patterns(deck: &Deck) -> Vec<Pattern> {
    let pattern = |(number, _)| Pattern::of_card(deck, number);
    deck.cards().filter_map(pattern).collect()
}

impl Known {
    fn new(label: &str, cards: &[Pattern]) -> Result<Known, CatalogueError> {
        let Some(first) = cards.first() else {
            return Err(CatalogueError::Empty(label.to_owned()));
        };
        let mut numbers: HashMap<&Pattern, usize> = HashMap::new();
        let mut known = Known {
            label: label.to_owned(),
            size: first.size(),
            positions: first.positions(),
            classes: Vec::with_capacity(cards.len()),
            cards: Vec::new(),
            packed: Vec::new(),
            holes: Vec::new(),
            words: first.packed().len(),
            exact: None,
        };
        for (card, number) in cards.iter().zip(1..) {
            let number = CardNumber(number);
            if card.size() != first.size() {
                let deck = label.to_owned();
                return Err(CatalogueError::Size { deck, card: number });
            }
            let class = *numbers.entry(card).or_insert(known.cards.len());
            if class == known.cards.len() {
                known.packed.extend(card.packed());
                let holes = card.places().iter().map(|row| row.count_ones());
                known.holes.push(holes.sum());
                known.cards.push(Vec::new());
            }
            known.classes.push(class);
            if let Some(cards) = known.cards.get_mut(class) {
                cards.push(number);
            }
        }
        let alike = cards.iter().all(|card| card.doubtful() == first.doubtful());
        known.exact = alike.then(|| Exact {
            doubtful: first.doubtful().to_vec(),
            classes: numbers
                .into_iter()
                .map(|(card, class)| (card.places().to_vec(), class))
                .collect(),
        });
        Ok(known)
    }

    fn first_card(&self, class: usize) -> CardNumber {
        let first = self.cards.get(class).and_then(|cards| cards.first());
        first.copied().unwrap_or_default()
    }

    /// The candidates for a card, which is given as it would be seen if it
    /// were turned each way: a card that lies face over is the deck's card
    /// once it is turned over.
    fn find(&self, turned: &[Pattern; 4], tolerance: Tolerance) -> Vec<Candidate> {
        if turned.iter().any(|seen| seen.size() != self.size) {
            return Vec::new();
        }
        let exact = self.exactly(turned);
        if exact.is_empty() {
            self.nearly(turned, tolerance)
        } else {
            exact
        }
    }

    /// Classes that agree in every position. There is no need to look further:
    /// to be any other card it would need faults that make it just this one.
    fn exactly(&self, turned: &[Pattern; 4]) -> Vec<Candidate> {
        let Some(exact) = &self.exact else {
            return Vec::new();
        };
        let mut found = Vec::new();
        for (seen, lie) in turned.iter().zip(Lie::ALL) {
            let both = || seen.doubtful().iter().zip(&exact.doubtful);
            if both().any(|(seen, own)| seen & !own != 0) {
                continue;
            }
            let rows: Vec<u16> = seen
                .places()
                .iter()
                .zip(&exact.doubtful)
                .map(|(row, doubt)| row & !doubt)
                .collect();
            if let Some(class) = exact.classes.get(&rows) {
                let doubtful: u32 = exact.doubtful.iter().map(|row| row.count_ones()).sum();
                let difference = Difference {
                    compared: self.positions.saturating_sub(doubtful),
                    ..Difference::default()
                };
                found.push(Candidate {
                    class: *class,
                    lie,
                    difference,
                });
            }
        }
        found
    }

    /// Every class within the limit that is not clearly further than another.
    fn nearly(&self, turned: &[Pattern; 4], tolerance: Tolerance) -> Vec<Candidate> {
        let mut found = Vec::new();
        let mut nearest = u32::MAX;
        let most = tolerance.most(self.positions);
        for (seen, lie) in turned.iter().zip(Lie::ALL) {
            let seen = seen.packed();
            let classes = self.packed.chunks_exact(self.words.max(1)).zip(&self.holes);
            for (class, (card, holes)) in classes.enumerate() {
                let bound = nearest.saturating_add(tolerance.margin).min(most);
                if !within(card, &seen, bound) {
                    continue;
                }
                let difference = difference(card, &seen, self.positions);
                let wrong = difference.wrong();
                if wrong < nearest.saturating_add(tolerance.margin)
                    && wrong <= tolerance.limit(*holes, difference.compared)
                {
                    nearest = nearest.min(wrong);
                    found.push(Candidate {
                        class,
                        lie,
                        difference,
                    });
                }
            }
        }
        let bound = match nearest {
            0 => 1,
            _ => nearest.saturating_add(tolerance.margin),
        };
        found.retain(|candidate| candidate.difference.wrong() < bound);
        found.sort_by_key(|candidate| {
            (candidate.difference.wrong(), candidate.lie, candidate.class)
        });
        found
    }
}
