//! A whole unit: the firmware core on the virtual board in a world.
//!
//! Enters: bytes from the line, time. Leaves: bytes for the line and the moment
//! of the next poll. All moments are the world's; the firmware's own clock
//! starts at 0 with every boot. Of a restart the board keeps a count of boots
//! and the reason of the last stop, nothing else.

use crate::board::{Lines, SharedWorld, VirtualBoard, wire_up};
use crate::world::{Signal, World};
use cardwright_protocol::Micros;
use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::link::Versions;
use cardwright_protocol::unit_to_host::{Role, StopReason};
use cardwright_rig::loom::Store;
use cardwright_rig::{About, Loom, Rig};
use std::cell::{Ref, RefCell, RefMut};
use std::rc::Rc;
use std::time::Instant;

/// How long a restarting unit is dead.
const RESTART_US: u64 = 300_000;

/// What is soldered on: it survives every restart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Nameplate {
    /// The board's own number.
    pub board: [u8; 8],
    /// Boots before this one.
    pub boots: u32,
    /// Punches and light channels built in, 1 to 16.
    pub channels: u8,
    /// What it is for.
    pub role: Role,
    /// Protocol versions of its firmware.
    pub versions: Versions,
}

impl Default for Nameplate {
    fn default() -> Nameplate {
        Nameplate {
            board: *b"virtual1",
            boots: 0,
            channels: 16,
            role: Role::Rig,
            versions: Versions::CURRENT,
        }
    }
}

/// The firmware as this computer runs it.
type VirtualFirmware = Rig<VirtualBoard, Lines, Box<Store>>;

/// A unit in its world.
pub struct VirtualUnit {
    world: SharedWorld,
    rig: VirtualFirmware,
    nameplate: Nameplate,
    last_stop: StopReason,
    /// The world's moment at which the firmware's clock was 0.
    started: u64,
    next: Micros,
    cable_pulled: bool,
    polls: u64,
    measured: bool,
}

impl VirtualUnit {
    /// Switches a unit on in this world, at the world's present moment.
    #[must_use]
    pub fn new(world: World, nameplate: Nameplate) -> VirtualUnit {
        let world = Rc::new(RefCell::new(world));
        let started = world.borrow().now().0;
        let mut nameplate = nameplate;
        nameplate.boots = nameplate.boots.wrapping_add(1);
        let last_stop = StopReason::PowerOn;
        let rig = boot(&world, &nameplate, last_stop);
        VirtualUnit {
            world,
            rig,
            nameplate,
            last_stop,
            started,
            next: Micros(started),
            cable_pulled: false,
            polls: 0,
            measured: false,
        }
    }

    /// The world, to look at.
    ///
    /// # Panics
    /// Never between two calls of this unit's methods: the pins borrow the
    /// world only while they are written or read.
    #[must_use]
    pub fn world(&self) -> Ref<'_, World> {
        self.world.borrow()
    }

    /// The world, for a person's hands. The unit is polled again at once.
    pub fn world_mut(&mut self) -> RefMut<'_, World> {
        self.next = self.next.min(self.world.borrow().now());
        self.world.borrow_mut()
    }

    /// The number of the present boot.
    #[must_use]
    pub fn boot(&self) -> u32 {
        self.nameplate.boots
    }

    /// How often the firmware was polled.
    #[must_use]
    pub fn polls(&self) -> u64 {
        self.polls
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        self.world.borrow().now()
    }

    /// When it must be polled again at the latest.
    #[must_use]
    pub fn next(&self) -> Micros {
        self.next
    }

    /// Puts the next poll off until `moment`, when its line is full.
    pub(crate) fn not_before(&mut self, moment: Micros) {
        self.next = self.next.max(moment);
    }

    /// Bytes come from the line at `now`. A unit without power loses them.
    pub fn receive(&mut self, bytes: &[u8], now: Micros) {
        if now.0 >= self.started {
            self.rig.desk().receive(bytes, Micros(now.0 - self.started));
            self.next = self.next.min(now);
        }
    }

    /// The next frame for the line, if there is one: its length in `wire`.
    pub fn pull(&mut self, now: Micros, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        if now.0 < self.started {
            return None;
        }
        self.rig.desk().pull(Micros(now.0 - self.started), wire)
    }

    /// Has the firmware told how long each poll takes, by this computer's clock.
    pub fn measure_polls(&mut self) {
        self.measured = true;
    }

    /// Lets the world come to `now` and the firmware do what is due. When it
    /// wants to be polled again.
    pub fn poll(&mut self, now: Micros) -> Micros {
        let (change, signal) = {
            let mut world = self.world.borrow_mut();
            world.advance(now);
            (world.next_change(), world.take_signal())
        };
        match signal {
            Some(Signal::Restart) => self.restart(),
            Some(Signal::CablePulled) => self.cable_pulled = true,
            None => {}
        }
        if now.0 < self.started {
            self.next = Micros(self.started).min(change);
            return self.next;
        }
        self.polls += 1;
        let began = self.measured.then(Instant::now);
        let wake = self.rig.poll(Micros(now.0 - self.started));
        if let Some(began) = began {
            let us = began.elapsed().as_micros();
            self.rig
                .desk()
                .poll_took(u32::try_from(us).unwrap_or(u32::MAX));
        }
        let change = self.world.borrow().next_change();
        let wake = Micros(wake.0.saturating_add(self.started));
        // The world's grain is a microsecond: one poll in each at most.
        self.next = wake.min(change).max(now.plus(1));
        self.next
    }

    /// Polls as often as wanted until `now`, `now` included.
    pub fn run_to(&mut self, now: Micros) {
        while self.next <= now {
            self.poll(self.next);
        }
        self.world.borrow_mut().advance(now);
    }

    /// The unit loses its power and comes back: all outputs drop, its memory is
    /// lost, the world stays as it is.
    pub fn restart(&mut self) {
        self.last_stop = self.rig.last_stop();
        let now = {
            let mut world = self.world.borrow_mut();
            world.power_off();
            world.now()
        };
        self.nameplate.boots = self.nameplate.boots.wrapping_add(1);
        self.rig = boot(&self.world, &self.nameplate, self.last_stop);
        self.started = now.0 + RESTART_US;
        self.next = Micros(self.started);
    }

    /// Whether the cable has been pulled since this was last asked.
    pub fn take_cable_pulled(&mut self) -> bool {
        std::mem::take(&mut self.cable_pulled)
    }
}

fn boot(world: &SharedWorld, nameplate: &Nameplate, last_stop: StopReason) -> VirtualFirmware {
    let about = About {
        role: nameplate.role,
        board: nameplate.board,
        boot: nameplate.boots,
        last_stop,
        channels: nameplate.channels,
        versions: nameplate.versions,
    };
    let loom = Loom {
        lines: Lines(Rc::clone(world)),
        store: Box::default(),
    };
    Rig::new(wire_up(world), Box::default(), loom, about)
}
