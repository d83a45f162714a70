//! Readings made up for the judge's tests, from geometry alone: the open share
//! of an aperture is found by counting points of a fine grid, not by any closed
//! form, and noise comes from a seeded generator. Nothing here is shared with
//! the judge or with the virtual rig.
#![allow(dead_code)]

use cardwright::judge::{Fit, Geometry, Limits, Reading, Report, judge};
use cardwright_protocol::unit_to_host::{CardBegan, CardEnded, Levels};
use cardwright_protocol::{CardId, Row, Stroke};

/// Taylor p. 122: seven pitches in 1 7/8 in.
pub const PITCH: f64 = 1.875 * 25.4 / 7.0;
/// Light through one card and through two (common practice, no source).
pub const ONE_CARD: f64 = 0.06;
pub const TWO_CARDS: f64 = 0.004;

/// SplitMix64, as published by Steele, Lea and Flood (OOPSLA 2014).
#[derive(Clone)]
pub struct Chance(pub u64);

impl Chance {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    /// Near enough normal: twelve uniforms less six.
    pub fn normal(&mut self) -> f64 {
        // Six 10-bit halves twice, from two draws: fast and bounded at 6 sigma.
        let (a, b) = (self.next(), self.next());
        let sum: u64 = (0..6)
            .map(|n| (a >> (10 * n) & 1023) + (b >> (10 * n) & 1023))
            .sum();
        (sum as f64 + 6.0) / 1024.0 - 6.0
    }
}

/// What is left open of a punched place, seen from its centre, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    Whole {
        radius: f64,
    },
    /// Covered where `x > edge`: half cut, or a chad hanging by one side.
    Covered {
        radius: f64,
        edge: f64,
    },
    /// Covered where `y > edge`.
    CoveredAcross {
        radius: f64,
        edge: f64,
    },
}

impl Shape {
    pub const NEEDLE: Shape = Shape::Whole { radius: 2.2 };
    pub const PEG: Shape = Shape::Whole { radius: 5.0 };

    fn radius(self) -> f64 {
        match self {
            Shape::Whole { radius }
            | Shape::Covered { radius, .. }
            | Shape::CoveredAcross { radius, .. } => radius,
        }
    }

    fn is_open(self, x: f64, y: f64) -> bool {
        let r = self.radius();
        x * x + y * y < r * r
            && match self {
                Shape::Whole { .. } => true,
                Shape::Covered { edge, .. } => x <= edge,
                Shape::CoveredAcross { edge, .. } => y <= edge,
            }
    }

    /// Share of the shape's light that is left, by counting.
    pub fn left(self) -> f64 {
        let r = self.radius();
        let (mut open, mut all) = (0u32, 0u32);
        for i in 0..400 {
            for j in 0..400 {
                let (x, y) = (
                    r * (f64::from(i) / 200.0 - 0.9975),
                    r * (f64::from(j) / 200.0 - 0.9975),
                );
                if x * x + y * y < r * r {
                    all += 1;
                    open += u32::from(self.is_open(x, y));
                }
            }
        }
        f64::from(open) / f64::from(all)
    }
}

const TABLE_STEP: f64 = 0.04;
const TABLE_HALF: i32 = 175;

/// Open share of a 3 mm aperture along the feed for one shape, `across` mm
/// beside the aperture's centre.
struct Table {
    shape: Shape,
    across: f64,
    shares: Vec<f64>,
}

impl Table {
    fn new(shape: Shape, across: f64) -> Table {
        let mut points = Vec::new();
        for i in 0..60 {
            for j in 0..60 {
                let (x, y) = (f64::from(i) * 0.05 - 1.475, f64::from(j) * 0.05 - 1.475);
                if x * x + y * y < 2.25 {
                    points.push((x, y));
                }
            }
        }
        let shares = (-TABLE_HALF..=TABLE_HALF)
            .map(|n| {
                let along = f64::from(n) * TABLE_STEP;
                let open = points
                    .iter()
                    .filter(|(x, y)| shape.is_open(along + x, y - across));
                open.count() as f64 / points.len() as f64
            })
            .collect();
        Table {
            shape,
            across,
            shares,
        }
    }

    fn at(&self, along: f64) -> f64 {
        let place = along / TABLE_STEP + f64::from(TABLE_HALF);
        if place < 0.0 || place >= f64::from(2 * TABLE_HALF) {
            return 0.0;
        }
        let n = place as usize;
        self.shares[n] + (self.shares[n + 1] - self.shares[n]) * (place - n as f64)
    }
}

/// Tables already counted.
#[derive(Default)]
pub struct Tables(Vec<Table>);

impl Tables {
    fn find(&mut self, shape: Shape, across: f64) -> usize {
        let same = |t: &Table| t.shape == shape && (t.across - across).abs() < 1e-9;
        if let Some(n) = self.0.iter().position(same) {
            return n;
        }
        self.0.push(Table::new(shape, across));
        self.0.len() - 1
    }
}

/// One punched place: where it really is.
#[derive(Clone, Copy, Debug)]
pub struct Mark {
    pub stroke: usize,
    /// From 1; 0 is the peg hole.
    pub hole: u8,
    /// From its nominal place along the feed.
    pub moved: f64,
    pub shape: Shape,
}

