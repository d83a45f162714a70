//! The wire is frozen by version: the literal bytes of every packet and every
//! message, for one session, boot and sequence number. If one of these changed,
//! a unit in a workshop would no longer understand the host that drives it.

mod common;

use cardwright_protocol::card::Stroke;
use cardwright_protocol::frame::{self, Frame, FrameReader, MOST_PAYLOAD, MOST_WIRE, Packet};
use cardwright_protocol::host_to_unit::{Exercise, HostToUnit, Question, Work};
use cardwright_protocol::link::Versions;
use cardwright_protocol::loom::Happening;
use cardwright_protocol::unit_to_host::{
    BadSetting, ExerciseReport, Refusal, Role, State, StopReason, UnitToHost,
};
use common::messages::{Seen, host_to_unit, unit_to_host};
use std::collections::BTreeMap;
use std::fmt::Write;

const SESSION: u32 = 0x0102_0304;
const BOOT: u32 = 0x0A0B;

/// Every kind of packet but `Data`, which carries the messages.
fn packets() -> Vec<(&'static str, u32, Packet<'static>)> {
    vec![
        (
            "open",
            0,
            Packet::Open {
                lowest: 1,
                highest: 1,
                slots: 32,
            },
        ),
        (
            "opened",
            BOOT,
            Packet::Opened {
                version: 1,
                slots: 8,
                opening: 5,
            },
        ),
        ("confirm", BOOT, Packet::Confirm { opening: 5 }),
        (
            "refused",
            BOOT,
            Packet::Refused {
                lowest: 2,
                highest: 300,
            },
        ),
        ("ack", BOOT, Packet::Ack { ack: 300, free: 8 }),
        ("heartbeat", BOOT, Packet::Heartbeat { ack: 300, free: 8 }),
        ("unknown", BOOT, Packet::Unknown),
    ]
}

fn wire(boot: u32, packet: Packet) -> Vec<u8> {
    let mut wire = [0; MOST_WIRE];
    let frame = Frame {
        session: SESSION,
        boot,
        packet,
    };
    let length = frame::encode(&frame, &mut wire).expect("it fits");
    wire[..length].to_vec()
}

fn data(message: &[u8]) -> Vec<u8> {
    wire(
        BOOT,
        Packet::Data {
            sequence: 7,
            ack: 300,
            free: 8,
            message,
        },
    )
}

fn postcard_bytes(message: &impl serde::Serialize) -> Vec<u8> {
    let mut bytes = [0; MOST_PAYLOAD + 32];
    postcard::to_slice(message, &mut bytes)
        .expect("it fits")
        .to_vec()
}

/// Name and frame of everything that can be on the wire, in the file's order.
fn everything() -> Vec<(String, Vec<u8>)> {
    let packets = packets()
        .into_iter()
        .map(|(name, boot, packet)| (format!("packet.{name}"), wire(boot, packet)));
    let host = host_to_unit().into_iter().map(|(name, message)| {
        (
            format!("host_to_unit.{name}"),
            data(&postcard_bytes(&message)),
        )
    });
    let unit = unit_to_host().into_iter().map(|(name, message)| {
        (
            format!("unit_to_host.{name}"),
            data(&postcard_bytes(&message)),
        )
    });
    packets.chain(host).chain(unit).collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a string takes everything");
        text
    })
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len())
        .step_by(2)
        .map(|n| u8::from_str_radix(&text[n..n + 2], 16).expect("hex"))
        .collect()
}

/// What the file of a version says: name to bytes.
fn frozen(version: u16) -> BTreeMap<String, Vec<u8>> {
    let path = format!("{}/tests/wire/v{version}.txt", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| {
        panic!("protocol version {version} has no frozen bytes in {path}: {error}")
    });
    text.lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(|line| {
            let (name, bytes) = line.split_once(" = ").expect("`name = hex`");
            (name.to_owned(), unhex(bytes))
        })
        .collect()
}

#[test]
fn every_version_spoken_has_its_file() {
    for version in Versions::CURRENT.lowest..=Versions::CURRENT.highest {
        assert!(!frozen(version).is_empty(), "version {version}");
    }
}

