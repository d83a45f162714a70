//! Rigs: how one is built, and on which port one is.

mod file;
mod ports;

pub use file::{RigFile, RigFileError};
pub use ports::{FoundPort, ports};
