//! A card's holes against the strokes it should carry, from the holes alone.
//!
//! Enters: a finished card, strokes, the row pitch and a tolerance. Leaves: the
//! differences; none means that the card is as it should be. Written for tests
//! and independent of the program's own verdict.
//!
//! A card hangs on the loom's pegs by its peg holes, so places are counted from
//! the line through the two outermost peg holes: the middle between them lies
//! where it should, and the line gives the direction. Lengths are those of the
//! card as it lay in the machine.

use super::Card;
use crate::stock::Hole;
use cardwright_protocol::card::{MOST_HOLES, Stroke};

/// One way in which a card is not as it should be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Difference {
    /// No hole where one should be. Hole 0 is the peg hole.
    Missing {
        /// Stroke that should have made it.
        stroke: usize,
        /// Hole.
        hole: u8,
    },
    /// A hole where none should be; places in pitches, not rounded.
    Extra {
        /// Strokes from the first.
        stroke: f64,
        /// Hole number across.
        hole: f64,
        /// Radius.
        r_mm: f64,
    },
    /// A hole further from its place than the tolerance.
    Displaced {
        /// Stroke.
        stroke: usize,
        /// Hole; 0 is the peg hole.
        hole: u8,
        /// Along the card, in millimetres.
        dx_mm: f64,
        /// Across it.
        dy_mm: f64,
    },
    /// A chad hangs in a hole.
    Chad {
        /// Stroke.
        stroke: usize,
        /// Hole; 0 is the peg hole.
        hole: u8,
        /// Share that is open.
        open: f64,
    },
    /// The card was moved while punches were in it.
    Torn,
}

/// Holes of at least this radius are peg holes (needle holes have some 2.2 mm,
/// peg holes 5 mm).
const PEG_RADIUS_MM: f64 = 3.5;

impl Card {
    /// How the card differs from these strokes at this pitch (mm). `holes` is
    /// the number of holes across that the machine was set for.
    #[must_use]
    pub fn matches(
        &self,
        strokes: &[Stroke],
        holes: u8,
        pitch_mm: f64,
        tolerance_mm: f64,
    ) -> Vec<Difference> {
        let wanted = wanted_holes(strokes, holes);
        let (pegs, needles): (Vec<&Hole>, Vec<&Hole>) = self
            .card
            .holes
            .iter()
            .partition(|hole| hole.r_mm >= PEG_RADIUS_MM);
        let (wanted_pegs, wanted_needles): (Vec<Wanted>, Vec<Wanted>) =
            wanted.into_iter().partition(|hole| hole.hole == 0);
        let placed = Placing::find(
            &self.card,
            &pegs,
            &needles,
            &wanted_pegs,
            &wanted_needles,
            pitch_mm,
        );
        let mut found = Vec::new();
        if self.card.torn {
            found.push(Difference::Torn);
        }
        for (real, wanted) in [(pegs, wanted_pegs), (needles, wanted_needles)] {
            compare(
                &placed,
                &real,
                &wanted,
                pitch_mm,
                tolerance_mm,
                holes,
                &mut found,
            );
        }
        found
    }
}

/// A hole that should be there: in pitches from the first stroke and from the
/// middle line.
#[derive(Clone, Copy)]
struct Wanted {
    stroke: usize,
    hole: u8,
    x: f64,
    y: f64,
}

fn wanted_holes(strokes: &[Stroke], holes: u8) -> Vec<Wanted> {
    let middle = (f64::from(holes) + 1.0) / 2.0;
    let mut wanted = Vec::new();
    for (stroke, what) in strokes.iter().enumerate() {
        for hole in (1..=holes.min(MOST_HOLES)).filter(|hole| what.punches().has(*hole)) {
            wanted.push(Wanted {
                stroke,
                hole,
                x: stroke as f64,
                y: f64::from(hole) - middle,
            });
        }
        if what.peg() {
            // The peg punch stands one pitch behind the needle punches.
            wanted.push(Wanted {
                stroke,
                hole: 0,
                x: stroke as f64 + 1.0,
                y: 0.0,
            });
        }
    }
    wanted
}

