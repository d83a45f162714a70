//! What host and unit say to each other.
//!
//! Enters: bytes from a serial line, messages from the program. Leaves: bytes,
//! messages, and the moment at which the link wants to be looked at again.
//! Refuses: every frame whose length, session, boot number or CRC-32 is not
//! exactly right. There is no clock, no port and no allocation in here, so the
//! same code runs on the chip, on the host and in simulated time.

#![no_std]

pub mod card;
pub mod frame;
pub mod host_to_unit;
pub mod link;
pub mod loom;
pub mod time;
pub mod unit_to_host;
pub mod usb;

pub use card::{Attempt, CardId, CardNumber, JobNumber, Row, Stroke};
pub use host_to_unit::HostToUnit;
pub use time::Micros;
pub use unit_to_host::UnitToHost;
