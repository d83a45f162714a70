//! If this fails, the host does not find the board by itself, or takes it for
//! another.

use cardwright_protocol::unit_to_host::Role;
use cardwright_protocol::usb;
use cardwright_tests::emulated::EmulatedUnit;
use cardwright_virtual::{Faults, World, WorldSettings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::bench::{NUMBER, again, board};
use crate::session::Session;

/// Device descriptor: Universal Serial Bus Specification 2.0, table 9-8.
#[test]
fn the_board_says_over_usb_what_the_host_looks_for() {
    let mut unit = board(World::new(WorldSettings::default(), &Faults::default()));
    let is = unit.usb_identity();
    let word = |at: usize| u16::from_le_bytes([is.device[at], is.device[at + 1]]);
    assert_eq!((word(8), word(10)), (usb::VENDOR, usb::PRODUCT));
    assert_eq!(is.manufacturer, usb::MANUFACTURER);
    assert_eq!(is.product, usb::product_name(Role::Rig));
    let number: String = NUMBER.iter().map(|byte| format!("{byte:02X}")).collect();
    assert_eq!(is.serial, number);
    assert_eq!(is.found, 1);
}

/// The boot number tells a host that a unit has lost its memory: no start may
/// have the number of another.
#[test]
fn every_start_has_the_next_boot_number() {
    let mut unit = board(World::new(WorldSettings::default(), &Faults::default()));
    for starts in 1..6u32 {
        let counted = boots(&mut unit);
        assert_eq!(counted, starts);
        again(&mut unit);
    }
}

/// Sectors that something else has written in, or that a loss of power has torn.
#[test]
fn whatever_lies_where_boots_are_counted_a_start_has_a_new_number_and_counts_on() {
    const PLACE: u32 = 0x1020_0000 - 2 * 4096;
    let mut unit = board(World::new(WorldSettings::default(), &Faults::default()));
    let mut rng = ChaCha8Rng::seed_from_u64(81);
    let mut met = vec![boots(&mut unit)];
    let mut random = |length: usize| -> Vec<u8> { (0..length).map(|_| rng.random()).collect() };
    let rubbish = [
        vec![0x00; 8192],
        random(8192),
        random(4096),
        [vec![0xff; 4096], random(4096)].concat(),
        vec![0x55; 24],
    ];
    for rubbish in rubbish {
        unit.write(PLACE, &rubbish);
        for _ in 0..2 {
            again(&mut unit);
            let number = boots(&mut unit);
            assert!(!met.contains(&number), "{number} after {met:?}");
            met.push(number);
        }
    }
}

/// What the unit answers to a host that asks who it is.
fn boots(unit: &mut EmulatedUnit) -> u32 {
    let identity = Session::open(unit).identity(unit);
    assert_eq!((identity.role, identity.board), (Role::Rig, NUMBER));
    identity.boot
}
