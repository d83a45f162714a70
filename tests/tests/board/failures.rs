//! If one of these fails, a firmware that hangs or faults leaves a coil on, or
//! the card that was in the rig passes for more than it is.
//!
//! The image is hung deliberately by changing an instruction in its flash while
//! it runs, and mended when the chip has been reset.

use cardwright::job::{End, Job, News};
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

/// The address of the function whose name the compiler made from these parts.
fn function(parts: &[&str]) -> u32 {
    let first = parts.first().expect("at least one part");
    let mut found = image()
        .symbols_with(first)
        .filter(|(name, ..)| parts.iter().all(|part| name.contains(part)));
    let (_, address, _) = found
        .next()
        .unwrap_or_else(|| panic!("no symbol {parts:?}"));
    address
}

/// Breaks the firmware in the middle of a stroke with coils on; how long until
/// everything was off, in microseconds, and until the chip was reset.
fn broken(shop: &mut BoardShop, at: u32, with: &[u8]) -> (u64, u64) {
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
    let mut off_after = None;
    let reset = shop.run(from.plus(1_000_000), |shop| {
        let still_on = Output::ALL
            .into_iter()
            .any(|output| shop.cabled.world().output(output));
        if !still_on && off_after.is_none() {
            off_after = Some(shop.now().since(from));
        }
        shop.cabled.resets().len() > before
    });
    assert!(reset, "the chip was not reset");
    shop.cabled.write(at, &sound);
    let reset_after = shop.cabled.resets()[before].at.since(from);
    (off_after.unwrap_or(reset_after), reset_after)
}

/// Breaks the firmware once in a job of two cards, which is then finished. The
/// chip's own word for the reset, and the two times.
fn job_with(parts: &[&str], with: &[u8], reason: StopReason) -> (Cause, u64, u64) {
    let deck = deck("200-half", 2, 31);
    let mut shop = shop(dry(deck.format()), &Faults::default(), 10);
    start(&mut shop, &deck);
    let (off, reset) = broken(&mut shop, function(parts), with);
    let end = run_to_end(&mut shop, 60_000_000);
    assert_eq!(end, End::Done { faults: true }, "the card was in the rig");
    assert_eq!(shop.cabled.resets().len(), 1, "once and no more");
    let account = shop.job().map(Job::account).unwrap_or_default();
    assert_eq!(account.good, 2);
    assert_eq!(
        account.by_verdict.get("interrupted"),
        Some(&1),
        "{account:?}"
    );
    let told = shop.news.iter().any(|news| match news {
        News::Stopped { reason: told, .. } => *told == reason,
        _ => false,
    });
    assert!(told, "{reason:?} was not told: {:#?}", shop.news);
    (shop.cabled.resets()[0].cause, off, reset)
}

#[test]
fn a_hung_machine_is_restarted_with_everything_off_and_the_card_unknown() {
    let (cause, off, reset) = job_with(&["7machine4poll"], &HANG, StopReason::Watchdog);
    println!("machine hung: off after {off} us, reset after {reset} us");
    assert_eq!(cause, Cause::Watchdog);
    // 50 ms since it was last fed
    assert!(off <= 50_000 && reset <= 50_000, "{off} {reset}");
}

#[test]
fn a_hung_desk_is_restarted_with_everything_off_and_the_card_unknown() {
    let parts = ["TaskStorage", "talk_task", "4poll"];
    let (cause, off, reset) = job_with(&parts, &HANG, StopReason::Watchdog);
    println!("desk hung: off after {off} us, reset after {reset} us");
    assert_eq!(cause, Cause::Watchdog);
    assert!(reset <= 600_000, "{reset}");
}

#[test]
fn a_fault_switches_off_first_and_is_told_after_the_restart() {
    let (cause, off, reset) = job_with(&["7machine4poll"], &FAULT, StopReason::Internal);
    println!("fault: off after {off} us, reset after {reset} us");
    assert_eq!(cause, Cause::Forced);
    assert!(off <= 11_000, "{off}"); // the machine is polled every 10 ms at least
}
