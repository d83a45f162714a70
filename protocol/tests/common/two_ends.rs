//! A host's and a unit's end with a line each way, in virtual time.

use super::line::{Faults, Line};
use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::link::{HostEvent, HostLink, UnitEvent, UnitLink, Versions};
use cardwright_protocol::{HostToUnit, Micros, UnitToHost};

pub struct TwoEnds {
    pub now: u64,
    pub host: HostLink,
    pub unit: UnitLink,
    /// From host to unit.
    pub up: Line,
    /// From unit to host.
    pub down: Line,
    /// Whether each end's program takes what its link has for it.
    pub host_takes: bool,
    pub unit_takes: bool,
    pub host_events: Vec<HostEvent>,
    pub unit_events: Vec<UnitEvent>,
    /// Everything the two put on their lines, with the time.
    pub sent_up: Vec<(u64, Vec<u8>)>,
    pub sent_down: Vec<(u64, Vec<u8>)>,
}

impl TwoEnds {
    pub fn new(seed: u64, faults: Faults, delay_us: u64) -> Self {
        TwoEnds {
            now: 1_000_000,
            host: HostLink::new(Versions::CURRENT),
            unit: UnitLink::new(Versions::CURRENT, 1),
            up: Line::new(seed, faults, delay_us),
            down: Line::new(seed ^ 0x5555, faults, delay_us),
            host_takes: true,
            unit_takes: true,
            host_events: Vec::new(),
            unit_events: Vec::new(),
            sent_up: Vec::new(),
            sent_down: Vec::new(),
        }
    }

    /// Both ends in a session over a line without faults.
    pub fn open(session: u32, delay_us: u64) -> Self {
        let mut ends = TwoEnds::new(1, Faults::default(), delay_us);
        ends.host.open(session, Micros(ends.now));
        ends.run_for(10 * delay_us + 10_000);
        assert!(
            matches!(ends.host_events[..], [HostEvent::Opened { .. }]),
            "{:?}",
            ends.host_events
        );
        assert_eq!(
            ends.unit_events,
            [UnitEvent::Opened {
                session,
                replaced: false
            }]
        );
        ends.host_events.clear();
        ends.unit_events.clear();
        ends
    }

    /// Does what is to be done now, then goes to the next moment at which
    /// there is something to do, but not beyond `until`.
    pub fn step(&mut self, until: u64) {
        let now = Micros(self.now);
        while let Some(piece) = self.up.take(self.now) {
            self.unit.receive(&piece, now);
            self.take();
        }
        while let Some(piece) = self.down.take(self.now) {
            self.host.receive(&piece, now);
            self.take();
        }
        self.fill();
        self.take();
        // Taking may have made something to send.
        self.fill();
        let line = [self.up.due(), self.down.due()].into_iter().flatten();
        let host = self.host.next_wake().0.max(self.up.room_at());
        let unit = self.unit.next_wake().0.max(self.down.room_at());
        let next = line.chain([host, unit, until]).min().unwrap_or(until);
        self.now = next.clamp(self.now + 1, until.max(self.now + 1));
    }

    fn fill(&mut self) {
        let now = Micros(self.now);
        let mut wire = [0; MOST_WIRE];
        while self.up.room_at() <= self.now {
            let Some(length) = self.host.pull(now, &mut wire) else {
                break;
            };
            self.sent_up.push((self.now, wire[..length].to_vec()));
            self.up.put(&wire[..length], self.now);
        }
        while self.down.room_at() <= self.now {
            let Some(length) = self.unit.pull(now, &mut wire) else {
                break;
            };
            self.sent_down.push((self.now, wire[..length].to_vec()));
            self.down.put(&wire[..length], self.now);
        }
    }

    fn take(&mut self) {
        if self.host_takes {
            self.host_events
                .extend(std::iter::from_fn(|| self.host.event()));
        }
        if self.unit_takes {
            self.unit_events
                .extend(std::iter::from_fn(|| self.unit.event()));
        }
    }

    pub fn run_for(&mut self, us: u64) {
        let until = self.now + us;
        while self.now < until {
            self.step(until);
        }
    }

    /// The messages among the unit's events, taken out.
    pub fn unit_messages(&mut self) -> Vec<HostToUnit> {
        let mut messages = Vec::new();
        self.unit_events.retain(|event| match event {
            UnitEvent::Message(message) => {
                messages.push(message.clone());
                false
            }
            _ => true,
        });
        messages
    }

    /// The messages among the host's events, taken out.
    pub fn host_messages(&mut self) -> Vec<UnitToHost> {
        let mut messages = Vec::new();
        self.host_events.retain(|event| match event {
            HostEvent::Message(message) => {
                messages.push(message.clone());
                false
            }
            _ => true,
        });
        messages
    }
}
