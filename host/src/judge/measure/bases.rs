//! What the light of one hole looks like, line by line, and how it changes.
//!
//! Enters: the geometry, the aperture, the lines of a row. Leaves: for every way
//! the lines can fall upon a hole the shapes its light is fitted with, and the
//! sums of their products. Refuses holes that cannot be told from their
//! neighbours.

use super::super::input::{Geometry, Limits};
use super::super::overlap::{Profile, open_share};
use super::super::verdict::UnreadReason;

/// Shapes: the hole's light; its change when the hole lies further along; its
/// change with the hole's diameter; light through the card around it.
pub(super) const SHAPES: usize = 4;

/// Places between two lines at which a hole's centre is thought to lie.
const PHASES: usize = 32;

/// Fewest lines that tell what a hole is like.
const FEWEST_TAPS: usize = 5;

/// What is believed of a hole beforehand, to find out what it is like: spread of
/// its amplitude, of amplitude times offset and times change of diameter in
/// millimetres, and of the light around it.
pub(super) const SPREADS: [f32; SHAPES] = [2.0, 0.6, 0.15, 0.02];

/// Noise for which these are made: half a hundredth of the open light.
pub(super) const NOISE: f32 = 0.005;

/// Half of the step by which a diameter is changed to see what it does.
const DIAMETER_STEP_MM: f64 = 0.1;

/// Step and number of the places beside the aperture's middle at which a hole may
/// pass; further out, an aperture sees too little of it.
const ACROSS_STEP_MM: f32 = 0.1;
const ACROSS: usize = 10;

/// What holds the fit of the change across: so little that the shapes make it up as
/// well as they can.
const ASIDE: [f32; SHAPES] = [1e-4; SHAPES];

/// The shapes at one phase.
#[derive(Clone, Debug)]
pub(super) struct Phase {
    /// How far beside the aperture's middle the hole passes.
    across_mm: f32,
    /// Centre of the hole from the middle line, in lines.
    pub(super) lines: f32,
    /// Line by line, from the first of the window.
    pub(super) taps: Vec<[f32; SHAPES]>,
    /// Sums of the products of each two shapes.
    pub(super) gram: [[f32; SHAPES]; SHAPES],
    /// Turns the sums of a hole's light with the shapes into their coefficients,
    /// with little believed beforehand.
    pub(super) loose: [[f32; SHAPES]; SHAPES],
    /// How much of each shape a hole's light changes by when it passes a step further
    /// beside the middle.
    pub(super) aside: [f32; SHAPES],
    /// All light of a whole hole in the window, and its change by the same step.
    pub(super) whole: (f32, f32),
}

/// The shapes at every phase.
#[derive(Clone, Debug)]
pub(super) struct Bases {
    /// For each place across.
    tables: Vec<Vec<Phase>>,
    /// Lines on either side of the middle one.
    pub(super) half: usize,
    pub(super) line_mm: f32,
    pub(super) pitch_mm: f32,
    /// The light of one hole, against the distance from its centre.
    pub(super) needle: Profile,
}

impl Bases {
    /// # Errors
    /// Holes that are not apart as seen through the aperture; too few lines.
    pub(super) fn new(
        geometry: &Geometry,
        limits: &Limits,
        per_row: usize,
    ) -> Result<Bases, UnreadReason> {
        let line_mm = geometry.row_pitch_mm / per_row as f64;
        let reach = (geometry.hole_diameter_mm + limits.aperture_mm) / 2.0;
        // a neighbour in its place casts no light into the window
        let half = ((geometry.row_pitch_mm - reach) / line_mm - 0.5).floor();
        if half < 1.0 || limits.aperture_mm > geometry.needle_pitch_mm {
            return Err(UnreadReason::BadGeometry);
        }
        let half = half as usize;
        if 2 * half + 1 < FEWEST_TAPS {
            let samples_per_row = u8::try_from(per_row).unwrap_or(u8::MAX);
            return Err(UnreadReason::SamplesPerRow { samples_per_row });
        }
        let table = |across: usize| {
            let across_mm = across as f64 * f64::from(ACROSS_STEP_MM);
            let phase = |number| Phase::new(geometry, limits, number, across_mm, half, line_mm);
            (0..=PHASES).map(phase).collect()
        };
        Ok(Bases {
            tables: (0..ACROSS).map(table).collect(),
            half,
            line_mm: line_mm as f32,
            pitch_mm: geometry.row_pitch_mm as f32,
            needle: Profile::new(geometry.hole_diameter_mm, limits.aperture_mm, 0.0),
        })
    }