/// A card as it really is, and the light it is read in.
#[derive(Clone)]
pub struct Made {
    pub strokes: usize,
    pub marks: Vec<Mark>,
    pub solid: f64,
    pub dark: [f64; 8],
    pub open: [f64; 8],
    pub noise: f64,
    pub length_mm: f64,
    /// What the lamp has lost by the last line.
    pub drift: f64,
}

pub fn nominal_length() -> f64 {
    2.0 * 14.2 + 55.0 * PITCH
}

/// The marks that perfect punching of `strokes` leaves.
pub fn marks(strokes: &[Stroke]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (stroke, what) in strokes.iter().enumerate() {
        let needles = what.punches().holes();
        marks.extend(needles.map(|hole| Mark {
            stroke,
            hole,
            moved: 0.0,
            shape: Shape::NEEDLE,
        }));
        if what.peg() {
            marks.push(Mark {
                stroke,
                hole: 0,
                moved: 0.0,
                shape: Shape::PEG,
            });
        }
    }
    marks
}

impl Made {
    pub fn new(strokes: &[Stroke]) -> Made {
        Made {
            strokes: strokes.len(),
            marks: marks(strokes),
            solid: ONE_CARD,
            dark: [9.0, 10.0, 8.0, 11.0, 10.0, 9.0, 12.0, 10.0],
            open: [205.0, 198.0, 211.0, 190.0, 202.0, 207.0, 195.0, 200.0],
            noise: 1.0,
            length_mm: nominal_length(),
            drift: 0.0,
        }
    }

    pub fn move_stroke(&mut self, stroke: usize, mm: f64) {
        for mark in self.marks.iter_mut().filter(|mark| mark.stroke == stroke) {
            mark.moved += mm;
        }
    }

    /// Reads it: 8 lines a row, line `n` at `(n / 8 - 1)` rows.
    pub fn read(&self, tables: &mut Tables, chance: &mut Chance) -> Reading {
        let lines = (self.strokes + 2) * 8;
        let mut shares = vec![0.0f64; lines * 8];
        for mark in &self.marks {
            let rows = mark.stroke as f64 + if mark.hole == 0 { 1.0 } else { 0.0 };
            let x = rows * PITCH + mark.moved;
            let y = if mark.hole == 0 {
                0.0
            } else {
                (f64::from(mark.hole) - 4.5) * PITCH
            };
            for channel in 0..8usize {
                let across = (channel as f64 - 3.5) * PITCH - y;
                if across.abs() > mark.shape.radius() + 1.5 {
                    continue;
                }
                let table = tables.find(mark.shape, -across);
                let table = &tables.0[table];
                let first = ((x - 7.0) / PITCH * 8.0).floor() as i64 + 8;
                for line in first.max(0)..(first + 18).min(lines as i64) {
                    let along = (line as f64 / 8.0 - 1.0) * PITCH - x;
                    shares[line as usize * 8 + channel] += table.at(along);
                }
            }
        }
        let samples = shares
            .iter()
            .enumerate()
            .map(|(n, share)| {
                let (dark, open) = (self.dark[n % 8], self.open[n % 8]);
                let lamp = 1.0 - self.drift * n as f64 / (lines * 8) as f64;
                let light = lamp * (self.solid + (1.0 - self.solid) * share.min(1.0));
                let noise = if self.noise > 0.0 {
                    self.noise * chance.normal()
                } else {
                    0.0
                };
                (dark + (open - dark) * light + noise)
                    .round()
                    .clamp(0.0, 255.0) as u8
            })
            .collect();
        let levels = |of: &[f64; 8]| -> Levels {
            let mut levels = [0; 16];
            for (level, value) in levels.iter_mut().zip(of) {
                *level = value.round() as u8;
            }
            levels
        };
        let id = CardId::default();
        let (dark, open) = (levels(&self.dark), levels(&self.open));
        Reading {
            began: CardBegan {
                id,
                place: 3,
                dark,
                open,
            },
            ended: CardEnded {
                id,
                place: 3,
                complete: true,
                strokes: self.strokes as u16,
                lines: lines as u16,
                length_um: (self.length_mm * 1000.0) as u32,
            },
            samples_per_row: 8,
            holes: 8,
            samples,
        }
    }
}

/// A 400 card's programme (Taylor pp. 122-123): lace holes and peg, a blank
/// stroke, rows 1-26, lace holes, rows 27-51 with the far peg at row 51, a blank
/// stroke, lace holes; lace holes 2nd and 7th of 8 (Bell ch. V).
pub fn card_400(mut row: impl FnMut(usize) -> Row) -> Vec<Stroke> {
    let lace = Row::from_holes([2, 7]);
    let mut strokes = vec![Stroke::LaceAndPeg(lace), Stroke::Blank];
    strokes.extend((1..=26).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::Lace(lace));
    strokes.extend((27..=50).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::NeedlesAndPeg(row(51)));
    strokes.extend([Stroke::Blank, Stroke::Lace(lace)]);
    strokes
}

pub fn random_card(chance: &mut Chance) -> Vec<Stroke> {
    card_400(|_| {
        Row((chance.next() & chance.next() & 0xff) as u16
            | (chance.next() & chance.next() & 0xff) as u16)
    })
}

pub fn judged(strokes: &[Stroke], reading: &Reading, fit: Fit) -> Report {
    judge(
        strokes,
        &Geometry::card_400(),
        reading,
        &Limits::default(),
        fit,
    )
}
