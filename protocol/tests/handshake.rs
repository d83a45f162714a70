//! Opening: which version, which session, and that no packet of an old opening
//! can end a session in which a card may just be in the head.

mod common;

use cardwright_protocol::card::CardNumber;
use cardwright_protocol::frame::{self, Frame, FrameReader, MOST_WIRE, Packet};
use cardwright_protocol::link::{
    HostEvent, HostLink, SendError, UNKNOWN_EVERY_US, UnitEvent, UnitLink, Versions,
};
use cardwright_protocol::{HostToUnit, Micros, UnitToHost};
use common::line::Faults;
use common::messages::ID;
use common::two_ends::TwoEnds;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn versions(lowest: u16, highest: u16) -> Versions {
    Versions { lowest, highest }
}

#[test]
fn both_take_the_highest_version_in_common() {
    for (host, unit, common) in [
        ((1, 1), (1, 1), Some(1)),
        ((1, 3), (1, 1), Some(1)),
        ((1, 1), (1, 3), Some(1)),
        ((1, 3), (2, 5), Some(3)),
        ((2, 5), (1, 3), Some(3)),
        ((1, 9), (4, 6), Some(6)),
        ((300, 400), (350, 65_535), Some(400)),
        ((1, 1), (2, 2), None),
        ((3, 4), (1, 2), None),
        ((5, 4), (1, 9), None), // lowest above highest: no version at all
    ] {
        let mut ends = TwoEnds::new(1, Faults::default(), 2_000);
        ends.host = HostLink::new(versions(host.0, host.1));
        ends.unit = UnitLink::new(versions(unit.0, unit.1), 6);
        ends.host.open(44, Micros(ends.now));
        ends.run_for(500_000);
        let expected = match common {
            Some(version) => HostEvent::Opened { boot: 6, version },
            None => HostEvent::Refused {
                lowest: unit.0,
                highest: unit.1,
            },
        };
        assert_eq!(ends.host_events, [expected], "host {host:?}, unit {unit:?}");
        assert_eq!(ends.unit.version(), common);
        assert_eq!(ends.unit.is_open(), common.is_some());
        assert_eq!(ends.host.is_open(), common.is_some());
    }
}

#[test]
fn nothing_is_sent_before_the_link_is_open() {
    let mut ends = TwoEnds::new(1, Faults::default(), 2_000);
    assert_eq!(ends.host.send(&HostToUnit::Reset), Err(SendError::NotOpen));
    assert_eq!(
        ends.unit.send(&UnitToHost::Credit {
            strokes: 1,
            cards: 1
        }),
        Err(SendError::NotOpen)
    );
    assert_eq!((ends.host.room(), ends.unit.room()), (0, 0));
    ends.run_for(3_000_000);
    assert!(ends.sent_up.is_empty() && ends.sent_down.is_empty());
    // Session 0 is none.
    ends.host.open(0, Micros(ends.now));
    ends.run_for(1_000_000);
    assert!(ends.sent_up.is_empty() && ends.host_events.is_empty());
}

/// Any one frame of the handshake may be lost.
#[test]
fn an_opening_succeeds_whichever_of_its_frames_is_lost() {
    for (up, down) in [
        (1, 0),
        (2, 0),
        (3, 0),
        (0, 1),
        (0, 2),
        (5, 0),
        (0, 5),
        (4, 4),
    ] {
        let mut ends = TwoEnds::new(1, Faults::default(), 2_000);
        ends.host.open(9, Micros(ends.now));
        // Loses the first `up` and the first `down` frames of each direction.
        let end = ends.now + 3_000_000;
        while ends.now < end {
            ends.up.broken = (ends.up.tally.put as usize) < up;
            ends.down.broken = (ends.down.tally.put as usize) < down;
            ends.step((ends.now + 1_000).min(end));
        }
        assert_eq!(
            ends.host_events,
            [HostEvent::Opened {
                boot: 1,
                version: Versions::CURRENT.highest
            }],
            "{up} {down}"
        );
        assert_eq!(
            ends.unit_events,
            [UnitEvent::Opened {
                session: 9,
                replaced: false
            }]
        );
    }
}

#[test]
fn a_new_session_replaces_the_old_one_and_says_so() {
    let mut ends = TwoEnds::open(10, 2_000);
    ends.host = HostLink::new(Versions::CURRENT);
    ends.host.open(11, Micros(ends.now));
    ends.run_for(200_000);
    assert_eq!(
        ends.unit_events,
        [UnitEvent::Opened {
            session: 11,
            replaced: true
        }]
    );
}

/// The old session goes on until the new one is confirmed: a host that asks
/// and then goes away has displaced nothing.
#[test]
fn an_opening_that_nobody_confirms_changes_nothing() {
    let mut ends = TwoEnds::open(10, 2_000);
    let mut other = HostLink::new(Versions::CURRENT);
    let mut wire = [0; MOST_WIRE];
    for session in 500..600 {
        other.open(session, Micros(ends.now));
        let length = other.pull(Micros(ends.now), &mut wire).expect("it asks");
        ends.up.put(&wire[..length], ends.now);
        ends.host.send(&HostToUnit::Pause).expect("open");
        ends.run_for(50_000);
    }
    assert_eq!(ends.unit_messages().len(), 100);
    assert!(ends.unit_events.is_empty(), "{:?}", ends.unit_events);
    assert!(ends.host_events.is_empty(), "{:?}", ends.host_events);
}

