//! The changes of the lines that are still to come, in order. No two have the
//! same moment.

use std::collections::VecDeque;

const NEVER: u64 = u64::MAX;

/// Changes to come: when, and which line goes over to its other level.
#[derive(Clone, Debug, Default)]
pub(super) struct Changes(VecDeque<(u64, u8)>);

impl Changes {
    /// When the next one comes.
    pub fn next_at(&self) -> u64 {
        self.0.front().map_or(NEVER, |(at, _)| *at)
    }

    /// Takes those until `now`: the lines that are not as they were.
    pub fn until(&mut self, now: u64) -> u8 {
        let mut changed = 0;
        while let Some((_, line)) = self.0.pop_front_if(|(at, _)| *at <= now) {
            changed ^= line;
        }
        changed
    }

    /// Puts one in at `at`, or at the first moment after that is free; its moment.
    pub fn put(&mut self, at: u64, line: u8) -> u64 {
        let mut at = at;
        let mut place = self.place(at);
        while self.0.get(place).is_some_and(|(taken, _)| *taken == at) {
            at += 1;
            place += 1;
        }
        self.0.insert(place, (at, line));
        at
    }

    /// Whether nothing changes at `at`.
    pub fn free(&self, at: u64) -> bool {
        self.0
            .get(self.place(at))
            .is_none_or(|(taken, _)| *taken != at)
    }

    fn place(&self, at: u64) -> usize {
        self.0.partition_point(|(other, _)| *other < at)
    }
}
