//! The firmware core against the modelled world, without a link: orders go
//! straight to the machine, and what its pins did is read from the world.
#![allow(clippy::expect_used)]

mod bench;
mod feed;
mod interlocks;
mod orders;
mod punch;
mod reader;
