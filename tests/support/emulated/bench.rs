//! The emulated unit wherever a unit on a cable is wanted.

use super::unit::EmulatedUnit;
use cardwright_protocol::Micros;
use cardwright_virtual::{Bench, World};
use std::cell::{Ref, RefMut};

impl Bench for EmulatedUnit {
    fn now(&self) -> Micros {
        EmulatedUnit::now(self)
    }

    fn send(&mut self, bytes: &[u8]) {
        EmulatedUnit::send(self, bytes);
    }

    fn backlog(&self) -> u64 {
        EmulatedUnit::backlog(self)
    }

    fn take(&mut self) -> Option<Vec<u8>> {
        EmulatedUnit::take(self)
    }

    fn run_until_heard(&mut self, now: Micros) -> Micros {
        EmulatedUnit::run_until_heard(self, now)
    }

    fn run_to(&mut self, now: Micros) {
        EmulatedUnit::run_to(self, now);
    }

    fn unplug(&mut self, for_us: Option<u64>) {
        EmulatedUnit::unplug(self, for_us);
    }

    fn plug(&mut self) {
        EmulatedUnit::plug(self);
    }

    fn connected(&self) -> bool {
        self.found()
    }

    fn world(&self) -> Ref<'_, World> {
        EmulatedUnit::world(self)
    }

    fn world_mut(&mut self) -> RefMut<'_, World> {
        EmulatedUnit::world_mut(self)
    }

    fn restart(&mut self) {
        self.power_cycle();
    }
}
