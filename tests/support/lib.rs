//! Shared by the tests that cross crates.

pub mod emulated;
pub mod loom;
pub mod old_deck;
pub mod reference;
pub mod strange;
pub mod trust;
pub mod virtual_time;
pub mod worn;
