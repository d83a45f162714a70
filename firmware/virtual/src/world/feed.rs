//! The feed and the cards in it.
//!
//! Enters: current, steps, cards. Leaves: where each card lies, when one
//! reaches something, and cards that have left. Steps only ever go forward.

use super::World;
use crate::faults::FaultKind;
use crate::settings::WorldSettings;
use crate::stock::Card;
use crate::truth::{self, Fate};
use cardwright_protocol::time::Micros;

/// A card in the feed.
#[derive(Debug)]
pub(super) struct InFeed {
    pub card: Card,
    /// Where its leading edge lay at step 0, from the edge sensor.
    pub start_mm: f64,
    /// Leading edge place at which it sticks.
    jam_at_mm: f64,
    /// Leading edge place at which it entered.
    pub entered_mm: f64,
    doubled_with: Option<u64>,
}

#[derive(Debug)]
pub(super) struct Feed {
    pub cards: Vec<InFeed>,
    /// Steps that moved the cards.
    travel: u64,
    /// The value of `travel` at which a card reaches something.
    next_at: u64,
    step_mm: f64,
    backlash_steps: u64,
    /// Steps that will move nothing: play, then slip.
    play: u64,
    slip: u64,
    jammed: bool,
    edge_covered: bool,
    exit_mm: f64,
}

impl Feed {
    pub fn new(settings: &WorldSettings) -> Feed {
        let step_mm = settings.step_mm();
        let backlash_steps = (settings.backlash_mm / step_mm).round() as u64;
        Feed {
            cards: Vec::with_capacity(4),
            travel: 0,
            next_at: u64::MAX,
            step_mm,
            backlash_steps,
            play: backlash_steps,
            slip: 0,
            jammed: false,
            edge_covered: false,
            exit_mm: settings.edge_to_reader_mm() + settings.reader_to_exit_mm,
        }
    }

    /// One step; whether a card has reached something.
    pub fn step(&mut self) -> bool {
        if self.play > 0 {
            self.play -= 1;
            return false;
        }
        if self.slip > 0 {
            self.slip -= 1;
            return false;
        }
        if self.jammed {
            return false;
        }
        self.travel += 1;
        self.travel >= self.next_at
    }

    /// Steps that still pass before a card reaches something.
    pub fn steps_before_anything(&self) -> u64 {
        if self.jammed {
            return u64::MAX;
        }
        let way = self.next_at.saturating_sub(self.travel).saturating_sub(1);
        way.saturating_add(self.play).saturating_add(self.slip)
    }

    /// Current on or off. Without it the gears fall back into their play.
    pub fn current(&mut self, on: bool) {
        if !on {
            self.play = self.backlash_steps;
        }
    }

    pub fn slip_by(&mut self, mm: f64) {
        self.slip += (mm / self.step_mm).round() as u64;
    }

    pub fn edge_covered(&self) -> bool {
        self.edge_covered
    }

    pub fn jammed(&self) -> bool {
        self.jammed
    }

    pub fn first_card(&self) -> Option<u64> {
        self.cards.first().map(|card| card.card.serial)
    }

    /// How far the cards have moved since the world began.
    pub fn moved_mm(&self) -> f64 {
        self.travel as f64 * self.step_mm
    }

    /// Where the leading edge of a card lies, from the edge sensor.
    pub fn lead_mm(&self, card: &InFeed) -> f64 {
        card.start_mm + self.moved_mm()
    }

    /// Whether a card lies where the next one would come.
    pub fn rollers_taken(&self, rollers_mm: f64) -> bool {
        self.cards
            .iter()
            .any(|card| self.lead_mm(card) - card.card.length_in_feed_mm() < -rollers_mm)
    }

    pub fn put(&mut self, card: Card, lead_mm: f64, jam_at_mm: f64, doubled_with: Option<u64>) {
        let start_mm = lead_mm - self.moved_mm();
        self.cards.push(InFeed {
            card,
            start_mm,
            jam_at_mm,
            entered_mm: lead_mm,
            doubled_with,
        });
        self.look();
    }

