//! The emulated unit on a pseudo-terminal, for programs that open a serial port.
//!
//! Enters: image, world, person, link name. Leaves: a terminal that comes and
//! goes with the unit's port. Its time runs no faster than the wall's; where the
//! computer is too slow for it, it loses pace and never jumps.

use super::{EmulatedUnit, Image};
use cardwright_protocol::Micros;
use cardwright_virtual::pty::{Handle, PtyError, Serving, VirtualRig};
use cardwright_virtual::{Attendant, World};
use std::path::PathBuf;

/// How long the host may take to find the unit after it is switched on.
const FOUND_WITHIN: Micros = Micros(3_000_000);

/// How long a cable pulled by chance stays out.
const OUT_US: u64 = 2_000_000;

/// Serves a board with this image and number in this world.
///
/// # Errors
/// If the system gives no terminal, link or thread.
pub fn serve(
    image: Image,
    world: World,
    number: [u8; 8],
    attendant: Attendant,
    link: Option<PathBuf>,
) -> Result<Handle<EmulatedUnit>, PtyError> {
    let serving = Serving {
        factor: 1.0,
        link,
        attendant,
    };
    VirtualRig::serve_unit(serving, move || {
        let began = world.now();
        let mut unit = EmulatedUnit::new(world, &image, number, OUT_US);
        unit.run_until_found(began.plus(FOUND_WITHIN.0));
        unit
    })
}
