//! Host and unit restarting at any moment over a bad line: nothing of an old
//! session arrives in a new one, and the restart is noticed. And no frame, in
//! order or not, makes either end panic.

mod common;

use cardwright_protocol::card::{CardNumber, JobNumber};
use cardwright_protocol::frame::{self, Frame, MOST_WIRE, Packet};
use cardwright_protocol::link::{HostEvent, HostLink, UnitEvent, UnitLink, Versions};
use cardwright_protocol::{CardId, HostToUnit, Micros, UnitToHost};
use common::line::Faults;
use common::messages::ID;
use common::two_ends::TwoEnds;
use proptest::collection::vec;
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A message that says in which session it was sent, and its number there.
fn up(session: u32, n: u32) -> HostToUnit {
    HostToUnit::Recorded(CardId {
        job: JobNumber(session),
        card: CardNumber(n),
        ..ID
    })
}

fn down(session: u32, n: u32) -> UnitToHost {
    UnitToHost::Credit {
        strokes: session,
        cards: n,
    }
}

/// What each end's program believes and has seen in the present session.
struct Programs {
    ends: TwoEnds,
    /// The session the host has opened or is opening; the last one used.
    host_session: u32,
    boot: u32,
    unit_session: Option<u32>,
    sent_up: u32,
    sent_down: u32,
    got_up: u32,
    got_down: u32,
    unit_restarts_noticed: u32,
}

impl Programs {
    fn new(seed: u64, faults: Faults) -> Self {
        let mut programs = Programs {
            ends: TwoEnds::new(seed, faults, 8_000),
            host_session: 0,
            boot: 1,
            unit_session: None,
            sent_up: 0,
            sent_down: 0,
            got_up: 0,
            got_down: 0,
            unit_restarts_noticed: 0,
        };
        programs.open();
        programs
    }

    fn open(&mut self) {
        self.host_session += 1;
        (self.sent_up, self.got_down) = (0, 0);
        self.ends
            .host
            .open(self.host_session, Micros(self.ends.now));
    }

    fn restart_host(&mut self) {
        self.ends.host = HostLink::new(Versions::CURRENT);
        self.ends.host_events.clear();
        self.open();
    }

    fn restart_unit(&mut self) {
        self.boot += 1;
        self.ends.unit = UnitLink::new(Versions::CURRENT, self.boot);
        self.ends.unit_events.clear();
        self.unit_session = None;
        (self.sent_down, self.got_up) = (0, 0);
    }

    fn step(&mut self, until: u64) -> Result<(), TestCaseError> {
        if self
            .ends
            .host
            .send(&up(self.host_session, self.sent_up))
            .is_ok()
        {
            self.sent_up += 1;
        }
        if let Some(session) = self.unit_session
            && self.ends.unit.send(&down(session, self.sent_down)).is_ok()
        {
            self.sent_down += 1;
        }
        // Not beyond the moment at which a program may have to act.
        self.ends.step(until.min(self.ends.now + 10_000));
        for event in std::mem::take(&mut self.ends.unit_events) {
            match event {
                UnitEvent::Opened { session, replaced } => {
                    prop_assert_eq!(replaced, self.unit_session.is_some());
                    self.unit_session = Some(session);
                    (self.sent_down, self.got_up) = (0, 0);
                }
                UnitEvent::Message(message) => {
                    let session = self.unit_session.unwrap_or(0);
                    prop_assert_eq!(message, up(session, self.got_up));
                    self.got_up += 1;
                }
                UnitEvent::HostSilent => {}
            }
        }
        for event in std::mem::take(&mut self.ends.host_events) {
            match event {
                HostEvent::Opened { boot, version } => {
                    prop_assert!(boot <= self.boot && version == Versions::CURRENT.highest);
                }
                HostEvent::Message(message) => {
                    prop_assert_eq!(message, down(self.host_session, self.got_down));
                    self.got_down += 1;
                }
                HostEvent::UnitRestarted { boot } => {
                    prop_assert!(boot <= self.boot);
                    self.unit_restarts_noticed += 1;
                    self.open();
                }
                HostEvent::Silent | HostEvent::Heard => {}
                other => prop_assert!(false, "{other:?}"),
            }
        }
        Ok(())
    }

    fn run_for(&mut self, us: u64) -> Result<(), TestCaseError> {
        let until = self.ends.now + us;
        while self.ends.now < until {
            self.step(until)?;
        }
        Ok(())
    }
}

