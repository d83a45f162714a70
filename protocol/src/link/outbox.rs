//! Messages on their way out: numbered, sent within what the other end can
//! take, sent again when lost, kept until acknowledged.
//!
//! Enters: messages, acknowledgements. Leaves: the message that is to go on the
//! line next. Refuses: messages beyond its slots, acknowledgements of messages
//! never sent.

use super::round_trip::RoundTrip;
use crate::frame::MOST_PAYLOAD;
use crate::link::SendError;
use crate::time::Micros;
use heapless::Vec;
use serde::Serialize;

/// As many acknowledgements of the same message in a row mean that the next one
/// is lost and later ones have arrived (RFC 5681, 3.2).
const DUPLICATE_ACKS: u8 = 3;

#[derive(Debug)]
struct Slot {
    message: Vec<u8, MOST_PAYLOAD>,
    sent_at: Micros,
    sent_again: bool,
}

#[derive(Debug)]
pub(super) struct Outbox<const N: usize> {
    slots: [Slot; N],
    /// The first message not acknowledged.
    oldest: u32,
    /// The first message never sent.
    unsent: u32,
    /// The number the next message will have.
    end: u32,
    /// The first message the other end has no slot for.
    limit: u32,
    /// Most messages on the way at one time.
    most_on_way: u32,
    trip: RoundTrip,
    /// When the oldest is sent again; never, if nothing is on the way.
    retry_at: Micros,
    /// Acknowledgements in a row that say the oldest is missing.
    duplicate_acks: u8,
    /// A loss was noticed when this was the first message never sent: what is
    /// before it and not yet acknowledged is lost too (RFC 6582).
    recover: Option<u32>,
    /// The oldest is to be sent again now.
    again_now: bool,
}

impl<const N: usize> Outbox<N> {
    const SLOTS: u32 = {
        assert!(N.is_power_of_two() && N <= 128);
        N as u32
    };

    pub(super) fn new() -> Self {
        Outbox {
            slots: core::array::from_fn(|_| Slot {
                message: Vec::new(),
                sent_at: Micros(0),
                sent_again: false,
            }),
            oldest: 0,
            unsent: 0,
            end: 0,
            limit: 0,
            most_on_way: 0,
            trip: RoundTrip::new(),
            retry_at: Micros::NEVER,
            duplicate_acks: 0,
            recover: None,
            again_now: false,
        }
    }

    /// Forgets every message; the other end has so many slots.
    pub(super) fn begin(&mut self, slots: u8) {
        for slot in &mut self.slots {
            slot.message.clear();
        }
        (self.oldest, self.unsent, self.end) = (0, 0, 0);
        self.limit = u32::from(slots);
        self.most_on_way = u32::from(slots).min(Self::SLOTS);
        self.trip = RoundTrip::new();
        self.retry_at = Micros::NEVER;
        self.duplicate_acks = 0;
        self.recover = None;
        self.again_now = false;
    }

    pub(super) fn trip(&self) -> &RoundTrip {
        &self.trip
    }

    fn slot(number: u32) -> usize {
        (number % Self::SLOTS) as usize
    }

    /// Messages that may be queued now.
    pub(super) fn room(&self) -> usize {
        N - self.end.wrapping_sub(self.oldest) as usize
    }

    pub(super) fn queue(&mut self, message: &impl Serialize) -> Result<(), SendError> {
        if self.room() == 0 {
            return Err(SendError::Full);
        }
        let bytes = &mut self.slots[Self::slot(self.end)].message;
        let written = bytes
            .resize(MOST_PAYLOAD, 0)
            .ok()
            .and_then(|()| postcard::to_slice(message, bytes).ok())
            .map(|written| written.len());
        bytes.truncate(written.unwrap_or(0));
        written.ok_or(SendError::TooLong)?;
        self.end = self.end.wrapping_add(1);
        Ok(())
    }

    /// Takes in that everything before `ack` has arrived and `free` more can be
    /// taken. `bare` if the packet carried nothing else: only such a packet can
    /// be a sign of loss.
    pub(super) fn acknowledged(&mut self, ack: u32, free: u8, bare: bool, now: Micros) {
        let arrived = ack.wrapping_sub(self.oldest);
        if arrived > self.unsent.wrapping_sub(self.oldest) {
            return; // overtaken by a later one, or nonsense
        }
        let limit = ack.wrapping_add(u32::from(free));
        let raised = limit.wrapping_sub(self.limit);
        let raised = raised > 0 && raised <= u32::MAX / 2;
        if raised {
            self.limit = limit;
        }
        if arrived > 0 {
            self.advance(ack, now);
        } else if bare && !raised && self.oldest != self.unsent {
            self.duplicate_acks = self.duplicate_acks.saturating_add(1);
            if self.duplicate_acks == DUPLICATE_ACKS && self.recover.is_none() {
                self.recover = Some(self.unsent);
                self.again_now = true;
            }
        }
    }

    fn advance(&mut self, ack: u32, now: Micros) {
        let mut sent_again = false;
        let mut sent_at = now;
        while self.oldest != ack {
            let slot = &mut self.slots[Self::slot(self.oldest)];
            sent_again |= slot.sent_again;
            sent_at = slot.sent_at;
            slot.message.clear();
            self.oldest = self.oldest.wrapping_add(1);
        }
        if !sent_again {
            self.trip.measured(now.since(sent_at));
        }
        self.duplicate_acks = 0;
        self.again_now = false;
        if let Some(recover) = self.recover {
            // Still short of it: the new oldest was sent as long ago as the
            // one just mended, so it is lost as well.
            if recover.wrapping_sub(ack).wrapping_sub(1) < u32::MAX / 2 {
                self.again_now = true;
            } else {
                self.recover = None;
            }
        }
        self.retry_at = if self.oldest == self.unsent {
            Micros::NEVER
        } else {
            now.plus(self.trip.wait_us())
        };
    }

    fn may_send_new(&self) -> bool {
        let room = self.limit.wrapping_sub(self.unsent);
        self.unsent != self.end
            && room > 0
            && room <= u32::MAX / 2
            && self.unsent.wrapping_sub(self.oldest) < self.most_on_way
    }

    /// Whether a message can go on the line at `now`.
    pub(super) fn ready(&self, now: Micros) -> bool {
        self.again_now || now >= self.retry_at || self.may_send_new()
    }

    /// When a message is sent again if nothing comes.
    pub(super) fn retry_at(&self) -> Micros {
        self.retry_at
    }

    /// The number of the message that goes on the line now, and whether it was
    /// there before.
    pub(super) fn send_next(&mut self, now: Micros) -> Option<(u32, bool)> {
        if now >= self.retry_at && !self.again_now {
            self.trip.timed_out();
            self.recover = Some(self.unsent);
            self.again_now = true;
        }
        let again = self.again_now && self.oldest != self.unsent;
        self.again_now = false;
        let number = if again {
            self.oldest
        } else if self.may_send_new() {
            self.unsent = self.unsent.wrapping_add(1);
            self.unsent.wrapping_sub(1)
        } else {
            return None;
        };
        let slot = &mut self.slots[Self::slot(number)];
        slot.sent_again = again;
        slot.sent_at = now;
        if again || self.retry_at == Micros::NEVER {
            self.retry_at = now.plus(self.trip.wait_us());
        }
        Some((number, again))
    }

    /// The bytes of message `number`.
    pub(super) fn message(&self, number: u32) -> &[u8] {
        &self.slots[Self::slot(number)].message
    }
}