    /// The phase for holes whose centre lies `lines` from the middle line and
    /// passes `across_mm` beside the aperture's middle.
    pub(super) fn phase(&self, lines: f32, across_mm: f32) -> Option<&Phase> {
        let number = ((lines + 0.5) * PHASES as f32 + 0.5) as usize;
        let across = (across_mm.abs() * (1.0 / ACROSS_STEP_MM) + 0.5) as usize;
        self.tables
            .get(across.min(ACROSS - 1))?
            .get(number.min(PHASES))
    }
}

impl Phase {
    /// How many steps further a hole lies that passes `across_mm` beside the middle.
    pub(super) fn beside(&self, across_mm: f32) -> f32 {
        // light falls off with the square of what a hole lies beside
        let (most, here) = ((ACROSS - 1) as f32 * ACROSS_STEP_MM, self.across_mm);
        let step = ACROSS_STEP_MM * (2.0 * here + ACROSS_STEP_MM);
        let far = if across_mm < -most { -most } else { across_mm };
        let far = if far > most { most } else { far };
        (far * far - here * here) * (1.0 / step)
    }

    fn new(
        geometry: &Geometry,
        limits: &Limits,
        number: usize,
        across_mm: f64,
        half: usize,
        line_mm: f64,
    ) -> Phase {
        let lines = number as f64 / PHASES as f64 - 0.5;
        let hole = geometry.hole_diameter_mm;
        let beside = |along: f64, diameter: f64, across_mm: f64| {
            open_share(diameter, limits.aperture_mm, along.hypot(across_mm))
        };
        let light = |along: f64, diameter: f64| beside(along, diameter, across_mm);
        let step_mm = line_mm / 16.0;
        let along = |tap: usize| (tap as f64 - half as f64 - lines) * line_mm;
        let taps: Vec<[f32; SHAPES]> = (0..=2 * half)
            .map(|tap| {
                let along = along(tap);
                let whole = light(along, hole);
                // a hole that lies further on has the light of a line before
                let further = light(along - step_mm, hole) - light(along + step_mm, hole);
                let wider =
                    light(along, hole + DIAMETER_STEP_MM) - light(along, hole - DIAMETER_STEP_MM);
                [
                    whole as f32,
                    (further / (2.0 * step_mm)) as f32,
                    (wider / (2.0 * DIAMETER_STEP_MM)) as f32,
                    (1.0 - whole) as f32,
                ]
            })
            .collect();
        let mut gram = [[0.0; SHAPES]; SHAPES];
        for tap in &taps {
            for (row, a) in gram.iter_mut().zip(tap) {
                for (sum, b) in row.iter_mut().zip(tap) {
                    *sum += a * b;
                }
            }
        }
        let next_mm = across_mm + f64::from(ACROSS_STEP_MM);
        let mut changes = [0.0; SHAPES];
        for (number, tap) in taps.iter().enumerate() {
            let change = beside(along(number), hole, next_mm) as f32 - tap[0];
            for (sum, shape) in changes.iter_mut().zip(tap) {
                *sum += shape * change;
            }
        }
        Phase {
            across_mm: across_mm as f32,
            lines: lines as f32,
            aside: solution(&gram, &ASIDE).map(|row| product(&row, &changes)),
            whole: (taps.iter().map(|tap| tap[0]).sum(), changes[0] + changes[3]),
            taps,
            gram,
            loose: solution(&gram, &SPREADS.map(|spread| NOISE / spread)),
        }
    }
}

/// Sum of the products.
fn product(a: &[f32; SHAPES], b: &[f32; SHAPES]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// What solves `(gram + diagonal of beliefs squared) x = sums`: the inverse, by
/// Gauss and Jordan without exchanges, as for any positive matrix.
fn solution(gram: &[[f32; SHAPES]; SHAPES], beliefs: &[f32; SHAPES]) -> [[f32; SHAPES]; SHAPES] {
    let mut left = gram.map(|row| row.map(f64::from));
    let mut right = [[0.0; SHAPES]; SHAPES];
    for (n, belief) in beliefs.iter().enumerate() {
        left[n][n] += f64::from(*belief).powi(2);
        right[n][n] = 1.0;
    }
    for pivot in 0..SHAPES {
        let inverse = 1.0 / left[pivot][pivot].max(1e-12);
        left[pivot] = left[pivot].map(|x| x * inverse);
        right[pivot] = right[pivot].map(|x| x * inverse);
        for row in (0..SHAPES).filter(|row| *row != pivot) {
            let share = left[row][pivot];
            for n in 0..SHAPES {
                left[row][n] -= share * left[pivot][n];
                right[row][n] -= share * right[pivot][n];
            }
        }
    }
    right.map(|row| row.map(|x| x as f32))
}
