//! How evenly a weaver weaves.
//!
//! Enters: the wanted picks a minute. Leaves: how long the next pick takes, and
//! now and then a break. A pick's time is lognormally distributed, as times of a
//! hand's work are; the pace drifts, and is drawn back to the wanted one.

use super::WeaverSettings;
use crate::chance::{Chance, Fault};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const STREAM: u64 = 96;
const STREAM_BREAKS: u64 = 97;

/// Share of the drift that is left after one more pick.
const DRIFT_LEFT: f64 = 0.99;

/// Longest break, in picks.
const LONGEST_BREAK: f64 = 1e6;

/// The rhythm of one weaver.
#[derive(Clone, Debug)]
pub(super) struct Rhythm {
    pick_us: f64,
    spread: f64,
    drift: f64,
    drifted: f64,
    break_picks: (f64, f64),
    breaks: Chance,
    rng: ChaCha8Rng,
}

impl Rhythm {
    pub fn new(settings: &WeaverSettings) -> Rhythm {
        let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
        rng.set_stream(STREAM);
        Rhythm {
            // One an hour is slow enough for anyone.
            pick_us: 60e6 / settings.picks_a_minute.max(1.0 / 60.0),
            spread: settings.spread.clamp(0.0, 2.0),
            drift: settings.drift.clamp(0.0, 0.5),
            drifted: 0.0,
            break_picks: settings.break_picks,
            breaks: Chance::new(Fault::new(settings.breaks, settings.seed), STREAM_BREAKS),
            rng,
        }
    }

    /// How long the next pick takes. The mean is the wanted one: that of a
    /// lognormal amount with median 1 is exp(spread squared / 2).
    pub fn pick_us(&mut self) -> f64 {
        self.drifted = self.drifted * DRIFT_LEFT + self.drift * self.normal();
        let uneven = self.spread * self.normal() - self.spread * self.spread / 2.0;
        self.pick_us * (uneven + self.drifted.clamp(-1.0, 1.0)).exp()
    }

    /// A break after this pick, if one is made.
    pub fn break_us(&mut self) -> Option<f64> {
        let picks = |picks: f64| picks.clamp(0.0, LONGEST_BREAK);
        let (low, high) = (picks(self.break_picks.0), picks(self.break_picks.1));
        let hit = self.breaks.hit();
        hit.then(|| self.pick_us * self.breaks.amount(low, high))
    }

    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }
}
