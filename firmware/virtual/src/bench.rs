//! A unit in its world at the end of a cable, however its firmware runs.
//!
//! Enters: the host's bytes, the cable, a person's hands, time. Leaves: bytes for
//! the host. Between two calls nothing happens; a moment that has passed already
//! is taken as the present one.

use crate::cabled::CabledUnit;
use crate::world::World;
use cardwright_protocol::Micros;
use std::cell::{Ref, RefMut};

/// What a host, a person and a test can do with a unit.
pub trait Bench {
    /// The present moment.
    fn now(&self) -> Micros;
    /// The host puts bytes on the line, at the present moment.
    fn send(&mut self, bytes: &[u8]);
    /// Bytes put in that have not gone out to the unit yet.
    fn backlog(&self) -> u64;
    /// The next piece that has arrived at the host.
    fn take(&mut self) -> Option<Vec<u8>>;
    /// Runs until `now`, or until bytes have arrived at the host if that is
    /// sooner; the moment reached.
    fn run_until_heard(&mut self, now: Micros) -> Micros;
    /// Runs until `now`, whatever arrives at the host meanwhile.
    fn run_to(&mut self, now: Micros);
    /// Pulls the cable; for so long, or until [`Bench::plug`].
    fn unplug(&mut self, for_us: Option<u64>);
    /// Puts the cable back.
    fn plug(&mut self);
    /// Whether the host has a port: the cable is in, and where the unit must be
    /// found first, it has been found.
    fn connected(&self) -> bool;
    /// The world, to look at. Not to be held over another call.
    fn world(&self) -> Ref<'_, World>;
    /// The world, for a person's hands. Not to be held over another call.
    fn world_mut(&mut self) -> RefMut<'_, World>;
    /// The unit loses its power and comes back.
    fn restart(&mut self);
}

impl Bench for CabledUnit {
    fn now(&self) -> Micros {
        CabledUnit::now(self)
    }

    fn send(&mut self, bytes: &[u8]) {
        CabledUnit::send(self, bytes);
    }

    fn backlog(&self) -> u64 {
        self.to_unit.backlog(CabledUnit::now(self))
    }

    fn take(&mut self) -> Option<Vec<u8>> {
        CabledUnit::take(self)
    }

    fn run_until_heard(&mut self, now: Micros) -> Micros {
        CabledUnit::run_until_heard(self, now)
    }

    fn run_to(&mut self, now: Micros) {
        CabledUnit::run_to(self, now);
    }

    fn unplug(&mut self, for_us: Option<u64>) {
        CabledUnit::unplug(self, for_us);
    }

    fn plug(&mut self) {
        CabledUnit::plug(self);
    }

    fn connected(&self) -> bool {
        self.plugged()
    }

    fn world(&self) -> Ref<'_, World> {
        self.unit.world()
    }

    fn world_mut(&mut self) -> RefMut<'_, World> {
        // hands move at the present moment, which the world may not have come to yet
        self.unit.run_to(CabledUnit::now(self));
        self.unit.world_mut()
    }

    fn restart(&mut self) {
        self.unit.restart();
    }
}
