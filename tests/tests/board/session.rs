//! A host's end of the link in the hands of a test.
//!
//! Enters: messages for the unit. Leaves: what the unit says. Panics if the unit
//! stays silent.

use std::collections::VecDeque;

use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::link::{HostEvent, HostLink, Versions};
use cardwright_protocol::loom::LoomStatus;
use cardwright_protocol::unit_to_host::Identity;
use cardwright_protocol::{HostToUnit, UnitToHost};
use cardwright_tests::emulated::EmulatedUnit;

/// How long the unit may take for an answer.
const WITHIN_US: u64 = 3_000_000;

/// Time between two looks at the link while nothing comes.
const LOOK_US: u64 = 5_000;

/// A session with a unit.
pub struct Session {
    link: HostLink,
    boot: Option<u32>,
    heard: VecDeque<UnitToHost>,
}

impl Session {
    /// Opens a session with a number of its own.
    pub fn open(unit: &mut EmulatedUnit) -> Session {
        let mut session = Session {
            link: HostLink::new(Versions::CURRENT),
            boot: None,
            heard: VecDeque::new(),
        };
        session.link.open(unit.now().0 as u32, unit.now());
        let deadline = unit.now().plus(WITHIN_US);
        while session.boot.is_none() {
            assert!(unit.now() < deadline, "the unit does not answer");
            session.turn(unit);
        }
        session
    }

    /// The unit's boot number.
    pub fn boot(&self) -> u32 {
        self.boot.expect("the session is open")
    }

    /// Tells the unit something.
    pub fn tell(&mut self, unit: &mut EmulatedUnit, message: &HostToUnit) {
        while self.link.room() == 0 {
            self.turn(unit);
        }
        self.link.send(message).expect("there is room");
    }

    /// The first message from now on that `wanted` makes something of; those
    /// before it are forgotten.
    pub fn hear<T>(
        &mut self,
        unit: &mut EmulatedUnit,
        wanted: impl Fn(&UnitToHost) -> Option<T>,
    ) -> T {
        let deadline = unit.now().plus(WITHIN_US);
        loop {
            while let Some(message) = self.heard.pop_front() {
                if let Some(found) = wanted(&message) {
                    return found;
                }
            }
            assert!(unit.now() < deadline, "the unit does not say it");
            self.turn(unit);
        }
    }

    /// Who the unit says it is.
    pub fn identity(&mut self, unit: &mut EmulatedUnit) -> Identity {
        self.tell(unit, &HostToUnit::Ask(Question::Identity));
        self.hear(unit, |message| match message {
            UnitToHost::Identity(identity) => Some(identity.clone()),
            _ => None,
        })
    }

    /// How the loom's part of the unit stands.
    pub fn loom(&mut self, unit: &mut EmulatedUnit) -> LoomStatus {
        self.tell(unit, &HostToUnit::Ask(Question::Loom));
        self.hear(unit, |message| match message {
            UnitToHost::Loom(status) => Some(*status),
            _ => None,
        })
    }

    /// Runs for so long, and takes in what comes.
    pub fn run_for(&mut self, unit: &mut EmulatedUnit, us: u64) {
        let deadline = unit.now().plus(us);
        while unit.now() < deadline {
            self.turn(unit);
        }
    }

    fn turn(&mut self, unit: &mut EmulatedUnit) {
        let mut wire = [0; MOST_WIRE];
        while let Some(length) = self.link.pull(unit.now(), &mut wire) {
            unit.send(&wire[..length]);
        }
        unit.run_until_heard(unit.now().plus(LOOK_US));
        while let Some(bytes) = unit.take() {
            self.link.receive(&bytes, unit.now());
        }
        while let Some(event) = self.link.event() {
            match event {
                HostEvent::Opened { boot, .. } => self.boot = Some(boot),
                HostEvent::Message(message) => self.heard.push_back(message),
                _ => {}
            }
        }
    }
}
