//! One peg hole: its fit to the light on every channel that sees it.
//!
//! Enters: where it should be, light, the needle holes beside it. Leaves: its place,
//! size and openness. Light that a needle hole beside it can reach counts for little.
//! What has no solution stays where it was thought to be.

use super::super::light::{Lanes, micrometres, permille};
use super::bases::Bases;
use super::dust::DIMMEST;
use super::levels::Levels;
use super::peg_shape::{Passing, PegShape};
use super::rows::Rows;
use super::{PegSpot, Spot, What};

/// Rounds of fitting.
const ROUNDS: usize = 6;

/// Coefficients of a peg hole, and most of a fit with the needle holes beside it.
const OWN: usize = 4;
const MOST: usize = 12;

/// What is believed of amplitude, offset along, offset across and change of
/// diameter beforehand, against half a hundredth of the light; and of a needle
/// hole's amplitude.
const BELIEFS: [f64; OWN] = [1e-5, 1e-5, 2.5e-5, 1e-4];
const NEEDLE: f64 = 1e-5;

/// What light counts for among which a needle hole's may be.
const BESIDE: f32 = 0.1;

/// Furthest a coefficient moves in a round.
const STRIDES: [f32; OWN] = [0.5, 0.6, 0.6, 0.6];

/// What is off by no more before a round is off by the square of it afterwards, which
/// nothing shows.
const LAST: f64 = 0.05;

/// Less light than this, of a whole hole's, and there is none.
const NONE: f32 = 0.1;

/// Channels that see one so differently are not both clean.
const UNEVEN: f32 = 0.04;

/// How much a whole one's light, shape and size may differ from what they should
/// be (common practice, no source).
const LIGHT_OFF: f32 = 0.07;
const SHAPE_OFF: f32 = 0.045;
const SIZE_OFF_MM: f32 = 0.9;

/// A needle hole whose light falls among a peg hole's.
#[derive(Clone, Copy)]
pub(super) struct Needle {
    pub(super) lane: usize,
    pub(super) centre_mm: f32,
    pub(super) amplitude: f32,
}

/// A peg hole while it is being measured.
pub(super) struct Peg<const N: usize> {
    stroke: usize,
    pub(super) place_mm: f32,
    /// Amplitude, then offset along, across, and in diameter, in millimetres.
    fit: [f32; OWN],
    /// Needle holes beside it, measured with it.
    needles: heapless::Vec<Needle, { MOST - OWN }>,
    /// Amplitude on each channel on its own.
    amplitude: Lanes<N>,
    /// The light it is measured by.
    samples: Vec<Sample>,
    /// Each channel's light of a whole hole by which the fit last came to rest.
    rests_by: Option<Lanes<N>>,
}

/// One channel's light at one line, and what of it is known beforehand.
struct Sample {
    /// From the first stroke.
    at_mm: f32,
    light: f32,
    /// Which of the channels that see a peg hole.
    seen: usize,
    lane: usize,
    /// The needle holes in sight, and the share of their light that falls here.
    beside: heapless::Vec<(u8, f32), { MOST - OWN }>,
    /// Whether there is none.
    is_clear: bool,
}

impl<const N: usize> Peg<N> {
    /// A peg hole that this stroke cuts, and which belongs here.
    pub(super) fn new(stroke: usize, place_mm: f32) -> Peg<N> {
        Peg {
            stroke,
            place_mm,
            fit: [0.0; OWN],
            needles: heapless::Vec::new(),
            amplitude: [0.0; N],
            samples: Vec::new(),
            rests_by: None,
        }
    }

    /// Measures it by these lines, `lead_mm` from its place or near that, with these
    /// needle holes beside it; of more than there is room for, those that come first.
    pub(super) fn find<'l>(
        &mut self,
        shape: &PegShape,
        bases: &Bases,
        lead_mm: f32,
        needles: impl Iterator<Item = Needle>,
        lines: impl Iterator<Item = (f32, &'l Lanes<N>)>,
    ) {
        self.needles = needles.take(MOST - OWN).collect();
        self.samples = self.samples(shape, bases, lines);
        self.fit = [1.0, lead_mm, 0.0, 0.0];
        self.settle(shape, &[1.0; N]);
        self.amplitude = self.amplitudes(shape);
        if self.is_uneven(shape) {
            // one channel is dim: dust
            let gains = self.amplitude.map(|own| own.max(NONE));
            self.fit = [1.0, lead_mm, 0.0, 0.0];
            self.settle(shape, &gains);
            self.amplitude = self.amplitudes(shape);
        }
    }

    /// Whether it has a whole one's light, more or less.
    pub(super) fn is_bright(&self) -> bool {
        (self.fit[0] - 1.0).abs() < 2.0 * LIGHT_OFF
    }

    /// Where its centre lies along the card.
    pub(super) fn centre_mm(&self) -> f32 {
        self.place_mm + self.fit[1]
    }

    /// How far across it lies.
    pub(super) fn across_mm(&self) -> f32 {
        self.fit[2]
    }

