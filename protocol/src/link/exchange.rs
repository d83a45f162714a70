//! What both ends do while a session lasts: messages both ways,
//! acknowledgements, heartbeats, and noticing silence.
//!
//! Enters: packets of the session, messages. Leaves: the packet that is to go
//! on the line next. Refuses: packets of the opening handshake, which are the
//! ends' own.

use super::inbox::{Arrival, Inbox};
use super::outbox::Outbox;
use super::{ACK_DELAY_US, HEARTBEAT_US, LinkCounters, SendError, count};
use crate::frame::Packet;
use crate::time::Micros;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Messages that may arrive before an acknowledgement stops waiting for
/// company (RFC 5681, 4.2: at least every second one).
const ACK_EVERY: u8 = 2;

#[derive(Debug)]
pub(super) struct Exchange<const N: usize> {
    outbox: Outbox<N>,
    inbox: Inbox<N>,
    pub(super) counters: LinkCounters,
    silent_us: u64,
    last_sent: Micros,
    last_heard: Micros,
    silent: bool,
    /// Messages arrived since the last acknowledgement, and when it must go.
    unacknowledged: u8,
    ack_by: Micros,
    ack_now: bool,
    /// The limit told last: the first message without a slot.
    limit_told: u32,
}

impl<const N: usize> Exchange<N> {
    /// Slots as the handshake states them.
    pub(super) const SLOTS: u8 = N as u8;

    /// An exchange in no session. The other end is silent after `silent_us`.
    pub(super) fn new(silent_us: u64) -> Self {
        Exchange {
            outbox: Outbox::new(),
            inbox: Inbox::new(),
            counters: LinkCounters::default(),
            silent_us,
            last_sent: Micros(0),
            last_heard: Micros(0),
            silent: false,
            unacknowledged: 0,
            ack_by: Micros::NEVER,
            ack_now: false,
            limit_told: 0,
        }
    }

    /// Begins a session: nothing of an earlier one is left. Something is sent
    /// at once, for the other end to see that the session has begun.
    pub(super) fn begin(&mut self, peer_slots: u8, now: Micros) {
        self.outbox.begin(peer_slots);
        self.inbox.clear();
        self.last_sent = now;
        self.last_heard = now;
        self.silent = false;
        self.unacknowledged = 0;
        self.ack_by = Micros::NEVER;
        self.ack_now = true;
        self.limit_told = u32::from(Self::SLOTS);
    }

    pub(super) fn room(&self) -> usize {
        self.outbox.room()
    }

    pub(super) fn send(&mut self, message: &impl Serialize) -> Result<(), SendError> {
        self.outbox.queue(message)
    }

    pub(super) fn last_heard(&self) -> Micros {
        self.last_heard
    }

    pub(super) fn is_silent(&self) -> bool {
        self.silent
    }

    /// Something is to be sent without delay.
    pub(super) fn answer_soon(&mut self) {
        self.ack_now = true;
    }

    /// Notices silence; true when it begins.
    pub(super) fn look(&mut self, now: Micros) -> bool {
        let begins = !self.silent && now.since(self.last_heard) >= self.silent_us;
        self.silent |= begins;
        begins
    }

    /// A valid frame of this session has come.
    pub(super) fn hear(&mut self, now: Micros) {
        self.last_heard = self.last_heard.max(now);
        self.silent = false;
    }

    /// Takes in a packet of the session; false if it is none.
    pub(super) fn receive(&mut self, packet: &Packet, now: Micros) -> bool {
        match *packet {
            Packet::Data {
                sequence,
                ack,
                free,
                message,
            } => {
                self.hear(now);
                self.outbox.acknowledged(ack, free, false, now);
                self.arrived(sequence, message, now);
            }
            Packet::Ack { ack, free } => {
                self.hear(now);
                self.outbox.acknowledged(ack, free, true, now);
            }
            Packet::Heartbeat { ack, free } => {
                self.hear(now);
                self.outbox.acknowledged(ack, free, false, now);
            }
            _ => return false,
        }
        true
    }

