//! Shared by the tests that cross crates.

pub mod virtual_time;
