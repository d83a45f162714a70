//! Shared by the tests that cross crates.

pub mod emulated;
pub mod virtual_time;