    /// What it looks like, as fitted, to each channel that sees it.
    pub(super) fn looks<'s>(&self, shape: &'s PegShape) -> heapless::Vec<Passing<'s>, N> {
        let seen = shape.seen.iter();
        seen.map(|seen| seen.passing(self.fit[2])).collect()
    }

    /// Its light on a channel to which it looks so.
    pub(super) fn light(&self, lane: usize, looks: &Passing<'_>, at_mm: f32) -> f32 {
        self.amplitude[lane] * self.model(looks, at_mm).0
    }

    /// Light of a whole hole as fitted, and its changes with the last three
    /// coefficients.
    #[inline]
    fn model(&self, looks: &Passing<'_>, at_mm: f32) -> (f32, [f32; 3]) {
        let [_, along, _, wider] = self.fit;
        let from = at_mm - self.place_mm - along;
        let (light, slope, further) = looks.at(from);
        let wide = looks.wider.at(from);
        let model = light + wider * wide;
        (model.clamp(0.0, 1.0), [-slope, further, wide])
    }

    /// The light of these lines on the channels that see it, beside its needle holes.
    fn samples<'l>(
        &self,
        shape: &PegShape,
        bases: &Bases,
        lines: impl Iterator<Item = (f32, &'l Lanes<N>)>,
    ) -> Vec<Sample> {
        let mut samples = Vec::with_capacity(2 * (2 * bases.half + 2) * shape.seen.len());
        for (at_mm, line) in lines {
            for (number, seen) in shape.seen.iter().enumerate() {
                let mut beside = heapless::Vec::new();
                for (needle, number) in self.needles.iter().zip(0u8..) {
                    if needle.lane == seen.lane {
                        let share = bases.needle.at(at_mm - needle.centre_mm);
                        if share != 0.0 {
                            // there is room for all needles
                            beside.push((number, share)).ok();
                        }
                    }
                }
                samples.push(Sample {
                    at_mm,
                    light: line[seen.lane],
                    seen: number,
                    lane: seen.lane,
                    is_clear: beside.iter().all(|(_, share)| *share <= 0.0),
                    beside,
                });
            }
        }
        samples
    }

    /// Light of the needle holes beside it.
    fn needle_light(&self, sample: &Sample) -> f32 {
        let beside = sample.beside.iter();
        beside
            .map(|(n, share)| share * self.needles[usize::from(*n)].amplitude)
            .sum()
    }

    /// Gauss-Newton, held by what is believed beforehand.
    fn settle(&mut self, shape: &PegShape, gains: &Lanes<N>) {
        self.rests_by = None;
        for _ in 0..ROUNDS {
            let (normal, right) = self.equations(shape, gains);
            let step = solve(normal, right, OWN + self.needles.len());
            for ((fit, step), most) in self.fit.iter_mut().zip(step).zip(STRIDES) {
                *fit += (step as f32).clamp(-most, most);
            }
            for (needle, step) in self.needles.iter_mut().zip(step.iter().skip(OWN)) {
                needle.amplitude += *step as f32;
            }
            self.fit[2] = self.fit[2].clamp(-2.0, 2.0);
            self.fit[3] = self.fit[3].clamp(-3.0, 3.0);
            if step.iter().all(|step| step.abs() < LAST) {
                self.rests_by = Some(*gains);
                break;
            }
        }
    }

    /// The equations of the next step. They are symmetrical: what is left of the
    /// diagonal is enough.
    fn equations(&self, shape: &PegShape, gains: &Lanes<N>) -> ([[f64; MOST]; MOST], [f64; MOST]) {
        let mut normal = [[0.0f64; MOST]; MOST];
        let mut right = [0.0f64; MOST];
        // its own in a square, both halves of it: that is quicker
        let (mut square, mut light) = ([[0.0f64; OWN]; OWN], [0.0f64; OWN]);
        let looks = self.looks(shape);
        for sample in &self.samples {
            let (model, [along, across, wider]) = self.model(&looks[sample.seen], sample.at_mm);
            let gain = gains[sample.lane];
            let amplitude = self.fit[0] * gain;
            let own = [
                model * gain,
                amplitude * along,
                amplitude * across,
                amplitude * wider,
            ]
            .map(f64::from);
            let left = sample.light - amplitude * model - self.needle_light(sample);
            // what lies beside it may be a chad, whose shape nobody knows
            let weight = f64::from([BESIDE, 1.0][usize::from(sample.is_clear)]);
            let left = weight * f64::from(left);
            for n in 0..OWN {
                light[n] += own[n] * left;
                let a = weight * own[n];
                for m in 0..OWN {
                    square[n][m] += a * own[m];
                }
            }
            for (at, (n, share)) in sample.beside.iter().enumerate() {
                let (n, share) = (OWN + usize::from(*n), f64::from(*share));
                right[n] += share * left;
                let a = weight * share;
                let row = &mut normal[n];
                for (sum, own) in row.iter_mut().zip(&own) {
                    *sum += a * own;
                }
                for (m, other) in &sample.beside[..=at] {
                    row[OWN + usize::from(*m)] += a * f64::from(*other);
                }
            }
        }
        for (n, own) in square.iter().enumerate() {
            normal[n][..OWN].copy_from_slice(own);
            right[n] = light[n];
        }
        let needles = std::iter::repeat_n(NEEDLE, MOST - OWN);
        for (n, belief) in BELIEFS.into_iter().chain(needles).enumerate() {
            normal[n][n] += belief;
        }
        (normal, right)
    }

    /// Whether channels see it so differently bright that it is no hole's doing.
    fn is_uneven(&self, shape: &PegShape) -> bool {
        let own = shape.seen.iter().map(|seen| self.amplitude[seen.lane]);
        let (least, most) = own.fold((f32::MAX, 0.0f32), |(least, most), own| {
            (least.min(own), most.max(own))
        });
        least > NONE && most - least > UNEVEN
    }

    /// Each channel's own amplitude.
    fn amplitudes(&self, shape: &PegShape) -> Lanes<N> {
        let (mut product, mut square) = ([0.0; N], [1e-6; N]);
        let looks = self.looks(shape);
        for sample in &self.samples {
            let model = self.model(&looks[sample.seen], sample.at_mm).0;
            product[sample.lane] += model * (sample.light - self.needle_light(sample));
            square[sample.lane] += model * model;
        }
        for (product, square) in product.iter_mut().zip(&square) {
            *product = (*product / square).clamp(0.0, 1.2);
        }
        product
    }

    /// The final word on it, by the light there is on each channel.
    pub(super) fn spot(
        &mut self,
        shape: &PegShape,
        rows: &Rows<'_, N>,
        levels: &Levels<N>,
    ) -> PegSpot {
        let bases = rows.bases;
        let gains = levels.gains_at(self.place_mm);
        if self.rests_by != Some(gains) {
            self.settle(shape, &gains);
        }
        let (mut misfit, mut count, mut light, mut whole) = (0.0, 0.0, 0.0, 0.0f32);
        let looks = self.looks(shape);
        for sample in self.samples.iter().filter(|sample| sample.is_clear) {
            let looks = &looks[sample.seen];
            let model = self.model(looks, sample.at_mm).0;
            let own = sample.light / gains[sample.lane];
            misfit += (own - self.fit[0] * model).powi(2);
            count += 1.0;
            let from = sample.at_mm - self.place_mm - self.fit[1];
            light += own;
            whole += looks.at(from).0;
        }
        let off = (misfit / f32::max(count, 1.0)).sqrt();
        let [amplitude, along, across, wider] = self.fit;
        let open = (light / whole.max(1e-3)).max(0.0);
        let what = if open < NONE {
            What::Solid
        } else if (amplitude - 1.0).abs() < LIGHT_OFF
            && off < SHAPE_OFF + levels.noise_share
            && wider.abs() < SIZE_OFF_MM
        {
            What::Whole
        } else {
            What::Partial
        };
        let there = what != What::Solid && open > 0.3;
        let row = (self.place_mm / bases.pitch_mm).round().max(0.0) as usize;
        let mut lanes = shape.seen.iter().map(|seen| seen.lane);
        let mut dusty = || {
            lanes.any(|lane| {
                // dust that falls while it is read may leave its light and bend its shape
                let left = (self.amplitude[lane] / gains[lane]).min(1.0 - UNEVEN / 2.0);
                levels.dust_falls(row, lane)
                    || left > DIMMEST && levels.may_be_dust(rows, row, lane, left)
            })
        };
        let whole = match what {
            What::Whole => 1.0,
            What::Partial if dusty() => 0.5,
            _ => 0.0,
        };
        PegSpot {
            stroke: self.stroke,
            across_mm: there.then_some(across),
            spot: Spot {
                what,
                whole,
                solid: f32::from(u8::from(what == What::Solid)),
                open_permille: permille(open),
                is_lit: there,
                offset_um: micrometres(along),
                diameter_um: micrometres(shape.diameter_mm + wider),
            },
        }
    }
}

/// Solves the first `count` equations (Cholesky without roots); what has no solution
/// stays where it is.
fn solve(mut a: [[f64; MOST]; MOST], mut b: [f64; MOST], count: usize) -> [f64; MOST] {
    let mut inverse = [0.0; MOST];
    for j in 0..count {
        // below, the factor times the pivots; here, the factor itself
        for k in 0..j {
            let scaled = a[j][k];
            a[j][k] *= inverse[k];
            a[j][j] -= a[j][k] * scaled;
            b[j] -= a[j][k] * b[k];
        }
        if a[j][j] <= 0.0 {
            return [0.0; MOST];
        }
        inverse[j] = 1.0 / a[j][j];
        for i in j + 1..count {
            for k in 0..j {
                a[i][j] -= a[i][k] * a[j][k];
            }
        }
    }
    for j in (0..count).rev() {
        b[j] *= inverse[j];
        for k in j + 1..count {
            b[j] -= a[k][j] * b[k];
        }
    }
    b
}
