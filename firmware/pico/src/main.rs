//! The rig's firmware on an RP2040 board.
//!
//! Enters: the pins of [`pins`], bytes over USB. Leaves: pulses, coil currents,
//! bytes. What the rig does is in the crate `cardwright-rig`; here is only what
//! the chip needs for it.
//!
//! Three levels share the processor. The machine is polled from interrupts of the
//! highest priority ([`machine`]), the loom's sensors are looked at in one below it
//! ([`loom`]); the desk, USB and all else run below these and
//! reach the machine in acts of a few microseconds. The feed's pulses come from
//! a PIO block that both levels leave alone ([`stepper`]).
//!
//! The firmware is not a safety device: an emergency stop that cuts the power to
//! every actuator on its own comes first.

#![no_std]
#![no_main]

mod fault;
mod light;
mod loom;
mod machine;
mod nameplate;
mod pins;
mod stepper;
mod talk;

use cardwright_protocol::link::Versions;
use cardwright_rig::About;
use embassy_executor::Spawner;

/// Needle punches and light channels that can be wired to this board.
const CHANNELS: u8 = 16;

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    let peripherals = embassy_rp::init(embassy_rp::config::Config::default());
    let (role, parts, loom_pins, chip) = pins::assign(peripherals);
    let last_stop = fault::reason_of_start();
    let nameplate = nameplate::read(chip.flash);
    let about = About {
        role,
        board: nameplate.board,
        boot: nameplate.boot,
        last_stop,
        channels: CHANNELS,
        versions: Versions::CURRENT,
    };
    let machine = machine::start(parts, chip.watchdog, &about);
    let tap = loom::start(loom_pins);
    talk::start(spawner, chip.usb, about, machine, tap);
}