/// Everything two earlier sessions put on the line, played again in any order
/// into a live one, both ways.
#[test]
fn packets_of_old_openings_displace_nothing() {
    let mut ends = TwoEnds::open(10, 2_000);
    let mut old_up: Vec<Vec<u8>> = Vec::new();
    let mut old_down: Vec<Vec<u8>> = Vec::new();
    for session in [11, 12] {
        for _ in 0..20 {
            ends.host.send(&HostToUnit::Start).expect("room");
            ends.run_for(20_000);
        }
        ends.host.open(session, Micros(ends.now));
        ends.run_for(300_000);
        old_up.extend(ends.sent_up.drain(..).map(|(_, frame)| frame));
        old_down.extend(ends.sent_down.drain(..).map(|(_, frame)| frame));
    }
    // Of the last opening as well, while its session lives.
    let kinds: Vec<Packet> = old_up.iter().map(|frame| packet_of(frame)).collect();
    assert!(kinds.iter().any(|kind| matches!(kind, Packet::Open { .. })));
    assert!(
        kinds
            .iter()
            .any(|kind| matches!(kind, Packet::Confirm { .. }))
    );
    (ends.host_events, ends.unit_events) = (Vec::new(), Vec::new());
    let mut chance = ChaCha8Rng::seed_from_u64(3);
    let mut sent = 0;
    for _ in 0..3_000 {
        for _ in 0..chance.random_range(1..4) {
            let frame = &old_up[chance.random_range(0..old_up.len())];
            ends.up.put(frame, ends.now);
        }
        ends.down
            .put(&old_down[chance.random_range(0..old_down.len())], ends.now);
        if ends.host.send(&recorded(sent)).is_ok() {
            sent += 1;
        }
        ends.run_for(5_000);
    }
    ends.run_for(1_000_000);
    let messages = ends.unit_messages();
    // The last session's own old packets are repeats, and no message.
    assert_eq!(messages, (0..sent).map(recorded).collect::<Vec<_>>());
    assert!(ends.unit_events.is_empty(), "{:?}", ends.unit_events);
    assert!(ends.host_events.is_empty(), "{:?}", ends.host_events);
    assert!(ends.host.is_open());
}

fn recorded(n: u32) -> HostToUnit {
    let mut id = ID;
    id.card = CardNumber(n);
    HostToUnit::Recorded(id)
}

fn packet_of(wire: &[u8]) -> Packet<'static> {
    let mut bytes = wire;
    let mut reader = FrameReader::new();
    match reader.next_frame(&mut bytes).expect("whole").packet {
        Packet::Data {
            sequence,
            ack,
            free,
            ..
        } => Packet::Data {
            sequence,
            ack,
            free,
            message: &[],
        },
        Packet::Open {
            lowest,
            highest,
            slots,
        } => Packet::Open {
            lowest,
            highest,
            slots,
        },
        Packet::Opened {
            version,
            slots,
            opening,
        } => Packet::Opened {
            version,
            slots,
            opening,
        },
        Packet::Confirm { opening } => Packet::Confirm { opening },
        Packet::Refused { lowest, highest } => Packet::Refused { lowest, highest },
        Packet::Ack { ack, free } => Packet::Ack { ack, free },
        Packet::Heartbeat { ack, free } => Packet::Heartbeat { ack, free },
        Packet::Unknown => Packet::Unknown,
    }
}

#[test]
fn a_host_learns_of_the_units_restart() {
    let mut ends = TwoEnds::open(10, 2_000);
    ends.unit = UnitLink::new(Versions::CURRENT, 2);
    ends.run_for(300_000);
    assert_eq!(ends.host_events, [HostEvent::UnitRestarted { boot: 2 }]);
    assert_eq!(ends.host.send(&HostToUnit::Start), Err(SendError::NotOpen));
    assert!(ends.unit_events.is_empty());
    ends.host.open(11, Micros(ends.now));
    ends.run_for(300_000);
    assert_eq!(
        ends.host_events[1..],
        [HostEvent::Opened {
            boot: 2,
            version: Versions::CURRENT.highest
        }]
    );
}

#[test]
fn a_host_learns_that_another_has_taken_the_unit() {
    let mut ends = TwoEnds::open(10, 2_000);
    let first = std::mem::replace(&mut ends.host, HostLink::new(Versions::CURRENT));
    ends.host.open(11, Micros(ends.now));
    ends.run_for(50_000);
    ends.host = first;
    ends.run_for(300_000);
    assert_eq!(ends.host_events.last(), Some(&HostEvent::Displaced));
    assert!(!ends.host.is_open());
}

/// A flood of frames of an unknown session is not answered with a flood.
#[test]
fn answers_to_an_unknown_session_are_few() {
    let mut unit = UnitLink::new(Versions::CURRENT, 4);
    let mut wire = [0; MOST_WIRE];
    let frame = Frame {
        session: 99,
        boot: 3,
        packet: Packet::Ack { ack: 0, free: 8 },
    };
    let length = frame::encode(&frame, &mut wire).expect("it fits");
    let mut answers = 0;
    for now in (0..10_000).map(|ms| Micros(ms * 1_000)) {
        unit.receive(&wire[..length], now);
        let mut out = [0; MOST_WIRE];
        while let Some(length) = unit.pull(now, &mut out) {
            assert_eq!(packet_of(&out[..length]), Packet::Unknown);
            answers += 1;
        }
    }
    assert_eq!(answers, 10_000_000 / UNKNOWN_EVERY_US);
}