/// From the card's millimetres to pitches from the first stroke.
struct Placing {
    stretch: f64,
    /// A point of the card in millimetres, and its place in pitches.
    at: (f64, f64),
    is: (f64, f64),
    cos: f64,
    sin: f64,
    pitch: f64,
}

impl Placing {
    fn find(
        card: &crate::stock::Card,
        pegs: &[&Hole],
        needles: &[&Hole],
        wanted_pegs: &[Wanted],
        wanted_needles: &[Wanted],
        pitch: f64,
    ) -> Placing {
        let mm = |hole: &Hole| (hole.x_mm * card.stretch, hole.y_mm);
        // Two pegs that should be apart give place and direction.
        if let ([first, .., last], [one, .., other]) = (pegs, wanted_pegs) {
            let (a, b) = (mm(first), mm(last));
            let length = (b.0 - a.0).hypot(b.1 - a.1);
            if length > pitch {
                return Placing {
                    stretch: card.stretch,
                    at: ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0),
                    is: ((one.x + other.x) / 2.0, 0.0),
                    cos: (b.0 - a.0) / length,
                    sin: (b.1 - a.1) / length,
                    pitch,
                };
            }
        }
        // Else the card's own direction, from one peg, or the first hole.
        let anchor = match (pegs, wanted_pegs, needles, wanted_needles) {
            ([first, ..], [one, ..], _, _) | (_, _, [first, ..], [one, ..]) => (mm(first), one),
            _ => (
                (0.0, 0.0),
                &Wanted {
                    stroke: 0,
                    hole: 0,
                    x: 0.0,
                    y: 0.0,
                },
            ),
        };
        let (cos, sin) = (card.skew.cos(), -card.skew.sin());
        Placing {
            stretch: card.stretch,
            at: anchor.0,
            is: (anchor.1.x, anchor.1.y),
            cos,
            sin,
            pitch,
        }
    }

    fn place(&self, hole: &Hole) -> (f64, f64) {
        let (dx, dy) = (hole.x_mm * self.stretch - self.at.0, hole.y_mm - self.at.1);
        let along = (dx * self.cos + dy * self.sin) / self.pitch;
        let across = (dy * self.cos - dx * self.sin) / self.pitch;
        (self.is.0 + along, self.is.1 + across)
    }
}

fn compare(
    placed: &Placing,
    real: &[&Hole],
    wanted: &[Wanted],
    pitch_mm: f64,
    tolerance_mm: f64,
    holes: u8,
    found: &mut Vec<Difference>,
) {
    let middle = (f64::from(holes) + 1.0) / 2.0;
    let mut met = vec![false; wanted.len()];
    for hole in real {
        let (x, y) = placed.place(hole);
        // `wanted` is in order of x, so only a few can be near.
        let from = wanted.partition_point(|w| w.x < x - 0.5);
        let near = wanted
            .iter()
            .enumerate()
            .skip(from)
            .take_while(|(_, w)| w.x < x + 0.5)
            .map(|(n, w)| (n, w, (w.x - x).hypot(w.y - y)))
            .min_by(|a, b| a.2.total_cmp(&b.2))
            .filter(|near| near.2 < 0.5);
        let Some((n, want, far)) = near else {
            found.push(Difference::Extra {
                stroke: x,
                hole: y + middle,
                r_mm: hole.r_mm,
            });
            continue;
        };
        let displaced = far * pitch_mm > tolerance_mm;
        if displaced {
            found.push(Difference::Displaced {
                stroke: want.stroke,
                hole: want.hole,
                dx_mm: (x - want.x) * pitch_mm,
                dy_mm: (y - want.y) * pitch_mm,
            });
        }
        if hole.flap.is_some() && !met[n] {
            found.push(Difference::Chad {
                stroke: want.stroke,
                hole: want.hole,
                open: hole.open(),
            });
        }
        met[n] = true;
    }
    for (want, met) in wanted.iter().zip(met) {
        if !met {
            found.push(Difference::Missing {
                stroke: want.stroke,
                hole: want.hole,
            });
        }
    }
}
