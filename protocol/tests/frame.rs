//! Frames against the published standards they are made from, and against
//! whatever else a line may bring.

use cardwright_protocol::frame::{
    self, CRC32, Frame, FrameError, FrameReader, MOST_FRAME, MOST_PAYLOAD, MOST_WIRE, Packet,
};
use proptest::collection::vec;
use proptest::prelude::*;

/// RevEng, Catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC has the
/// check value CBF43926 over the nine digits and the residue DEBB20E3.
#[test]
fn crc_has_the_catalogues_check_value() {
    assert_eq!(CRC32.checksum(b"123456789"), 0xCBF4_3926);
    let with_its_own = [b"123456789".as_slice(), &0xCBF4_3926_u32.to_le_bytes()].concat();
    // The catalogue's residue is taken before the final exclusive or.
    assert_eq!(CRC32.checksum(&with_its_own) ^ u32::MAX, 0xDEBB_20E3);
}

/// Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions
/// on Networking 7(2), 1999: the example of the start of an IP packet with its
/// encoding, and the table of code bytes. Cited from memory.
#[test]
fn stuffing_gives_the_papers_worked_examples() {
    let packet = [0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 0x06, 0x4F, 0x37];
    let stuffed = [
        0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37,
    ];
    let mut out = [0; 64];
    let length = cobs::try_encode(&packet, &mut out).expect("room");
    assert_eq!(out[..length], stuffed);
    let length = cobs::decode_in_place(&mut out[..length]).expect("stuffed");
    assert_eq!(out[..length], packet);
    // Code n stands for n - 1 bytes and a zero, 01 for a zero alone, and FF for
    // 254 bytes with no zero after them. The last zero is not there.
    for (code, rest, plain) in [
        (0x01, &[0x01][..], &[0][..]),
        (0x02, &[0x11, 0x01], &[0x11, 0]),
        (0x03, &[0x11, 0x22, 0x02, 0x33], &[0x11, 0x22, 0, 0x33]),
    ] {
        let mut bytes = [&[code], rest].concat();
        let length = cobs::decode_in_place(&mut bytes).expect("stuffed");
        assert_eq!(bytes[..length], *plain);
    }
    let mut bytes = [&[0xFF][..], &[7; 254], &[0x02, 9]].concat();
    let length = cobs::decode_in_place(&mut bytes).expect("stuffed");
    assert_eq!(bytes[..length], [&[7; 254][..], &[9]].concat());
}

/// A frame laid out by hand from the description in the module, with a CRC
/// computed bit by bit from the catalogue's parameters: polynomial 04C11DB7
/// reflected, all ones before and after.
#[test]
fn a_frame_is_laid_out_as_described() {
    let mut plain = vec![17, 0, 4, 3, 2, 1, 9, 0, 0, 0];
    plain.extend([5, 0x2C, 8]); // the sixth kind: Ack; free slots
    plain.insert(12, 0x02); // 300 as a variable-length number is AC 02
    plain[11] = 0xAC;
    let length = (plain.len() + 4) as u8;
    plain[0] = length;
    let crc = plain.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                crc >> 1 ^ 0xEDB8_8320
            } else {
                crc >> 1
            }
        })
    });
    plain.extend((crc ^ u32::MAX).to_le_bytes());
    // Stuffing by hand: each code counts up to the next zero.
    let mut by_hand = Vec::new();
    for run in plain.split(|byte| *byte == 0) {
        by_hand.push(run.len() as u8 + 1);
        by_hand.extend(run);
    }
    by_hand.push(0);
    let frame = Frame {
        session: 0x0102_0304,
        boot: 9,
        packet: Packet::Ack { ack: 300, free: 8 },
    };
    assert_eq!(encoded(&frame), by_hand);
}

fn encoded(frame: &Frame) -> Vec<u8> {
    let mut wire = [0; MOST_WIRE];
    let length = frame::encode(frame, &mut wire).expect("it fits");
    wire[..length].to_vec()
}

fn accepted(reader: &mut FrameReader, mut bytes: &[u8]) -> Vec<(u32, u32, Vec<u8>)> {
    let mut all = Vec::new();
    while let Some(frame) = reader.next_frame(&mut bytes) {
        let mut packet = [0; MOST_FRAME];
        let packet = postcard::to_slice(&frame.packet, &mut packet).expect("it came from one");
        all.push((frame.session, frame.boot, packet.to_vec()));
    }
    all
}

#[test]
fn the_longest_message_fits_and_a_longer_one_is_refused() {
    let longest = [0xAB; MOST_PAYLOAD];
    let most = |message| Packet::Data {
        sequence: u32::MAX,
        ack: u32::MAX,
        free: 255,
        message,
    };
    let frame = Frame {
        session: u32::MAX,
        boot: u32::MAX,
        packet: most(&longest),
    };
    let wire = encoded(&frame);
    assert_eq!(wire.len(), MOST_WIRE);
    assert!(!wire[..wire.len() - 1].contains(&0));
    let mut bytes = wire.as_slice();
    assert_eq!(FrameReader::new().next_frame(&mut bytes), Some(frame));
    let longer = [0xAB; MOST_PAYLOAD + 1];
    let frame = Frame {
        packet: most(&longer),
        ..frame
    };
    assert_eq!(
        frame::encode(&frame, &mut [0; MOST_WIRE]),
        Err(FrameError::TooLong)
    );
}

