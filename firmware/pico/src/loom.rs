//! The loom's sensors on this board, looked at four thousand times a second.
//!
//! Enters: the levels of their pins. Leaves: events, through a queue to the desk.
//! The timer's interrupt that looks is below the machine's, which it never
//! holds up, and above everything else, so that no edge waits for the talk.

use core::cell::{Cell, RefCell};

use cardwright_protocol::loom::{LoomEvent, LoomSettings};
use cardwright_rig::loom::{Sensors, Store};
use critical_section::Mutex;
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::{interrupt, pac};
use heapless::spsc::{Consumer, Producer, Queue};
use portable_atomic::{AtomicU8, Ordering};
use static_cell::{ConstStaticCell, StaticCell};

use crate::machine::{NEWS, now};
use crate::pins::LoomPins;

/// Microseconds between two looks.
const LOOK_US: u32 = 250;

/// The alarm of the timer that is ours; those before it are the executor's and the
/// machine's.
const ALARM: usize = 2;

/// Events on their way to the desk. They must have room until it comes, at the
/// most events a second that there can be: a thousand, of an encoder's edges.
const ON_THE_WAY: usize = 32;

/// What the interrupt works with. Nothing else touches it.
struct Looking {
    pins: LoomPins,
    sensors: Sensors,
    to_desk: Producer<'static, LoomEvent>,
}

static LOOKING: Mutex<RefCell<Option<&'static mut Looking>>> = Mutex::new(RefCell::new(None));

/// Settings on their way from the desk.
static FRESH: Mutex<Cell<Option<LoomSettings>>> = Mutex::new(Cell::new(None));

/// The lines as they have settled.
static LINES: AtomicU8 = AtomicU8::new(0);

/// The desk's end: what it takes from the sensors and gives to them.
pub struct Tap(Consumer<'static, LoomEvent>);

impl Tap {
    /// The next event.
    pub fn event(&mut self) -> Option<LoomEvent> {
        self.0.dequeue()
    }

    /// The lines as they have settled.
    pub fn lines(&self) -> u8 {
        LINES.load(Ordering::Relaxed)
    }

    /// Hands the sensors new settings, which they take at the next look.
    pub fn configure(&self, settings: LoomSettings) {
        critical_section::with(|cs| FRESH.borrow(cs).set(Some(settings)));
    }
}

/// Memory for the events that wait for the host.
pub fn store() -> &'static mut Store {
    static STORE: ConstStaticCell<Store> = ConstStaticCell::new(Store::new());
    STORE.take()
}

/// Begins to look at the pins.
pub fn start(pins: LoomPins) -> Tap {
    static QUEUE: ConstStaticCell<Queue<LoomEvent, ON_THE_WAY>> =
        ConstStaticCell::new(Queue::new());
    static PLACE: StaticCell<Looking> = StaticCell::new();
    let (to_desk, from_sensors) = QUEUE.take().split();
    let looking = PLACE.init_with(|| Looking {
        pins,
        sensors: Sensors::new(),
        to_desk,
    });
    critical_section::with(|cs| LOOKING.replace(cs, Some(looking)));
    pac::TIMER.inte().modify(|w| w.set_alarm(ALARM, true));
    interrupt::TIMER_IRQ_2.set_priority(Priority::P1);
    set_alarm();
    // Safety: the handler shares nothing but what is behind critical sections.
    unsafe { interrupt::TIMER_IRQ_2.enable() };
    Tap(from_sensors)
}

/// Undisturbed: a moment that has gone by before it is set does not come again for
/// over an hour.
fn set_alarm() {
    critical_section::with(|_| {
        let next = (now().0 as u32).wrapping_add(LOOK_US);
        pac::TIMER.alarm(ALARM).write_value(next);
    });
}

#[interrupt]
fn TIMER_IRQ_2() {
    pac::TIMER.intr().write(|w| w.set_alarm(ALARM, true));
    set_alarm();
    // taken out, so that the machine can break in while the lines are looked at
    let Some(looking) = critical_section::with(|cs| LOOKING.take(cs)) else {
        return;
    };
    let (at, levels) = (now(), looking.pins.read());
    if let Some(settings) = critical_section::with(|cs| FRESH.borrow(cs).take()) {
        looking.sensors.configure(settings, levels, at);
    }
    let to_desk = &mut looking.to_desk;
    let mut news = false;
    looking.sensors.look(at, levels, &mut |event| {
        // full only at more events a second than any loom makes
        let _ = to_desk.enqueue(event);
        news = true;
    });
    LINES.store(looking.sensors.settled(), Ordering::Relaxed);
    critical_section::with(|cs| LOOKING.replace(cs, Some(looking)));
    if news {
        NEWS.signal(());
    }
}
