//! What a run has to tell: edges, resets, costs, and how the unit names itself.

use super::answer::Cause;
use cardwright_virtual::world::Output;
use std::time::Duration;

/// An output changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// When, in nanoseconds of the world's time.
    pub ns: u64,
    /// Which.
    pub output: Output,
    /// To high or to low.
    pub high: bool,
}

/// The chip was reset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reset {
    /// When, in nanoseconds.
    pub ns: u64,
    /// Why.
    pub cause: Cause,
}

/// What the sensors at the loom show has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LinesChange {
    /// When, in nanoseconds of the world's time.
    pub ns: u64,
    /// How the lines are from then on, in the bits of `LoomLine`.
    pub lines: u8,
}

/// What the unit says of itself over USB.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UsbIdentity {
    /// How often it has been found so far.
    pub found: u32,
    /// Its device descriptor.
    pub device: Vec<u8>,
    /// Its configuration descriptor, with all that belongs to it.
    pub configuration: Vec<u8>,
    /// Its maker.
    pub manufacturer: String,
    /// Its name.
    pub product: String,
    /// Its serial number.
    pub serial: String,
}

/// What the run has cost and lost so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Statistics {
    /// Time of the chip.
    pub emulated: Duration,
    /// Time of this computer, in the emulator.
    pub wall: Duration,
    /// Questions and answers.
    pub round_trips: u64,
    /// Instructions executed.
    pub instructions: u64,
    /// Bytes sent to a port that was not there.
    pub bytes_lost: u64,
    /// Packets thrown away for a wrong data toggle, either way.
    pub wrong_toggles: u64,
}
