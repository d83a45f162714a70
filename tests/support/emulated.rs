//! The board's very firmware image on an emulated chip, in lock step with the
//! modelled world.
//!
//! Enters: an image, a world, the host's bytes. Leaves: the unit's bytes and
//! what its pins did. The chip is emulated by a program of its own
//! (`tests/board`), which knows pins, buses and time but neither world nor
//! protocol; the firmware on it cannot tell that it is not on a board.

mod answer;
mod bench;
mod image;
mod process;
mod serve;
mod told;
mod unit;

pub use answer::Cause;
pub use image::Image;
pub use process::missing;
pub use serve::serve;
pub use told::{Edge, LinesChange, Reset, Statistics, UsbIdentity};
pub use unit::EmulatedUnit;
