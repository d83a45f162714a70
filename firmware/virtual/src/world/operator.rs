//! What the person at the machine does with their hands.
//!
//! Enters: guard, stop, cards, block, supply. Leaves: the inputs that show
//! them. None of it is a message; the firmware only ever sees its sensors.

use super::World;
use crate::stock::Card;
use crate::truth::Fate;
use std::collections::VecDeque;

/// The switches, and the cards at hand.
#[derive(Debug)]
pub(super) struct Hands {
    pub guard_shut: bool,
    pub stop_out: bool,
    pub supply_mv: u16,
    /// The wire of the sensor at the bottom of the block's way.
    pub bottom_wire: bool,
    /// Since when the guard is open or the stop pressed.
    pub unsafe_since: Option<u64>,
    /// Cards that were put in one by one, before the blank ones.
    prepared: VecDeque<Card>,
    blanks: u64,
}

impl Hands {
    pub fn new(supply_mv: u16) -> Hands {
        Hands {
            guard_shut: true,
            stop_out: true,
            supply_mv,
            bottom_wire: true,
            unsafe_since: None,
            prepared: VecDeque::new(),
            blanks: 0,
        }
    }
}

impl World {
    /// Opens the guard.
    pub fn open_guard(&mut self) {
        self.hands.guard_shut = false;
        self.people_near();
    }

    /// Shuts the guard.
    pub fn shut_guard(&mut self) {
        self.hands.guard_shut = true;
        self.people_near();
    }

    /// Presses the stop button; it stays in.
    pub fn press_stop(&mut self) {
        self.hands.stop_out = false;
        self.people_near();
    }

    /// Pulls the stop button out.
    pub fn release_stop(&mut self) {
        self.hands.stop_out = true;
        self.people_near();
    }

    fn people_near(&mut self) {
        let safe = self.hands.guard_shut && self.hands.stop_out;
        self.hands.unsafe_since = match (safe, self.hands.unsafe_since) {
            (true, _) => None,
            (false, None) => Some(self.now),
            (false, since) => since,
        };
        self.safety.people_near(self.now, self.hands.unsafe_since);
    }

    /// Whether the guard is shut.
    #[must_use]
    pub fn guard_shut(&self) -> bool {
        self.hands.guard_shut
    }

    /// Whether the stop button is out.
    #[must_use]
    pub fn stop_out(&self) -> bool {
        self.hands.stop_out
    }

    /// Sets the supply at the coils, in millivolts.
    pub fn set_supply_mv(&mut self, mv: u16) {
        self.hands.supply_mv = mv;
    }

    /// Breaks the wire of the sensor at the bottom of the block's way: it shows
    /// nothing any more.
    pub fn break_bottom_wire(&mut self) {
        self.hands.bottom_wire = false;
    }

    /// Puts so many blank cards into the magazine.
    pub fn fill_magazine(&mut self, blanks: u64) {
        self.hands.blanks = self.hands.blanks.saturating_add(blanks);
    }

    /// Puts these very cards into the magazine, after those put in before and
    /// before any blank one.
    pub fn load_cards(&mut self, cards: impl IntoIterator<Item = Card>) {
        self.hands.prepared.extend(cards);
    }

    /// How many cards lie in the magazine.
    #[must_use]
    pub fn magazine(&self) -> u64 {
        self.hands
            .blanks
            .saturating_add(self.hands.prepared.len() as u64)
    }

    pub(super) fn next_from_magazine(&mut self) -> Option<Card> {
        if let Some(card) = self.hands.prepared.pop_front() {
            return Some(self.stock.named(card));
        }
        self.hands.blanks = self.hands.blanks.checked_sub(1)?;
        Some(self.stock.blank())
    }

    /// Lays a card in at the rollers by hand: the next one put in, or a blank
    /// one, of which there are always more. False if one lies there already.
    pub fn lay_in_card(&mut self) -> bool {
        if self.feed.rollers_taken(self.settings.rollers_to_edge_mm) {
            return false;
        }
        let card = self.next_by_hand();
        let under = if self.chance.doubled_feed.hit() {
            Some(self.next_by_hand())
        } else {
            None
        };
        self.put_at_rollers(card, under);
        true
    }

    fn next_by_hand(&mut self) -> Card {
        match self.hands.prepared.pop_front() {
            Some(card) => self.stock.named(card),
            None => self.stock.blank(),
        }
    }

    /// Takes every card out of the path, which also clears a jam. How many.
    pub fn take_out_cards(&mut self) -> usize {
        let mut taken = Vec::new();
        while let Some(card) = self.feed.take_out() {
            taken.push(card);
        }
        let count = taken.len();
        for (card, doubled_with) in taken.into_iter().rev() {
            self.card_left(card, doubled_with, Fate::TakenOut);
        }
        count
    }

    /// How many cards lie in the path.
    #[must_use]
    pub fn cards_in_path(&self) -> usize {
        self.feed.cards.len()
    }

    /// Whether a card is stuck in the path.
    #[must_use]
    pub fn jammed(&self) -> bool {
        self.feed.jammed()
    }

    /// Whether the block is stuck.
    #[must_use]
    pub fn block_stuck(&self) -> bool {
        self.block.stuck()
    }

    /// Frees the block and winds it up to the top, wherever it is.
    pub fn free_block(&mut self) {
        self.wind_up_block();
    }

    /// Brushes the dust off the light bar.
    pub fn brush_bar(&mut self) {
        self.bar.brush();
    }

    /// Puts in a new lamp.
    pub fn renew_lamp(&mut self) {
        self.bar.renew_lamp();
    }
}