    fn arrived(&mut self, sequence: u32, message: &[u8], now: Micros) {
        match self.inbox.accept(sequence, message) {
            Arrival::InOrder => {
                self.unacknowledged = self.unacknowledged.saturating_add(1);
                self.ack_by = self.ack_by.min(now.plus(ACK_DELAY_US));
            }
            // The sender is to learn of a gap, and of its end, at once.
            Arrival::OutOfOrder | Arrival::ClosedGap => self.ack_now = true,
            Arrival::Duplicate => {
                count(&mut self.counters.duplicates);
                self.ack_now = true;
            }
            Arrival::NoSlot => {
                count(&mut self.counters.no_slot);
                self.ack_now = true;
            }
        }
    }

    /// The next message in order. One that means nothing in this version is
    /// counted and passed over.
    pub(super) fn take<M: DeserializeOwned>(&mut self) -> Option<M> {
        loop {
            let message = postcard::take_from_bytes::<M>(self.inbox.first()?);
            let message = message.ok().filter(|(_, rest)| rest.is_empty());
            let message = message.map(|(message, _)| message);
            self.inbox.drop_first();
            self.tell_of_room();
            if message.is_some() {
                return message;
            }
            count(&mut self.counters.not_understood);
        }
    }

    /// A sender that was told of few slots waits; it must hear of new ones.
    fn tell_of_room(&mut self) {
        let limit = self.limit();
        if limit.wrapping_sub(self.limit_told) >= (N as u32).div_ceil(2) {
            self.ack_now = true;
        }
    }

    fn limit(&self) -> u32 {
        self.inbox
            .expected()
            .wrapping_add(u32::from(self.inbox.free()))
    }

    /// Whether a message may go out at `now`. Into a silence nothing is sent
    /// again: that is the limit of retries, until the other end is heard.
    fn message_ready(&self, now: Micros) -> bool {
        !self.silent && self.outbox.ready(now)
    }

    /// The packet that is to go on the line now, if any.
    pub(super) fn pull(&mut self, now: Micros) -> Option<Packet<'_>> {
        let message = if !self.ack_now && self.message_ready(now) {
            self.outbox.send_next(now)
        } else {
            None
        };
        let (ack, free) = (self.inbox.expected(), self.inbox.free());
        let bare = self.ack_now || self.unacknowledged >= ACK_EVERY || now >= self.ack_by;
        if message.is_none() && !bare && now.since(self.last_sent) < HEARTBEAT_US {
            return None;
        }
        self.last_sent = now;
        self.unacknowledged = 0;
        self.ack_by = Micros::NEVER;
        self.ack_now = false;
        self.limit_told = self.limit();
        Some(match message {
            Some((sequence, again)) => {
                count(if again {
                    &mut self.counters.retransmissions
                } else {
                    &mut self.counters.messages_sent
                });
                let message = self.outbox.message(sequence);
                Packet::Data {
                    sequence,
                    ack,
                    free,
                    message,
                }
            }
            None if bare => Packet::Ack { ack, free },
            None => Packet::Heartbeat { ack, free },
        })
    }

    /// When [`Exchange::pull`] or [`Exchange::look`] will have something; now
    /// or earlier, if it has already.
    pub(super) fn next_wake(&self, now: Micros) -> Micros {
        if self.ack_now || self.unacknowledged >= ACK_EVERY || self.message_ready(now) {
            return now;
        }
        let heartbeat = self.last_sent.plus(HEARTBEAT_US);
        let wake = heartbeat.min(self.ack_by);
        if self.silent {
            return wake;
        }
        wake.min(self.outbox.retry_at())
            .min(self.last_heard.plus(self.silent_us))
    }

    /// The counters, with the measured round trip filled in.
    pub(super) fn counters(&self) -> LinkCounters {
        LinkCounters {
            rtt_us: self.outbox.trip().mean_us().unwrap_or(0),
            retry_us: self.outbox.trip().wait_us(),
            ..self.counters
        }
    }
}
