//! The unit's end of the link.
//!
//! Enters: bytes from the host, messages for it. Leaves: bytes for the host,
//! its messages, and what became of the link. Refuses: messages while there is
//! no session, and openings that nobody confirms.

use super::exchange::Exchange;
use super::{
    HOST_SILENT_US, LinkCounters, SendError, UNIT_SLOTS, UNKNOWN_EVERY_US, Versions, count,
};
use crate::frame::{self, Frame, FrameReader, MOST_WIRE, Packet};
use crate::host_to_unit::HostToUnit;
use crate::time::Micros;
use crate::unit_to_host::UnitToHost;

/// What happened at the unit's end.
// Size is no matter: an event is looked at and gone.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq)]
pub enum UnitEvent {
    /// A session has begun.
    Opened {
        /// Its number.
        session: u32,
        /// Whether it put an end to another one.
        replaced: bool,
    },
    /// The host asks or orders.
    Message(HostToUnit),
    /// Nothing has come from the host for [`HOST_SILENT_US`]. The session goes
    /// on if it comes back.
    HostSilent,
}

/// An opening that waits for its confirmation.
#[derive(Clone, Copy, Debug)]
struct Pending {
    session: u32,
    version: u16,
    slots: u8,
    opening: u32,
}

/// A session and the opening it came from.
#[derive(Clone, Copy, Debug)]
struct Live {
    session: u32,
    version: u16,
    opening: u32,
}

/// The unit's end of the link. Holds [`UNIT_SLOTS`] messages each way.
#[derive(Debug)]
pub struct UnitLink {
    reader: FrameReader,
    end: End,
}

#[derive(Debug)]
struct End {
    versions: Versions,
    boot: u32,
    openings: u32,
    pending: Option<Pending>,
    live: Option<Live>,
    /// The pending opening is to be answered.
    answer: bool,
    /// A host that asked for this session is to be told our versions.
    refuse: Option<u32>,
    /// A host in this session is to be told that it is not ours.
    unknown: Option<u32>,
    unknown_not_before: Micros,
    exchange: Exchange<UNIT_SLOTS>,
    /// A session has begun and was not told yet; whether it replaced one.
    opened: Option<bool>,
    silent: bool,
    now: Micros,
}

impl UnitLink {
    /// A link with no session on a unit that has started for the `boot`th time.
    #[must_use]
    pub fn new(versions: Versions, boot: u32) -> Self {
        UnitLink {
            reader: FrameReader::new(),
            end: End {
                versions,
                boot,
                openings: 0,
                pending: None,
                live: None,
                answer: false,
                refuse: None,
                unknown: None,
                unknown_not_before: Micros(0),
                exchange: Exchange::new(HOST_SILENT_US),
                opened: None,
                silent: false,
                now: Micros(0),
            },
        }
    }

    /// Takes in bytes from the line, as many as there are.
    pub fn receive(&mut self, mut bytes: &[u8], now: Micros) {
        self.end.look(now);
        while let Some(frame) = self.reader.next_frame(&mut bytes) {
            self.end.frame(&frame);
        }
    }

    /// What happened next, or nothing. Time alone makes an event only after
    /// `receive` or `pull` was called with that time.
    pub fn event(&mut self) -> Option<UnitEvent> {
        self.end.event()
    }

    /// Queues a message.
    ///
    /// # Errors
    /// [`SendError`]; the message was not taken, and may be tried again.
    pub fn send(&mut self, message: &UnitToHost) -> Result<(), SendError> {
        match self.end.live {
            Some(_) => self.end.exchange.send(message),
            None => Err(SendError::NotOpen),
        }
    }

    /// How many messages may be queued now.
    #[must_use]
    pub fn room(&self) -> usize {
        self.end.live.map_or(0, |_| self.end.exchange.room())
    }

    /// Whether there is a session. The host may be silent.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.end.live.is_some()
    }

    /// The protocol version of the session, if there is one.
    #[must_use]
    pub fn version(&self) -> Option<u16> {
        self.end.live.map(|live| live.version)
    }

    /// When something of the session came last.
    #[must_use]
    pub fn last_heard(&self) -> Micros {
        self.end.exchange.last_heard()
    }

    /// The next frame for the line, with its delimiter: so many bytes of
    /// `wire`. Call it when the line has room, until it gives `None`.
    pub fn pull(&mut self, now: Micros, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        self.end.look(now);
        self.end.pull(wire)
    }

    /// When time alone will make `pull` or `event` give something; a moment in
    /// the past if `pull` has something already.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        self.end.next_wake()
    }

    /// What has been counted.
    #[must_use]
    pub fn counters(&self) -> LinkCounters {
        LinkCounters {
            damaged: self.reader.damaged(),
            ..self.end.exchange.counters()
        }
    }
}

