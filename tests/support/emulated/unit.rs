//! The emulated unit in its world, on its cable.
//!
//! Enters: the host's bytes, a person's hands, time. Leaves: the unit's bytes;
//! what the firmware's pins did, to the nanosecond. Chip and world run in lock
//! step: the chip stops at every event the world can answer, the world comes to
//! that moment, and the chip goes on with what its inputs show then. Step pulses
//! that no sensor can notice are told together, each with its moment.

mod memory;

use super::answer::{Event, Reader, State};
use super::image::Image;
use super::process::{Emulator, Request};
use super::told::{Edge, LinesChange, Reset};
use cardwright_protocol::Micros;
use cardwright_protocol::unit_to_host::Levels;
use cardwright_virtual::World;
use cardwright_virtual::world::{Input, Signal};
use std::cell::{Ref, RefCell, RefMut};
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// How long a restarting unit is without power.
const OFF_US: u64 = 300_000;

/// One look at the light bar serves conversions begun within this time, unless
/// an output changes before.
const SCAN_NS: u64 = 200_000;

/// Full scale of the supply's divider and reference, in millivolts.
const SUPPLY_FULL_MV: u64 = 11 * 3300;

/// Inputs of the machine, in the order of their bits; the loom's lines follow.
const INPUTS: [Input; 5] = [
    Input::BlockUp,
    Input::BlockDown,
    Input::Edge,
    Input::Guard,
    Input::Stop,
];

/// The unit.
#[derive(Debug)]
pub struct EmulatedUnit {
    emulator: Emulator,
    world: RefCell<World>,
    /// The world's moment at which the emulator's clock was 0.
    base_us: u64,
    state: State,
    outgoing: Vec<u8>,
    heard: VecDeque<Vec<u8>>,
    light: Option<(Levels, u64)>,
    plug_at: Option<Micros>,
    power_at: Option<Micros>,
    /// How long a cable pulled by chance stays out.
    out_us: u64,
    pulled: u64,
    resets: Vec<Reset>,
    faults: Vec<u32>,
    trace: Option<Vec<Edge>>,
    /// Both sensors of the block are tied high: the board is at a loom and nothing
    /// else.
    at_loom_only: bool,
    /// The loom's lines as the chip was told last.
    lines: u8,
    line_changes: Option<Vec<LinesChange>>,
    wall: Duration,
    round_trips: u64,
}

impl EmulatedUnit {
    /// Switches a board with this image and this number of its own on in this
    /// world. A cable pulled by chance stays out for `out_us`.
    ///
    /// # Panics
    /// If the emulator cannot be started, with what is missing.
    #[must_use]
    pub fn new(world: World, image: &Image, number: [u8; 8], out_us: u64) -> EmulatedUnit {
        let mut unit = EmulatedUnit::unpowered(world, image, number, out_us);
        unit.power(true);
        unit
    }

    /// The same with a board that is wired to a loom alone.
    ///
    /// # Panics
    /// As [`EmulatedUnit::new`].
    #[must_use]
    pub fn at_loom_only(world: World, image: &Image, number: [u8; 8], out_us: u64) -> EmulatedUnit {
        let mut unit = EmulatedUnit::unpowered(world, image, number, out_us);
        unit.at_loom_only = true;
        unit.power(true);
        unit
    }

    fn unpowered(world: World, image: &Image, number: [u8; 8], out_us: u64) -> EmulatedUnit {
        let mut unit = EmulatedUnit {
            emulator: Emulator::start(),
            base_us: world.now().0,
            world: RefCell::new(world),
            state: State::default(),
            outgoing: Vec::new(),
            heard: VecDeque::new(),
            light: None,
            plug_at: None,
            power_at: None,
            out_us,
            pulled: 0,
            resets: Vec::new(),
            faults: Vec::new(),
            trace: None,
            at_loom_only: false,
            lines: 0,
            line_changes: None,
            wall: Duration::ZERO,
            round_trips: 0,
        };
        unit.emulator.ask(Request::UniqueNumber, &number);
        for (address, bytes) in &image.pieces {
            unit.write(*address, bytes);
        }
        unit
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        Micros(self.base_us + self.state.now_ns / 1000)
    }

