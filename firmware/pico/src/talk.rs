//! The desk over USB: a serial port that the host finds by its identity.
//!
//! Enters: packets. Leaves: frames, in packets. A host that does not read, or
//! is not there, holds up nothing but its own frames.

use core::cell::RefCell;

use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::usb;
use cardwright_rig::About;
use cardwright_rig::desk;
use cardwright_rig::loom::Store;
use embassy_executor::Spawner;
use embassy_futures::join::join3;
use embassy_futures::select::select;
use embassy_rp::peripherals::USB;
use embassy_rp::usb::{Driver, InterruptHandler};
use embassy_rp::{Peri, bind_interrupts};
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Instant, Timer};
use embassy_usb::class::cdc_acm::{CdcAcmClass, Receiver, Sender, State};
use embassy_usb::driver::EndpointError;
use embassy_usb::{Builder, Config, UsbDevice};
use static_cell::StaticCell;

use crate::loom::{self, Tap};
use crate::machine::{Handle, NEWS, now, worst_poll_us};

bind_interrupts!(struct Irqs {
    USBCTRL_IRQ => InterruptHandler<USB>;
});

type Usb = Driver<'static, USB>;

/// The desk, with the events that wait in memory of their own.
type Desk = desk::Desk<&'static mut Store>;

/// Bytes in a packet: full speed.
const PACKET: usize = 64;

/// The desk looks at least this often whether there is anything to do: for what
/// the loom's sensors have seen while there is nobody to tell it to.
const LOOK_US: u64 = 20_000;

/// And at most this often by itself.
const REST_US: u64 = 500;

/// Starts USB and the desk.
pub fn start(spawner: Spawner, usb: Peri<'static, USB>, about: About, machine: Handle, tap: Tap) {
    static CONFIG: StaticCell<[u8; 128]> = StaticCell::new();
    static BOS: StaticCell<[u8; 16]> = StaticCell::new();
    static CONTROL: StaticCell<[u8; 64]> = StaticCell::new();
    static STATE: StaticCell<State> = StaticCell::new();

    let mut builder = Builder::new(
        Driver::new(usb, Irqs),
        identity(&about),
        CONFIG.init([0; 128]),
        BOS.init([0; 16]),
        &mut [],
        CONTROL.init([0; 64]),
    );
    let class = CdcAcmClass::new(&mut builder, STATE.init(State::new()), PACKET as u16);
    let desk = place(about);
    if let (Ok(run), Ok(talk)) = (run(builder.build()), talk(class, desk, machine, tap)) {
        spawner.spawn(run);
        spawner.spawn(talk);
    }
}

/// The desk in its place. Apart, so that its making is off the stack again
/// before anything else runs.
#[inline(never)]
fn place(about: About) -> &'static RefCell<Desk> {
    static DESK: StaticCell<RefCell<Desk>> = StaticCell::new();
    DESK.init_with(|| RefCell::new(Desk::new(about, loom::store())))
}

/// How the host tells this unit from other serial ports.
fn identity(about: &About) -> Config<'static> {
    static SERIAL: StaticCell<[u8; 16]> = StaticCell::new();
    let serial = SERIAL.init(usb::serial(&about.board));
    let mut config = Config::new(usb::VENDOR, usb::PRODUCT);
    config.manufacturer = Some(usb::MANUFACTURER);
    config.product = Some(usb::product_name(about.role));
    config.serial_number = core::str::from_utf8(serial).ok();
    config.max_power = 100;
    config.max_packet_size_0 = PACKET as u8;
    config
}

#[embassy_executor::task]
async fn run(mut device: UsbDevice<'static, Usb>) -> ! {
    device.run().await
}

/// Something has come that may be worth a frame.
type Wake = Signal<NoopRawMutex, ()>;

#[embassy_executor::task]
async fn talk(
    class: CdcAcmClass<'static, Usb>,
    desk: &'static RefCell<Desk>,
    machine: Handle,
    tap: Tap,
) -> ! {
    let (sender, receiver) = class.split();
    let (mind_wake, say_wake) = (Wake::new(), Wake::new());
    join3(
        hear(receiver, desk, &mind_wake),
        mind(desk, machine, tap, &mind_wake, &say_wake),
        say(sender, desk, &say_wake),
    )
    .await;
    unreachable!("none of the three ends")
}

/// Packets to the desk.
async fn hear(mut receiver: Receiver<'static, Usb>, desk: &RefCell<Desk>, wake: &Wake) {
    let mut packet = [0; PACKET];
    loop {
        receiver.wait_connection().await;
        while let Ok(length) = receiver.read_packet(&mut packet).await {
            desk.borrow_mut().receive(&packet[..length], now());
            wake.signal(());
        }
    }
}

/// The desk's own work.
async fn mind(desk: &RefCell<Desk>, mut machine: Handle, mut tap: Tap, wake: &Wake, say: &Wake) {
    loop {
        let at = now();
        NEWS.reset();
        let (next, can_tell) = {
            let mut desk = desk.borrow_mut();
            // also without bytes: a silent host is noticed by the time alone
            desk.receive(&[], at);
            desk.poll_took(worst_poll_us());
            while let Some(event) = tap.event() {
                desk.book().note(event);
            }
            desk.book().lines(tap.lines());
            desk.poll(at, &mut machine);
            if let Some(settings) = desk.book().take_settings() {
                tap.configure(settings);
            }
            (desk.next_wake(), desk.can_tell())
        };
        machine.done();
        say.signal(());
        let next = next.0.clamp(at.0 + REST_US, at.0 + LOOK_US);
        let sleep = select(wake.wait(), Timer::at(Instant::from_micros(next)));
        // news that cannot be told would only turn this round and round
        if can_tell {
            select(sleep, NEWS.wait()).await;
        } else {
            sleep.await;
        }
    }
}

/// Frames to the host.
async fn say(mut sender: Sender<'static, Usb>, desk: &RefCell<Desk>, wake: &Wake) {
    let mut wire = [0; MOST_WIRE];
    loop {
        sender.wait_connection().await;
        let mut whole_packet = false;
        loop {
            let frame = desk.borrow_mut().pull(now(), &mut wire);
            let written = match frame {
                Some(length) => write(&mut sender, &wire[..length], &mut whole_packet).await,
                // a host waits for more after a full packet, unless told the end
                None if whole_packet => {
                    whole_packet = false;
                    sender.write_packet(&[]).await
                }
                None => {
                    wake.wait().await;
                    Ok(())
                }
            };
            if written.is_err() {
                break;
            }
        }
    }
}

async fn write(
    sender: &mut Sender<'static, Usb>,
    frame: &[u8],
    whole_packet: &mut bool,
) -> Result<(), EndpointError> {
    for packet in frame.chunks(PACKET) {
        sender.write_packet(packet).await?;
        *whole_packet = packet.len() == PACKET;
    }
    Ok(())
}
