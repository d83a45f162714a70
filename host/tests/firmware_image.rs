//! Risk: an image is put on a board that does not start from it, or a good one
//! is refused; or a firmware grows beyond what it allows itself unseen.

use cardwright::firmware::elf::{self, Sizes};
use cardwright::firmware::uf2::{self, BLOCK, FAMILY, FLASH, PAGE, Pages};

#[path = "firmware_image/program.rs"]
mod program;
use program::{Load, program};

/// An image of three sectors that begins with a real second stage.
fn pages() -> Pages {
    let mut pages = Pages::new();
    for (number, address) in (0u8..48).zip((FLASH.start..).step_by(PAGE)) {
        pages.insert(address, [number; PAGE]);
    }
    pages.insert(FLASH.start, rp2040_boot2::BOOT_LOADER_W25Q080);
    pages
}

fn block(file: &mut [u8], number: usize) -> &mut [u8] {
    &mut file[number * BLOCK..(number + 1) * BLOCK]
}

fn put(file: &mut [u8], number: usize, at: usize, word: u32) {
    block(file, number)[at..at + 4].copy_from_slice(&word.to_le_bytes());
}

/// The published second stages (crate `rp2040-boot2`, made from the chip
/// maker's sources) carry the checksums that their makers worked out.
#[test]
fn published_second_stages_add_up() {
    let stages = [
        rp2040_boot2::BOOT_LOADER_W25Q080,
        rp2040_boot2::BOOT_LOADER_RAM_MEMCPY,
        rp2040_boot2::BOOT_LOADER_AT25SF128A,
        rp2040_boot2::BOOT_LOADER_GD25Q64CS,
        rp2040_boot2::BOOT_LOADER_W25X10CL,
        rp2040_boot2::BOOT_LOADER_GENERIC_03H,
        rp2040_boot2::BOOT_LOADER_IS25LP080,
    ];
    for stage in &stages {
        let carried = stage.last_chunk().expect("four bytes");
        assert_eq!(uf2::checksum(stage), u32::from_le_bytes(*carried));
    }
}

/// Crate `uf2-decode`, after the format's own conversion script.
#[test]
fn another_reader_reads_what_we_write() {
    let pages = pages();
    let (bytes, families) = uf2_decode::convert_from_uf2(&uf2::write(&pages)).expect("it is UF2");
    let flat: Vec<u8> = pages.values().flatten().copied().collect();
    assert!(bytes == flat, "the bytes arrive in order");
    assert_eq!(
        families.into_iter().collect::<Vec<_>>(),
        [(FAMILY, u64::from(FLASH.start))]
    );
}

/// Worked out by hand from the specification: the second block of 48.
#[test]
fn a_block_is_written_byte_for_byte_as_specified() {
    let mut file = uf2::write(&pages());
    let mut wanted = vec![
        0x55, 0x46, 0x32, 0x0a, // "UF2\n"
        0x57, 0x51, 0x5d, 0x9e, // second magic number
        0x00, 0x20, 0x00, 0x00, // the family is given
        0x00, 0x01, 0x00, 0x10, // address 0x10000100
        0x00, 0x01, 0x00, 0x00, // 256 bytes
        0x01, 0x00, 0x00, 0x00, // number 1, counted from 0
        0x30, 0x00, 0x00, 0x00, // of 48
        0x56, 0xff, 0x8b, 0xe4, // family 0xe48bff56
    ];
    wanted.extend([1; 256]);
    wanted.extend([0; 476 - 256]);
    wanted.extend([0x30, 0x6f, 0xb1, 0x0a]); // last magic number
    assert_eq!(block(&mut file, 1), wanted);
}

#[test]
fn what_is_written_is_read_in_any_order_of_blocks() {
    let pages = pages();
    let file = uf2::write(&pages);
    assert_eq!(uf2::read(&file), Ok(pages.clone()));
    let turned: Vec<u8> = file.rchunks(BLOCK).flatten().copied().collect();
    assert_eq!(uf2::read(&turned), Ok(pages));
}

/// Each damage is named with its block; the words are reviewed.
#[test]
fn every_damage_is_refused_in_words() {
    type Damage = fn(&mut Vec<u8>);
    let damages: [(&str, Damage); 17] = [
        ("empty", Vec::clear),
        ("cut short", |file| file.truncate(5 * BLOCK + 100)),
        ("last block missing", |file| file.truncate(47 * BLOCK)),
        ("first magic", |file| put(file, 3, 0, 0)),
        ("last magic", |file| put(file, 3, 508, 0)),
        ("not for the flash", |file| put(file, 3, 8, 0x2001)),
        ("a file of another kind", |file| put(file, 3, 8, 0x3000)),
        ("no family", |file| put(file, 3, 8, 0)),
        ("another chip", |file| put(file, 3, 28, 0xe48b_ff59)),
        ("a short payload", |file| put(file, 3, 16, 252)),
        ("a number beyond", |file| put(file, 3, 20, 48)),
        ("a number twice", |file| put(file, 3, 20, 2)),
        ("outside the flash", |file| put(file, 3, 12, 0x2000_0000)),
        ("within a page", |file| put(file, 3, 12, 0x1000_0380)),
        ("on top of another", |file| put(file, 3, 12, 0x1000_0200)),
        ("no beginning", |file| put(file, 0, 12, 0x101f_ff00)),
        ("a bit of the second stage", |file| block(file, 0)[40] ^= 1),
    ];
    let words = damages.map(|(name, damage)| {
        let mut file = uf2::write(&pages());
        damage(&mut file);
        let error = uf2::read(&file).expect_err(name);
        format!("{name}: {error}")
    });
    insta::assert_snapshot!(words.join("\n"));
}

