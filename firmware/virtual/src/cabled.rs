//! A unit at the end of a serial cable, in virtual time.
//!
//! Enters: the host's bytes and the moment up to which time may run. Leaves:
//! bytes for the host and the moment of the next event. Everything between
//! two calls happens in order, at its own moment.

use crate::line::{Line, LineSettings};
use crate::unit::VirtualUnit;
use cardwright_protocol::Micros;
use cardwright_protocol::frame::MOST_WIRE;

/// Bytes the unit's sender takes before it is full.
const FIFO: u64 = 512;

/// How soon a unit that could not send is polled again.
const FULL_US: u64 = 20;

/// A unit, its cable and both directions on it.
pub struct CabledUnit {
    /// The unit.
    pub unit: VirtualUnit,
    /// From host to unit.
    pub to_unit: Line,
    /// From unit to host.
    pub to_host: Line,
    now: Micros,
    plug_at: Option<Micros>,
    /// How long a cable that was pulled by chance stays out.
    out_us: u64,
    /// Cables pulled by chance.
    pulled: u64,
}

impl CabledUnit {
    /// A unit on a cable with the same behaviour in both directions. A cable
    /// pulled by chance stays out for `out_us`.
    #[must_use]
    pub fn new(unit: VirtualUnit, line: &LineSettings, out_us: u64) -> CabledUnit {
        let now = unit.now();
        CabledUnit {
            unit,
            to_unit: Line::new(line, 1),
            to_host: Line::new(line, 2),
            now,
            plug_at: None,
            out_us,
            pulled: 0,
        }
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        self.now
    }

    /// The host puts bytes on the line, at the present moment.
    pub fn send(&mut self, bytes: &[u8]) {
        self.to_unit.send(bytes, self.now);
    }

    /// The next piece that has arrived at the host.
    pub fn take(&mut self) -> Option<Vec<u8>> {
        self.to_host.take(self.now)
    }

    /// When something can happen next, bytes for the host included.
    #[must_use]
    pub fn next(&self) -> Micros {
        self.next_inside().min(self.to_host.next_arrival())
    }

    fn next_inside(&self) -> Micros {
        self.unit
            .next()
            .min(self.to_unit.next_arrival())
            .min(self.plug_at.unwrap_or(Micros::NEVER))
    }

    /// Runs until `now`, or until bytes have arrived at the host if that is
    /// sooner; the moment reached.
    pub fn run_until_heard(&mut self, now: Micros) -> Micros {
        loop {
            let next = self.next_inside();
            let stop = self.to_host.next_arrival().max(self.now).min(now);
            if next > stop {
                self.now = self.now.max(stop);
                return self.now;
            }
            self.happen(next);
        }
    }

    /// Runs until `now`, whatever arrives at the host meanwhile.
    pub fn run_to(&mut self, now: Micros) {
        while self.next_inside() <= now {
            self.happen(self.next_inside());
        }
        self.unit.run_to(now);
        self.now = self.now.max(now);
    }

    fn happen(&mut self, at: Micros) {
        self.now = self.now.max(at);
        let now = self.now;
        if self.plug_at.is_some_and(|plug| plug <= now) {
            self.plug();
        }
        while let Some(bytes) = self.to_unit.take(now) {
            self.unit.receive(&bytes, now);
        }
        if self.unit.next() <= now {
            self.unit.poll(now);
            self.drain(now);
            if self.unit.take_cable_pulled() {
                self.pulled += 1;
                self.unplug(Some(self.out_us));
            }
        }
    }

    /// The unit's frames go out as far as its sender has room.
    fn drain(&mut self, now: Micros) {
        // A next poll that is not due at once means that nothing waits.
        if self.unit.next() > now.plus(1) {
            return;
        }
        let mut wire = [0; MOST_WIRE];
        while self.to_host.backlog(now) < FIFO {
            let Some(length) = self.unit.pull(now, &mut wire) else {
                return;
            };
            self.to_host.send(&wire[..length], now);
        }
        self.unit.not_before(now.plus(FULL_US));
    }

    /// Pulls the cable; for so long, or until [`CabledUnit::plug`].
    pub fn unplug(&mut self, for_us: Option<u64>) {
        self.to_unit.unplug();
        self.to_host.unplug();
        self.plug_at = for_us.map(|us| self.now.plus(us));
    }

    /// Puts the cable back.
    pub fn plug(&mut self) {
        self.plug_at = None;
        self.to_unit.plug();
        self.to_host.plug();
    }

    /// Whether the cable is in.
    #[must_use]
    pub fn plugged(&self) -> bool {
        self.to_unit.plugged()
    }

    /// How often the cable was pulled by chance.
    #[must_use]
    pub fn pulled(&self) -> u64 {
        self.pulled
    }
}
