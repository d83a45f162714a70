//! What one message of rows costs to put on the wire and take off it, and how
//! much of a 115200 baud line rows can have. The second is in virtual time and
//! the same on every machine; `tests/utilisation.rs` holds it to its limit.

#[path = "../tests/common/mod.rs"]
mod common;

use cardwright_protocol::HostToUnit;
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::frame::{self, Frame, FrameReader, MOST_PAYLOAD, MOST_WIRE, Packet};
use common::messages::ID;
use common::saturation::{Load, saturate};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;

/// A full message of strokes of 8-hole rows.
fn rows() -> HostToUnit {
    let strokes = (0..48_u16)
        .map(|n| Stroke::Needles(Row(n * 37 % 256)))
        .collect();
    HostToUnit::Strokes {
        id: ID,
        first: 0,
        strokes,
    }
}

fn encode(message: &HostToUnit, wire: &mut [u8; MOST_WIRE]) -> usize {
    let mut bytes = [0; MOST_PAYLOAD];
    let message = postcard::to_slice(message, &mut bytes).expect("it fits");
    let packet = Packet::Data {
        sequence: 7,
        ack: 300,
        free: 8,
        message,
    };
    let frame = Frame {
        session: 5,
        boot: 2,
        packet,
    };
    frame::encode(&frame, wire).expect("it fits")
}

fn decode(reader: &mut FrameReader, mut wire: &[u8]) -> Option<HostToUnit> {
    match reader.next_frame(&mut wire)?.packet {
        Packet::Data { message, .. } => postcard::from_bytes(message).ok(),
        _ => None,
    }
}

fn row_frame(criterion: &mut Criterion) {
    let message = rows();
    let mut wire = [0; MOST_WIRE];
    let length = encode(&message, &mut wire);
    println!("a message of 48 strokes is {length} bytes on the wire");
    criterion.bench_function("encode 48 strokes", |bencher| {
        bencher.iter(|| encode(black_box(&message), &mut wire));
    });
    let mut reader = FrameReader::new();
    assert_eq!(decode(&mut reader, &wire[..length]), Some(message));
    criterion.bench_function("decode 48 strokes", |bencher| {
        bencher.iter(|| decode(&mut reader, black_box(&wire[..length])));
    });
}

fn utilisation(_: &mut Criterion) {
    for holes in [8, 12] {
        println!(
            "115200 baud, 16 ms, rows of {holes} holes: {}",
            saturate(Load::Rows { holes })
        );
    }
    println!(
        "115200 baud, 16 ms, whole cards with readings: {}",
        saturate(Load::CardsAndReadings)
    );
}

criterion_group!(benches, row_frame, utilisation);
criterion_main!(benches);
