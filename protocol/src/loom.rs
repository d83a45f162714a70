//! What a unit at a loom says and is told: its sensors, and what it has seen
//! happen. The order of variants and fields is the wire's: it only grows at the
//! end.
//!
//! Events are numbered from 0 in every boot. The unit keeps them until the host
//! says that they are on disk, so that a host which comes back misses none.

use heapless::Vec;
use serde::{Deserialize, Serialize};

/// Lines that sensors are wired to.
pub const LINES: usize = 8;

/// Most events in one [`crate::UnitToHost::LoomEvents`] message.
pub const EVENTS_A_MESSAGE: usize = 16;

/// Events that a unit keeps at least until the host has them on disk.
pub const EVENTS_HELD: usize = 4_096;

/// Edges of the cylinder's two sensors in one card's turn: each goes on and off
/// once.
pub const EDGES_A_CARD: u16 = 4;

/// A line with a sensor. Its number is its bit in every set of lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum LoomLine {
    /// First of the two sensors at the cylinder, a quarter of a card's turn apart.
    CylinderA,
    /// Second of them.
    CylinderB,
    /// The griffe is up.
    Griffe,
    /// The batten is at the cloth.
    Batten,
    /// A shuttle is in the left box.
    BoxLeft,
    /// A shuttle is in the right box.
    BoxRight,
    /// First track of the encoder at the cloth beam or breast roller.
    TakeUpA,
    /// Second track of it.
    TakeUpB,
}

impl LoomLine {
    /// Every line, in the order of their bits.
    pub const ALL: [LoomLine; LINES] = [
        LoomLine::CylinderA,
        LoomLine::CylinderB,
        LoomLine::Griffe,
        LoomLine::Batten,
        LoomLine::BoxLeft,
        LoomLine::BoxRight,
        LoomLine::TakeUpA,
        LoomLine::TakeUpB,
    ];

    /// Its bit in a set of lines.
    #[must_use]
    pub const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// How a loom's sensors are wired and how long they bounce.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoomSettings {
    /// The lines that a sensor is wired to; the others are not looked at.
    pub fitted: u8,
    /// Lines whose sensor pulls low when it sees something.
    pub inverted: u8,
    /// How long each line must keep a level before it counts, in microseconds:
    /// longer than its longest bounce, shorter than its shortest true level. 0
    /// takes every change, which is right for tracks that cannot bounce together.
    pub settle_us: [u32; LINES],
    /// Whether the cylinder's sensors, as wired, see B before A when the chain
    /// goes forwards.
    pub cylinder_swapped: bool,
    /// Whether the take-up's tracks do when cloth is wound on.
    pub take_up_swapped: bool,
    /// Encoder edges that make one event of the take-up, from 1.
    pub take_up_edges: u16,
}

/// What has happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Happening {
    /// The cylinder has turned one card on.
    CardForward,
    /// The cylinder has turned one card back.
    CardBack,
    /// Both of the cylinder's sensors changed at once: which way it turned is not
    /// known.
    CylinderUnclear,
    /// The griffe has gone up.
    Lift,
    /// The batten has beaten.
    Beat,
    /// A shuttle has come into the left box.
    ShuttleLeft,
    /// A shuttle has come into the right box.
    ShuttleRight,
    /// So much cloth as one event stands for was wound on.
    TakenUp,
    /// The same was let off again.
    LetOff,
}

/// One event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoomEvent {
    /// Unit time at its first edge, in microseconds since the unit started; kept
    /// in grains of [`GRAIN_US`].
    pub at_us: u64,
    /// What it is.
    pub what: Happening,
}

/// Grain of the times of events, in microseconds.
pub const GRAIN_US: u64 = 16;

/// What was counted since the unit started. It does not depend on what the host
/// has stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoomCounts {
    /// Cards turned on.
    pub forward: u32,
    /// Cards turned back.
    pub back: u32,
    /// Turns whose direction is not known.
    pub unclear: u32,
    /// Lifts of the griffe.
    pub lifts: u32,
    /// Beats.
    pub beats: u32,
    /// Arrivals in the left box.
    pub left: u32,
    /// Arrivals in the right box.
    pub right: u32,
    /// Events of cloth wound on, less those let off.
    pub take_up: i32,
}

impl LoomCounts {
    /// Counts one event.
    pub fn add(&mut self, what: Happening) {
        let count = |counter: &mut u32| *counter = counter.wrapping_add(1);
        match what {
            Happening::CardForward => count(&mut self.forward),
            Happening::CardBack => count(&mut self.back),
            Happening::CylinderUnclear => count(&mut self.unclear),
            Happening::Lift => count(&mut self.lifts),
            Happening::Beat => count(&mut self.beats),
            Happening::ShuttleLeft => count(&mut self.left),
            Happening::ShuttleRight => count(&mut self.right),
            Happening::TakenUp => self.take_up = self.take_up.wrapping_add(1),
            Happening::LetOff => self.take_up = self.take_up.wrapping_sub(1),
        }
    }
}

/// How the loom's part of a unit stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoomStatus {
    /// Unit time, in microseconds since it started.
    pub at_us: u64,
    /// The settings it works with, if it was given any since it started.
    pub settings: Option<LoomSettings>,
    /// Number of the oldest event it still has.
    pub first: u32,
    /// Number that the next event will get.
    pub next: u32,
    /// Counts up to `next`.
    pub counts: LoomCounts,
    /// Lines that see something, as they have settled.
    pub lines: u8,
}

/// Events in order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoomEvents {
    /// Number of the first of them.
    pub first: u32,
    /// The events.
    pub events: Vec<LoomEvent, EVENTS_A_MESSAGE>,
}
