//! The rig's firmware over a modelled world.
//!
//! Enters: time, bytes from a host, and what a person does at the machine.
//! Leaves: bytes for the host, and apart from that the truth about every card
//! and every pick, for tests. The firmware core is the one that runs on the
//! chip, unchanged; everything it can touch is a pin of [`board`]. The world
//! knows millimetres, microseconds and light; it knows no deck, no message and
//! no verdict.

pub mod attendant;
pub mod bench;
pub mod board;
pub mod cabled;
pub mod card_maker;
pub mod chance;
pub mod faults;
pub mod geometry;
pub mod line;
pub mod loom;
pub mod optics;
pub mod pty;
pub mod reading;
pub mod settings;
pub mod stock;
pub mod truth;
pub mod unit;
pub mod world;

pub use attendant::Attendant;
pub use bench::Bench;
pub use board::{SharedWorld, VirtualBoard, wire_up};
pub use cabled::CabledUnit;
pub use card_maker::CardMaker;
pub use faults::{FaultKind, Faults};
pub use line::{Line, LineSettings};
pub use loom::{Loom, LoomOptions, LoomWorld};
pub use reading::ReaderModel;
pub use settings::WorldSettings;
pub use unit::{Nameplate, VirtualUnit};
pub use world::World;
