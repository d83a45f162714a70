//! What is left when the firmware itself fails: outputs off, the reason kept,
//! the chip started anew.
//!
//! The reason lies in the watchdog's scratch registers, which a restart leaves
//! alone and a loss of power clears.

use core::panic::PanicInfo;

use cardwright_protocol::unit_to_host::StopReason;
use cortex_m_rt::{ExceptionFrame, exception};
use embassy_rp::pac;
use embassy_rp::pac::watchdog::regs::Ctrl;

use crate::pins;

/// Marks a kept reason; the lowest byte is the reason's number on the wire.
const KEPT: u32 = 0xca4d_7700;

/// Marks an end by panic or fault.
const FAILED: u32 = 0xca4d_7701;

/// Marks that the watchdog was started by this firmware: a bootloader restarts
/// the chip by it too.
const WATCHED: u32 = 0xca4d_7702;

/// Notes that the watchdog runs from here.
pub fn watched() {
    pac::WATCHDOG.scratch2().write_value(WATCHED);
}

/// Why the unit has started, from what the last run left behind.
pub fn reason_of_start() -> StopReason {
    let reason = pac::WATCHDOG.reason().read();
    let kept = pac::WATCHDOG.scratch0().read();
    let failed = pac::WATCHDOG.scratch1().read() == FAILED;
    let watched = pac::WATCHDOG.scratch2().read() == WATCHED;
    pac::WATCHDOG.scratch0().write_value(0);
    pac::WATCHDOG.scratch1().write_value(0);
    pac::WATCHDOG.scratch2().write_value(0);
    if failed {
        return StopReason::Internal;
    }
    if reason.timer() && watched {
        return StopReason::Watchdog;
    }
    let number = (kept & 0xff) as u8;
    if kept & !0xff != KEPT {
        return StopReason::PowerOn;
    }
    postcard::from_bytes(&[number]).unwrap_or(StopReason::PowerOn)
}

/// Keeps the reason of the last stop over a restart.
pub fn keep(reason: StopReason) {
    pac::WATCHDOG.scratch0().write_value(KEPT | reason as u32);
}

/// Everything off by the shortest way, then a restart.
fn fail() -> ! {
    cortex_m::interrupt::disable();
    pac::SIO.gpio_out(0).value_clr().write_value(pins::OUTPUTS);
    pac::PIO0.ctrl().write_value(Default::default());
    pac::WATCHDOG.scratch1().write_value(FAILED);
    // everything but the oscillators
    pac::PSM
        .wdsel()
        .write_value(pac::psm::regs::Wdsel(0x0001_fffc));
    let mut now = Ctrl::default();
    now.set_trigger(true);
    pac::WATCHDOG.ctrl().write_value(now);
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    fail()
}

#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    fail()
}