#[test]
fn values_become_the_frozen_bytes_and_nothing_is_missing() {
    let frozen = frozen(Versions::CURRENT.highest);
    let everything = everything();
    for (name, bytes) in &everything {
        let kept = frozen
            .get(name)
            .unwrap_or_else(|| panic!("the file lacks the line\n{name} = {}", hex(bytes)));
        assert_eq!(hex(bytes), hex(kept), "`{name}` has changed on the wire");
    }
    assert_eq!(
        frozen.len(),
        everything.len(),
        "the file holds what is no longer sent"
    );
}

#[test]
fn an_earlier_version_is_a_part_of_the_present_one() {
    let now: BTreeMap<String, Vec<u8>> = everything().into_iter().collect();
    for version in Versions::CURRENT.lowest..Versions::CURRENT.highest {
        for (name, bytes) in frozen(version) {
            assert_eq!(
                now.get(&name).map(|bytes| hex(bytes)),
                Some(hex(&bytes)),
                "`{name}` of version {version} is no longer sent as it was"
            );
        }
    }
}

#[test]
fn frozen_bytes_become_the_values() {
    let frozen = frozen(Versions::CURRENT.highest);
    let decode = |name: &str, expect: &dyn Fn(Frame)| {
        let mut reader = FrameReader::new();
        let mut bytes = frozen[name].as_slice();
        expect(
            reader
                .next_frame(&mut bytes)
                .unwrap_or_else(|| panic!("`{name}` is refused")),
        );
        assert!(bytes.is_empty(), "`{name}` is more than one frame");
    };
    for (name, boot, packet) in packets() {
        decode(&format!("packet.{name}"), &|frame| {
            assert_eq!(
                frame,
                Frame {
                    session: SESSION,
                    boot,
                    packet
                },
                "{name}"
            );
        });
    }
    let message = |frame: Frame| -> Vec<u8> {
        let Packet::Data {
            sequence: 7,
            ack: 300,
            free: 8,
            message,
        } = frame.packet
        else {
            panic!("{frame:?}");
        };
        assert_eq!((frame.session, frame.boot), (SESSION, BOOT));
        message.to_vec()
    };
    for (name, value) in host_to_unit() {
        decode(&format!("host_to_unit.{name}"), &|frame| {
            assert_eq!(
                postcard::from_bytes(&message(frame)),
                Ok(value.clone()),
                "{name}"
            );
        });
    }
    for (name, value) in unit_to_host() {
        decode(&format!("unit_to_host.{name}"), &|frame| {
            assert_eq!(
                postcard::from_bytes(&message(frame)),
                Ok(value.clone()),
                "{name}"
            );
        });
    }
}

#[test]
fn every_variant_has_an_example() {
    let mut seen = Seen::default();
    host_to_unit()
        .iter()
        .for_each(|(_, message)| seen.host_to_unit(message));
    unit_to_host()
        .iter()
        .for_each(|(_, message)| seen.unit_to_host(message));
    seen.assert_every::<HostToUnit>();
    seen.assert_every::<Question>();
    seen.assert_every::<Work>();
    seen.assert_every::<Stroke>();
    seen.assert_every::<Exercise>();
    seen.assert_every::<UnitToHost>();
    seen.assert_every::<Role>();
    seen.assert_every::<StopReason>();
    seen.assert_every::<State>();
    seen.assert_every::<Refusal>();
    seen.assert_every::<BadSetting>();
    seen.assert_every::<ExerciseReport>();
    seen.assert_every::<Happening>();
}

#[test]
fn every_packet_kind_has_an_example() {
    let mut kinds: Vec<u8> = packets()
        .iter()
        .map(|(_, _, packet)| *packet)
        .chain([Packet::Data {
            sequence: 7,
            ack: 300,
            free: 8,
            message: &[1],
        }])
        .map(|packet| postcard_bytes(&packet)[0])
        .collect();
    kinds.sort_unstable();
    let known: Vec<u8> = (0..0x80)
        .filter(|kind| {
            let mut bytes = [0; 64];
            bytes[0] = *kind;
            postcard::from_bytes::<Packet>(&bytes).is_ok()
        })
        .collect();
    assert_eq!(kinds, known);
}
