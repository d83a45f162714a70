//! Who this board is and how often it has started.
//!
//! Enters: the flash. Leaves: its unchanging number, and a boot number that was
//! never used before: a host tells from it that the unit has lost its memory.

use core::ops::Range;

use embassy_embedded_hal::adapter::BlockingAsync;
use embassy_futures::block_on;
use embassy_rp::Peri;
use embassy_rp::clocks::RoscRng;
use embassy_rp::flash::{Blocking, Flash};
use embassy_rp::peripherals::FLASH;
use sequential_storage::cache::NoCache;
use sequential_storage::map::{MapConfig, MapStorage};

/// Flash on the board.
const SIZE: usize = 2 * 1024 * 1024;

/// Where the count lies: the last two sectors, far from the program.
const PLACE: Range<u32> = SIZE as u32 - 2 * 4096..SIZE as u32;

/// The count's key.
const BOOTS: u8 = 1;

/// What is soldered on, and what number this start has.
pub struct Nameplate {
    /// The flash chip's own number.
    pub board: [u8; 8],
    /// This start's number.
    pub boot: u32,
}

/// Reads the number and counts this start.
pub fn read(flash: Peri<'static, FLASH>) -> Nameplate {
    let mut flash = Flash::<_, Blocking, SIZE>::new_blocking(flash);
    let mut board = [0; 8];
    // the number cannot be refused: the command has no failure
    let _ = flash.blocking_unique_id(&mut board);
    Nameplate {
        board,
        boot: count(flash),
    }
}

/// This start's number: one more than the last; the first on a new board, and
/// one that no host is likely to have met if the place holds anything else.
fn count(mut flash: Flash<'static, FLASH, Blocking, SIZE>) -> u32 {
    let config = const { MapConfig::new(PLACE) };
    let new = is_erased(&mut flash);
    let mut map: MapStorage<u8, _, _> =
        MapStorage::new(BlockingAsync::new(flash), config, NoCache::new());
    let mut buffer = [0; 32];
    let fetched: Result<Option<u32>, _> = block_on(map.fetch_item(&mut buffer, &BOOTS));
    let next = match fetched {
        Ok(Some(before)) => Some(before.wrapping_add(1)),
        Ok(None) => new.then_some(1),
        Err(_) => None,
    };
    if let Some(boot) = next
        && block_on(map.store_item(&mut buffer, &BOOTS, &boot)).is_ok()
    {
        return boot;
    }
    // what cannot be counted on from is given up; a flash that takes nothing any
    // more leaves a number by chance every time
    let boot = unmet();
    let _ = block_on(map.erase_all());
    let _ = block_on(map.store_item(&mut buffer, &BOOTS, &boot));
    boot
}

fn is_erased(flash: &mut Flash<'static, FLASH, Blocking, SIZE>) -> bool {
    let mut some = [0; 64];
    PLACE.step_by(some.len()).all(|at| {
        flash.blocking_read(at, &mut some).is_ok() && some.iter().all(|byte| *byte == 0xff)
    })
}

/// A number by chance, far from those that are counted to.
fn unmet() -> u32 {
    RoscRng.next_u32() | 1 << 31
}
