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

fn count(flash: Flash<'static, FLASH, Blocking, SIZE>) -> u32 {
    let config = const { MapConfig::new(PLACE) };
    let mut map: MapStorage<u8, _, _> =
        MapStorage::new(BlockingAsync::new(flash), config, NoCache::new());
    let mut buffer = [0; 32];
    let counted = block_on(async {
        let before: Option<u32> = map.fetch_item(&mut buffer, &BOOTS).await?;
        let boot = before.unwrap_or(0).wrapping_add(1);
        map.store_item(&mut buffer, &BOOTS, &boot).await?;
        Ok::<u32, sequential_storage::Error<_>>(boot)
    });
    counted.unwrap_or_else(|_| {
        // flash that cannot be counted in any more: begin anew, at a number that
        // no host is likely to have met
        let mut rng = RoscRng;
        let boot = rng.next_u32() | 1 << 31;
        let _ = block_on(map.remove_all_items(&mut buffer));
        let _ = block_on(map.store_item(&mut buffer, &BOOTS, &boot));
        boot
    })
}
