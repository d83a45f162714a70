//! The host's end of the link.
//!
//! Enters: bytes from the unit, messages for it, the order to open. Leaves:
//! bytes for the unit, its messages, and what became of the link. Refuses:
//! messages while the link is not open.

use super::exchange::Exchange;
use super::{HOST_SLOTS, LinkCounters, OPEN_RETRY_US, SendError, UNIT_SILENT_US, Versions, count};
use crate::frame::{self, Frame, FrameReader, MOST_WIRE, Packet};
use crate::host_to_unit::HostToUnit;
use crate::time::Micros;
use crate::unit_to_host::UnitToHost;

/// While a `Confirm` is unanswered, each so many-th try is an `Open` again: the
/// unit may have restarted since it answered. The answer it gave stays good
/// until there is another, for it may just as well be in session already.
const REOPEN_EVERY: u8 = 4;

/// What happened at the host's end.
// Size is no matter: an event is looked at and gone.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq)]
pub enum HostEvent {
    /// The session has begun.
    Opened {
        /// The unit's boot number.
        boot: u32,
        /// The protocol version of the session.
        version: u16,
    },
    /// The unit says.
    Message(UnitToHost),
    /// Nothing has come from the unit for 1 s. The session goes on if it comes
    /// back.
    Silent,
    /// The unit is heard again after a silence.
    Heard,
    /// The unit has restarted and knows nothing of the session, which has
    /// ended. Open another.
    UnitRestarted {
        /// Its new boot number.
        boot: u32,
    },
    /// The unit, not restarted, is in another session: another host has opened
    /// the link. The session has ended.
    Displaced,
    /// No protocol version in common. The link stays closed.
    Refused {
        /// Lowest version the unit speaks.
        lowest: u16,
        /// Highest version the unit speaks.
        highest: u16,
    },
}

#[derive(Clone, Copy, Debug)]
enum State {
    Closed,
    Opening {
        next_try: Micros,
    },
    Confirming {
        offer: Offer,
        tries: u8,
        next_try: Micros,
    },
    Open {
        boot: u32,
    },
}

/// What the unit has answered to `Open`.
#[derive(Clone, Copy, Debug)]
struct Offer {
    boot: u32,
    version: u16,
    slots: u8,
    opening: u32,
}

/// The host's end of the link. Holds [`HOST_SLOTS`] messages each way.
#[derive(Debug)]
pub struct HostLink {
    reader: FrameReader,
    end: End,
}

#[derive(Debug)]
struct End {
    versions: Versions,
    session: u32,
    state: State,
    exchange: Exchange<HOST_SLOTS>,
    /// Told before the session's messages.
    opened: Option<HostEvent>,
    /// Told after them.
    ended: Option<HostEvent>,
    /// What was told last about silence.
    silent_told: bool,
    now: Micros,
}

impl HostLink {
    /// A closed link that will offer `versions`.
    #[must_use]
    pub fn new(versions: Versions) -> Self {
        HostLink {
            reader: FrameReader::new(),
            end: End {
                versions,
                session: 0,
                state: State::Closed,
                exchange: Exchange::new(UNIT_SILENT_US),
                opened: None,
                ended: None,
                silent_told: false,
                now: Micros(0),
            },
        }
    }

    /// Begins the opening handshake for `session`, a number never used before
    /// towards this unit and not 0 (0 leaves the link closed). Everything of an
    /// earlier session is dropped. There is no end to trying: whoever waits for
    /// [`HostEvent::Opened`] sets the deadline.
    pub fn open(&mut self, session: u32, now: Micros) {
        self.end.open(session, now);
    }