#[test]
fn runs_too_long_for_a_frame_are_dropped_whole_and_counted_once() {
    let frame = Frame {
        session: 7,
        boot: 1,
        packet: Packet::Unknown,
    };
    let mut reader = FrameReader::new();
    // An over-long run that ends in a good frame without its own delimiter
    // before it: the frame's bytes are part of the run.
    let mut bytes = vec![0x55; 100_000];
    bytes.extend(encoded(&frame));
    assert!(accepted(&mut reader, &bytes).is_empty());
    assert_eq!(reader.damaged(), 1);
    assert_eq!(accepted(&mut reader, &encoded(&frame)).len(), 1);
    assert_eq!(reader.damaged(), 1);
}

/// The length under the CRC stands by itself: a frame that says another one is
/// refused even if its CRC is right.
#[test]
fn a_frame_of_another_length_than_it_says_is_refused() {
    for (says, good) in [
        (17_u16, true),
        (16, false),
        (18, false),
        (0, false),
        (0x1100, false),
    ] {
        let mut plain = says.to_le_bytes().to_vec();
        plain.extend([1, 0, 0, 0, 1, 0, 0, 0, 5, 3, 8]);
        plain.extend(CRC32.checksum(&plain).to_le_bytes());
        let mut wire = [0; MOST_WIRE];
        let stuffed = cobs::try_encode(&plain, &mut wire).expect("room");
        let mut reader = FrameReader::new();
        assert_eq!(
            accepted(&mut reader, &wire[..=stuffed]).len(),
            usize::from(good),
            "{says}"
        );
    }
}

/// A frame around any packet bytes, with everything else right.
fn around(packet: &[u8]) -> Vec<u8> {
    let mut plain = ((packet.len() + 14) as u16).to_le_bytes().to_vec();
    plain.extend([1, 0, 0, 0, 1, 0, 0, 0]);
    plain.extend(packet);
    plain.extend(CRC32.checksum(&plain).to_le_bytes());
    let mut wire = vec![0; plain.len() + 2];
    cobs::try_encode(&plain, &mut wire).expect("room");
    wire
}

proptest! {
    // A failure prints its input; no file is left behind.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever was on the line before, the frame after the next delimiter
    /// arrives, and nothing arrives that was not sent.
    #[test]
    fn a_reader_finds_its_way_after_any_garbage(
        garbage in vec(prop_oneof![1 => Just(0_u8), 4 => any::<u8>()], 0..700),
        message in vec(any::<u8>(), 1..MOST_PAYLOAD),
        piece in 1_usize..80,
    ) {
        let first = Frame { session: 5, boot: 2, packet: Packet::Ack { ack: 9, free: 3 } };
        let packet = Packet::Data { sequence: 6, ack: 1, free: 8, message: &message };
        let second = Frame { session: 5, boot: 2, packet };
        let (first, second) = (encoded(&first), encoded(&second));
        let stream = [garbage, first.clone(), second.clone()].concat();
        let mut reader = FrameReader::new();
        let found: Vec<_> =
            stream.chunks(piece).flat_map(|chunk| accepted(&mut reader, chunk)).collect();
        let sent = accepted(&mut FrameReader::new(), &[first, second].concat());
        prop_assert_eq!(sent.len(), 2);
        prop_assert_eq!(found.last(), sent.last());
        prop_assert!(found.iter().all(|frame| sent.contains(frame)));
        // How the bytes are cut into pieces makes no difference.
        prop_assert_eq!(found, accepted(&mut FrameReader::new(), &stream));
    }

    /// No bytes make the reader panic, not even with a right CRC around them.
    #[test]
    fn any_packet_bytes_are_read_or_refused(packet in vec(any::<u8>(), 0..MOST_FRAME - 14)) {
        let mut reader = FrameReader::new();
        let wire = around(&packet);
        let found = accepted(&mut reader, &wire);
        prop_assert_eq!(found.len() as u32 + reader.damaged(), 1);
        if let [(1, 1, read)] = &found[..] {
            prop_assert!(read.len() <= packet.len());
        }
    }

    /// A packet followed by anything more is refused.
    #[test]
    fn nothing_may_follow_a_packet(more in vec(any::<u8>(), 1..20)) {
        let mut packet = vec![5, 3, 8];
        prop_assert_eq!(accepted(&mut FrameReader::new(), &around(&packet)).len(), 1);
        packet.extend(more);
        prop_assert_eq!(accepted(&mut FrameReader::new(), &around(&packet)).len(), 0);
    }
}
