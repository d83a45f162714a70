//! The two clocks of a run: microseconds for the link, and the time of day for
//! the ledger. For a virtual rig that runs fast, the link's clock runs as fast.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use cardwright_protocol::Micros;

use crate::ledger::UnixMillis;

/// A clock that starts now.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    start: Instant,
    factor: f64,
}

impl Clock {
    /// A clock `factor` times as fast as the wall's; 1 for anything real.
    #[must_use]
    pub fn new(factor: f64) -> Clock {
        Clock {
            start: Instant::now(),
            factor: if factor > 0.0 { factor } else { 1.0 },
        }
    }

    /// Now, for the link.
    #[must_use]
    pub fn now(&self) -> Micros {
        Micros((self.start.elapsed().as_secs_f64() * self.factor * 1e6) as u64)
    }

    /// How long to sleep until `wake`.
    #[must_use]
    pub fn until(&self, wake: Micros) -> Duration {
        let us = wake.since(self.now()).min(3_600_000_000);
        Duration::from_secs_f64(us as f64 / 1e6 / self.factor)
    }

    /// Wall time for a time of the link's clock.
    #[must_use]
    pub fn wall(&self, us: u64) -> Duration {
        Duration::from_secs_f64(us as f64 / 1e6 / self.factor)
    }

    /// The time of day.
    #[must_use]
    pub fn time_of_day() -> UnixMillis {
        let since = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        UnixMillis(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
    }
}
