//! What several test files share. Each uses a part of it.
#![allow(dead_code)]

pub mod line;
pub mod messages;
pub mod saturation;
pub mod two_ends;
