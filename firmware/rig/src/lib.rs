//! Everything a unit does, at a punch or at a loom, over embedded-hal traits.
//!
//! Enters: bytes from the line, the pins, the time. Leaves: bytes for the line,
//! pin changes, and the moment at which it wants to be polled again. It reads
//! no clock, opens no port and allocates nothing, so the same code runs on a
//! chip, in the virtual rig and in tests.
//!
//! Three parts that a board may poll apart: the [`machine`], which moves things
//! and must never be held up, the sensors of the [`loom`], and the [`desk`], which
//! talks to the host.
//!
//! It is not a safety device: guards, an emergency stop that cuts the power to
//! punches, coils and motors on its own, and local codes come first.

#![no_std]

pub mod coils;
pub mod counters;
mod cycle;
pub mod desk;
mod exercise;
pub mod feed;
pub mod hardware;
pub mod held;
pub mod limits;
pub mod loom;
pub mod machine;
pub mod plan;
pub mod punch;
pub mod queue;
pub mod reader;
pub mod room;

use core::ops::DerefMut;

use cardwright_protocol::Micros;
use cardwright_protocol::link::Versions;
use cardwright_protocol::unit_to_host::{Role, StopReason};

use crate::desk::Desk;
use crate::hardware::{Board, Wiring};
use crate::loom::{LoomLines, Sensors, Store};
use crate::machine::Machine;

/// What a unit knows of itself when it starts.
#[derive(Clone, Copy, Debug)]
pub struct About {
    /// A rig, whose board has the loom's sensors too as far as they are wired, or
    /// the loom's sensors alone.
    pub role: Role,
    /// The board's own unchanging number.
    pub board: [u8; 8],
    /// How often it has started, this time included; kept by the board.
    pub boot: u32,
    /// Why it last stopped, kept by the board over a restart.
    pub last_stop: StopReason,
    /// Needle punches and light channels it has, 1 to 16.
    pub channels: u8,
    /// Protocol versions it speaks.
    pub versions: Versions,
}

/// A board's part for the loom.
pub struct Loom<L, S> {
    /// The sensors' lines.
    pub lines: L,
    /// Where events wait for the host.
    pub store: S,
}

/// A rig whose desk, machine and sensors are polled one after the other.
pub struct Rig<B: Board, L, S> {
    desk: Desk<S>,
    machine: Machine<B>,
    sensors: Sensors,
    lines: L,
}

impl<B: Board, L: LoomLines, S: DerefMut<Target = Store>> Rig<B, L, S> {
    /// A rig that has just been switched on. Its outputs are off, and what lies
    /// in it is unknown.
    pub fn new(wiring: Wiring<B>, room: B::Room, loom: Loom<L, S>, about: About) -> Rig<B, L, S> {
        Rig {
            desk: Desk::new(about, loom.store),
            machine: Machine::new(wiring, room, about.last_stop, about.channels),
            sensors: Sensors::new(),
            lines: loom.lines,
        }
    }

    /// The desk, for the line.
    pub fn desk(&mut self) -> &mut Desk<S> {
        &mut self.desk
    }

    /// Does what is due. When it wants to be polled again at the latest.
    pub fn poll(&mut self, now: Micros) -> Micros {
        self.machine.poll(now);
        let levels = self.lines.read();
        let book = self.desk.book();
        self.sensors
            .look(now, levels, &mut |event| book.note(event));
        book.lines(self.sensors.settled());
        self.desk.poll(now, &mut self.machine);
        if let Some(settings) = self.desk.book().take_settings() {
            self.sensors.configure(settings, levels, now);
        }
        // after the desk: an order may have begun what must be watched closely
        self.machine
            .next_wake(now)
            .min(self.desk.next_wake())
            .min(self.sensors.next_wake())
    }

    /// Why the machine last stopped, for the board to keep over a restart.
    pub fn last_stop(&self) -> StopReason {
        self.machine.last_stop()
    }
}
