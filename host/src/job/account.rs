//! The account of a job: what was asked, what came of it, what it took.

use std::collections::{BTreeMap, BTreeSet};

use cardwright_protocol::unit_to_host::Counters;
use cardwright_protocol::{Attempt, CardNumber};
use serde::{Deserialize, Serialize};

/// A card that has to be taken out of the stack.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpoiledCard {
    /// Its place in the stack: how many cards the unit had begun with it since
    /// it was switched on; none if that was lost with the program's memory.
    pub place: Option<u32>,
    /// The unit's boot number, which the place belongs to.
    pub boot: u32,
    /// Which card it was to be.
    pub card: CardNumber,
    /// Which attempt.
    pub attempt: Attempt,
    /// Its verdict.
    pub verdict: String,
}

/// The account.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Account {
    /// Cards asked for.
    pub cards: u32,
    /// Of these, now good, wherever in the stack they lie.
    pub good: u32,
    /// Spoiled or faulty pieces of card stock found on the way.
    pub faults: u32,
    /// Those by verdict.
    pub by_verdict: BTreeMap<String, u32>,
    /// Wrong holes, by kind.
    pub by_hole: BTreeMap<String, u32>,
    /// Cards still owed.
    pub owed: Vec<CardNumber>,
    /// Pieces of card stock used.
    pub stock: u32,
    /// Strokes of the block, by the unit's count.
    pub strokes: u64,
    /// Time the rig stood because rows had not come, by the unit's count, in
    /// microseconds.
    pub waited_us: u64,
    /// Time it stood because the host had not recorded a card.
    pub waited_record_us: u64,
    /// Time it was loading and working.
    pub working_us: u64,
    /// Good cards in an hour of working.
    pub cards_an_hour: f64,
    /// Link frames the unit sent again.
    pub retransmissions: u64,
    /// Stops on the way.
    pub stops: u32,
    /// Cards to be taken out of the stack.
    pub take_out: Vec<SpoiledCard>,
}

/// The unit's counters over restarts: each boot counts from 0.
#[derive(Clone, Debug, Default)]
pub(super) struct UnitCount {
    before: Counters,
    now: Option<Counters>,
    base: Option<Counters>,
}

impl UnitCount {
    /// The counts at the beginning of a boot, or later in it.
    pub fn take(&mut self, counters: Counters) {
        self.base.get_or_insert(counters);
        self.now = Some(counters);
    }

    /// A new boot begins: its counters start over.
    pub fn restarted(&mut self) {
        self.before = self.total();
        self.base = None;
        self.now = None;
    }

    /// Of a unit that was just switched on everything counts.
    pub fn total(&self) -> Counters {
        let (Some(base), Some(now)) = (self.base, self.now) else {
            return self.before;
        };
        let before = self.before;
        Counters {
            strokes: before
                .strokes
                .saturating_add(now.strokes.saturating_sub(base.strokes)),
            waited_rows_us: before
                .waited_rows_us
                .saturating_add(now.waited_rows_us.saturating_sub(base.waited_rows_us)),
            waited_record_us: before
                .waited_record_us
                .saturating_add(now.waited_record_us.saturating_sub(base.waited_record_us)),
            working_us: before
                .working_us
                .saturating_add(now.working_us.saturating_sub(base.working_us)),
            retransmissions: before
                .retransmissions
                .saturating_add(now.retransmissions.saturating_sub(base.retransmissions)),
            cards_begun: before
                .cards_begun
                .saturating_add(now.cards_begun.saturating_sub(base.cards_begun)),
            ..before
        }
    }
}

impl Account {
    /// Brings in the unit's counts and the cards that are good.
    pub(super) fn close(
        &mut self,
        counts: &Counters,
        wanted: &[CardNumber],
        good: &BTreeSet<CardNumber>,
    ) {
        self.strokes = u64::from(counts.strokes);
        self.waited_us = counts.waited_rows_us;
        self.waited_record_us = counts.waited_record_us;
        self.working_us = counts.working_us;
        self.retransmissions = u64::from(counts.retransmissions);
        self.stock = counts.cards_begun;
        self.cards = wanted.len() as u32;
        self.owed = wanted
            .iter()
            .copied()
            .filter(|card| !good.contains(card))
            .collect();
        self.good = self.cards - self.owed.len() as u32;
        let hours = self.working_us as f64 / 3.6e9;
        self.cards_an_hour = if hours > 0.0 {
            f64::from(self.good) / hours
        } else {
            0.0
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A unit whose counters make no sense must not end the program.
    #[test]
    fn counts_over_restarts_add_up_and_never_overflow() {
        let strokes = |strokes| Counters {
            strokes,
            ..Counters::default()
        };
        let mut count = UnitCount::default();
        count.take(strokes(10));
        count.take(strokes(17));
        count.restarted();
        count.take(strokes(0));
        count.take(strokes(5));
        assert_eq!(count.total().strokes, 12);
        count.take(strokes(u32::MAX));
        assert_eq!(count.total().strokes, u32::MAX);
    }
}
