//! The reliable link: both ends as state machines without clock, port or
//! memory of their own.
//!
//! Enters: received bytes with the time, messages to send, and the wish for
//! the next frame when the line has room. Leaves: frames for the line, messages
//! exactly once and in order, what happened to the link, and the moment at
//! which it wants to be looked at again. Refuses: frames of another session or
//! another boot, messages when there is no session or no room.
//!
//! An end is driven like this: give it what arrives (`receive`), take what it
//! has to tell (`event`) until there is nothing, and fill the line (`pull`)
//! as it gets room, until there is nothing. When nothing arrives, do the same at
//! `next_wake`. Frames are made when the line asks for them and not before: a
//! queue in between would make every measured round trip a lie.
//!
//! # Opening
//!
//! The host picks a session number it has never used and sends `Open`. The unit
//! answers `Opened` with the number of this opening, never used before in its
//! boot, and goes on with the session it has. The host sends `Confirm` with that
//! number; only then does the new session begin on the unit and the old one
//! end. The host's session begins with the first packet of it that only a unit
//! in session sends. So an `Open` that wandered about on the line displaces
//! nothing: its answer goes to a host that did not ask, and a `Confirm` of
//! another opening has another number. The form of these packets never changes;
//! see [`crate::frame::Packet`].
//!
//! # In session
//!
//! Messages are numbered from 0 in each direction. An end never has more
//! messages on the way than the other has free slots: the other says in the
//! opening how many it has, and in every packet how many are free now. A slot
//! is free again when its message has been taken by `event`, so an end that
//! does not take messages holds the other up, and nothing is lost.

mod exchange;
mod host;
mod inbox;
mod outbox;
pub mod round_trip;
mod unit;

pub use host::{HostEvent, HostLink};
pub use round_trip::RoundTrip;
pub use unit::{UnitEvent, UnitLink};

use thiserror::Error;

/// Messages a host holds in each direction.
pub const HOST_SLOTS: usize = 32;
/// Messages a unit holds in each direction.
pub const UNIT_SLOTS: usize = 8;

/// An end that has sent nothing for this long says that it is still here.
pub const HEARTBEAT_US: u64 = 100_000;
/// Time between two tries of the opening handshake.
pub const OPEN_RETRY_US: u64 = 100_000;
/// A host from which nothing came for this long counts as silent.
pub const HOST_SILENT_US: u64 = 1_000_000;
/// A unit from which nothing came for this long counts as silent.
pub const UNIT_SILENT_US: u64 = 1_000_000;
/// How long an acknowledgement may wait for a message to travel with.
pub const ACK_DELAY_US: u64 = 20_000;
/// Least time between two answers to packets of an unknown session.
pub const UNKNOWN_EVERY_US: u64 = 50_000;

/// Protocol versions an end speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Versions {
    /// Lowest.
    pub lowest: u16,
    /// Highest.
    pub highest: u16,
}

impl Versions {
    /// What this crate speaks. The literal bytes of each version stand in
    /// `protocol/tests/wire/`.
    pub const CURRENT: Versions = Versions {
        lowest: 1,
        highest: 2,
    };

    /// The highest version that both speak.
    #[must_use]
    pub fn in_common(self, other: Versions) -> Option<u16> {
        let highest = self.highest.min(other.highest);
        (highest >= self.lowest.max(other.lowest)).then_some(highest)
    }

    /// Whether `version` is one of these.
    #[must_use]
    pub const fn include(self, version: u16) -> bool {
        self.lowest <= version && version <= self.highest
    }
}

/// Why a message was not taken for sending. It is still the caller's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum SendError {
    /// There is no session.
    #[error("the link is not open; open it and wait until it is, then send again")]
    NotOpen,
    /// As many messages as there is room for wait for their acknowledgement.
    #[error("the link's queue is full; send again when some of it has arrived")]
    Full,
    /// The message cannot travel in one frame.
    #[error("the message is longer than {most} bytes; split it", most = crate::frame::MOST_PAYLOAD)]
    TooLong,
}

/// What an end has counted since it was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LinkCounters {
    /// Frames put on the line.
    pub frames_sent: u32,
    /// Whole frames received.
    pub frames_received: u32,
    /// Messages sent for the first time.
    pub messages_sent: u32,
    /// Messages sent again.
    pub retransmissions: u32,
    /// Runs of received bytes that were not a whole frame.
    pub damaged: u32,
    /// Messages received again.
    pub duplicates: u32,
    /// Messages received for which there was no free slot.
    pub no_slot: u32,
    /// Frames of another session or boot, or out of place.
    pub ignored: u32,
    /// Messages that arrived whole and have no meaning in this version.
    pub not_understood: u32,
    /// Smoothed round trip, in microseconds; 0 until one was measured.
    pub rtt_us: u64,
    /// Time after which an unacknowledged message is sent again, in
    /// microseconds.
    pub retry_us: u64,
}

/// Adds one to a counter that stops at its end instead of starting over.
fn count(counter: &mut u32) {
    *counter = counter.saturating_add(1);
}