    /// Looks at what each card has reached and finds the next step that
    /// matters; the first card that has left is handed out.
    pub fn look(&mut self) -> Option<(Card, Option<u64>)> {
        self.edge_covered = false;
        self.jammed = false;
        let mut next_mm = f64::INFINITY;
        let mut left = None;
        for (n, card) in self.cards.iter().enumerate() {
            let lead = self.lead_mm(card);
            let length = card.card.length_in_feed_mm();
            self.edge_covered |= (0.0..length).contains(&lead);
            self.jammed |= lead >= card.jam_at_mm;
            let exit = self.exit_mm + length;
            if lead >= exit && left.is_none() {
                left = Some(n);
            }
            for mark in [0.0, length, exit, card.jam_at_mm] {
                if mark > lead {
                    next_mm = next_mm.min(mark - lead);
                }
            }
        }
        self.next_at = if next_mm.is_finite() {
            self.travel + ((next_mm / self.step_mm).ceil() as u64).max(1)
        } else {
            u64::MAX
        };
        left.map(|n| {
            let gone = self.cards.remove(n);
            (gone.card, gone.doubled_with)
        })
    }

    pub fn take_out(&mut self) -> Option<(Card, Option<u64>)> {
        let gone = self.cards.pop()?;
        self.look();
        Some((gone.card, gone.doubled_with))
    }
}

impl World {
    /// Some card has reached a sensor, the exit or the place where it sticks.
    pub(super) fn card_reached_something(&mut self) {
        let was_jammed = self.feed.jammed();
        while let Some((card, doubled_with)) = self.feed.look() {
            self.card_left(card, doubled_with, Fate::Ejected);
        }
        if self.feed.jammed() && !was_jammed {
            self.note(FaultKind::Jam, 0, 0.0);
        }
    }

    pub(super) fn card_left(&mut self, card: Card, doubled_with: Option<u64>, fate: Fate) {
        let at = Micros(self.now);
        self.truth.cards.push(truth::Card {
            card,
            fate,
            at,
            doubled_with,
        });
    }

    /// The magazine pushes its next card to the rollers.
    pub(super) fn feed_a_card_from_magazine(&mut self) {
        if self.feed.rollers_taken(self.settings.rollers_to_edge_mm) {
            self.truth.picks_blocked += 1;
            return;
        }
        let Some(card) = self.next_from_magazine() else {
            self.truth.picks_empty += 1;
            return;
        };
        let under = if self.chance.doubled_feed.hit() {
            self.next_from_magazine()
        } else {
            None
        };
        self.put_at_rollers(card, under);
    }

    /// Puts a card at the rollers, and maybe another under it, further back.
    pub(super) fn put_at_rollers(&mut self, card: Card, under: Option<Card>) {
        let rollers = self.settings.rollers_to_edge_mm;
        let mut jam_at = f64::INFINITY;
        if self.chance.jam.hit() {
            let path = self.settings.edge_to_reader_mm() + card.length_in_feed_mm();
            jam_at = self.chance.jam.amount(-rollers + 5.0, path);
        }
        self.truth.cards_fed += 1 + u64::from(under.is_some());
        let serial = card.serial;
        self.feed.put(
            card,
            -rollers,
            jam_at,
            under.as_ref().map(|card| card.serial),
        );
        if let Some(under) = under {
            let back = self.chance.doubled_feed.amount(0.0, 40.0);
            self.feed
                .put(under, -rollers - back, f64::INFINITY, Some(serial));
            self.note(FaultKind::DoubledFeed, 0, back);
        }
        self.card_is_new_under_the_bar();
    }

    /// The card moves while punches are in it.
    pub(super) fn tear(&mut self) {
        let punch = self.settings.edge_to_punch_mm;
        let feed = &mut self.feed;
        let moved = feed.moved_mm();
        let mut torn = false;
        for card in &mut feed.cards {
            let along = card.start_mm + moved - punch;
            if (0.0..card.card.length_in_feed_mm()).contains(&along) {
                card.card.torn = true;
                torn = true;
            }
        }
        self.truth.steps_in_card += u64::from(torn);
    }
}
