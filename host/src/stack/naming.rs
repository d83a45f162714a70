//! What each place of the stack is taken for, once the stack is laid against
//! the deck.
//!
//! Enters: what each place faces. Leaves: its part: kept, exchanged, moved,
//! one too many, a stranger; and the cards that are nowhere. Refuses nothing.

use super::align::{Choice, Facing};
use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};

/// What a place of the stack is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// This card, in order.
    Kept(usize),
    /// This card, where the card at the place `with` should be.
    Exchanged { card: usize, with: usize },
    /// This card, out of order.
    Moved(usize),
    /// A card of the deck that is there once too often.
    Extra,
    /// No card of the deck.
    Stranger,
}

impl Part {
    pub(super) fn card(self) -> Option<usize> {
        match self {
            Part::Kept(card) | Part::Exchanged { card, .. } | Part::Moved(card) => Some(card),
            Part::Extra | Part::Stranger => None,
        }
    }
}

/// The stack against the deck.
#[derive(Clone, Debug)]
pub(super) struct Naming<'a> {
    pub(super) seen: &'a [Vec<Choice>],
    /// Class of each card.
    pub(super) deck: &'a [usize],
    /// Part of each place.
    pub(super) parts: Vec<Part>,
    /// Place of each card.
    pub(super) place_of: Vec<Option<usize>>,
    /// Cards that are moved as one: first place, how many.
    pub(super) blocks: Vec<(usize, usize)>,
}

impl<'a> Naming<'a> {
    pub(super) fn new(
        seen: &'a [Vec<Choice>],
        deck: &'a [usize],
        facing: &[Option<Facing>],
        join: bool,
    ) -> Self {
        let part = |choices: &Vec<Choice>| match choices.is_empty() {
            true => Part::Stranger,
            false => Part::Extra,
        };
        let mut naming = Naming {
            seen,
            deck,
            parts: seen.iter().map(part).collect(),
            place_of: vec![None; deck.len()],
            blocks: Vec::new(),
        };
        for (place, facing) in facing.iter().enumerate() {
            if let Some(Facing { card, fits: true }) = *facing {
                naming.put(place, Part::Kept(card));
            }
        }
        naming.exchange(facing);
        if join {
            naming.join_gaps();
        }
        naming.slide_gaps();
        naming.move_blocks();
        naming
    }

    pub(super) fn put(&mut self, place: usize, part: Part) {
        if let Some(slot) = self.parts.get_mut(place) {
            if let Some(old) = slot.card().and_then(|card| self.place_of.get_mut(card)) {
                *old = None;
            }
            *slot = part;
        }
        if let Some(slot) = part.card().and_then(|card| self.place_of.get_mut(card)) {
            *slot = Some(place);
        }
    }

