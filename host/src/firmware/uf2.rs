//! Images in the USB Flashing Format, for RP2040 boards with 2 MiB of flash.
//!
//! Enters and leaves: pages of 256 bytes by address, and a file of blocks of 512
//! bytes that each carry one. Refuses: whatever a board would not start from.
//!
//! Sources: "USB Flashing Format (UF2)", Microsoft, for the blocks; RP2040
//! Datasheet, Raspberry Pi Ltd, 2.8.1.3.1 for the second stage's checksum and
//! 2.8.4.2 for what its bootloader takes.

use std::collections::BTreeMap;
use std::ops::Range;

/// Bytes of a block.
pub const BLOCK: usize = 512;

/// Bytes of a page, which is what a block carries for this chip.
pub const PAGE: usize = 256;

/// Bytes that a bootloader erases at a time.
pub const SECTOR: u32 = 4096;

/// The board's flash, as the processor sees it.
pub const FLASH: Range<u32> = 0x1000_0000..0x1020_0000;

/// The chip's number among UF2's families.
pub const FAMILY: u32 = 0xe48b_ff56;

const MAGIC: [(usize, u32); 3] = [(0, 0x0a32_4655), (4, 0x9e5d_5157), (508, 0x0ab1_6f30)];
const NOT_FOR_FLASH: u32 = 0x0000_0001;
const FILE_CONTAINER: u32 = 0x0000_1000;
const FAMILY_GIVEN: u32 = 0x0000_2000;

const FLAGS: usize = 8;
const ADDRESS: usize = 12;
const PAYLOAD: usize = 16;
const NUMBER: usize = 20;
const COUNT: usize = 24;
const FAMILY_AT: usize = 28;
const DATA: usize = 32;

/// Bytes of the second stage that its checksum goes over.
const SECOND_STAGE: usize = 252;

/// Polynomial 0x04c11db7, begun with all ones, nothing reflected or inverted.
const CHECKSUM: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_MPEG_2);

/// Pages by address.
pub type Pages = BTreeMap<u32, [u8; PAGE]>;

/// What is wrong with an image.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Uf2Error {
    /// No whole number of blocks.
    #[error(
        "it is {length} bytes long, which is no whole number of blocks of 512: it is no UF2 file, or only a part of one"
    )]
    Length {
        /// Bytes of the file.
        length: usize,
    },
    /// A block.
    #[error("block {block} of {of}: {fault}")]
    Block {
        /// Its place in the file, from 1.
        block: usize,
        /// Blocks in the file.
        of: usize,
        /// What is wrong with it.
        fault: BlockFault,
    },
    /// No beginning.
    #[error("no block goes to 0x10000000, where the board begins to read")]
    NoBeginning,
    /// The board would stay in its bootloader.
    #[error(
        "block {block} of {of}: the second stage at 0x10000000 adds up to 0x{right:08x} and has 0x{found:08x} beside it, so the board would not start from it"
    )]
    SecondStage {
        /// The block's place in the file, from 1.
        block: usize,
        /// Blocks in the file.
        of: usize,
        /// The checksum it carries.
        found: u32,
        /// The checksum it should carry.
        right: u32,
    },
}

/// What is wrong with a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BlockFault {
    /// It is none.
    #[error("it has not got the magic numbers of UF2")]
    Magic,
    /// It is for something else.
    #[error("it is marked as not for the flash")]
    NotForFlash,
    /// It does not say for which chip it is.
    #[error("it does not say for which chip it is")]
    NoFamily,
    /// It is for another chip.
    #[error("it is for the chip family 0x{0:08x}, and this board's is 0xe48bff56 (RP2040)")]
    Family(u32),
    /// It carries too little or too much.
    #[error("it carries {0} bytes, and this chip takes 256")]
    Payload(u32),
    /// Blocks are missing or there are too many.
    #[error("it says that there are {0} blocks in all")]
    Count(u32),
    /// Its number is not one of the file's.
    #[error("its number is {0} (counted from 0), which is beyond the last")]
    Number(u32),
    /// Its number has been there.
    #[error("its number is {0} (counted from 0), which an earlier block has too")]
    NumberTwice(u32),
    /// It goes elsewhere.
    #[error("it goes to 0x{0:08x}, outside the board's flash (0x10000000 to 0x10200000)")]
    Address(u32),
    /// It begins within a page.
    #[error("it goes to 0x{0:08x}, which is not the beginning of a page of 256 bytes")]
    Unaligned(u32),
    /// Another block goes there too.
    #[error("it goes to 0x{0:08x}, where an earlier block goes too")]
    Overlap(u32),
}