impl End {
    fn look(&mut self, now: Micros) {
        self.now = self.now.max(now);
        if self.live.is_some() {
            self.silent |= self.exchange.look(self.now);
        }
    }

    fn frame(&mut self, frame: &Frame) {
        count(&mut self.exchange.counters.frames_received);
        if frame.session == 0 || !self.packet(frame) {
            count(&mut self.exchange.counters.ignored);
        }
    }

    /// Acts on a packet; false if it is out of place.
    fn packet(&mut self, frame: &Frame) -> bool {
        let session = frame.session;
        let live = self.live.filter(|live| live.session == session);
        match frame.packet {
            Packet::Open {
                lowest,
                highest,
                slots,
            } => {
                match live {
                    // Its host has the answer already, or this came late.
                    Some(_) => self.exchange.answer_soon(),
                    None => self.asked(session, Versions { lowest, highest }, slots),
                }
                true
            }
            Packet::Confirm { opening } if frame.boot == self.boot => match live {
                // The host has not heard yet that its session has begun.
                Some(live) if live.opening == opening => {
                    self.exchange.hear(self.now);
                    self.exchange.answer_soon();
                    true
                }
                Some(_) => false,
                None => self.confirmed(session, opening),
            },
            Packet::Data { .. } | Packet::Ack { .. } | Packet::Heartbeat { .. } => match live {
                Some(_) if frame.boot == self.boot => {
                    self.exchange.receive(&frame.packet, self.now)
                }
                Some(_) => false,
                None => {
                    self.unknown = Some(session);
                    false
                }
            },
            _ => false,
        }
    }

    /// A host asks for a session. The one that lives goes on.
    fn asked(&mut self, session: u32, theirs: Versions, slots: u8) {
        let Some(version) = self.versions.in_common(theirs) else {
            self.refuse = Some(session);
            return;
        };
        if self
            .pending
            .is_none_or(|pending| pending.session != session)
        {
            self.openings = self.openings.wrapping_add(1);
            let opening = self.openings;
            self.pending = Some(Pending {
                session,
                version,
                slots,
                opening,
            });
        }
        self.answer = true;
    }

    /// The host that asked is really there: its session begins.
    fn confirmed(&mut self, session: u32, opening: u32) -> bool {
        let asked = |pending: &Pending| pending.session == session && pending.opening == opening;
        let Some(Pending { version, slots, .. }) = self.pending.filter(asked) else {
            return false;
        };
        // An unreported replacement stays one.
        let replaced =
            self.opened == Some(true) || self.live.is_some() && self.opened != Some(false);
        self.pending = None;
        self.answer = false;
        self.live = Some(Live {
            session,
            version,
            opening,
        });
        self.opened = Some(replaced);
        self.exchange.begin(slots, self.now);
        true
    }

    fn event(&mut self) -> Option<UnitEvent> {
        if core::mem::take(&mut self.silent) {
            return Some(UnitEvent::HostSilent);
        }
        let live = self.live?;
        if let Some(replaced) = self.opened.take() {
            return Some(UnitEvent::Opened {
                session: live.session,
                replaced,
            });
        }
        self.exchange.take().map(UnitEvent::Message)
    }

    fn unknown_due(&self) -> Option<u32> {
        self.unknown.filter(|_| self.now >= self.unknown_not_before)
    }

    fn pull(&mut self, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        let (session, packet) = if let Some(session) = self.refuse.take() {
            let Versions { lowest, highest } = self.versions;
            (session, Packet::Refused { lowest, highest })
        } else if let Some(Pending {
            session,
            version,
            opening,
            ..
        }) = self.pending.filter(|_| self.answer)
        {
            self.answer = false;
            let slots = Exchange::<UNIT_SLOTS>::SLOTS;
            (
                session,
                Packet::Opened {
                    version,
                    slots,
                    opening,
                },
            )
        } else if let Some(session) = self.unknown_due() {
            self.unknown = None;
            self.unknown_not_before = self.now.plus(UNKNOWN_EVERY_US);
            (session, Packet::Unknown)
        } else {
            let live = self.live?;
            (live.session, self.exchange.pull(self.now)?)
        };
        let boot = self.boot;
        let length = frame::encode(
            &Frame {
                session,
                boot,
                packet,
            },
            wire,
        )
        .ok()?;
        count(&mut self.exchange.counters.frames_sent);
        Some(length)
    }

    fn next_wake(&self) -> Micros {
        if self.refuse.is_some() || self.answer {
            return self.now;
        }
        let unknown = self
            .unknown
            .map_or(Micros::NEVER, |_| self.unknown_not_before);
        let exchange = self
            .live
            .map_or(Micros::NEVER, |_| self.exchange.next_wake(self.now));
        unknown.min(exchange)
    }
}
