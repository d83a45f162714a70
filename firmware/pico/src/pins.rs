//! What is wired to which pin: the only place with pin numbers. The table with
//! the wiring is in this crate's README.
//!
//! Outputs are active high and have a pull-down at the driver, so a chip without
//! power, in reset or in its bootloader leaves everything off. Inputs are high
//! while a sensor sees something; guard and stop button are normally closed
//! contacts to 3.3 V, so an open guard, a pressed button and a broken wire all
//! read low.

use cardwright_protocol::loom::LINES;
use cardwright_protocol::unit_to_host::Role;
use embassy_rp::gpio::{AnyPin, Input, Level, Output, Pull};
use embassy_rp::peripherals::{ADC, FLASH, PIN_6, PIO0, SPI0, USB, WATCHDOG};
use embassy_rp::spi::{self, Blocking, Spi};
use embassy_rp::{Peri, Peripherals};
use embassy_time::Duration;

/// Time for a pull-down to take a pin low that nothing is wired to.
const PULL_SETTLES: Duration = Duration::from_micros(50);

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
    /// Address of the light bar's multiplexer, lowest bit first: GP18 to GP21. At a
    /// loom these are inputs, and there is no light bar.
    pub channel: Option<[Output<'static>; 4]>,
    /// The converter behind GP26 and GP27.
    pub adc: Peri<'static, ADC>,
}

/// The loom's sensors, in the order of their lines.
pub struct LoomPins {
    _inputs: [Option<Input<'static>>; LINES],
    /// Those that are inputs, as bits of the chip's register.
    fitted: u32,
}

/// Pins of the loom's lines: cylinder A and B, griffe, batten, boxes left and
/// right, take-up A and B. The last four only where there is no light bar.
const LOOM: [u8; LINES] = [0, 1, 22, 28, 18, 19, 20, 21];

impl LoomPins {
    /// Which lines are high, all at one moment.
    pub fn read(&self) -> u8 {
        let levels = embassy_rp::pac::SIO.gpio_in(0).read() & self.fitted;
        LOOM.iter()
            .rev()
            .fold(0, |lines, pin| lines << 1 | (levels >> pin & 1) as u8)
    }
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

/// Hands every part its pins; every output is low from here on. A board with both
/// sensors of the block high, which no punch can show, is at a loom and nothing
/// else: they are tied to 3.3 V there.
pub fn assign(p: Peripherals) -> (Role, Parts, LoomPins, Chip) {
    let mut spi = spi::Config::default();
    spi.frequency = LOCKS_HZ;
    // inputs of the light bar and the supply: no digital pad, no pull
    for pad in [26, 27] {
        embassy_rp::pac::PADS_BANK0.gpio(pad).write(|w| {
            w.set_ie(false);
            w.set_od(true);
        });
    }
    let block_up = Input::new(p.PIN_13, Pull::Down);
    let block_down = Input::new(p.PIN_14, Pull::Down);
    embassy_time::block_for(PULL_SETTLES);
    let role = match block_up.is_high() && block_down.is_high() {
        true => Role::Loom,
        false => Role::Rig,
    };
    let input = |pin| Some(Input::new(pin, Pull::Down));
    let cylinder: [Peri<'static, AnyPin>; 2] = [p.PIN_0.into(), p.PIN_1.into()];
    let [a, b] = cylinder.map(input);
    let (griffe, batten) = (input(p.PIN_22.into()), input(p.PIN_28.into()));
    let shared: [Peri<'static, AnyPin>; 4] = [
        p.PIN_18.into(),
        p.PIN_19.into(),
        p.PIN_20.into(),
        p.PIN_21.into(),
    ];
    let (channel, [left, right, take_up_a, take_up_b]) = match role {
        Role::Rig => (
            Some(shared.map(|pin| Output::new(pin, Level::Low))),
            [const { None }; 4],
        ),
        Role::Loom => (None, shared.map(input)),
    };
    let inputs = [a, b, griffe, batten, left, right, take_up_a, take_up_b];
    let fitted = inputs
        .iter()
        .zip(LOOM)
        .filter(|(input, _)| input.is_some())
        .fold(0, |set, (_, pin)| set | 1 << pin);
    let loom = LoomPins {
        _inputs: inputs,
        fitted,
    };
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
        block_up,
        block_down,
        edge: Input::new(p.PIN_15, Pull::Down),
        guard: Input::new(p.PIN_16, Pull::Down),
        stop: Input::new(p.PIN_17, Pull::Down),
        channel,
        adc: p.ADC,
    };
    let chip = Chip {
        flash: p.FLASH,
        usb: p.USB,
        watchdog: p.WATCHDOG,
    };
    (role, parts, loom, chip)
}
