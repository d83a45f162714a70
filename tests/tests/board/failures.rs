//! If one of these fails, a firmware that hangs or faults leaves a coil on, or
//! the card that was in the rig passes for more than it is.
//!
//! The image is hung deliberately by changing an instruction in its flash while
//! it runs, and mended when the chip has been reset.

use cardwright::job::{End, Job, News, remedy_of_stop};
use cardwright_protocol::unit_to_host::StopReason;
use cardwright_tests::emulated::Cause;
use cardwright_virtual::Faults;
use cardwright_virtual::world::Output;

use crate::bench::{BoardShop, deck, dry, image, run_to_end, shop, start};

/// A branch to itself.
const HANG: [u8; 2] = [0xfe, 0xe7];

/// A load from an odd address, which the core answers with a fault: `movs r0,
/// #1` and `ldr r0, [r0]`.
const FAULT: [u8; 4] = [0x01, 0x20, 0x00, 0x68];

/// A push below the bottom of the stack: `movs r0, #1`, `lsls r0, r0, #29`, `mov
/// sp, r0` and `push {r0}`.
const STACK_GONE: [u8; 8] = [0x01, 0x20, 0x40, 0x07, 0x85, 0x46, 0x01, 0xb4];

/// The watchdog bites so long after it was last fed.
const BITES_NS: u64 = 50_000_000;

/// The interrupt that polls the machine, above everything else.
const MACHINE: &str = "TIMER_IRQ_1";

/// USB's, on the level of all that talks.
const TALK: &str = "USBCTRL_IRQ";

/// Breaks the firmware in the middle of a stroke with coils on; how long until
/// everything was off, in nanoseconds, and until the chip was reset.
fn broken(shop: &mut BoardShop, handler: &str, with: &[u8]) -> (u64, u64) {
    let at = image().symbol(handler).expect("a handler of this name");
    let deadline = shop.now().plus(30_000_000);
    let mut strokes = 0;
    let coils = shop.run(deadline, |shop| {
        let world = shop.cabled.world();
        strokes = world.truth().strokes_begun;
        strokes >= 5 && world.output(Output::LocksOn)
    });
    assert!(coils, "no coil was ever on");
    let (from, before) = (shop.now(), shop.cabled.resets().len());
    let sound = shop.cabled.read(at, with.len() as u32);
    shop.cabled.write(at, with);
    shop.cabled.keep_trace(true);
    let reset = shop.run(from.plus(1_000_000), |shop| {
        shop.cabled.resets().len() > before
    });
    assert!(reset, "the chip was not reset");
    shop.cabled.write(at, &sound);
    let edges = shop.cabled.take_trace();
    shop.cabled.keep_trace(false);
    for output in Output::ALL {
        assert!(!shop.cabled.world().output(output), "{output:?} is on");
    }
    let since = |ns: u64| ns.saturating_sub(from.0 * 1000);
    let last = edges.iter().map(|edge| edge.ns).max().unwrap_or(0);
    (since(last), since(shop.cabled.resets()[before].ns))
}

/// Breaks the firmware once in a job of two cards, which is then finished. The
/// chip's own word for the reset, and the two times.
fn job_with(handler: &str, with: &[u8], reason: StopReason) -> (Cause, u64, u64) {
    let deck = deck("200-half", 2, 31);
    let mut shop = shop(dry(deck.format()), &Faults::default(), 10);
    start(&mut shop, &deck);
    let (off, reset) = broken(&mut shop, handler, with);
    let end = run_to_end(&mut shop, 60_000_000);
    assert!(matches!(end, End::Done { .. }), "{end:?}");
    assert_eq!(shop.cabled.resets().len(), 1, "once and no more");
    let account = shop.job().map(Job::account).unwrap_or_default();
    assert_eq!(account.good, 2);
    assert_eq!(
        account.by_verdict.get("interrupted"),
        Some(&1),
        "{account:?}"
    );
    let remedy = remedy_of_stop(reason);
    let told = shop.news.iter().any(|news| match news {
        News::NeedsReset { remedy: told } => told == remedy,
        _ => false,
    });
    assert!(told, "{reason:?} was not told: {:#?}", shop.news);
    (shop.cabled.resets()[0].cause, off, reset)
}

#[test]
fn a_hung_machine_is_restarted_with_everything_off_and_the_card_unknown() {
    let (cause, off, reset) = job_with(MACHINE, &HANG, StopReason::Watchdog);
    println!("machine hung: off after {off} ns, reset after {reset} ns");
    assert_eq!(cause, Cause::Watchdog);
    assert!(off <= BITES_NS && reset <= BITES_NS, "{off} {reset}");
}

#[test]
fn a_hung_desk_is_restarted_with_everything_off_and_the_card_unknown() {
    let (cause, off, reset) = job_with(TALK, &HANG, StopReason::Watchdog);
    println!("desk hung: off after {off} ns, reset after {reset} ns");
    assert_eq!(cause, Cause::Watchdog);
    assert!(reset <= 500_000_000 + BITES_NS, "{reset}");
}

#[test]
fn a_fault_switches_off_first_and_is_told_after_the_restart() {
    let (cause, off, reset) = job_with(MACHINE, &FAULT, StopReason::Internal);
    println!("fault: off after {off} ns, reset after {reset} ns");
    assert_eq!(cause, Cause::Forced);
    // the reset lets every output go too: off before it is the handler's doing
    assert!(off < reset, "off at {off}, reset at {reset}");
    assert!(off <= 11_000_000, "{off}"); // the machine is polled every 10 ms at least
}

/// The core cannot even enter a handler without a stack: it locks up.
#[test]
fn a_stack_that_leaves_the_memory_ends_with_the_watchdog() {
    let (cause, off, reset) = job_with(MACHINE, &STACK_GONE, StopReason::Watchdog);
    println!("stack gone: off after {off} ns, reset after {reset} ns");
    assert_eq!(cause, Cause::Watchdog);
    assert!(off <= BITES_NS && reset <= BITES_NS, "{off} {reset}");
}
