//! The world the firmware drives: block, feed, cards, light, people.
//!
//! Enters: time ([`World::advance`]), edges of the firmware's output pins, and
//! what a person does at the machine. Leaves: what the sensors show, and apart
//! from that the [`Truth`]. It refuses to run backwards: an earlier moment is
//! taken as the present one.
//!
//! Nothing is computed until something can change: a feed step is a count and
//! a comparison with the next step that matters, and time is a comparison with
//! the next moment that matters.

mod block;
mod feed;
mod light;
mod loom;
mod operator;
mod pins;
mod pulses;
mod safety;
mod trace;

use crate::faults::{FaultKind, Faults, Injectors};
use crate::loom::LoomPlace;
use crate::settings::WorldSettings;
use crate::stock::Stock;
use crate::truth::{Injected, Truth};
use cardwright_protocol::time::Micros;
use std::collections::VecDeque;

pub use pins::{Input, OUTPUTS, Output, Signal};
pub use safety::{Edge, Safety};

use block::Block;
use feed::Feed;
use light::Bar;
use operator::Hands;
use pulses::Pulses;
use trace::Trace;

const NEVER: u64 = u64::MAX;

/// How soon after a stroke begins an event of that stroke happens, at most.
const EVENT_WITHIN_US: u64 = 60_000;

/// Most events waiting to happen or to be fetched.
const MOST_EVENTS: usize = 64;

/// The modelled world.
#[derive(Debug)]
pub struct World {
    now: u64,
    /// The next moment at which something changes by itself.
    next: u64,
    outputs: u16,
    feed: Feed,
    block: Block,
    bar: Bar,
    hands: Hands,
    pulses: Pulses,
    safety: Safety,
    /// When `pick` will have been high long enough.
    pick_at: u64,
    shift_register: u16,
    settings: WorldSettings,
    chance: Injectors,
    stock: Stock,
    truth: Truth,
    due: Vec<(u64, FaultKind)>,
    next_second: u64,
    signals: VecDeque<Signal>,
    watchdog_fed: u64,
    trace: Option<Trace>,
    loom: Option<Box<LoomPlace>>,
}

impl World {
    /// A world at rest: guard shut, stop out, no card in the machine, the
    /// magazine empty.
    #[must_use]
    pub fn new(settings: WorldSettings, faults: &Faults) -> World {
        let chance = Injectors::new(faults);
        let next_second = if chance.by_second() { 1_000_000 } else { NEVER };
        World {
            now: 0,
            next: next_second,
            outputs: 0,
            feed: Feed::new(&settings),
            block: Block::new(&settings),
            bar: Bar::new(&settings),
            hands: Hands::new(settings.supply_mv),
            pulses: Pulses::new(),
            safety: Safety::new(),
            pick_at: NEVER,
            shift_register: 0,
            stock: Stock::new(&settings.stock),
            chance,
            settings,
            truth: Truth::default(),
            due: Vec::new(),
            next_second,
            signals: VecDeque::new(),
            watchdog_fed: 0,
            trace: None,
            loom: None,
        }
    }

    /// How the machine really is.
    #[must_use]
    pub fn settings(&self) -> &WorldSettings {
        &self.settings
    }

    /// What really happened.
    #[must_use]
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// The account, to take lists from.
    pub fn truth_mut(&mut self) -> &mut Truth {
        &mut self.truth
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        Micros(self.now)
    }

    /// The next moment at which a sensor can change without an output changing
    /// first. The world need not be looked at before.
    #[must_use]
    pub fn next_change(&self) -> Micros {
        let machine = Micros(
            self.next
                .min(self.bar.ready_at())
                .min(self.pulses.next_at()),
        );
        match &self.loom {
            Some(place) => machine.min(place.next_change()),
            None => machine,
        }
    }

    /// Lets time pass until `now`.
    pub fn advance(&mut self, now: Micros) {
        loop {
            let pulse_at = self.pulses.next_at();
            let next = self.next.min(pulse_at);
            if next > now.0 {
                break;
            }
            self.now = self.now.max(next);
            if pulse_at == next {
                self.pulse();
            } else {
                self.happen();
            }
        }
        self.now = self.now.max(now.0);
        if let Some(place) = &mut self.loom {
            place.advance(Micros(self.now));
        }
    }

    /// Everything that is due at the present moment.
    fn happen(&mut self) {
        if self.pick_at <= self.now {
            self.pick_at = NEVER;
            self.feed_a_card_from_magazine();
        }
        self.run_block();
        while let Some(at) = self.due.iter().position(|(at, _)| *at <= self.now) {
            let (_, kind) = self.due.swap_remove(at);
            self.carry_out(kind);
        }
        if self.next_second <= self.now {
            self.next_second = self.next_second.saturating_add(1_000_000);
            self.draw_events(1_000_000);
        }
        self.plan();
    }

