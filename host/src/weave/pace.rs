//! How fast it goes. Enters: the times of picks. Leaves: picks a minute as they come
//! now, and how long the rest will take. A rest is no part of the pace.

use std::collections::VecDeque;

/// Picks that the pace is told from.
const KEPT: usize = 31;

/// An interval this many times as long as the middle one is a rest.
const REST: i64 = 4;

/// The pace.
#[derive(Clone, Debug, Default)]
pub struct Pace {
    last: Option<i64>,
    intervals: VecDeque<i64>,
}

impl Pace {
    /// A pick was made at this time, in milliseconds.
    pub fn pick(&mut self, at: i64) {
        if let Some(last) = self.last.replace(at) {
            if self.intervals.len() == KEPT {
                self.intervals.pop_front();
            }
            self.intervals.push_back((at - last).max(1));
        }
    }

    /// What comes now does not follow on what was.
    pub fn pause(&mut self) {
        self.last = None;
    }

    /// The middle interval, rests left out, in milliseconds.
    #[must_use]
    pub fn interval_ms(&self) -> Option<i64> {
        let middle = |mut all: Vec<i64>| {
            all.sort_unstable();
            all.get(all.len() / 2).copied()
        };
        let of_all = middle(self.intervals.iter().copied().collect())?;
        middle(
            self.intervals
                .iter()
                .copied()
                .filter(|ms| *ms <= REST * of_all)
                .collect(),
        )
    }

    /// Picks a minute.
    #[must_use]
    pub fn picks_a_minute(&self) -> Option<f64> {
        Some(60_000.0 / self.interval_ms()? as f64)
    }

    /// How long so many picks will take at this pace, in seconds.
    #[must_use]
    pub fn seconds_for(&self, picks: u64) -> Option<f64> {
        Some(self.interval_ms()? as f64 / 1000.0 * picks as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a weaver who had tea is told that the cloth will take all week.
    #[test]
    fn a_rest_is_no_part_of_the_pace() {
        let mut pace = Pace::default();
        let mut at = 0;
        for n in 0..100 {
            at += if n % 10 == 0 { 600_000 } else { 1_500 };
            pace.pick(at);
        }
        assert_eq!(pace.interval_ms(), Some(1_500));
        assert_eq!(pace.seconds_for(40), Some(60.0));
        assert_eq!(Pace::default().picks_a_minute(), None);
    }
}
