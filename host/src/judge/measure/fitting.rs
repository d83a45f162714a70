//! The arithmetic of fitting one hole's known shape to the light found.
//!
//! Enters: light line by line, the shape, a first idea of the offset. Leaves:
//! how open the hole is and where it lies. Sums too small to divide by give 0.

use super::super::overlap::Profile;
use super::LEAST_LIGHT;

/// Most lines in one row's window: 64 lines a row, and the one in its middle.
pub(super) const MOST_LINES: usize = 65;

/// A step shorter than this changes nothing that is told.
pub(super) const NO_STEP_MM: f32 = 0.005;

/// One value of light beside what a hole would give there.
#[derive(Clone, Copy)]
pub(super) struct Sample {
    pub(super) light: f32,
    /// Line's distance from the nominal place.
    pub(super) along_mm: f32,
}

/// One hole's light, line by line.
pub(super) type Samples = heapless::Vec<Sample, MOST_LINES>;

/// Sums of a least-squares fit of one hole's profile.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    light_shape: f32,
    shape_shape: f32,
    light: f32,
    shape: f32,
    light_slope: f32,
    shape_slope: f32,
    slope_slope: f32,
}

impl Sums {
    /// The sums for a hole at `offset_mm`.
    pub(super) fn of(samples: &[Sample], profile: &Profile, offset_mm: f32) -> Sums {
        let mut sums = Sums::default();
        for sample in samples {
            sums.add(
                sample.light,
                profile.at_with_slope(sample.along_mm - offset_mm),
            );
        }
        sums
    }

    pub(super) fn add(&mut self, light: f32, (shape, slope): (f32, f32)) {
        self.light_shape += light * shape;
        self.shape_shape += shape * shape;
        self.light += light;
        self.shape += shape;
        self.light_slope += light * slope;
        self.shape_slope += shape * slope;
        self.slope_slope += slope * slope;
    }

    /// How open the hole is, by the shape of its light.
    pub(super) fn open(&self) -> f32 {
        if self.shape_shape > 1e-3 {
            self.light_shape / self.shape_shape
        } else {
            0.0
        }
    }

    /// How open it is, by all its light.
    pub(super) fn filled(&self) -> f32 {
        if self.shape > 1e-3 {
            self.light / self.shape
        } else {
            0.0
        }
    }

    /// How much further along it lies than thought.
    pub(super) fn step(&self, open: f32) -> f32 {
        if self.slope_slope < 1e-3 || open < 0.05 {
            return 0.0;
        }
        let misfit = open * self.shape_slope - self.light_slope;
        (misfit / (open * self.slope_slope)).clamp(-0.5, 0.5)
    }
}

/// Openness and offset of one hole, from a first idea of its offset.
/// The offset stays within `bounds_mm`.
pub(super) fn settle(
    samples: &[Sample],
    profile: &Profile,
    start_mm: f32,
    bounds_mm: (f32, f32),
) -> (f32, f32) {
    let mut offset = start_mm;
    let mut open = 0.0;
    for round in 0..3 {
        let sums = Sums::of(samples, profile, offset);
        open = sums.open();
        let step = sums.step(open);
        if round == 2 || open <= LEAST_LIGHT / 2.0 || step.abs() < NO_STEP_MM {
            break;
        }
        offset = (offset + step).max(bounds_mm.0).min(bounds_mm.1);
    }
    (open, offset)
}

/// The middle value, or the mean of the middle two.
pub(in super::super) fn median(values: &mut [f32]) -> Option<f32> {
    values.sort_unstable_by(f32::total_cmp);
    let (low, high) = (values.len().saturating_sub(1) / 2, values.len() / 2);
    Some((values.get(low)? + values.get(high)?) / 2.0)
}
