//! Reads acts off the lines. Levels count once they have lasted; two tracks a
//! quarter apart are read by the reflected binary code 00, 10, 11, 01 (Gray, US
//! patent 2,632,058), a whole round of which is one card.

use super::Trace;

/// What was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Read {
    Forward,
    Back,
    Lift,
    Lower,
    Beat,
    LeavesLeft,
    LeavesRight,
    Left,
    Right,
}

/// A line's changes after their bounce: the moment at which each new level that
/// lasted `settle_us` began, and the level.
fn settled(trace: &Trace, bit: u8, initial: bool, settle_us: u64) -> Vec<(u64, bool)> {
    let mut levels = vec![(0, initial)];
    for (at, lines) in trace {
        let level = lines & bit != 0;
        if levels.last().is_some_and(|(_, last)| *last != level) {
            levels.push((*at, level));
        }
    }
    let mut kept: Vec<(u64, bool)> = Vec::new();
    for (number, (at, level)) in levels.iter().enumerate() {
        let until = levels.get(number + 1).map_or(u64::MAX, |(next, _)| *next);
        let lasted = until - at >= settle_us;
        if lasted && kept.last().is_none_or(|(_, last)| last != level) {
            kept.push((*at, *level));
        }
    }
    kept
}

/// Quarters that two tracks have gone on, and the moment of each.
fn quarters(trace: &Trace, a: u8, b: u8, settle_us: u64) -> Vec<(u64, i64)> {
    let code = |(a, b): (bool, bool)| match (a, b) {
        (false, false) => 0_i64,
        (true, false) => 1,
        (true, true) => 2,
        (false, true) => 3,
    };
    let mut changes: Vec<(u64, bool, bool)> = Vec::new();
    for (bit, is_a) in [(a, true), (b, false)] {
        let settled = settled(trace, bit, false, settle_us);
        changes.extend(
            settled
                .iter()
                .skip(1)
                .map(|(at, level)| (*at, is_a, *level)),
        );
    }
    changes.sort_unstable();
    let (mut now, mut place) = ((false, false), 0);
    let mut places = Vec::new();
    for (at, is_a, level) in changes {
        let before = code(now);
        if is_a {
            now.0 = level;
        } else {
            now.1 = level;
        }
        place += match (code(now) - before).rem_euclid(4) {
            1 => 1,
            3 => -1,
            _ => panic!("both tracks went over at {at} us"),
        };
        places.push((at, place));
    }
    places
}

/// Edges that the take-up's tracks have come on.
pub fn take_up(trace: &Trace, settle_us: u64) -> i64 {
    let places = quarters(trace, 0x40, 0x80, settle_us);
    places.last().map_or(0, |(_, place)| *place)
}

/// Every act that the lines show, in order.
pub fn read(trace: &Trace, settle_us: u64) -> Vec<Read> {
    let mut found: Vec<(u64, Read)> = Vec::new();
    let mut card = 0;
    for (at, place) in quarters(trace, 0x01, 0x02, settle_us) {
        // A card is turned when the round is complete.
        if place % 4 == 0 && place / 4 != card {
            found.push((
                at,
                if place / 4 > card {
                    Read::Forward
                } else {
                    Read::Back
                },
            ));
            card = place / 4;
        }
    }
    let lines = [
        (0x04, false, Some(Read::Lift), Some(Read::Lower)),
        (0x08, false, Some(Read::Beat), None),
        (0x10, true, Some(Read::Left), Some(Read::LeavesLeft)),
        (0x20, false, Some(Read::Right), Some(Read::LeavesRight)),
    ];
    for (bit, initial, on, off) in lines {
        for (at, level) in settled(trace, bit, initial, settle_us).iter().skip(1) {
            found.extend(if *level { on } else { off }.map(|read| (*at, read)));
        }
    }
    found.sort_unstable();
    found.into_iter().map(|(_, read)| read).collect()
}
