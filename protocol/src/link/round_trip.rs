//! How long a message and its acknowledgement take, after Jacobson and Karels
//! as RFC 6298 has it.
//!
//! Enters: measured round trips of messages sent only once (Karn's rule: the
//! acknowledgement of a message sent twice may belong to either). Leaves: how
//! long to wait before sending again.
//!
//! Two constants differ from the RFC, which is made for networks shared by
//! strangers: the shortest and the longest wait, since this line has two ends
//! and a machine waits at one of them.

/// The clock granularity `G` of RFC 6298: how late an end may look at the link.
pub const GRANULARITY_US: u64 = 10_000;
/// Shortest wait. Longer than the other end may hold an acknowledgement back.
pub const LEAST_WAIT_US: u64 = 60_000;
/// Longest wait, and so the limit of the back-off.
pub const MOST_WAIT_US: u64 = 1_000_000;
/// Wait before anything was measured.
pub const FIRST_WAIT_US: u64 = 300_000;

/// A measured round trip and the wait that follows from it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RoundTrip {
    smoothed: Option<Smoothed>,
    /// How often the wait has been doubled since the last measurement.
    doubled: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Smoothed {
    mean_us: u64,
    variation_us: u64,
}

impl RoundTrip {
    /// Nothing measured yet.
    #[must_use]
    pub const fn new() -> Self {
        RoundTrip {
            smoothed: None,
            doubled: 0,
        }
    }

    /// Takes in one round trip (RFC 6298, 2.2 and 2.3) and ends the back-off.
    pub fn measured(&mut self, us: u64) {
        let us = us.min(60_000_000);
        self.doubled = 0;
        self.smoothed = Some(match self.smoothed {
            None => Smoothed {
                mean_us: us,
                variation_us: us / 2,
            },
            Some(old) => Smoothed {
                variation_us: (3 * old.variation_us + old.mean_us.abs_diff(us)) / 4,
                mean_us: (7 * old.mean_us + us) / 8,
            },
        });
    }

    /// The wait was over and nothing had come: wait twice as long from now on
    /// (RFC 6298, 5.5), until something is measured.
    pub fn timed_out(&mut self) {
        self.doubled = (self.doubled + 1).min(16);
    }

    /// Smoothed round trip, in microseconds.
    #[must_use]
    pub fn mean_us(&self) -> Option<u64> {
        self.smoothed.map(|smoothed| smoothed.mean_us)
    }

    /// Time after which a message is sent again, in microseconds.
    #[must_use]
    pub fn wait_us(&self) -> u64 {
        let plain = match self.smoothed {
            None => FIRST_WAIT_US,
            Some(s) => s.mean_us + GRANULARITY_US.max(4 * s.variation_us),
        };
        (plain.clamp(LEAST_WAIT_US, MOST_WAIT_US) << self.doubled).min(MOST_WAIT_US)
    }
}
