//! The light bar behind its multiplexer, and the supply's voltage, on the one
//! converter of the chip.
//!
//! Enters: a wish for a scan, or for the supply. Leaves: sixteen levels, fetched
//! one by one from interrupts while the feed steps, each after a conversion that
//! is thrown away while the multiplexer settles; or millivolts.

use core::cell::RefCell;

use cardwright_protocol::unit_to_host::Levels;
use cardwright_rig::hardware::{LightBar, Voltmeter};
use critical_section::Mutex;
use embassy_rp::adc::{Adc, Blocking, Config};
use embassy_rp::gpio::Output;
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::peripherals::ADC;
use embassy_rp::{Peri, interrupt, pac};

use crate::machine;
use crate::pins::{LIGHT_INPUT, SUPPLY_FULL_MV, SUPPLY_INPUT};

/// Conversions of a channel, 2 microseconds each. The last counts: common
/// multiplexers settle in less than one.
const CONVERSIONS: u8 = 2;

const CHANNELS: u8 = 16;

/// Steps of the converter: 12 bits.
const FULL: u32 = 1 << 12;

/// The converter and the scan in hand.
struct Converter {
    _adc: Adc<'static, Blocking>,
    /// None where there is no light bar.
    address: Option<[Output<'static>; 4]>,
    levels: Levels,
    channel: u8,
    conversions: u8,
    scanning: bool,
}

static CONVERTER: Mutex<RefCell<Option<Converter>>> = Mutex::new(RefCell::new(None));

/// The light bar.
pub struct Bar;

/// The supply.
pub struct Supply;

/// Takes the converter into use.
pub fn start(adc: Peri<'static, ADC>, address: Option<[Output<'static>; 4]>) -> (Bar, Supply) {
    let converter = Converter {
        _adc: Adc::new_blocking(adc, Config::default()),
        address,
        levels: [0; CHANNELS as usize],
        channel: 0,
        conversions: 0,
        scanning: false,
    };
    critical_section::with(|cs| CONVERTER.replace(cs, Some(converter)));
    pac::ADC.fcs().write(|w| {
        w.set_en(true);
        w.set_thresh(1);
    });
    pac::ADC.inte().write(|w| w.set_fifo(true));
    interrupt::ADC_IRQ_FIFO.set_priority(Priority::P0);
    // Safety: the handler takes the converter only under a critical section.
    unsafe { interrupt::ADC_IRQ_FIFO.enable() };
    (Bar, Supply)
}

/// Does something with the converter, once it is in use.
fn with<R>(act: impl FnOnce(&mut Converter) -> R) -> Option<R> {
    critical_section::with(|cs| CONVERTER.borrow_ref_mut(cs).as_mut().map(act))
}

fn convert(input: u8) {
    pac::ADC.cs().modify(|w| {
        w.set_ainsel(input);
        w.set_start_once(true);
    });
}

impl Converter {
    fn select(&mut self, channel: u8) {
        self.channel = channel;
        self.conversions = 0;
        for (bit, pin) in self.address.iter_mut().flatten().enumerate() {
            pin.set_level((channel >> bit & 1 == 1).into());
        }
        convert(LIGHT_INPUT);
    }

    /// A conversion of the light has come.
    fn converted(&mut self, value: u16) {
        self.conversions += 1;
        if self.conversions < CONVERSIONS {
            return convert(LIGHT_INPUT);
        }
        self.levels[usize::from(self.channel)] = (value >> 4) as u8;
        match self.channel + 1 {
            CHANNELS => {
                self.scanning = false;
                machine::poll_soon();
            }
            next => self.select(next),
        }
    }

    /// One conversion of the supply, awaited: 2 microseconds.
    fn supply_mv(&mut self) -> u16 {
        pac::ADC.fcs().modify(|w| w.set_en(false));
        convert(SUPPLY_INPUT);
        while !pac::ADC.cs().read().ready() {}
        let value = u32::from(pac::ADC.result().read().result());
        pac::ADC.fcs().modify(|w| w.set_en(true));
        (value * SUPPLY_FULL_MV / FULL) as u16
    }
}

impl LightBar for Bar {
    fn begin(&mut self) {
        with(|converter| {
            converter.scanning = true;
            converter.select(0);
        });
    }

    fn take(&mut self) -> Option<Levels> {
        with(|converter| (!converter.scanning).then_some(converter.levels)).flatten()
    }
}

impl Voltmeter for Supply {
    fn millivolts(&mut self) -> Option<u16> {
        with(|converter| (!converter.scanning).then(|| converter.supply_mv())).flatten()
    }
}

#[interrupt]
fn ADC_IRQ_FIFO() {
    with(|converter| {
        let value = pac::ADC.fifo().read().val();
        if converter.scanning {
            converter.converted(value);
        }
    });
}
