//! What is wired to which pin: the only place with pin numbers. The table with
//! the wiring is in this crate's README.
//!
//! Outputs are active high and have a pull-down at the driver, so a chip without
//! power, in reset or in its bootloader leaves everything off. Inputs are high
//! while a sensor sees something; guard and stop button are normally closed
//! contacts to 3.3 V, so an open guard, a pressed button and a broken wire all
//! read low.

use embassy_rp::gpio::{Input, Level, Output, Pull};
use embassy_rp::peripherals::{ADC, FLASH, PIN_6, PIO0, SPI0, USB, WATCHDOG};
use embassy_rp::spi::{self, Blocking, Spi};
use embassy_rp::{Peri, Peripherals};

/// Every output that moves or heats something, as bits of the chip's registers:
/// locks, feed, magazine, peg punch, block, lamps.
pub const OUTPUTS: u32 = 0b1_1111_1110_0000;

/// Analogue input of the light bar's multiplexer: GP26.
pub const LIGHT_INPUT: u8 = 0;

/// Analogue input of the supply's divider: GP27.
pub const SUPPLY_INPUT: u8 = 1;

/// Full scale of the supply's reading, in millivolts: 3.3 V behind a divider of
/// 1 to 11.
pub const SUPPLY_FULL_MV: u32 = 3_300 * 11;

/// Clock of the shift registers; common ones take five times as much.
const LOCKS_HZ: u32 = 4_000_000;

/// The rig's parts.
pub struct Parts {
    /// GP6, driven by the PIO block.
    pub step: Peri<'static, PIN_6>,
    /// The PIO block.
    pub pio: Peri<'static, PIO0>,
    /// GP7.
    pub feed_on: Output<'static>,
    /// GP8.
    pub pick: Output<'static>,
    /// Clock GP2, data GP3.
    pub locks: Spi<'static, SPI0, Blocking>,
    /// GP4.
    pub locks_latch: Output<'static>,
    /// GP5.
    pub locks_on: Output<'static>,
    /// GP9.
    pub peg: Output<'static>,
    /// GP10.
    pub stroke: Output<'static>,
    /// GP11.
    pub lamp: Output<'static>,
    /// GP12.
    pub status: Output<'static>,
    /// GP13.
    pub block_up: Input<'static>,
    /// GP14.
    pub block_down: Input<'static>,
    /// GP15.
    pub edge: Input<'static>,
    /// GP16.
    pub guard: Input<'static>,
    /// GP17.
    pub stop: Input<'static>,
    /// Address of the light bar's multiplexer, lowest bit first: GP18 to GP21.
    pub channel: [Output<'static>; 4],
    /// The converter behind GP26 and GP27.
    pub adc: Peri<'static, ADC>,
}

/// What the board needs for itself.
pub struct Chip {
    /// For the boot count.
    pub flash: Peri<'static, FLASH>,
    /// For the host.
    pub usb: Peri<'static, USB>,
    /// For the machine.
    pub watchdog: Peri<'static, WATCHDOG>,
}

/// Hands every part its pins; every output is low from here on.
pub fn assign(p: Peripherals) -> (Parts, Chip) {
    let mut spi = spi::Config::default();
    spi.frequency = LOCKS_HZ;
    // inputs of the light bar and the supply: no digital pad, no pull
    for pad in [26, 27] {
        embassy_rp::pac::PADS_BANK0.gpio(pad).write(|w| {
            w.set_ie(false);
            w.set_od(true);
        });
    }
    let parts = Parts {
        step: p.PIN_6,
        pio: p.PIO0,
        feed_on: Output::new(p.PIN_7, Level::Low),
        pick: Output::new(p.PIN_8, Level::Low),
        locks: Spi::new_blocking_txonly(p.SPI0, p.PIN_2, p.PIN_3, spi),
        locks_latch: Output::new(p.PIN_4, Level::Low),
        locks_on: Output::new(p.PIN_5, Level::Low),
        peg: Output::new(p.PIN_9, Level::Low),
        stroke: Output::new(p.PIN_10, Level::Low),
        lamp: Output::new(p.PIN_11, Level::Low),
        status: Output::new(p.PIN_12, Level::Low),
        block_up: Input::new(p.PIN_13, Pull::Down),
        block_down: Input::new(p.PIN_14, Pull::Down),
        edge: Input::new(p.PIN_15, Pull::Down),
        guard: Input::new(p.PIN_16, Pull::Down),
        stop: Input::new(p.PIN_17, Pull::Down),
        channel: [
            Output::new(p.PIN_18, Level::Low),
            Output::new(p.PIN_19, Level::Low),
            Output::new(p.PIN_20, Level::Low),
            Output::new(p.PIN_21, Level::Low),
        ],
        adc: p.ADC,
    };
    let chip = Chip {
        flash: p.FLASH,
        usb: p.USB,
        watchdog: p.WATCHDOG,
    };
    (parts, chip)
}
