//! One direction of a line that loses, doubles, reorders, corrupts, cuts short
//! and delays what is put on it, in virtual time and from a seed. It knows
//! nothing of frames: it sees pieces of bytes.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;

/// Chances from 0 to 1, each for one piece put on the line.
#[derive(Clone, Copy, Debug, Default)]
pub struct Faults {
    /// It never arrives.
    pub loss: f64,
    /// It arrives twice.
    pub doubled: f64,
    /// It is held back by up to four delays, so that later pieces overtake it.
    pub reordered: f64,
    /// One to four of its bytes get other values.
    pub corrupted: f64,
    /// Its end is missing.
    pub cut_short: f64,
}

/// How often each fault was applied.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub put: u32,
    pub arrived: u32,
    pub lost: u32,
    pub doubled: u32,
    pub reordered: u32,
    pub corrupted: u32,
    pub cut_short: u32,
}

pub struct Line {
    chance: ChaCha8Rng,
    pub faults: Faults,
    pub delay_us: u64,
    /// Time one byte takes; 0 for a line as fast as it is asked to be.
    pub byte_ns: u64,
    /// Nothing passes.
    pub broken: bool,
    pub tally: Tally,
    busy_until_ns: u64,
    on_way: BTreeMap<(u64, u64), Vec<u8>>,
    number: u64,
}

impl Line {
    pub fn new(seed: u64, faults: Faults, delay_us: u64) -> Self {
        Line {
            chance: ChaCha8Rng::seed_from_u64(seed),
            faults,
            delay_us,
            byte_ns: 0,
            broken: false,
            tally: Tally::default(),
            busy_until_ns: 0,
            on_way: BTreeMap::new(),
            number: 0,
        }
    }

    /// When the sender may put the next piece.
    pub fn room_at(&self) -> u64 {
        self.busy_until_ns.div_ceil(1_000)
    }

    /// When the next piece arrives.
    pub fn due(&self) -> Option<u64> {
        self.on_way.first_key_value().map(|((due, _), _)| *due)
    }

    pub fn put(&mut self, piece: &[u8], now: u64) {
        self.tally.put += 1;
        let start = self.busy_until_ns.max(now * 1_000);
        self.busy_until_ns = start + self.byte_ns * piece.len() as u64;
        if self.broken || self.chance.random_bool(self.faults.loss) {
            self.tally.lost += 1;
            return;
        }
        let mut piece = piece.to_vec();
        if self.chance.random_bool(self.faults.corrupted) {
            self.tally.corrupted += 1;
            for _ in 0..self.chance.random_range(1..=4) {
                let place = self.chance.random_range(0..piece.len());
                piece[place] ^= self.chance.random_range(1..=255_u8);
            }
        }
        if self.chance.random_bool(self.faults.cut_short) {
            self.tally.cut_short += 1;
            piece.truncate(self.chance.random_range(0..piece.len()));
        }
        let copies = if self.chance.random_bool(self.faults.doubled) {
            self.tally.doubled += 1;
            2
        } else {
            1
        };
        for _ in 0..copies {
            let mut due = self.busy_until_ns.div_ceil(1_000) + self.delay_us;
            if self.chance.random_bool(self.faults.reordered) {
                self.tally.reordered += 1;
                due += self.chance.random_range(1..=4 * self.delay_us.max(1));
            }
            self.number += 1;
            self.on_way.insert((due, self.number), piece.clone());
        }
    }

    pub fn take(&mut self, now: u64) -> Option<Vec<u8>> {
        let first = self.on_way.first_entry()?;
        if first.key().0 > now {
            return None;
        }
        self.tally.arrived += 1;
        Some(first.remove())
    }
}
