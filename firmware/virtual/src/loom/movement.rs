//! What an act shows on the lines: which change, when, and how they bounce.

use super::{Act, Direction, Loom};
use cardwright_protocol::loom::LoomLine;

/// When a movement's edges come, in shares of its time. The last comes early
/// enough for its bounce to be over when the act is.
const TURN: [f64; 4] = [0.125, 0.375, 0.625, 0.875];
const LIFTED: f64 = 0.6;
const LOWERED: f64 = 0.3;
const LEFT_BOX: f64 = 0.1;
const CAUGHT: f64 = 0.75;
const AT_CLOTH: f64 = 0.25;
const FROM_CLOTH: f64 = 0.8;

/// Lines that a slow edge cannot set chattering together: the two tracks of an
/// encoder. The vane stands at one sensor's edge at a time.
fn pair(line: LoomLine) -> u8 {
    match line {
        LoomLine::CylinderA | LoomLine::CylinderB => {
            LoomLine::CylinderA.bit() | LoomLine::CylinderB.bit()
        }
        LoomLine::TakeUpA | LoomLine::TakeUpB => LoomLine::TakeUpA.bit() | LoomLine::TakeUpB.bit(),
        _ => line.bit(),
    }
}

/// The track that goes over at this edge of the take-up: A at odd ones, B at
/// even ones. So the tracks read 00, 10, 11, 01: the reflected binary code of
/// two bits (Gray, US patent 2,632,058), one of them at a time.
fn track(edge: i64) -> LoomLine {
    if edge.rem_euclid(2) == 1 {
        LoomLine::TakeUpA
    } else {
        LoomLine::TakeUpB
    }
}

impl Loom {
    /// Puts the changes of an act that begins now into the queue; how long the
    /// act takes.
    pub(super) fn movement(&mut self, act: Act) -> u64 {
        let usual = self.settings.time_us(act) as f64;
        let uneven = match act {
            Act::Wait(_) => 0.0,
            _ => self.settings.unevenness.clamp(0.0, 0.5),
        };
        let lasts = usual * self.chance.amount(1.0 - uneven, 1.0 + uneven);
        let edges = self.edges(act, lasts);
        let end = self.now.saturating_add(lasts as u64);
        for (number, (share, line)) in edges.iter().enumerate() {
            let until = edges[number + 1..]
                .iter()
                .find(|(_, other)| pair(*other) == pair(*line))
                .map_or(end, |(share, _)| self.moment(*share, lasts));
            let at = self.moment(*share, lasts);
            let at = self.changes.put(at, line.bit());
            self.bounce(at, until, line.bit());
        }
        lasts as u64
    }

    /// After the present one, so that no change falls into the past.
    fn moment(&self, share: f64, lasts: f64) -> u64 {
        self.now + 1 + (share * lasts) as u64
    }

    /// The true edges: when, in shares of the act's time, and on which line.
    fn edges(&self, act: Act, lasts: f64) -> Vec<(f64, LoomLine)> {
        use LoomLine::{Batten, BoxLeft, BoxRight, CylinderA, CylinderB, Griffe};
        match act {
            Act::Turn(direction) => {
                let (first, second) = match direction {
                    Direction::Forwards => (CylinderA, CylinderB),
                    Direction::Back => (CylinderB, CylinderA),
                };
                let lines = [first, second, first, second];
                TURN.into_iter().zip(lines).collect()
            }
            Act::TurnHalfAndBack(direction) => {
                let (first, second) = match direction {
                    Direction::Forwards => (CylinderA, CylinderB),
                    Direction::Back => (CylinderB, CylinderA),
                };
                let lines = [first, second, second, first];
                TURN.into_iter().zip(lines).collect()
            }
            Act::Lift if !self.griffe_up => vec![(LIFTED, Griffe)],
            Act::Lower if self.griffe_up => vec![(LOWERED, Griffe)],
            Act::Throw | Act::ThrowBack => {
                let (from, into) = if self.shuttle_left {
                    (BoxLeft, BoxRight)
                } else {
                    (BoxRight, BoxLeft)
                };
                vec![(LEFT_BOX, from), (CAUGHT, into)]
            }
            Act::Beat => vec![(AT_CLOTH, Batten), (FROM_CLOTH, Batten)],
            Act::BeatLightly => {
                let way = AT_CLOTH * self.settings.beat_us as f64 / lasts.max(1.0);
                let at_cloth = self.settings.light_us as f64 / lasts.max(1.0);
                vec![(way, Batten), (way + at_cloth, Batten)]
            }
            Act::TakeUp(_) | Act::LetOff(_) => self.winding(act.wound_mm()),
            Act::Lift | Act::Lower | Act::Wait(_) => Vec::new(),
        }
    }

    /// The edges of the take-up's tracks. The last millimetre's time is the
    /// roller's coming to rest.
    fn winding(&self, mm: f64) -> Vec<(f64, LoomLine)> {
        let wound = self.counts.wound_mm;
        let (from, to) = (
            self.settings.edge_at(wound),
            self.settings.edge_at(wound + mm),
        );
        let share = |edge: i64| {
            let way = (self.settings.edge_mm(edge) - wound).abs();
            way / (mm.abs() + 1.0)
        };
        if to >= from {
            (from + 1..=to)
                .map(|edge| (share(edge), track(edge)))
                .collect()
        } else {
            (to + 1..=from)
                .rev()
                .map(|edge| (share(edge), track(edge)))
                .collect()
        }
    }

    /// Chatter after an edge at `at`: off and on again a few times, at moments
    /// of chance, and over before `until`.
    fn bounce(&mut self, at: u64, until: u64, line: u8) {
        let longest = self.settings.bounce_us.min(until.saturating_sub(at + 1));
        if longest < 2 {
            return;
        }
        let bounces = self.chance.below(u64::from(self.settings.most_bounces) + 1);
        let length = 2 + self.chance.below(longest - 1);
        for _ in 0..bounces {
            let one = at + 1 + self.chance.below(length);
            let other = at + 1 + self.chance.below(length);
            // Both or neither: else the line would stay at the wrong level.
            if one != other && self.changes.free(one) && self.changes.free(other) {
                self.changes.put(one, line);
                self.changes.put(other, line);
            }
        }
    }
}
