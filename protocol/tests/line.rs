//! The test line's faults, themselves tested: at chance 1 everything is hit,
//! at 0 nothing. Otherwise a link could pass because nothing was ever wrong.

mod common;

use common::line::{Faults, Line};

const PIECES: u32 = 500;
const PIECE: [u8; 9] = [3, 1, 4, 1, 5, 9, 2, 6, 0];

/// Puts all pieces and gives what arrives, with the time since it was put.
fn run(faults: Faults) -> (Line, Vec<(u64, Vec<u8>)>) {
    let mut line = Line::new(9, faults, 1_000);
    let mut arrived = Vec::new();
    for n in 0..u64::from(PIECES) {
        let put = n * 10_000;
        line.put(&PIECE, put);
        for now in put..put + 10_000 {
            arrived.extend(std::iter::from_fn(|| line.take(now)).map(|piece| (now - put, piece)));
        }
    }
    (line, arrived)
}

#[test]
fn at_chance_0_nothing_is_hit() {
    let (line, arrived) = run(Faults::default());
    assert_eq!(arrived.len(), PIECES as usize);
    assert!(
        arrived
            .iter()
            .all(|(time, piece)| *time == 1_000 && piece[..] == PIECE)
    );
    let tally = line.tally;
    let hits = tally.lost + tally.doubled + tally.reordered + tally.corrupted + tally.cut_short;
    assert_eq!((hits, tally.put, tally.arrived), (0, PIECES, PIECES));
}

#[test]
fn at_chance_1_everything_is_lost() {
    let (line, arrived) = run(Faults {
        loss: 1.0,
        ..Faults::default()
    });
    assert!(arrived.is_empty());
    assert_eq!(line.tally.lost, PIECES);
}

#[test]
fn at_chance_1_everything_is_doubled() {
    let (line, arrived) = run(Faults {
        doubled: 1.0,
        ..Faults::default()
    });
    assert_eq!(arrived.len(), 2 * PIECES as usize);
    assert_eq!(line.tally.doubled, PIECES);
}

#[test]
fn at_chance_1_everything_is_late() {
    let (line, arrived) = run(Faults {
        reordered: 1.0,
        ..Faults::default()
    });
    assert!(arrived.iter().all(|(time, _)| *time > 1_000));
    assert_eq!(
        (line.tally.reordered, arrived.len()),
        (PIECES, PIECES as usize)
    );
}

#[test]
fn at_chance_1_everything_is_corrupted_or_cut_short() {
    let (line, arrived) = run(Faults {
        corrupted: 1.0,
        ..Faults::default()
    });
    // Two changes of one byte can cancel out, so a few pieces may be whole.
    let changed = arrived
        .iter()
        .filter(|(_, piece)| piece[..] != PIECE)
        .count();
    assert!(changed > PIECES as usize * 99 / 100, "{changed}");
    assert_eq!(line.tally.corrupted, PIECES);
    let (line, arrived) = run(Faults {
        cut_short: 1.0,
        ..Faults::default()
    });
    assert!(arrived.iter().all(|(_, piece)| piece.len() < PIECE.len()));
    assert_eq!(line.tally.cut_short, PIECES);
}

#[test]
fn a_broken_line_passes_nothing_and_a_slow_one_takes_its_time() {
    let mut line = Line::new(1, Faults::default(), 16_000);
    line.broken = true;
    line.put(&PIECE, 0);
    assert_eq!(line.due(), None);
    line.broken = false;
    // 8N1 at 115200 baud: 10 bits a byte, so 9 bytes take 781.25 us.
    line.byte_ns = 10 * 1_000_000_000 / 115_200;
    let start = line.room_at();
    line.put(&PIECE, start);
    assert_eq!(line.room_at() - start, 782);
    assert_eq!(line.due(), Some(line.room_at() + 16_000));
}