    /// Finds the next moment that matters.
    fn plan(&mut self) {
        let due = self.due.iter().map(|(at, _)| *at).min().unwrap_or(NEVER);
        self.next = self
            .block
            .next_at(self.now)
            .min(self.pick_at)
            .min(due)
            .min(self.next_second);
    }

    /// Asks each event's chance once; those hit happen within `within_us`.
    fn draw_events(&mut self, within_us: u64) {
        for (kind, chance) in &mut self.chance.events {
            if chance.hit() && self.due.len() < MOST_EVENTS {
                self.due.push((self.now + chance.below(within_us), *kind));
            }
        }
    }

    fn carry_out(&mut self, kind: FaultKind) {
        self.note(kind, 0, 0.0);
        match kind {
            FaultKind::GuardOpened => self.open_guard(),
            FaultKind::StopPressed => self.press_stop(),
            FaultKind::UnitRestarted => self.signal(Signal::Restart),
            FaultKind::CablePulled => self.signal(Signal::CablePulled),
            _ => {}
        }
    }

    fn signal(&mut self, signal: Signal) {
        if self.signals.len() < MOST_EVENTS {
            self.signals.push_back(signal);
        }
    }

    /// What has just happened to the unit, if anything. For its runner.
    pub fn take_signal(&mut self) -> Option<Signal> {
        self.signals.pop_front()
    }

    /// Notes an injected fault.
    fn note(&mut self, kind: FaultKind, hole: u8, amount: f64) {
        self.truth.injected.push(Injected {
            at: Micros(self.now),
            kind,
            card: self.feed.first_card(),
            stroke: self.block.stroke_in_hand(&self.truth),
            hole,
            amount,
        });
    }

    /// Whether this output is high.
    #[must_use]
    pub fn output(&self, output: Output) -> bool {
        self.outputs & output.bit() != 0
    }

    /// The firmware sets an output, at the present moment.
    pub fn set_output(&mut self, output: Output, high: bool) {
        if self.output(output) == high {
            return;
        }
        if self.trace.is_some() {
            self.trace_output(output, high);
        }
        self.outputs ^= output.bit();
        if output == Output::Step {
            if high {
                self.step();
            }
            return;
        }
        self.safety.edge(self.now, output, high);
        match output {
            Output::Step | Output::Lamp | Output::Status => {}
            Output::FeedOn => self.feed.current(high),
            Output::Pick => {
                self.pick_at = if high {
                    self.now + self.settings.pick_us
                } else {
                    NEVER
                };
                self.plan();
            }
            Output::LocksLatch => {
                if high {
                    self.block.latch(self.shift_register);
                    self.switch_coils();
                }
            }
            Output::LocksOn | Output::Peg => self.switch_coils(),
            Output::Stroke => self.drive_block(high),
        }
    }

    fn step(&mut self) {
        let working = self.output(Output::FeedOn);
        self.safety.step(self.now, working);
        if working && self.feed.step() {
            self.card_reached_something();
        }
        if working && self.block.in_card() {
            self.tear();
        }
    }

    /// How many step pulses no sensor but the light bar can notice, as long as no
    /// other output changes and until [`World::next_change`].
    #[must_use]
    pub fn steps_unnoticed(&self) -> u64 {
        if !self.output(Output::FeedOn) {
            u64::MAX
        } else if self.block.in_card() {
            0
        } else {
            self.feed.steps_before_anything()
        }
    }

    /// All outputs low, as when the unit has no power.
    pub fn power_off(&mut self) {
        for output in Output::ALL {
            self.set_output(output, false);
        }
        self.halt_steps();
        self.take_steps();
        self.shift_register = 0;
        self.block.latch(0);
        self.switch_coils();
        self.bar.forget_scan();
    }

    /// What an input shows.
    #[must_use]
    pub fn input(&self, input: Input) -> bool {
        match input {
            Input::BlockUp => self.block.up(self.now),
            Input::BlockDown => self.hands.bottom_wire && self.block.down(self.now),
            Input::Edge => self.feed.edge_covered(),
            Input::Guard => self.hands.guard_shut,
            Input::Stop => self.hands.stop_out,
        }
    }

    /// A byte goes into the lock register.
    pub fn shift(&mut self, byte: u8) {
        self.trace_shift(byte);
        self.shift_register = self.shift_register << 8 | u16::from(byte);
    }

    /// Supply at the coils.
    #[must_use]
    pub fn supply_mv(&self) -> u16 {
        self.hands.supply_mv
    }

    /// The firmware feeds its watchdog.
    pub fn feed_watchdog(&mut self) {
        self.watchdog_fed = self.now;
    }

    /// When the watchdog was last fed.
    #[must_use]
    pub fn watchdog_fed(&self) -> Micros {
        Micros(self.watchdog_fed)
    }

    /// What the firmware's outputs did, for tests of its safety.
    #[must_use]
    pub fn safety(&self) -> &Safety {
        &self.safety
    }
}

#[cfg(test)]
mod tests;