/// Writes pages as an image, in the order of their addresses.
#[must_use]
pub fn write(pages: &Pages) -> Vec<u8> {
    let count = pages.len() as u32;
    let mut file = Vec::with_capacity(pages.len() * BLOCK);
    for (number, (address, page)) in (0u32..).zip(pages) {
        let mut block = [0; BLOCK];
        let head = [
            (FLAGS, FAMILY_GIVEN),
            (ADDRESS, *address),
            (PAYLOAD, PAGE as u32),
            (NUMBER, number),
            (COUNT, count),
            (FAMILY_AT, FAMILY),
        ];
        for (at, word) in MAGIC.into_iter().chain(head) {
            block[at..at + 4].copy_from_slice(&word.to_le_bytes());
        }
        block[DATA..DATA + PAGE].copy_from_slice(page);
        file.extend_from_slice(&block);
    }
    file
}

/// Reads an image and checks that a board would take it and start from it.
///
/// # Errors
/// [`Uf2Error`] naming the block and what is wrong with it.
pub fn read(file: &[u8]) -> Result<Pages, Uf2Error> {
    let (blocks, rest) = file.as_chunks::<BLOCK>();
    if blocks.is_empty() || !rest.is_empty() {
        let length = file.len();
        return Err(Uf2Error::Length { length });
    }
    let of = blocks.len();
    let mut pages = Pages::new();
    let mut seen = vec![false; of];
    let mut beginning = 0;
    for (block, bytes) in (1..).zip(blocks) {
        let address = take_in(bytes, &mut seen, &mut pages).map_err(|fault| Uf2Error::Block {
            block,
            of,
            fault,
        })?;
        if address == FLASH.start {
            beginning = block;
        }
    }
    let first = pages.get(&FLASH.start).ok_or(Uf2Error::NoBeginning)?;
    let (found, right) = (word(first, SECOND_STAGE), checksum(first));
    if found != right {
        return Err(Uf2Error::SecondStage {
            block: beginning,
            of,
            found,
            right,
        });
    }
    Ok(pages)
}

/// The checksum that the second stage in a page should carry.
#[must_use]
pub fn checksum(page: &[u8; PAGE]) -> u32 {
    let (body, _) = page.split_at(SECOND_STAGE);
    CHECKSUM.checksum(body)
}

/// Checks a block and puts its page where it belongs. Its address.
fn take_in(block: &[u8; BLOCK], seen: &mut [bool], pages: &mut Pages) -> Result<u32, BlockFault> {
    if MAGIC.iter().any(|(at, magic)| word(block, *at) != *magic) {
        return Err(BlockFault::Magic);
    }
    let flags = word(block, FLAGS);
    if flags & (NOT_FOR_FLASH | FILE_CONTAINER) != 0 {
        return Err(BlockFault::NotForFlash);
    }
    match word(block, FAMILY_AT) {
        _ if flags & FAMILY_GIVEN == 0 => return Err(BlockFault::NoFamily),
        FAMILY => {}
        other => return Err(BlockFault::Family(other)),
    }
    let (payload, count) = (word(block, PAYLOAD), word(block, COUNT));
    if payload != PAGE as u32 {
        return Err(BlockFault::Payload(payload));
    }
    if count as usize != seen.len() {
        return Err(BlockFault::Count(count));
    }
    let number = word(block, NUMBER);
    match seen.get_mut(number as usize) {
        None => return Err(BlockFault::Number(number)),
        Some(true) => return Err(BlockFault::NumberTwice(number)),
        Some(seen) => *seen = true,
    }
    let address = word(block, ADDRESS);
    if !FLASH.contains(&address) {
        return Err(BlockFault::Address(address));
    }
    if !address.is_multiple_of(PAGE as u32) {
        return Err(BlockFault::Unaligned(address));
    }
    let mut page = [0; PAGE];
    page.copy_from_slice(&block[DATA..DATA + PAGE]);
    match pages.insert(address, page) {
        Some(_) => Err(BlockFault::Overlap(address)),
        None => Ok(address),
    }
}

/// The word at `at`, least byte first.
fn word(bytes: &[u8], at: usize) -> u32 {
    let mut word = [0; 4];
    word.copy_from_slice(&bytes[at..at + 4]);
    u32::from_le_bytes(word)
}
