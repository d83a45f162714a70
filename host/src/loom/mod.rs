//! The loom's unit: how its sensors are wired, and when by the time of day what it
//! saw has happened.

mod clock;
mod file;

pub use clock::{LoomClock, Moment};
pub use file::{LoomFile, LoomFileError};