    /// The best way in which a place can be of a class.
    pub(super) fn choice(&self, place: usize, class: usize) -> Option<&'a Choice> {
        let of_class = |choice: &&Choice| choice.candidate.class == class;
        let choices = self.seen.get(place)?.iter().filter(of_class);
        choices.min_by_key(|choice| choice.cost())
    }

    /// What a place is taken for, if it is a card of this deck.
    pub(super) fn taken(&self, place: usize) -> Option<&'a Choice> {
        match *self.parts.get(place)? {
            Part::Stranger => None,
            Part::Extra => self
                .seen
                .get(place)?
                .iter()
                .min_by_key(|choice| choice.cost()),
            Part::Kept(card) | Part::Exchanged { card, .. } | Part::Moved(card) => {
                self.choice(place, *self.deck.get(card)?)
            }
        }
    }

    /// Two places that face each other's cards are an exchange.
    fn exchange(&mut self, facing: &[Option<Facing>]) {
        let mut waiting: HashMap<(usize, usize), Vec<(usize, usize)>> = HashMap::new();
        for (place, facing) in facing.iter().enumerate() {
            let Some(Facing { card, fits: false }) = *facing else {
                continue;
            };
            let (Some(choices), Some(own)) = (self.seen.get(place), self.deck.get(card)) else {
                continue;
            };
            let mut choices: Vec<&Choice> = choices.iter().collect();
            choices.sort_by_key(|choice| choice.cost());
            let parts = &self.parts;
            let partner = choices.iter().find_map(|choice| {
                let waiting = waiting.get_mut(&(choice.candidate.class, *own))?;
                waiting.retain(|(place, _)| parts.get(*place) == Some(&Part::Extra));
                waiting.pop()
            });
            if let Some((other, other_card)) = partner {
                self.swap((place, other_card), (other, card));
            } else {
                for choice in choices {
                    let kind = (*own, choice.candidate.class);
                    waiting.entry(kind).or_default().push((place, card));
                }
            }
        }
    }

    /// These two places hold these two cards, and should hold each other's.
    fn swap(&mut self, one: (usize, usize), two: (usize, usize)) {
        for place in [one.0, two.0] {
            self.put(place, Part::Extra);
        }
        for ((place, card), (with, _)) in [(one, two), (two, one)] {
            self.put(place, Part::Exchanged { card, with });
        }
    }

    /// Places and cards that are over on both sides are moved cards: longest
    /// runs first, so that a block is one piece.
    fn move_blocks(&mut self) {
        let mut runs = self.common_runs();
        while let Some(run) = runs.pop() {
            let free: Vec<bool> = (0..run.count)
                .map(|at| self.is_free(run.place + at, run.card + at))
                .collect();
            if free.iter().all(|free| *free) {
                for at in 0..run.count {
                    self.put(run.place + at, Part::Moved(run.card + at));
                }
                self.blocks.push((run.place, run.count));
                continue;
            }
            let mut at = 0;
            for piece in free.chunk_by(|a, b| a == b) {
                if piece[0] {
                    runs.push(self.common_run(run.place + at, run.card + at, piece.len()));
                }
                at += piece.len();
            }
        }
        self.blocks.sort_unstable();
        self.join_blocks();
        self.note_neighbours();
    }

    fn is_free(&self, place: usize, card: usize) -> bool {
        self.parts.get(place) == Some(&Part::Extra) && self.place_of.get(card) == Some(&None)
    }

    fn common_run(&self, place: usize, card: usize, count: usize) -> CommonRun {
        let turned = |at: &usize| {
            let class = self.deck.get(card + at);
            let choice = class.and_then(|class| self.choice(place + at, *class));
            choice.is_some_and(|choice| choice.turned)
        };
        CommonRun {
            count,
            as_is: count - (0..count).filter(turned).count(),
            near: Reverse(place.abs_diff(card)),
            place,
            card,
        }
    }

    /// Runs of places that can be a run of cards which are nowhere, each as
    /// long as it goes.
    fn common_runs(&self) -> BinaryHeap<CommonRun> {
        let mut cards_of: HashMap<usize, Vec<usize>> = HashMap::new();
        for (card, class) in self.deck.iter().enumerate() {
            if self.place_of.get(card) == Some(&None) {
                cards_of.entry(*class).or_default().push(card);
            }
        }
        let mut runs = BinaryHeap::new();
        let mut before: HashMap<usize, usize> = HashMap::new();
        for place in 0..=self.parts.len() {
            let mut here = HashMap::new();
            if self.parts.get(place) == Some(&Part::Extra) {
                for choice in self.seen.get(place).into_iter().flatten() {
                    for card in cards_of.get(&choice.candidate.class).into_iter().flatten() {
                        let longer = card.checked_sub(1).and_then(|card| before.get(&card));
                        here.insert(*card, longer.unwrap_or(&0) + 1);
                    }
                }
            }
            for (card, count) in before {
                if !here.contains_key(&(card + 1)) {
                    runs.push(self.common_run(place - count, card + 1 - count, count));
                }
            }
            before = here;
        }
        runs
    }

    /// A block of which cards are missing is still one block.
    fn join_blocks(&mut self) {
        let mut joined: Vec<(usize, usize)> = Vec::new();
        for (place, count) in std::mem::take(&mut self.blocks) {
            let before = joined
                .last()
                .copied()
                .filter(|(first, count)| first + count == place);
            let between = before.and_then(|_| {
                let card = |place: usize| self.parts.get(place)?.card();
                self.place_of
                    .get(card(place.checked_sub(1)?)? + 1..card(place)?)
            });
            match joined.last_mut() {
                Some(last) if between.is_some_and(|cards| cards.iter().all(Option::is_none)) => {
                    last.1 += count;
                }
                _ => joined.push((place, count)),
            }
        }
        self.blocks = joined;
    }

    /// A card that has passed one other is an exchange of neighbours.
    fn note_neighbours(&mut self) {
        for (place, count) in std::mem::take(&mut self.blocks) {
            let pair = if count == 1 { self.passed(place) } else { None };
            match pair {
                Some((other, passed, own)) => {
                    self.name_within_run(place, own);
                    self.swap((place, own), (other, passed));
                }
                None => self.blocks.push((place, count)),
            }
        }
    }

    /// The place and the card that the card at `place` has passed, if it is
    /// one only, and the card that it is then taken for.
    fn passed(&self, place: usize) -> Option<(usize, usize, usize)> {
        let card = self.parts.get(place)?.card()?;
        let kept = |place: usize| match self.parts.get(place) {
            Some(Part::Extra | Part::Stranger) => None,
            Some(Part::Kept(card)) => Some(Some((place, *card))),
            _ => Some(None),
        };
        let mut before = (0..place).rev().filter_map(kept);
        let mut after = (place + 1..self.parts.len()).filter_map(kept);
        if let Some(Some((other, passed))) = before.next()
            && passed > card
        {
            let next = before.next();
            let own = self.own_beyond(card, next, |next| next < card)?;
            return Some((other, passed, own));
        }
        if let Some(Some((other, passed))) = after.next()
            && passed < card
        {
            let next = after.next();
            let own = self.own_beyond(card, next, |next| next > card)?;
            return Some((other, passed, own));
        }
        None
    }

    /// The card that stands for `card` if `next` is what lies beyond the one
    /// it passed: itself, or an identical neighbour of it.
    fn own_beyond(
        &self,
        card: usize,
        next: Option<Option<(usize, usize)>>,
        clear: impl Fn(usize) -> bool,
    ) -> Option<usize> {
        match next {
            None => Some(card),
            Some(None) => None,
            Some(Some((_, next))) if clear(next) => Some(card),
            Some(Some((_, next))) => {
                let (first, last) = self.identical_run(card);
                (first..=last).contains(&next).then_some(next)
            }
        }
    }

    /// The cards around this one that are identical to it.
    pub(super) fn identical_run(&self, card: usize) -> (usize, usize) {
        let class = self.deck.get(card);
        let alike = |other: &usize| self.deck.get(*other) == class;
        let first = (0..card).rev().take_while(alike).last().unwrap_or(card);
        let last = (card + 1..self.deck.len()).take_while(alike).last();
        (first, last.unwrap_or(card))
    }

    /// Gives the place of a moved card the name `own` out of its identical
    /// run, and the kept cards between the names that are then free.
    fn name_within_run(&mut self, place: usize, own: usize) {
        let Some(card) = self.parts.get(place).and_then(|part| part.card()) else {
            return;
        };
        let kept = |card: &usize| {
            let place = self.place_of.get(*card).copied().flatten()?;
            matches!(self.parts.get(place), Some(Part::Kept(_))).then_some((place, *card))
        };
        let between: Vec<(usize, usize)> = if own > card {
            (card + 1..=own).filter_map(|card| kept(&card)).collect()
        } else {
            (own..card).rev().filter_map(|card| kept(&card)).collect()
        };
        self.put(place, Part::Extra);
        let mut free = card;
        for (place, card) in between {
            self.put(place, Part::Kept(free));
            free = card;
        }
        self.put(place, Part::Moved(free));
    }
}

/// Places that can be cards, both in a row. Greater is better: longer, then
/// fewer turned, then nearer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct CommonRun {
    count: usize,
    as_is: usize,
    near: Reverse<usize>,
    place: usize,
    card: usize,
}