/// The format has no checksum over a block, so an address may be wrong by a bit
/// and still be one of free flash; nothing else may.
#[test]
fn no_other_bit_of_a_head_can_be_wrong_unseen() {
    let right = uf2::write(&pages());
    for bit in 0..32 * 8 {
        let mut file = right.clone();
        block(&mut file, 7)[bit / 8] ^= 1 << (bit % 8);
        // flags nobody has given a meaning, and an MD5 sum or tags behind the page
        let ignored = (64..96).contains(&bit) && ![64, 76, 77].contains(&bit);
        let free_flash = (96 + 14..=96 + 20).contains(&bit);
        assert_eq!(uf2::read(&file).is_ok(), ignored || free_flash, "bit {bit}");
    }
}

#[test]
fn a_linked_program_becomes_whole_sectors_and_its_sizes() {
    let mut stage = rp2040_boot2::BOOT_LOADER_W25Q080.to_vec();
    stage.extend([0x11; 5000]);
    let data = Load {
        address: 0x1000_2000,
        bytes: vec![0x22; 10],
    };
    let file = program(
        &[
            Load {
                address: FLASH.start,
                bytes: stage,
            },
            data,
        ],
        &[10, 300],
        Some((0x2000_4000, 0x2000_0000)),
    );
    let program = elf::read(&file).unwrap_or_else(|error| panic!("{error}"));
    let sizes = Sizes {
        flash: 0x200a,
        ram: 310,
        stack: Some(0x4000),
    };
    assert_eq!(program.sizes, sizes);
    assert!(sizes.check().is_ok());
    let addresses: Vec<u32> = program.pages.keys().copied().collect();
    let wanted: Vec<u32> = (0x1000_0000..0x1000_3000).step_by(PAGE).collect();
    assert_eq!(addresses, wanted, "three sectors, whole");
    let last = program.pages[&0x1000_2000];
    assert_eq!((last[9], last[10]), (0x22, 0xff), "the rest stays erased");
}

/// The boot count lies in sectors of its own: what an image does not touch, it
/// must not erase.
#[test]
fn sectors_between_are_left_alone() {
    let stage = rp2040_boot2::BOOT_LOADER_W25Q080.to_vec();
    let far = Load {
        address: 0x1001_0000,
        bytes: vec![1; 4],
    };
    let file = program(
        &[
            Load {
                address: FLASH.start,
                bytes: stage,
            },
            far,
        ],
        &[],
        None,
    );
    let program = elf::read(&file).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(program.pages.len(), 32, "two sectors of sixteen pages");
    assert_eq!(program.sizes.stack, None);
}

#[test]
fn programs_that_do_not_fit_are_refused_in_words() {
    let stage = || Load {
        address: FLASH.start,
        bytes: rp2040_boot2::BOOT_LOADER_W25Q080.to_vec(),
    };
    let at = |address, length| Load {
        address,
        bytes: vec![1; length],
    };
    let mut other = program(&[stage()], &[], None);
    other[18] = 62;
    let whole = program(&[stage(), at(0x1000_1000, 5000)], &[], None);
    let programs = [
        ("no program", b"dear weaver".to_vec()),
        ("another processor", other),
        ("a part missing", whole[..2000].to_vec()),
        ("in RAM", program(&[stage(), at(0x2000_0000, 8)], &[], None)),
        (
            "over the end",
            program(&[stage(), at(0x101f_fffc, 8)], &[], None),
        ),
        (
            "on top of another",
            program(&[stage(), at(0x1000_0080, 8)], &[], None),
        ),
        (
            "no second stage",
            program(&[at(FLASH.start, 256)], &[], None),
        ),
        ("nothing", program(&[], &[], None)),
        (
            "a stack upside down",
            program(&[stage()], &[], Some((0x2000_0000, 0x2000_4000))),
        ),
    ];
    let mut words = programs
        .map(|(name, file)| {
            let error = elf::read(&file).expect_err(name);
            format!("{name}: {error}")
        })
        .to_vec();
    let sizes = Sizes {
        flash: 131_072,
        ram: 65_536 - 16_384,
        stack: Some(16_384),
    };
    assert!(sizes.check().is_ok(), "just as much as is allowed");
    for (name, sizes) in [
        (
            "flash",
            Sizes {
                flash: 131_073,
                ..sizes
            },
        ),
        (
            "RAM",
            Sizes {
                ram: 65_536 - 16_383,
                ..sizes
            },
        ),
    ] {
        words.push(format!("{name}: {}", sizes.check().expect_err(name)));
    }
    insta::assert_snapshot!(words.join("\n"));
}
