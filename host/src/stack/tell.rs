//! From the part of each place to the disorders a person is told.
//!
//! Enters: a [`Naming`], what was recognised, how the stack as a whole lies.
//! Leaves: the disorders, and what each place is taken for. Refuses nothing.

use super::disorder::{Counted as _, Disorder, Place, Run};
use super::naming::{Naming, Part};
use super::order::Taken;
use super::pattern::Lie;
use super::recognise::{Catalogue, Recognition};
use cardwright_protocol::CardNumber;

/// How the stack as a whole lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Whole {
    pub(super) reversed: bool,
    pub(super) lie: Lie,
}

/// What is told of one naming.
pub(super) struct Telling<'a> {
    pub(super) naming: &'a Naming<'a>,
    pub(super) catalogue: &'a Catalogue,
    /// In the order of the naming.
    pub(super) seen: &'a [&'a Recognition],
    pub(super) whole: Whole,
}

impl Telling<'_> {
    /// Everything that is wrong.
    pub(super) fn disorders(&self) -> Vec<Disorder> {
        let mut all = Vec::new();
        if self.whole.reversed {
            all.push(Disorder::StackReversed);
        }
        if self.whole.lie != Lie::AsIs {
            all.push(Disorder::StackTurned(self.whole.lie));
        }
        self.missing(&mut all);
        self.exchanged(&mut all);
        self.moved(&mut all);
        self.double(&mut all);
        self.turned(&mut all);
        self.strangers(&mut all);
        all
    }

    /// The places from one to another, as the stack was run.
    fn places(&self, first: usize, last: usize) -> Run<Place> {
        if self.whole.reversed {
            Run::of(self.run_index(last), self.run_index(first))
        } else {
            Run::of(first, last)
        }
    }

    fn place(&self, place: usize) -> Place {
        self.places(place, place).first
    }

    fn run_index(&self, place: usize) -> usize {
        (self.seen.len() - 1).saturating_sub(place)
    }

    fn part(&self, place: usize) -> Option<Part> {
        self.naming.parts.get(place).copied()
    }

    fn is_missing(&self, card: usize) -> bool {
        self.naming.place_of.get(card) == Some(&None)
    }

    fn missing(&self, all: &mut Vec<Disorder>) {
        let deck = self.naming.deck;
        let mut card = 0;
        while card < deck.len() {
            let count = (card..deck.len())
                .take_while(|card| self.is_missing(*card))
                .count();
            if count == 0 {
                card += 1;
                continue;
            }
            // As far as the deck repeats, the block can be said to lie further
            // up or down: the same cards are left.
            let slides = self.naming.card_slides(card, count);
            let (first, last) = (*slides.start(), slides.end() + count - 1);
            let like = deck.get(card..card + count).unwrap_or_default();
            let identical = like.windows(2).all(|pair| pair[0] == pair[1]);
            if last + 1 - first > count && !identical {
                all.push(Disorder::Missing {
                    cards: Run::of(
                        self.naming.identical_run(first).0,
                        self.naming.identical_run(last).1,
                    ),
                    count: u32::try_from(count).unwrap_or(u32::MAX),
                    such_as: (card..card + count).map(CardNumber::of_index).collect(),
                });
                card += count;
            } else {
                card = self.missing_of_runs(card, count, all);
            }
        }
    }

    /// Missing cards one identical run after another; whole runs that follow
    /// one another are told together. Gives the first card not dealt with.
    fn missing_of_runs(&self, card: usize, count: usize, all: &mut Vec<Disorder>) -> usize {
        let mut whole: Vec<CardNumber> = Vec::new();
        let mut tell = |cards: Run<CardNumber>, such_as: Vec<CardNumber>| {
            if !such_as.is_empty() {
                all.push(Disorder::Missing {
                    cards,
                    count: u32::try_from(such_as.len()).unwrap_or(u32::MAX),
                    such_as,
                });
            }
        };
        let mut next = card;
        while next < card + count {
            let (first, last) = self.naming.identical_run(next);
            let gone: Vec<CardNumber> = (first..=last)
                .filter(|card| self.is_missing(*card))
                .map(CardNumber::of_index)
                .collect();
            if gone.len() == last + 1 - first {
                whole.extend(gone);
            } else {
                tell_whole(&mut whole, &mut tell);
                tell(Run::of(first, last), gone);
            }
            next = last + 1;
        }
        tell_whole(&mut whole, &mut tell);
        next
    }

    fn exchanged(&self, all: &mut Vec<Disorder>) {
        for (place, part) in self.naming.parts.iter().enumerate() {
            let Part::Exchanged { card, with } = *part else {
                continue;
            };
            let other = self.part(with).and_then(Part::card);
            if let Some(other) = other.filter(|other| *other > card) {
                all.push(Disorder::Exchanged {
                    cards: (CardNumber::of_index(card), CardNumber::of_index(other)),
                    places: (self.place(place), self.place(with)),
                });
            }
        }
    }

    fn moved(&self, all: &mut Vec<Disorder>) {
        for (place, count) in &self.naming.blocks {
            let last = place + count - 1;
            let card = |place: usize| self.part(place).and_then(Part::card);
            let (Some(from), Some(to)) = (card(*place), card(last)) else {
                continue;
            };
            let run = self.naming.identical_run(from);
            let (from, to) = if to <= run.1 { run } else { (from, to) };
            let before = (0..*place).rev().find_map(card);
            let class = self.naming.deck.get(from).copied().filter(|_| *count == 1);
            let like = class.map_or(1, |class| self.catalogue.cards_of(class).len());
            all.push(Disorder::Moved {
                cards: Run::of(from, to),
                count: u32::try_from(*count).unwrap_or(u32::MAX),
                places: self.places(*place, last),
                after: before.map(CardNumber::of_index),
                like: u32::try_from(like).unwrap_or(u32::MAX),
            });
        }
    }

    /// Cards too many, together with those beside them that cannot be told
    /// from them.
    fn double(&self, all: &mut Vec<Disorder>) {
        // One that lies as it should is never said to be the one too many with
        // one that does not.
        let symbol = |place: usize| {
            let choice = self.naming.taken(place)?;
            let alike = match self.part(place)? {
                Part::Extra => true,
                Part::Kept(_) => !choice.turned,
                _ => false,
            };
            alike.then_some((choice.candidate.class, choice.candidate.lie))
        };
        let mut place = 0;
        while place < self.seen.len() {
            let own = symbol(place);
            let beside = (place..self.seen.len()).take_while(|place| symbol(*place) == own);
            let end = place + beside.count().max(1);
            let extra = |place: &usize| self.part(*place) == Some(Part::Extra);
            let count = (place..end).filter(extra).count();
            if let Some((class, _)) = own.filter(|_| count > 0) {
                let like = self.catalogue.cards_of(class);
                let only = like.first().filter(|_| like.len() == 1);
                let also = only
                    .and_then(|card| self.naming.place_of.get(card.0 as usize - 1))
                    .copied()
                    .flatten()
                    .filter(|also| !(place..end).contains(also));
                all.push(Disorder::Double {
                    card: like.first().copied().unwrap_or_default(),
                    count: u32::try_from(count).unwrap_or(u32::MAX),
                    extra: self.places(place, end - 1),
                    also: also.map(|also| self.place(also)),
                    like: u32::try_from(like.len()).unwrap_or(u32::MAX),
                });
            }
            place = end;
        }
    }

    fn turned(&self, all: &mut Vec<Disorder>) {
        for place in 0..self.seen.len() {
            let Some(card) = self.part(place).and_then(Part::card) else {
                continue;
            };
            let Some(choice) = self.naming.taken(place).filter(|choice| choice.turned) else {
                continue;
            };
            push_joined(
                all,
                Disorder::Turned {
                    cards: Run::of(card, card),
                    places: self.places(place, place),
                    lie: choice.candidate.lie.then(self.whole.lie),
                },
            );
        }
    }

    fn strangers(&self, all: &mut Vec<Disorder>) {
        for (place, seen) in self.seen.iter().enumerate() {
            let places = self.places(place, place);
            let stranger = match seen {
                Recognition::Known(_) => continue,
                Recognition::Unknown => Disorder::Unknown { places },
                Recognition::Foreign {
                    deck, card, lie, ..
                } => Disorder::Foreign {
                    deck: deck.clone(),
                    cards: Run {
                        first: *card,
                        last: *card,
                    },
                    places,
                    lie: lie.then(self.whole.lie),
                },
            };
            push_joined(all, stranger);
        }
    }

    /// What each place is taken for, as the stack was run.
    pub(super) fn taken(&self) -> Vec<Taken> {
        let one = |(place, seen): (usize, &&Recognition)| {
            let choice = self.naming.taken(place);
            match (self.part(place).and_then(Part::card), choice, seen) {
                (Some(card), Some(choice), _) => Taken::Card {
                    card: CardNumber::of_index(card),
                    lie: choice.candidate.lie,
                    difference: choice.candidate.difference,
                },
                (None, Some(choice), _) => Taken::TooMany {
                    like: self.catalogue.cards_of(choice.candidate.class).to_vec(),
                    lie: choice.candidate.lie,
                },
                (_, None, Recognition::Foreign { .. }) => Taken::Foreign,
                (_, None, _) => Taken::Unknown,
            }
        };
        let mut taken: Vec<Taken> = self.seen.iter().enumerate().map(one).collect();
        if self.whole.reversed {
            taken.reverse();
        }
        taken
    }
}

