//! The board's pulse generator, in the world's time.
//!
//! Enters: intervals, given ahead. Leaves: the moment of the next pulse, and a
//! count of those made.

use super::{NEVER, Output, World};
use std::collections::VecDeque;

#[derive(Debug)]
pub(super) struct Pulses {
    next_at: u64,
    waiting: VecDeque<u32>,
    made: u32,
}

impl Pulses {
    pub fn new() -> Pulses {
        Pulses {
            next_at: NEVER,
            waiting: VecDeque::with_capacity(2),
            made: 0,
        }
    }

    pub fn next_at(&self) -> u64 {
        self.next_at
    }
}

impl World {
    /// Takes the interval to one more pulse, from the one before it, or from
    /// now if none waits.
    pub fn give_step(&mut self, us: u32) {
        if self.pulses.next_at == NEVER {
            self.pulses.next_at = self.now + u64::from(us);
        } else {
            self.pulses.waiting.push_back(us);
        }
    }

    /// Pulses made since this was asked last.
    pub fn take_steps(&mut self) -> u32 {
        std::mem::take(&mut self.pulses.made)
    }

    /// No further pulse.
    pub fn halt_steps(&mut self) {
        self.pulses.next_at = NEVER;
        self.pulses.waiting.clear();
    }

    pub(super) fn pulse(&mut self) {
        self.pulses.made += 1;
        self.pulses.next_at = match self.pulses.waiting.pop_front() {
            Some(us) => self.now + u64::from(us),
            None => NEVER,
        };
        self.set_output(Output::Step, true);
        self.set_output(Output::Step, false);
    }
}
