//! The machine on this board: its parts' types, and the interrupts that poll it.
//!
//! Enters: the parts. Leaves: a handle for the desk. The machine is polled when
//! the time it asked for has come, after every pulse of the feed, and whenever
//! the desk has been at it. Its interrupts have the highest priority and are
//! kept off only for the desk's short acts.

use core::cell::{Cell, RefCell};

use cardwright_protocol::Micros;
use cardwright_rig::About;
use cardwright_rig::desk::Access;
use cardwright_rig::hardware::{self, Wiring};
use cardwright_rig::machine::Machine;
use cardwright_rig::room::Room;
use critical_section::Mutex;
use embassy_rp::gpio::{Input, Output};
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::peripherals::{SPI0, WATCHDOG};
use embassy_rp::spi::{Blocking, Spi};
use embassy_rp::watchdog::Watchdog;
use embassy_rp::{Peri, interrupt, pac};
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Duration, Instant};
use portable_atomic::{AtomicU32, Ordering};
use static_cell::{ConstStaticCell, StaticCell};

use crate::fault;
use crate::light::{self, Bar, Supply};
use crate::pins::Parts;
use crate::stepper::Pulses;

/// Longest time between two polls: the watchdog must be fed.
const MOST_BETWEEN_US: u64 = 10_000;

/// The watchdog bites this long after the machine was polled last.
const WATCHDOG: Duration = Duration::from_millis(50);

/// The desk's level counts as hung when it has not been heard of for so long,
/// and the watchdog is fed no more.
const DESK_SILENT_MS: u32 = 500;

/// The alarm of the timer that is ours; the first is the executor's.
const ALARM: usize = 1;

/// The board's parts.
pub struct Pico;

impl hardware::Board for Pico {
    type Output = Output<'static>;
    type Input = Input<'static>;
    type Locks = Spi<'static, SPI0, Blocking>;
    type Stepper = Pulses;
    type Light = Bar;
    type Supply = Supply;
    type Room = &'static mut Room;
    type Watchdog = Dog;
}

type Shared = Mutex<RefCell<Machine<Pico>>>;

static MACHINE: Mutex<Cell<Option<&'static Shared>>> = Mutex::new(Cell::new(None));

/// The machine has something for the desk.
pub static NEWS: Signal<CriticalSectionRawMutex, ()> = Signal::new();

/// When the desk was last heard of, in milliseconds.
static DESK_HEARD: AtomicU32 = AtomicU32::new(0);

/// Longest poll so far, in microseconds.
static WORST_POLL: AtomicU32 = AtomicU32::new(0);

/// The present moment.
pub fn now() -> Micros {
    Micros(Instant::now().as_micros())
}

fn millis() -> u32 {
    (Instant::now().as_millis() & u64::from(u32::MAX)) as u32
}

/// The watchdog. It is fed only while both levels are alive.
pub struct Dog(Watchdog);

impl hardware::Watchdog for Dog {
    fn feed(&mut self) {
        let silent = millis().wrapping_sub(DESK_HEARD.load(Ordering::Relaxed));
        if silent < DESK_SILENT_MS {
            self.0.feed(WATCHDOG);
        }
    }
}

/// The desk's way to the machine.
pub struct Handle(&'static Shared);

impl Handle {
    /// Tells the machine's level that the desk is alive and may have been at
    /// the machine.
    pub fn done(&self) {
        DESK_HEARD.store(millis(), Ordering::Relaxed);
        poll_soon();
    }
}

/// Has the machine polled as soon as nothing of its own level is in hand.
pub fn poll_soon() {
    interrupt::TIMER_IRQ_1.pend();
}

impl Access<Pico> for Handle {
    fn with<R>(&mut self, act: impl FnOnce(&mut Machine<Pico>) -> R) -> R {
        critical_section::with(|cs| act(&mut self.0.borrow_ref_mut(cs)))
    }
}

/// Longest poll since the start, in microseconds.
pub fn worst_poll_us() -> u32 {
    WORST_POLL.load(Ordering::Relaxed)
}

/// Wires the machine up, starts its interrupts and the watchdog.
#[inline(never)] // off the stack again before anything else runs
pub fn start(parts: Parts, watchdog: Peri<'static, WATCHDOG>, about: &About) -> Handle {
    static ROOM: ConstStaticCell<Room> = ConstStaticCell::new(Room::new());
    static PLACE: StaticCell<Shared> = StaticCell::new();
    let mut watchdog = Watchdog::new(watchdog);
    watchdog.start(WATCHDOG);
    fault::watched();
    let (light, supply) = light::start(parts.adc, parts.channel);
    let wiring = Wiring {
        step: Pulses::new(parts.pio, parts.step),
        feed_on: parts.feed_on,
        pick: parts.pick,
        locks: parts.locks,
        locks_latch: parts.locks_latch,
        locks_on: parts.locks_on,
        peg: parts.peg,
        stroke: parts.stroke,
        lamp: parts.lamp,
        status: parts.status,
        block_up: parts.block_up,
        block_down: parts.block_down,
        edge: parts.edge,
        guard: parts.guard,
        stop: parts.stop,
        light,
        supply,
        watchdog: Dog(watchdog),
    };
    let machine = Machine::new(wiring, ROOM.take(), about.last_stop, about.channels);
    let shared: &'static Shared = PLACE.init(Mutex::new(RefCell::new(machine)));
    critical_section::with(|cs| MACHINE.borrow(cs).set(Some(shared)));
    pac::TIMER.inte().modify(|w| w.set_alarm(ALARM, true));
    // everything else gives way to the machine
    for other in [
        interrupt::TIMER_IRQ_0,
        interrupt::USBCTRL_IRQ,
        interrupt::PIO0_IRQ_0,
    ] {
        other.set_priority(Priority::P2);
    }
    interrupt::TIMER_IRQ_1.set_priority(Priority::P0);
    // Safety: the handler takes the machine only under a critical section.
    unsafe { interrupt::TIMER_IRQ_1.enable() };
    let handle = Handle(shared);
    handle.done();
    handle
}

/// Polls the machine and sets the alarm for its next moment.
fn poll() {
    let Some(shared) = critical_section::with(|cs| MACHINE.borrow(cs).get()) else {
        return;
    };
    let began = now();
    let (wake, news, last_stop) = critical_section::with(|cs| {
        let mut machine = shared.borrow_ref_mut(cs);
        machine.poll(began);
        (
            machine.next_wake(began),
            machine.has_news(),
            machine.last_stop(),
        )
    });
    fault::keep(last_stop);
    if news {
        NEWS.signal(());
    }
    let wake = wake.min(began.plus(MOST_BETWEEN_US));
    pac::TIMER.alarm(ALARM).write_value(wake.0 as u32);
    let ended = now();
    if wake <= ended {
        // the alarm's moment may have gone by before it was set
        poll_soon();
    }
    let took = ended.since(began).min(u64::from(u32::MAX)) as u32;
    WORST_POLL.fetch_max(took, Ordering::Relaxed);
}

#[interrupt]
fn TIMER_IRQ_1() {
    pac::TIMER.intr().write(|w| w.set_alarm(ALARM, true));
    poll();
}

/// The feed has made a pulse.
#[interrupt]
fn PIO0_IRQ_1() {
    poll();
}
