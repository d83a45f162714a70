//! Ten million frames, each with one byte lost, doubled or with one bit
//! changed, each followed by a whole frame. A frame accepted that was not sent
//! could be a hole punched where none belongs.

mod common;

use cardwright_protocol::frame::{self, Frame, FrameReader, MOST_PAYLOAD, MOST_WIRE, Packet};
use common::messages::{host_to_unit, unit_to_host};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SEED: u64 = 0x0CA5_D000;
const TRIALS: u64 = 10_000_000;
const THREADS: u64 = 2;

/// Trials with one frame before its numbers are drawn anew.
const TRIALS_A_FRAME: u64 = 40;

fn all_messages() -> Vec<Vec<u8>> {
    fn bytes(message: &impl serde::Serialize) -> Vec<u8> {
        let mut bytes = [0; MOST_PAYLOAD];
        postcard::to_slice(message, &mut bytes)
            .expect("it fits")
            .to_vec()
    }
    let host = host_to_unit()
        .into_iter()
        .map(|(_, message)| bytes(&message));
    let unit = unit_to_host()
        .into_iter()
        .map(|(_, message)| bytes(&message));
    host.chain(unit).collect()
}

/// Packet number `n` of one of each kind and every message.
fn packet<'m>(n: usize, messages: &'m [Vec<u8>], chance: &mut ChaCha8Rng) -> Packet<'m> {
    let (ack, free) = (
        chance.next_u32() >> chance.random_range(0..32),
        chance.random_range(0..33),
    );
    let opening = chance.next_u32() >> 16;
    match n {
        0 => Packet::Open {
            lowest: 1,
            highest: 3,
            slots: 32,
        },
        1 => Packet::Opened {
            version: 1,
            slots: 8,
            opening,
        },
        2 => Packet::Confirm { opening },
        3 => Packet::Refused {
            lowest: 1,
            highest: 1,
        },
        4 => Packet::Ack { ack, free },
        5 => Packet::Heartbeat { ack, free },
        6 => Packet::Unknown,
        _ => {
            let sequence = chance.next_u32() >> chance.random_range(0..32);
            Packet::Data {
                sequence,
                ack,
                free,
                message: &messages[n - 7],
            }
        }
    }
}

#[derive(Default)]
struct Outcome {
    trials: u64,
    /// Damage that left the frame as it was: a doubled delimiter.
    harmless: u64,
    damaged_accepted: u64,
    not_sent_accepted: u64,
    next_not_accepted: u64,
}

/// Damages one byte of `wire` and puts the result in `out`. True if it was in
/// the frame and not its delimiter.
fn damage(wire: &[u8], chance: &mut ChaCha8Rng, out: &mut Vec<u8>) -> bool {
    let place = chance.random_range(0..wire.len());
    out.clear();
    out.extend_from_slice(&wire[..place]);
    match chance.random_range(0..3) {
        0 => {}
        1 => out.extend([wire[place]; 2]),
        _ => out.push(wire[place] ^ 1 << chance.random_range(0..8)),
    }
    out.extend_from_slice(&wire[place + 1..]);
    place + 1 < wire.len()
}

fn trials(seed: u64, trials: u64) -> Outcome {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let messages = all_messages();
    let mut outcome = Outcome::default();
    let mut stream = Vec::new();
    let (mut wire, mut next_wire) = ([0; MOST_WIRE], [0; MOST_WIRE]);
    let mut kind = 0;
    while outcome.trials < trials {
        kind = (kind + 1) % (messages.len() + 7);
        let (session, boot) = (chance.next_u32(), chance.next_u32() >> 20);
        let sent = Frame {
            session,
            boot,
            packet: packet(kind, &messages, &mut chance),
        };
        let next = Frame {
            session,
            boot,
            packet: packet(4, &messages, &mut chance),
        };
        let length = frame::encode(&sent, &mut wire).expect("it fits");
        let next_length = frame::encode(&next, &mut next_wire).expect("it fits");
        for _ in 0..TRIALS_A_FRAME.min(trials - outcome.trials) {
            outcome.trials += 1;
            let inside = damage(&wire[..length], &mut chance, &mut stream);
            stream.extend_from_slice(&next_wire[..next_length]);
            let mut bytes = stream.as_slice();
            let mut reader = FrameReader::new();
            let mut next_came = false;
            while let Some(frame) = reader.next_frame(&mut bytes) {
                if frame == next {
                    next_came = true;
                } else if frame != sent {
                    outcome.not_sent_accepted += 1;
                } else if inside {
                    outcome.damaged_accepted += 1;
                } else {
                    outcome.harmless += 1;
                }
            }
            // A frame damaged inside takes no other one with it.
            outcome.next_not_accepted += u64::from(inside && !next_came);
        }
    }
    outcome
}

#[test]
fn no_damaged_frame_is_accepted_in_ten_million() {
    let outcomes = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..THREADS)
            .map(|n| scope.spawn(move || trials(SEED + n, TRIALS / THREADS)))
            .collect();
        threads
            .into_iter()
            .map(|thread| thread.join().expect("it ran"))
            .collect::<Vec<_>>()
    });
    let sum = |part: fn(&Outcome) -> u64| outcomes.iter().map(part).sum::<u64>();
    println!(
        "seed {SEED:#x}: {} trials, {} harmless (a delimiter doubled)",
        sum(|o| o.trials),
        sum(|o| o.harmless)
    );
    assert_eq!(sum(|o| o.trials), TRIALS);
    assert_eq!(
        sum(|o| o.not_sent_accepted),
        0,
        "a frame was accepted that was not sent"
    );
    assert_eq!(
        sum(|o| o.damaged_accepted),
        0,
        "a damaged frame was accepted"
    );
    assert_eq!(
        sum(|o| o.next_not_accepted),
        0,
        "damage in a frame cost the next one"
    );
    // The damage was real: only about one delimiter in three is harmless.
    assert!(sum(|o| o.harmless) > 0 && sum(|o| o.harmless) < TRIALS / 50);
}

/// Every place and every kind of damage once, for every message.
#[test]
fn no_single_damage_at_any_place_is_accepted() {
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    let messages = all_messages();
    let mut wire = [0; MOST_WIRE];
    let mut tried = 0;
    for kind in 0..messages.len() + 7 {
        let sent = Frame {
            session: 77,
            boot: 3,
            packet: packet(kind, &messages, &mut chance),
        };
        let length = frame::encode(&sent, &mut wire).expect("it fits");
        let wire = &wire[..length];
        for place in 0..length - 1 {
            let (before, after) = (&wire[..place], &wire[place + 1..]);
            let changed = (0..8).map(|bit| vec![wire[place] ^ 1 << bit]);
            for middle in changed.chain([vec![], vec![wire[place]; 2]]) {
                let stream = [before, &middle, after].concat();
                let mut bytes = stream.as_slice();
                assert_eq!(
                    FrameReader::new().next_frame(&mut bytes),
                    None,
                    "{sent:?} {place}"
                );
                tried += 1;
            }
        }
    }
    println!("{tried} damaged frames refused");
}
