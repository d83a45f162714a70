//! The parts a rig is wired to, as embedded-hal traits; traits of our own only
//! where embedded-hal 1.0 has none (step pulses, analogue inputs, the watchdog).
//!
//! Outputs are active high here; a board inverts what it must. Guard and stop
//! are wired normally closed, so their inputs are high while all is well and a
//! broken wire stops the machine.

use core::convert::Infallible;
use core::ops::DerefMut;

use cardwright_protocol::unit_to_host::Levels;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_hal::spi::SpiBus;

use crate::room::Room;

/// The types of one board's parts.
pub trait Board {
    /// Any output pin; one that can fail would not do for switching off.
    type Output: OutputPin + ErrorType<Error = Infallible>;
    /// Any input pin.
    type Input: InputPin + ErrorType<Error = Infallible>;
    /// The bus of the shift registers that hold the punch locks.
    type Locks: SpiBus<u8>;
    /// The light bar behind the card.
    type Light: LightBar;
    /// The supply at the coils.
    type Supply: Voltmeter;
    /// The pulse generator of the feed motor.
    type Stepper: Stepper;
    /// Where the machine's large memory lies.
    type Room: DerefMut<Target = Room>;
    /// Restarts the unit when it is not fed.
    type Watchdog: Watchdog;
}

/// Most intervals a [`Stepper`] is given beyond the pulses it has made: one that
/// runs and three that wait, so that no pulse moves as long as the unit is polled
/// within three steps of the one before.
pub const STEPS_AHEAD: u32 = 4;

/// The feed motor's pulse generator. It makes pulses on its own, at intervals
/// it is given ahead: nothing else that a unit does can shift them. The board
/// polls the machine after each pulse.
pub trait Stepper {
    /// Takes the interval to one more pulse, in microseconds from the pulse
    /// before it, or from now if every pulse given before has been made.
    fn give(&mut self, us: u32);
    /// Pulses made since this was asked last.
    fn made(&mut self) -> u32;
    /// No further pulse. What was given and not made is forgotten; what was
    /// made is still counted, but for one made in the very moment of the halt.
    fn halt(&mut self);
}

/// A bar of light sensors, one a hole of a row. A scan is begun and fetched
/// later, so that a converter can work while the feed steps. The board polls the
/// machine when a scan is finished.
pub trait LightBar {
    /// Begins to read all channels.
    fn begin(&mut self);
    /// The levels of the scan begun last, once it is finished.
    fn take(&mut self) -> Option<Levels>;
}

/// An analogue voltage.
pub trait Voltmeter {
    /// Millivolts now, or nothing while the converter is busy with a scan.
    fn millivolts(&mut self) -> Option<u16>;
}

/// A watchdog timer.
pub trait Watchdog {
    /// Starts the time anew.
    fn feed(&mut self);
}

/// Every part, by what it does.
pub struct Wiring<B: Board> {
    /// Feed motor: one step forward a pulse.
    pub step: B::Stepper,
    /// Feed motor: current on.
    pub feed_on: B::Output,
    /// Magazine: pushes one card into the feed while high.
    pub pick: B::Output,
    /// Shift registers of the punch locks: 16 bits, most significant byte
    /// first; bit `n - 1` locks the punch of hole `n`.
    pub locks: B::Locks,
    /// A rising edge takes over the shifted bits.
    pub locks_latch: B::Output,
    /// The lock coils are driven while high.
    pub locks_on: B::Output,
    /// Locks the peg punch.
    pub peg: B::Output,
    /// Drives the block down and up again while high.
    pub stroke: B::Output,
    /// The lamp of the light bar.
    pub lamp: B::Output,
    /// The status lamp: on while anything may move.
    pub status: B::Output,
    /// High while the block is at the top.
    pub block_up: B::Input,
    /// High while the block is at the bottom.
    pub block_down: B::Input,
    /// High while a card covers the edge sensor.
    pub edge: B::Input,
    /// High while the guard is shut.
    pub guard: B::Input,
    /// High while the stop button is out.
    pub stop: B::Input,
    /// The light bar.
    pub light: B::Light,
    /// The supply at the coils.
    pub supply: B::Supply,
    /// The watchdog.
    pub watchdog: B::Watchdog,
}
