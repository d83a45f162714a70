//! The virtual board: the firmware's pins, forwarded to a world.
//!
//! Enters: what the firmware writes. Leaves: what it reads. No pin ever fails.

use crate::world::{Input, Output, World};
use cardwright_protocol::unit_to_host::Levels;
use cardwright_rig::hardware::{Board, LightBar, Stepper, Voltmeter, Watchdog, Wiring};
use cardwright_rig::loom::LoomLines;
use cardwright_rig::room::Room;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_hal::spi::SpiBus;
use std::cell::RefCell;
use std::rc::Rc;

/// A world shared by the pins of one board and those who watch it.
pub type SharedWorld = Rc<RefCell<World>>;

/// The board's types.
#[derive(Clone, Copy, Debug)]
pub struct VirtualBoard;

impl Board for VirtualBoard {
    type Output = OutputLine;
    type Input = InputLine;
    type Locks = LockRegister;
    type Light = Bar;
    type Supply = Supply;
    type Stepper = Pulses;
    type Room = Box<Room>;
    type Watchdog = Dog;
}

/// Every part, wired to this world.
#[must_use]
pub fn wire_up(world: &SharedWorld) -> Wiring<VirtualBoard> {
    let output = |output| OutputLine {
        world: Rc::clone(world),
        output,
    };
    let input = |input| InputLine {
        world: Rc::clone(world),
        input,
    };
    Wiring {
        step: Pulses(Rc::clone(world)),
        feed_on: output(Output::FeedOn),
        pick: output(Output::Pick),
        locks: LockRegister(Rc::clone(world)),
        locks_latch: output(Output::LocksLatch),
        locks_on: output(Output::LocksOn),
        peg: output(Output::Peg),
        stroke: output(Output::Stroke),
        lamp: output(Output::Lamp),
        status: output(Output::Status),
        block_up: input(Input::BlockUp),
        block_down: input(Input::BlockDown),
        edge: input(Input::Edge),
        guard: input(Input::Guard),
        stop: input(Input::Stop),
        light: Bar(Rc::clone(world)),
        supply: Supply(Rc::clone(world)),
        watchdog: Dog(Rc::clone(world)),
    }
}

/// An output pin.
#[derive(Debug)]
pub struct OutputLine {
    world: SharedWorld,
    output: Output,
}

impl ErrorType for OutputLine {
    type Error = Infallible;
}

impl OutputPin for OutputLine {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.world.borrow_mut().set_output(self.output, false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.world.borrow_mut().set_output(self.output, true);
        Ok(())
    }
}

/// An input pin.
#[derive(Debug)]
pub struct InputLine {
    world: SharedWorld,
    input: Input,
}

impl ErrorType for InputLine {
    type Error = Infallible;
}

impl InputPin for InputLine {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.world.borrow().input(self.input))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.world.borrow().input(self.input))
    }
}

/// The shift register of the punch locks. Nothing is wired to its far end.
#[derive(Debug)]
pub struct LockRegister(SharedWorld);

impl embedded_hal::spi::ErrorType for LockRegister {
    type Error = Infallible;
}

impl SpiBus<u8> for LockRegister {
    fn read(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        words.fill(0);
        Ok(())
    }

    fn write(&mut self, words: &[u8]) -> Result<(), Infallible> {
        let mut world = self.0.borrow_mut();
        for byte in words {
            world.shift(*byte);
        }
        Ok(())
    }

    fn transfer(&mut self, read: &mut [u8], write: &[u8]) -> Result<(), Infallible> {
        read.fill(0);
        self.write(write)
    }

    fn transfer_in_place(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        self.write(words)?;
        words.fill(0);
        Ok(())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The light bar.
#[derive(Debug)]
pub struct Bar(SharedWorld);

impl LightBar for Bar {
    fn begin(&mut self) {
        self.0.borrow_mut().begin_scan();
    }

    fn take(&mut self) -> Option<Levels> {
        self.0.borrow_mut().take_scan()
    }
}

/// The supply's voltmeter.
#[derive(Debug)]
pub struct Supply(SharedWorld);

impl Voltmeter for Supply {
    fn millivolts(&mut self) -> Option<u16> {
        Some(self.0.borrow().supply_mv())
    }
}

/// The feed motor's pulse generator.
#[derive(Debug)]
pub struct Pulses(SharedWorld);

impl Stepper for Pulses {
    fn give(&mut self, us: u32) {
        self.0.borrow_mut().give_step(us);
    }

    fn made(&mut self) -> u32 {
        self.0.borrow_mut().take_steps()
    }

    fn halt(&mut self) {
        self.0.borrow_mut().halt_steps();
    }
}

/// The lines of the loom's sensors.
#[derive(Debug)]
pub struct Lines(pub SharedWorld);

impl LoomLines for Lines {
    fn read(&mut self) -> u8 {
        self.0.borrow().loom_lines()
    }
}

/// The watchdog.
#[derive(Debug)]
pub struct Dog(SharedWorld);

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.0.borrow_mut().feed_watchdog();
    }
}