    /// Ends the session without a word; the unit will find its host silent.
    pub fn close(&mut self) {
        let now = self.end.now;
        self.end.open(0, now);
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
    pub fn event(&mut self) -> Option<HostEvent> {
        self.end.event()
    }

    /// Queues a message.
    ///
    /// # Errors
    /// [`SendError`]; the message was not taken, and may be tried again.
    pub fn send(&mut self, message: &HostToUnit) -> Result<(), SendError> {
        match self.end.state {
            State::Open { .. } => self.end.exchange.send(message),
            _ => Err(SendError::NotOpen),
        }
    }

    /// How many messages may be queued now.
    #[must_use]
    pub fn room(&self) -> usize {
        match self.end.state {
            State::Open { .. } => self.end.exchange.room(),
            _ => 0,
        }
    }

    /// Whether there is a session. It may be silent.
    #[must_use]
    pub fn is_open(&self) -> bool {
        matches!(self.end.state, State::Open { .. })
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
        match self.end.state {
            State::Closed => Micros::NEVER,
            State::Opening { next_try } | State::Confirming { next_try, .. } => next_try,
            State::Open { .. } => self.end.exchange.next_wake(self.end.now),
        }
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
    fn open(&mut self, session: u32, now: Micros) {
        self.now = self.now.max(now);
        self.session = session;
        self.state = match session {
            0 => State::Closed,
            _ => State::Opening { next_try: now },
        };
        self.opened = None;
        self.ended = None;
        self.silent_told = false;
        self.exchange.begin(0, now);
    }

    fn look(&mut self, now: Micros) {
        self.now = self.now.max(now);
        if let State::Open { .. } = self.state {
            self.exchange.look(self.now);
        }
    }

    fn frame(&mut self, frame: &Frame) {
        count(&mut self.exchange.counters.frames_received);
        if self.session == 0 || frame.session != self.session || !self.packet(frame) {
            count(&mut self.exchange.counters.ignored);
        }
    }

    /// Acts on a packet of this session; false if it is out of place.
    fn packet(&mut self, frame: &Frame) -> bool {
        match (self.state, frame.packet) {
            (
                State::Opening { .. } | State::Confirming { .. },
                Packet::Opened {
                    version,
                    slots,
                    opening,
                },
            ) if self.versions.include(version) => {
                self.state = State::Confirming {
                    offer: Offer {
                        boot: frame.boot,
                        version,
                        slots,
                        opening,
                    },
                    tries: 0,
                    next_try: self.now,
                };
                true
            }
            (State::Opening { .. }, Packet::Refused { lowest, highest }) => {
                self.end_with(HostEvent::Refused { lowest, highest });
                true
            }
            (State::Confirming { offer, .. }, packet)
                if frame.boot == offer.boot && is_of_session(&packet) =>
            {
                self.state = State::Open { boot: offer.boot };
                self.opened = Some(HostEvent::Opened {
                    boot: offer.boot,
                    version: offer.version,
                });
                self.exchange.begin(offer.slots, self.now);
                self.exchange.receive(&packet, self.now)
            }
            (State::Open { boot }, Packet::Unknown) => {
                self.end_with(if frame.boot == boot {
                    HostEvent::Displaced
                } else {
                    HostEvent::UnitRestarted { boot: frame.boot }
                });
                true
            }
            (State::Open { boot }, packet) if frame.boot == boot => {
                self.exchange.receive(&packet, self.now)
            }
            _ => false,
        }
    }

    fn end_with(&mut self, event: HostEvent) {
        self.state = State::Closed;
        self.ended = Some(event);
    }

    fn event(&mut self) -> Option<HostEvent> {
        if let Some(opened) = self.opened.take() {
            return Some(opened);
        }
        if self.session == 0 {
            return None;
        }
        let silent = self.exchange.is_silent();
        if silent != self.silent_told {
            self.silent_told = silent;
            return Some(if silent {
                HostEvent::Silent
            } else {
                HostEvent::Heard
            });
        }
        if let Some(message) = self.exchange.take() {
            return Some(HostEvent::Message(message));
        }
        self.ended.take()
    }

    fn versions_offered(&self) -> Packet<'static> {
        let Versions { lowest, highest } = self.versions;
        let slots = Exchange::<HOST_SLOTS>::SLOTS;
        Packet::Open {
            lowest,
            highest,
            slots,
        }
    }

    fn pull(&mut self, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        let (boot, packet) = match &mut self.state {
            State::Closed => return None,
            State::Opening { next_try } => {
                if self.now < *next_try {
                    return None;
                }
                *next_try = self.now.plus(OPEN_RETRY_US);
                (0, self.versions_offered())
            }
            State::Confirming {
                offer,
                tries,
                next_try,
            } => {
                if self.now < *next_try {
                    return None;
                }
                *next_try = self.now.plus(OPEN_RETRY_US);
                *tries = tries.wrapping_add(1);
                if tries.is_multiple_of(REOPEN_EVERY) {
                    (0, self.versions_offered())
                } else {
                    let opening = offer.opening;
                    (offer.boot, Packet::Confirm { opening })
                }
            }
            State::Open { boot } => (*boot, self.exchange.pull(self.now)?),
        };
        let session = self.session;
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
}

/// Whether only a unit in session sends this.
fn is_of_session(packet: &Packet) -> bool {
    matches!(
        packet,
        Packet::Data { .. } | Packet::Ack { .. } | Packet::Heartbeat { .. }
    )
}