    /// The world, to look at.
    ///
    /// # Panics
    /// While a `world_mut` is held.
    #[must_use]
    pub fn world(&self) -> Ref<'_, World> {
        self.world.borrow()
    }

    /// The world, for a person's hands.
    ///
    /// # Panics
    /// While another look at it is held.
    pub fn world_mut(&mut self) -> RefMut<'_, World> {
        self.world.borrow_mut()
    }

    /// The host puts bytes on the line, at the present moment.
    pub fn send(&mut self, bytes: &[u8]) {
        self.outgoing.extend_from_slice(bytes);
    }

    /// Bytes put in that the unit has not taken yet.
    #[must_use]
    pub fn backlog(&self) -> u64 {
        u64::from(self.state.waiting) + self.outgoing.len() as u64
    }

    /// The next piece that has arrived at the host.
    pub fn take(&mut self) -> Option<Vec<u8>> {
        self.heard.pop_front()
    }

    /// When something can happen next that is known of now.
    #[must_use]
    pub fn next(&self) -> Micros {
        let change = self.world.borrow().next_change();
        let next = change.min(self.plug_at.unwrap_or(Micros::NEVER));
        next.min(self.power_at.unwrap_or(Micros::NEVER))
    }

    /// Runs until `now`, or until bytes have arrived at the host if that is
    /// sooner; the moment reached.
    pub fn run_until_heard(&mut self, now: Micros) -> Micros {
        while self.heard.is_empty() && self.now() < now {
            self.step(now);
        }
        self.now()
    }

    /// Runs until `now`, whatever arrives at the host meanwhile.
    pub fn run_to(&mut self, now: Micros) {
        while self.now() < now {
            self.step(now);
        }
    }

    /// Runs until the host has found the unit; whether it has by `now`.
    pub fn run_until_found(&mut self, now: Micros) -> bool {
        while !self.state.ready && self.now() < now {
            self.step(now);
        }
        self.state.ready
    }

    /// One turn of the lock step, to `until` at most.
    fn step(&mut self, until: Micros) {
        let now = self.now();
        if self.plug_at.is_some_and(|at| at <= now) {
            self.plug();
        }
        if self.power_at.is_some_and(|at| at <= now) {
            self.power_at = None;
            self.power(true);
        }
        let next = self.next().min(until).max(now.plus(1));
        self.tell_lines();
        let body = self.request(next);
        self.outgoing.clear();
        let events = self.exchange(Request::Run, &body);
        self.apply(events);
        let signal = {
            let now = self.now();
            let mut world = self.world.borrow_mut();
            world.advance(now);
            world.take_signal()
        };
        match signal {
            Some(Signal::Restart) => self.power_cycle(),
            Some(Signal::CablePulled) => {
                self.pulled += 1;
                self.unplug(Some(self.out_us));
            }
            None => {}
        }
    }

    /// The loom's lines go to the chip with the next request.
    fn tell_lines(&mut self) {
        let lines = self.world.borrow().loom_lines();
        if lines != self.lines {
            self.lines = lines;
            let ns = self.base_us * 1000 + self.state.now_ns;
            if let Some(changes) = &mut self.line_changes {
                changes.push(LinesChange { ns, lines });
            }
        }
    }

    /// What the inputs show, the loom's lines above the machine's.
    fn inputs(&self, world: &World) -> u16 {
        let tied = |input| matches!(input, Input::BlockUp | Input::BlockDown) && self.at_loom_only;
        let machine: u16 = (0u8..)
            .zip(INPUTS)
            .map(|(bit, input)| u16::from(tied(input) || world.input(input)) << bit)
            .sum();
        machine | u16::from(self.lines) << INPUTS.len()
    }

    fn request(&mut self, until: Micros) -> Vec<u8> {
        let until_ns = (until.0 - self.base_us).saturating_mul(1000);
        let world = self.world.borrow();
        let inputs = self.inputs(&world);
        let supply = u64::from(world.supply_mv()) * 4096 / SUPPLY_FULL_MV;
        let mut body = Vec::with_capacity(64 + self.outgoing.len());
        body.extend_from_slice(&(until_ns as f64).to_le_bytes());
        body.extend_from_slice(&inputs.to_le_bytes());
        body.extend_from_slice(&(supply.min(4095) as u16).to_le_bytes());
        let steps = u32::try_from(world.steps_unnoticed()).unwrap_or(u32::MAX);
        body.extend_from_slice(&steps.to_le_bytes());
        body.push(u8::from(self.light.is_some()));
        if let Some((levels, until_ns)) = self.light.take() {
            for level in levels {
                body.extend_from_slice(&(u16::from(level) * 16 + 8).to_le_bytes());
            }
            body.extend_from_slice(&(until_ns as f64).to_le_bytes());
        }
        body.extend_from_slice(&self.outgoing);
        body
    }

    fn exchange(&mut self, request: Request, body: &[u8]) -> Vec<(u64, Event)> {
        let began = Instant::now();
        let mut reader = Reader(self.emulator.ask(request, body));
        self.state = State::read(&mut reader);
        let events = std::iter::from_fn(|| Event::read(&mut reader)).collect();
        self.wall += began.elapsed();
        self.round_trips += 1;
        events
    }

    fn apply(&mut self, events: Vec<(u64, Event)>) {
        for (at_ns, event) in events {
            let ns = self.base_us * 1000 + at_ns;
            let world = self.world.get_mut();
            world.advance(Micros(ns / 1000));
            match event {
                Event::Edge { output, high } => {
                    world.set_output(output, high);
                    if let Some(trace) = &mut self.trace {
                        trace.push(Edge { ns, output, high });
                    }
                }
                Event::Shift(byte) => world.shift(byte),
                Event::Conversion => self.light = Some((world.levels(), at_ns + SCAN_NS)),
                Event::Bytes(bytes) => self.heard.push_back(bytes),
                Event::Reset(cause) => self.resets.push(Reset { ns, cause }),
                Event::Fault(address) => self.faults.push(address),
                Event::Ready => {}
            }
        }
    }

    fn power(&mut self, on: bool) {
        let events = self.exchange(Request::Power, &[u8::from(on)]);
        self.apply(events);
    }

    /// The unit loses its power and comes back after a while: all outputs drop,
    /// its memory is lost, the world stays as it is.
    pub fn power_cycle(&mut self) {
        self.power(false);
        self.outgoing.clear();
        self.world.get_mut().power_off();
        self.power_at = Some(self.now().plus(OFF_US));
    }

    /// Pulls the cable; for so long, or until [`EmulatedUnit::plug`].
    pub fn unplug(&mut self, for_us: Option<u64>) {
        self.outgoing.clear();
        self.heard.clear();
        self.plug_at = for_us.map(|us| self.now().plus(us));
        let events = self.exchange(Request::Cable, &[0]);
        self.apply(events);
    }

    /// Puts the cable back.
    pub fn plug(&mut self) {
        self.plug_at = None;
        let events = self.exchange(Request::Cable, &[1]);
        self.apply(events);
    }

    /// Whether the cable is in.
    #[must_use]
    pub fn plugged(&self) -> bool {
        self.state.plugged
    }

    /// Whether the host has found the unit and holds its port open.
    #[must_use]
    pub fn found(&self) -> bool {
        self.state.ready
    }

    /// Whether the chip waits in its ROM for a new firmware.
    #[must_use]
    pub fn in_bootloader(&self) -> bool {
        self.state.bootloader
    }

    /// Whether a fault within a fault has stopped the core until a reset.
    #[must_use]
    pub fn locked_up(&self) -> bool {
        self.state.locked_up
    }

    /// How often the cable was pulled by chance.
    #[must_use]
    pub fn pulled(&self) -> u64 {
        self.pulled
    }

    /// The chip's resets so far, without losses of power.
    #[must_use]
    pub fn resets(&self) -> &[Reset] {
        &self.resets
    }

    /// Addresses of the instructions at which faults were taken.
    #[must_use]
    pub fn faults(&self) -> &[u32] {
        &self.faults
    }

    /// Keeps output edges from now on, or no longer. Those kept are forgotten.
    pub fn keep_trace(&mut self, keep: bool) {
        self.trace = keep.then(Vec::new);
    }

    /// The output edges kept since this was asked last.
    pub fn take_trace(&mut self) -> Vec<Edge> {
        self.trace.as_mut().map(std::mem::take).unwrap_or_default()
    }

    /// Keeps changes of the loom's lines from now on, or no longer. Those kept are
    /// forgotten.
    pub fn keep_lines(&mut self, keep: bool) {
        self.line_changes = keep.then(Vec::new);
    }

    /// The changes of the loom's lines kept since this was asked last.
    pub fn take_lines(&mut self) -> Vec<LinesChange> {
        let kept = self.line_changes.as_mut();
        kept.map(std::mem::take).unwrap_or_default()
    }
}
