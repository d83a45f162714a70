//! What the loom's lines were really driven to, for what the unit says it has seen.
//!
//! Enters: every change of the lines as the chip was shown it. Leaves: the true
//! edges, chatter left out, and what they mean: two tracks a quarter of a turn
//! apart, one of them at a time (reflected binary code of two bits: Gray, US
//! patent 2,632,058).

use cardwright_protocol::loom::{Happening, LINES, LoomLine};
use cardwright_tests::emulated::LinesChange;

/// What was driven: when its first edge came, in nanoseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Driven {
    pub ns: u64,
    pub what: Happening,
}

/// What these changes mean. A line chatters for `bounce_us` at most and is still
/// for longer before each true edge. `from` is how they stood before.
pub fn driven(changes: &[LinesChange], from: u8, bounce_us: u64) -> Vec<Driven> {
    let mut cylinder = Cylinder::default();
    let mut found = Vec::new();
    for (ns, line, high) in true_edges(changes, from, bounce_us * 1000) {
        let what = match line {
            LoomLine::CylinderA => cylinder.edge(0, high),
            LoomLine::CylinderB => cylinder.edge(1, high),
            // the tests wind cloth on only
            LoomLine::TakeUpA | LoomLine::TakeUpB => Some(Happening::TakenUp),
            LoomLine::Griffe => high.then_some(Happening::Lift),
            LoomLine::Batten => high.then_some(Happening::Beat),
            LoomLine::BoxLeft => high.then_some(Happening::ShuttleLeft),
            LoomLine::BoxRight => high.then_some(Happening::ShuttleRight),
        };
        found.extend(what.map(|what| Driven { ns, what }));
    }
    found
}

fn true_edges(changes: &[LinesChange], from: u8, bounce_ns: u64) -> Vec<(u64, LoomLine, bool)> {
    let (mut shown, mut true_levels) = (from, from);
    let mut still_since: [Option<u64>; LINES] = [None; LINES];
    let mut edges = Vec::new();
    for change in changes {
        for (n, line) in LoomLine::ALL.into_iter().enumerate() {
            if (shown ^ change.lines) & line.bit() == 0 {
                continue;
            }
            if still_since[n].is_none_or(|since| change.ns - since > bounce_ns) {
                true_levels ^= line.bit();
                edges.push((change.ns, line, true_levels & line.bit() != 0));
            }
            still_since[n] = Some(change.ns);
        }
        shown = change.lines;
    }
    edges
}

/// A card's turn goes by one track first and by the other last; one that falls
/// back ends with the track that it began with.
#[derive(Default)]
struct Cylinder {
    high: [bool; 2],
    first: usize,
}

impl Cylinder {
    fn edge(&mut self, track: usize, high: bool) -> Option<Happening> {
        if self.high == [false; 2] {
            self.first = track;
        }
        self.high[track] = high;
        match (self.high, self.first, track) {
            ([false, false], 0, 1) => Some(Happening::CardForward),
            ([false, false], 1, 0) => Some(Happening::CardBack),
            _ => None,
        }
    }
}
