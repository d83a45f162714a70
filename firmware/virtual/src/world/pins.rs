//! What the firmware can touch of the world, by the world's names, and what the
//! world can do to the firmware.

/// The output pins, as the world names them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Output {
    /// Feed step.
    Step,
    /// Feed current.
    FeedOn,
    /// Magazine.
    Pick,
    /// Lock register latch.
    LocksLatch,
    /// Lock coils driven.
    LocksOn,
    /// Peg punch lock.
    Peg,
    /// Block drive.
    Stroke,
    /// Lamp.
    Lamp,
    /// Status lamp.
    Status,
}

/// How many outputs there are.
pub const OUTPUTS: usize = 9;

impl Output {
    /// All of them.
    pub const ALL: [Output; OUTPUTS] = [
        Output::Step,
        Output::FeedOn,
        Output::Pick,
        Output::LocksLatch,
        Output::LocksOn,
        Output::Peg,
        Output::Stroke,
        Output::Lamp,
        Output::Status,
    ];

    pub(super) const fn bit(self) -> u16 {
        1 << self as u16
    }
}

/// The input pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Input {
    /// Block at the top.
    BlockUp,
    /// Block at the bottom.
    BlockDown,
    /// Card over the edge sensor.
    Edge,
    /// Guard shut.
    Guard,
    /// Stop button out.
    Stop,
}

/// What the world does to the unit itself; the unit's runner carries it out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// The unit lost its power and comes back.
    Restart,
    /// The cable is pulled.
    CablePulled,
}