fn tell_whole(
    whole: &mut Vec<CardNumber>,
    tell: &mut impl FnMut(Run<CardNumber>, Vec<CardNumber>),
) {
    if let (Some(first), Some(last)) = (whole.first().copied(), whole.last().copied()) {
        tell(Run { first, last }, std::mem::take(whole));
    }
}

/// Adds a disorder, or lengthens the last one if it goes on with it.
fn push_joined(all: &mut Vec<Disorder>, next: Disorder) {
    let follows =
        |before: &Run<CardNumber>, next: &Run<CardNumber>| before.last.0 + 1 == next.first.0;
    let joined = match (all.last_mut(), &next) {
        (
            Some(Disorder::Turned { cards, places, lie }),
            Disorder::Turned {
                cards: c,
                places: p,
                lie: l,
            },
        ) if lie == l && follows(cards, c) && places.touches(p) => {
            cards.last = c.last;
            places.join(p);
            true
        }
        (
            Some(Disorder::Foreign {
                deck,
                cards,
                places,
                lie,
            }),
            Disorder::Foreign {
                deck: d,
                cards: c,
                places: p,
                lie: l,
            },
        ) if deck == d && lie == l && follows(cards, c) && places.touches(p) => {
            cards.last = c.last;
            places.join(p);
            true
        }
        (Some(Disorder::Unknown { places }), Disorder::Unknown { places: p })
            if places.touches(p) =>
        {
            places.join(p);
            true
        }
        _ => false,
    };
    if !joined {
        all.push(next);
    }
}
