//! The unit's time and the time of day.
//!
//! Enters: pairs of moments between which the unit read its own clock. Leaves: for a
//! unit time the time of day and by how much it may be wrong. Refuses nothing: with
//! no pair there is no time.
//!
//! A question that is sent at one moment and whose answer is there at another says
//! that the unit's clock was read between the two. The narrowest such pair counts,
//! less what two clocks may have drifted since.

/// How far two quartz clocks drift apart at most, in millionths (common crystals:
/// 50 each; from memory).
const DRIFT_PPM: f64 = 100.0;

/// Half a millisecond each way: the time of day is read in whole milliseconds.
const READING_US: f64 = 1_000.0;

/// A moment by the time of day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// Milliseconds since 1970.
    pub at_ms: i64,
    /// By how much that may be wrong either way, in microseconds.
    pub error_us: u64,
}

#[derive(Clone, Copy, Debug)]
struct Pair {
    unit_us: u64,
    /// The middle of the two moments, in microseconds since 1970.
    host_us: i64,
    /// Half of what lies between them.
    half_us: f64,
}

impl Pair {
    fn error_at(self, unit_us: u64) -> f64 {
        let age = unit_us.abs_diff(self.unit_us) as f64;
        self.half_us + READING_US + age * DRIFT_PPM * 1e-6
    }
}

/// What the unit's clock has been compared with since it started.
#[derive(Clone, Copy, Debug, Default)]
pub struct LoomClock {
    best: Option<Pair>,
}

impl LoomClock {
    /// The unit read its clock between these two moments, in milliseconds since
    /// 1970.
    pub fn compare(&mut self, sent_ms: i64, got_ms: i64, unit_us: u64) {
        let pair = Pair {
            unit_us,
            host_us: (sent_ms + got_ms) * 500,
            half_us: (got_ms - sent_ms).max(0) as f64 * 500.0,
        };
        let worse = |best: &Pair| best.error_at(unit_us) > pair.error_at(unit_us);
        if self.best.is_none_or(|best| worse(&best)) {
            self.best = Some(pair);
        }
    }

    /// The time of day at this unit time.
    #[must_use]
    pub fn at(&self, unit_us: u64) -> Option<Moment> {
        let best = self.best?;
        let since = i128::from(unit_us) - i128::from(best.unit_us);
        let us = i128::from(best.host_us) + since;
        Some(Moment {
            at_ms: i64::try_from(us.div_euclid(1000)).unwrap_or(i64::MAX),
            error_us: best.error_at(unit_us).ceil() as u64,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, the ledger says of an event that it was at a time when it was
    /// not, and that it is sure of that.
    #[test]
    fn the_true_time_is_within_the_error_told() {
        // a unit that started at 5,000 s and whose clock is 80 ppm fast
        let true_ms = |unit_us: u64| 5_000_000.0 + unit_us as f64 / 1000.0 / 1.000_08;
        let mut clock = LoomClock::default();
        let mut widest: u64 = 0;
        for n in 0..2_000_u64 {
            let unit_us = n * 5_000_000;
            // the way there and the way back take from 1 to 40 ms, unevenly
            let (there, back) = ((n * 7 % 40 + 1) as f64, (n * 13 % 37 + 1) as f64);
            let read = true_ms(unit_us);
            clock.compare(
                (read - there).floor() as i64,
                (read + back).ceil() as i64,
                unit_us,
            );
            for asked in [
                unit_us.saturating_sub(60_000_000),
                unit_us,
                unit_us + 3_000_000,
            ] {
                let moment = clock.at(asked).expect("compared");
                let off_us = (moment.at_ms as f64 - true_ms(asked)).abs() * 1000.0;
                assert!(off_us <= moment.error_us as f64, "{n}: {off_us} {moment:?}");
                widest = widest.max(moment.error_us);
            }
        }
        assert!(widest < 60_000, "it learns the narrow ones: {widest}");
        assert_eq!(LoomClock::default().at(1), None);
    }
}
