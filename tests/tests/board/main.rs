//! The board's very image, emulated, against the program's own engine in the
//! chip's time, over the modelled world. Built by `firmware/pico/build`.

mod bench;
mod session;

mod cable;
mod cuts;
mod failures;
mod identity;
mod loom;
mod port;
mod size;
mod steps;
mod stops;
mod trace;
