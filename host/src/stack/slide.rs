//! Gaps that could as well lie further up or down.
//!
//! Enters: a [`Naming`] of which only the cards in order are settled. Leaves:
//! the same with gaps slid so that a moved block is one piece. Refuses nothing.
//!
//! Where a deck repeats, the cards in order do not say which of some places is
//! the one too many: in a stack A B A of a deck with one A less it may be A B or
//! B A. If A B is missing elsewhere, it was A B.

use super::naming::{Naming, Part};
use std::ops::RangeInclusive;

/// How far a slide is tried; a block that repeats for longer is told in pieces.
const MOST_SLIDE: usize = 64;

impl Naming<'_> {
    /// Whether this card is in order, and where.
    pub(super) fn kept_at(&self, card: usize) -> Option<usize> {
        let place = self.place_of.get(card).copied().flatten()?;
        matches!(self.parts.get(place), Some(Part::Kept(_))).then_some(place)
    }

    /// The first and the last card at which this gap of missing cards can
    /// begin, so that the same cards are left in the same order.
    pub(super) fn card_slides(&self, card: usize, count: usize) -> RangeInclusive<usize> {
        let same = |upper: usize| {
            let lower = upper + count;
            self.deck.get(upper) == self.deck.get(lower)
        };
        let up = (0..card)
            .rev()
            .take_while(|card| self.kept_at(*card).is_some() && same(*card));
        let down = (card..self.deck.len().saturating_sub(count))
            .take_while(|card| self.kept_at(card + count).is_some() && same(*card));
        card - up.count()..=card + down.count()
    }

    /// Whether what lies at `place` can be the card in order at `kept` instead
    /// of what lies there.
    fn can_stand_for(&self, place: usize, kept: usize) -> bool {
        let Some(Part::Kept(card)) = self.parts.get(kept) else {
            return false;
        };
        let choice = |place| {
            self.deck
                .get(*card)
                .and_then(|class| self.choice(place, *class))
        };
        let lie = |place| choice(place).map(|choice| choice.candidate.lie);
        lie(place).is_some() && lie(place) == lie(kept)
    }

    /// The same for a gap of places too many.
    fn place_slides(&self, place: usize, count: usize) -> RangeInclusive<usize> {
        let up = (0..place)
            .rev()
            .take_while(|kept| self.can_stand_for(kept + count, *kept));
        let down = (place..self.parts.len().saturating_sub(count))
            .take_while(|place| self.can_stand_for(*place, place + count));
        place - up.count()..=place + down.count()
    }

    /// Slides gaps that can touch the next one to where they do.
    pub(super) fn join_gaps(&mut self) {
        let gap = |part: &Part| *part == Part::Extra;
        let mut places: Vec<_> = gaps(self.parts.iter().map(gap), 1).collect();
        places.reverse();
        while let (Some((place, count)), Some(next)) = (places.pop(), places.last().copied()) {
            let to = next.0 - count;
            if self.place_slides(place, count).contains(&to) {
                self.slide_places(place, to, count);
                *places.last_mut().unwrap_or(&mut (0, 0)) = (to, count + next.1);
            } else if self.place_slides(next.0, next.1).contains(&(place + count)) {
                self.slide_places(next.0, place + count, next.1);
                *places.last_mut().unwrap_or(&mut (0, 0)) = (place, count + next.1);
            }
        }
        let mut cards: Vec<_> = gaps(self.place_of.iter().map(Option::is_none), 1).collect();
        cards.reverse();
        while let (Some((card, count)), Some(next)) = (cards.pop(), cards.last().copied()) {
            let to = next.0 - count;
            if self.card_slides(card, count).contains(&to) {
                self.slide_cards(card, to, count);
                *cards.last_mut().unwrap_or(&mut (0, 0)) = (to, count + next.1);
            } else if self.card_slides(next.0, next.1).contains(&(card + count)) {
                self.slide_cards(next.0, card + count, next.1);
                *cards.last_mut().unwrap_or(&mut (0, 0)) = (card, count + next.1);
            }
        }
    }

    /// Slides gaps of the stack and of the deck, of the same length, to where
    /// they hold the same cards, if there is such a place.
    pub(super) fn slide_gaps(&mut self) {
        let gap = |part: &Part| *part == Part::Extra;
        let places: Vec<_> = gaps(self.parts.iter().map(gap), 2).collect();
        for (place, count) in places {
            let cards: Vec<_> = gaps(self.place_of.iter().map(Option::is_none), 2).collect();
            let like = cards.into_iter().filter(|(_, other)| *other == count);
            let found = like
                .filter_map(|(card, _)| Some((card, self.meeting(place, card, count)?)))
                .min_by_key(|(card, (p, c))| p.abs_diff(place) + c.abs_diff(*card));
            if let Some((card, (to_place, to_card))) = found {
                self.slide_places(place, to_place, count);
                self.slide_cards(card, to_card, count);
            }
        }
    }

    /// Where two gaps can lie so that the one holds what the other lacks: the
    /// nearest to where they are.
    fn meeting(&self, place: usize, card: usize, count: usize) -> Option<(usize, usize)> {
        let near = |range: RangeInclusive<usize>, from: usize| {
            range.filter(move |to| to.abs_diff(from) <= MOST_SLIDE)
        };
        let meets = |place: usize, card: usize| {
            (0..count).all(|at| {
                let class = self.deck.get(card + at);
                class.is_some_and(|class| self.choice(place + at, *class).is_some())
            })
        };
        let cards = self.card_slides(card, count);
        near(self.place_slides(place, count), place)
            .flat_map(|to| near(cards.clone(), card).map(move |card| (to, card)))
            .filter(|(place, card)| meets(*place, *card))
            .min_by_key(|(p, c)| p.abs_diff(place) + c.abs_diff(card))
    }

    fn slide_places(&mut self, from: usize, to: usize, count: usize) {
        let mut carry = |free: usize, kept: usize| {
            if let Some(part) = self.parts.get(kept).copied() {
                self.put(kept, Part::Extra);
                self.put(free, part);
            }
        };
        (from..to).for_each(|place| carry(place, place + count));
        (to..from)
            .rev()
            .for_each(|place| carry(place + count, place));
    }

    fn slide_cards(&mut self, from: usize, to: usize, count: usize) {
        let mut carry = |free: usize, kept: usize| {
            if let Some(place) = self.kept_at(kept) {
                self.put(place, Part::Kept(free));
            }
        };
        (from..to).for_each(|card| carry(card, card + count));
        (to..from).rev().for_each(|card| carry(card + count, card));
    }
}

/// First and length of every run of at least so many.
fn gaps(is_gap: impl Iterator<Item = bool>, least: usize) -> impl Iterator<Item = (usize, usize)> {
    let is_gap: Vec<bool> = is_gap.collect();
    let mut at = 0;
    let mut runs = Vec::new();
    for run in is_gap.chunk_by(|a, b| a == b) {
        if run.len() >= least && run[0] {
            runs.push((at, run.len()));
        }
        at += run.len();
    }
    runs.into_iter()
}
