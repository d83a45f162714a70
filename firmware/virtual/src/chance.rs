//! Chance with a rate and a seed.
//!
//! Enters: a rate from 0 to 1, a seed, and the number of the stream. Leaves:
//! one answer a trial, and amounts drawn from the same stream. A rate outside
//! 0 to 1 is taken as the nearer of the two. Each kind of fault has a stream of
//! its own, so that one rate never disturbs what another kind does.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How often something happens, and from which seed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fault {
    /// Chance of it in one trial, 0 to 1.
    pub rate: f64,
    /// Where its stream of chance begins.
    pub seed: u64,
}

impl Fault {
    /// A fault with this rate and seed.
    #[must_use]
    pub const fn new(rate: f64, seed: u64) -> Fault {
        Fault { rate, seed }
    }

    /// The same fault at another rate.
    #[must_use]
    pub const fn at(self, rate: f64) -> Fault {
        Fault {
            rate,
            seed: self.seed,
        }
    }
}

/// A stream of trials. The gap to the next hit is drawn once a hit, so that a
/// trial that misses costs one subtraction.
#[derive(Clone, Debug)]
pub struct Chance {
    rate: f64,
    gap: u64,
    rng: ChaCha8Rng,
}

impl Chance {
    /// The trials of `fault` on stream number `stream`.
    #[must_use]
    pub fn new(fault: Fault, stream: u64) -> Chance {
        let mut rng = ChaCha8Rng::seed_from_u64(fault.seed);
        rng.set_stream(stream);
        let mut chance = Chance {
            rate: fault.rate,
            gap: 0,
            rng,
        };
        chance.gap = chance.draw_gap();
        chance
    }

    /// Whether this trial is hit.
    pub fn hit(&mut self) -> bool {
        if self.gap > 0 {
            self.gap -= 1;
            return false;
        }
        self.gap = self.draw_gap();
        // A gap of "never" is only ever reached by rate 0.
        self.rate > 0.0
    }

    /// Whether it can ever be hit.
    #[must_use]
    pub fn possible(&self) -> bool {
        self.rate > 0.0
    }

    /// An amount between `low` and `high`, all equally likely.
    pub fn amount(&mut self, low: f64, high: f64) -> f64 {
        if high > low {
            self.rng.random_range(low..high)
        } else {
            low
        }
    }

    /// A whole number from 0 to `end`, `end` left out; 0 if `end` is 0.
    pub fn below(&mut self, end: u64) -> u64 {
        if end == 0 {
            0
        } else {
            self.rng.random_range(0..end)
        }
    }

    /// Misses before the next hit: geometrically distributed, which makes the
    /// trials independent (inverse of the distribution's sum function).
    fn draw_gap(&mut self) -> u64 {
        if self.rate <= 0.0 || self.rate.is_nan() {
            return u64::MAX;
        }
        if self.rate >= 1.0 {
            return 0;
        }
        let chance: f64 = 1.0 - self.rng.random::<f64>();
        let gap = chance.ln() / (-self.rate).ln_1p();
        // Beyond u64 the cast saturates, which is "never" for any run.
        gap as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_nought_never_hits_and_rate_one_always_does() {
        let mut never = Chance::new(Fault::new(0.0, 1), 1);
        let mut always = Chance::new(Fault::new(1.0, 1), 1);
        for _ in 0..100_000 {
            assert!(!never.hit());
            assert!(always.hit());
        }
        assert!(!Chance::new(Fault::new(f64::NAN, 1), 1).hit());
    }

    #[test]
    fn hits_are_as_frequent_as_the_rate_says() {
        for rate in [0.001, 0.02, 0.5, 0.9] {
            let mut chance = Chance::new(Fault::new(rate, 7), 3);
            let trials = 1_000_000;
            let hits = (0..trials).filter(|_| chance.hit()).count() as f64;
            let spread = (f64::from(trials) * rate * (1.0 - rate)).sqrt();
            let off = (hits - f64::from(trials) * rate).abs();
            assert!(off < 5.0 * spread, "rate {rate}: {hits} hits, seed 7");
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_hits_and_another_stream_does_not() {
        let run = |stream| {
            let mut chance = Chance::new(Fault::new(0.3, 99), stream);
            (0..200).map(|_| chance.hit()).collect::<Vec<_>>()
        };
        assert_eq!(run(4), run(4));
        assert_ne!(run(4), run(5));
    }
}