proptest! {
    // A failure prints its seed; no file is left behind.
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nothing_of_an_old_session_arrives_in_a_new_one(seed in any::<u64>()) {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let faults = Faults {
            loss: 0.05,
            doubled: 0.1,
            reordered: 0.2,
            corrupted: 0.05,
            cut_short: 0.05,
        };
        let mut programs = Programs::new(seed, faults);
        for _ in 0..20 {
            programs.run_for(chance.random_range(1_000..1_500_000))?;
            match chance.random_range(0..3) {
                0 => programs.restart_host(),
                1 => programs.restart_unit(),
                _ => {
                    programs.restart_unit();
                    programs.restart_host();
                }
            }
        }
        // In the end they understand each other and messages flow.
        programs.run_for(10_000_000)?;
        prop_assert_eq!(programs.unit_session, Some(programs.host_session));
        prop_assert!(programs.ends.host.is_open() && programs.ends.unit.is_open());
        let (up, down) = (programs.got_up, programs.got_down);
        // One frame in five is lost, and a lost one is tried again within a second.
        programs.run_for(30_000_000)?;
        prop_assert!(programs.got_up > up && programs.got_down > down);
    }

    /// Each restart of a unit in session is noticed, once.
    #[test]
    fn every_restart_of_the_unit_is_noticed(seed in any::<u64>()) {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let faults = Faults { loss: 0.1, reordered: 0.1, doubled: 0.1, ..Faults::default() };
        let mut programs = Programs::new(seed, faults);
        for restarts in 0..10 {
            programs.run_for(8_000_000 + chance.random_range(0..1_000_000))?;
            prop_assert!(programs.ends.host.is_open());
            prop_assert_eq!(programs.unit_restarts_noticed, restarts);
            programs.restart_unit();
        }
    }

    /// Whole frames with any content at all, in any order, at any time.
    #[test]
    fn no_frame_makes_an_end_panic(
        frames in vec((0_u32..4, 0_u32..3, any_packet(), 0_u64..3_000_000), 1..60),
        noise in vec(any::<u8>(), 0..40),
    ) {
        let mut host = HostLink::new(Versions::CURRENT);
        let mut unit = UnitLink::new(Versions::CURRENT, 1);
        host.open(1, Micros(0));
        let mut now = Micros(0);
        let mut out = [0; MOST_WIRE];
        for (session, boot, owned, wait) in &frames {
            now = now.plus(*wait);
            let frame = Frame { session: *session, boot: *boot, packet: owned.packet() };
            let mut wire = [0; MOST_WIRE];
            let length = frame::encode(&frame, &mut wire).expect("short");
            for bytes in [&wire[..length], &noise] {
                host.receive(bytes, now);
                unit.receive(bytes, now);
            }
            let _ = host.send(&HostToUnit::Start);
            let _ = unit.send(&UnitToHost::Credit { strokes: 1, cards: 1 });
            prop_assert!(host.room() <= 32 && unit.room() <= 8);
            // Bounded: neither end can be made to talk without end.
            let pulled = std::iter::from_fn(|| host.pull(now, &mut out)).take(100).count();
            prop_assert!(pulled < 100);
            let pulled = std::iter::from_fn(|| unit.pull(now, &mut out)).take(100).count();
            prop_assert!(pulled < 100);
            if session % 2 == 0 {
                prop_assert!(std::iter::from_fn(|| host.event()).take(100).count() < 100);
                prop_assert!(std::iter::from_fn(|| unit.event()).take(100).count() < 100);
            }
        }
    }
}

#[derive(Clone, Debug)]
struct AnyPacket {
    kind: u8,
    numbers: (u32, u32),
    small: u8,
    message: Vec<u8>,
}

impl AnyPacket {
    fn packet(&self) -> Packet<'_> {
        let ((first, second), free) = (self.numbers, self.small);
        match self.kind {
            0 => Packet::Open {
                lowest: first as u16,
                highest: second as u16,
                slots: free,
            },
            1 => Packet::Opened {
                version: free.into(),
                slots: second as u8,
                opening: first,
            },
            2 => Packet::Confirm { opening: first },
            3 => Packet::Refused {
                lowest: first as u16,
                highest: second as u16,
            },
            4 => Packet::Ack { ack: first, free },
            5 => Packet::Heartbeat { ack: first, free },
            6 => Packet::Unknown,
            _ => Packet::Data {
                sequence: second,
                ack: first,
                free,
                message: &self.message,
            },
        }
    }
}

fn any_packet() -> impl Strategy<Value = AnyPacket> {
    let number = || prop_oneof![4 => 0_u32..10, 1 => any::<u32>(), 1 => u32::MAX - 10..=u32::MAX];
    let small = prop_oneof![3 => 0_u8..3, 1 => any::<u8>()];
    (0_u8..10, (number(), number()), small, vec(0_u8..20, 0..30)).prop_map(
        |(kind, numbers, small, message)| AnyPacket {
            kind,
            numbers,
            small,
            message,
        },
    )
}
