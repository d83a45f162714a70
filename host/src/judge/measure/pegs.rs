//! Peg holes: their light over every channel, and the measurement of each.
//!
//! Enters: the geometry, the light, how the card lies. Leaves: each peg hole's
//! place, size and openness, and the light without them. Only light that no
//! needle hole beside a peg hole can reach is measured by.

use super::super::input::{Geometry, Limits};
use super::super::light::{Lanes, Light};
use super::super::overlap::{Profile, open_share, reach_mm};
use super::super::plane::Plane;
use super::bases::Bases;
use super::dust::DIMMEST;
use super::levels::Levels;
use super::rows::Rows;
use super::{PegSpot, Spot, What};
use cardwright_protocol::Stroke;

/// Half of the step by which the size is changed to see what that does, in
/// millimetres.
const STEP_MM: f64 = 0.1;

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

/// Less light than this, of a whole hole's, and there is none.
const NONE: f32 = 0.1;

/// Channels that see one so differently are not both clean.
const UNEVEN: f32 = 0.04;

/// How much a whole one's light, shape and size may differ from what they should
/// be (common practice, no source).
const LIGHT_OFF: f32 = 0.07;
const SHAPE_OFF: f32 = 0.045;
const SIZE_OFF_MM: f32 = 0.9;

/// What every peg hole of a card looks like to one channel.
#[derive(Clone, Debug)]
struct Seen {
    lane: usize,
    /// Its light, were it this many steps further across, from [`FURTHEST`] on the
    /// near side to as many on the far side.
    light: Vec<Profile>,
    wider: Profile,
}

/// Steps across that are tabulated on either side, and their length.
const FURTHEST: usize = 8;
const ACROSS_STEP_MM: f32 = 0.25;

impl Seen {
    /// Light of a hole in its place across.
    fn nominal(&self) -> &Profile {
        &self.light[FURTHEST]
    }

    /// Light of a hole `across_mm` further across, its change along the feed and
    /// its change across, at `along_mm` from its centre.
    fn at(&self, along_mm: f32, across_mm: f32) -> (f32, f32, f32) {
        let most = 2 * FURTHEST - 1;
        let place = (across_mm / ACROSS_STEP_MM + FURTHEST as f32).clamp(0.0, most as f32);
        let near = (place as usize).min(most);
        let (light, slope) = self.light[near].at_with_slope(along_mm);
        let (next, next_slope) = self.light[near + 1].at_with_slope(along_mm);
        let share = place - near as f32;
        (
            light + (next - light) * share,
            slope + (next_slope - slope) * share,
            (next - light) / ACROSS_STEP_MM,
        )
    }
}

/// What every peg hole of a card looks like.
#[derive(Clone, Debug)]
pub(super) struct PegShape {
    seen: Vec<Seen>,
    reach_mm: f32,
    diameter_mm: f32,
    offset_rows: f64,
}

/// A needle hole whose light falls among a peg hole's.
#[derive(Clone, Copy)]
struct Needle {
    lane: usize,
    centre_mm: f32,
    amplitude: f32,
}

/// A peg hole while it is being measured.
struct Peg<const N: usize> {
    stroke: usize,
    place_mm: f32,
    /// Amplitude, then offset along, across, and in diameter, in millimetres.
    fit: [f32; OWN],
    /// Needle holes beside it, measured with it.
    needles: heapless::Vec<Needle, { MOST - OWN }>,
    /// Amplitude on each channel on its own.
    amplitude: Lanes<N>,
    /// The light it is measured by.
    samples: Vec<Sample>,
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
    beside: heapless::Vec<(usize, f32), { MOST - OWN }>,
    /// Whether there is none.
    is_clear: bool,
}

/// All peg holes, in order along the card.
pub(super) struct Pegs<'a, const N: usize> {
    shape: &'a PegShape,
    each: Vec<Peg<N>>,
}

impl PegShape {
    pub(super) fn new(geometry: &Geometry, limits: &Limits) -> PegShape {
        let (peg, aperture) = (geometry.peg_diameter_mm, limits.aperture_mm);
        let seen: Vec<Seen> = (1..=geometry.holes)
            .map(|hole| (usize::from(hole) - 1, geometry.across_mm(hole)))
            .filter(|(_, across)| reach_mm(peg, aperture, *across) > 0.0)
            .map(|(lane, across)| {
                let at =
                    |along: f64, wider: f64| open_share(peg + wider, aperture, along.hypot(across));
                let reach = reach_mm(peg + STEP_MM, aperture, across);
                let light = (0..=2 * FURTHEST).map(|step| {
                    let further = (step as f64 - FURTHEST as f64) * f64::from(ACROSS_STEP_MM);
                    // a hole further across has the light of a channel before
                    Profile::new(peg, aperture, across - further)
                });
                Seen {
                    lane,
                    light: light.collect(),
                    wider: Profile::of(reach, |along| {
                        (at(along, STEP_MM) - at(along, -STEP_MM)) / (2.0 * STEP_MM)
                    }),
                }
            })
            .collect();
        let reach = seen
            .iter()
            .flat_map(|seen| seen.light.iter().map(Profile::reach_mm));
        PegShape {
            reach_mm: reach.fold(0.0, f32::max),
            seen,
            diameter_mm: peg as f32,
            offset_rows: geometry.peg_offset_rows,
        }
    }
}

impl<'a, const N: usize> Pegs<'a, N> {
    /// The peg holes that `strokes` cut.
    pub(super) fn new(shape: &'a PegShape, strokes: &[Stroke], pitch_mm: f32) -> Pegs<'a, N> {
        let cutting = strokes.iter().enumerate().filter(|(_, what)| what.peg());
        let each = cutting.map(|(stroke, _)| Peg {
            stroke,
            place_mm: (stroke as f32 + shape.offset_rows as f32) * pitch_mm,
            fit: [0.0; OWN],
            needles: heapless::Vec::new(),
            amplitude: [0.0; N],
            samples: Vec::new(),
        });
        Pegs {
            shape,
            each: each.collect(),
        }
    }

    /// Positions whose windows a peg hole's light reaches.
    pub(super) fn in_sight(&self, rows: usize, bases: &Bases) -> Vec<[bool; N]> {
        let window = (bases.half as f32 + 1.0) * bases.line_mm;
        self.mark(rows, bases, |seen, along| {
            along < seen.nominal().reach_mm() + window
        })
    }

    /// Positions that lie within a peg hole.
    pub(super) fn within(&self, rows: usize, bases: &Bases) -> Vec<[bool; N]> {
        self.mark(rows, bases, |seen, along| seen.nominal().at(along) > 0.5)
    }

    fn mark(&self, rows: usize, bases: &Bases, is: impl Fn(&Seen, f32) -> bool) -> Vec<[bool; N]> {
        let mut marks = vec![[false; N]; rows];
        let reach = self.shape.reach_mm + 2.0 * bases.pitch_mm;
        for peg in &self.each {
            let first = ((peg.place_mm - reach) / bases.pitch_mm).max(0.0) as usize;
            let last = ((peg.place_mm + reach) / bases.pitch_mm).max(0.0) as usize;
            for (row, marks) in marks.iter_mut().enumerate().take(last + 1).skip(first) {
                let along = (row as f32 * bases.pitch_mm - peg.place_mm).abs();
                for seen in &self.shape.seen {
                    marks[seen.lane] |= is(seen, along);
                }
            }
        }
        marks
    }

    /// Finds every peg hole on a card that lies so, its rows at `rows_mm`.
    pub(super) fn settle(
        &mut self,
        bases: &Bases,
        light: &Light<N>,
        plane: Plane,
        rows_mm: &[Option<f32>],
    ) {
        let within = self.within(rows_mm.len(), bases);
        for peg in &mut self.each {
            let lead = plane.at(f64::from(peg.place_mm), 0.0) as f32;
            let centre = peg.place_mm + lead;
            let first = ((centre - bases.pitch_mm) / bases.line_mm).ceil() as i64;
            let last = ((centre + bases.pitch_mm) / bases.line_mm).floor() as i64;
            let sight = bases.pitch_mm + bases.needle.reach_mm();
            for (row, within) in within.iter().enumerate() {
                let place = row as f32 * bases.pitch_mm;
                let off = rows_mm.get(row).copied().flatten();
                let centre_mm = place + off.unwrap_or(plane.at(f64::from(place), 0.0) as f32);
                if (centre_mm - centre).abs() > sight {
                    continue;
                }
                for seen in self.shape.seen.iter().filter(|seen| !within[seen.lane]) {
                    // more than there is room for lie no nearer than others
                    let (lane, amplitude) = (seen.lane, 0.0);
                    let needle = Needle {
                        lane,
                        centre_mm,
                        amplitude,
                    };
                    peg.needles.push(needle).ok();
                }
            }
            let lines = (first..=last).filter_map(|number| {
                let line = usize::try_from(number + light.per_row as i64).ok()?;
                Some((number as f32 * bases.line_mm, light.lines.get(line)?))
            });
            peg.samples = peg.samples(self.shape, bases, lines);
            peg.fit = [1.0, lead, 0.0, 0.0];
            peg.settle(self.shape, &[1.0; N]);
            peg.amplitude = peg.amplitudes(self.shape);
            if peg.is_uneven(self.shape) {
                // one channel is dim: dust
                let gains = peg.amplitude.map(|own| own.max(NONE));
                peg.fit = [1.0, lead, 0.0, 0.0];
                peg.settle(self.shape, &gains);
                peg.amplitude = peg.amplitudes(self.shape);
            }
        }
    }

    /// Where those that are whole lie, along and across.
    pub(super) fn across(&self) -> Vec<(f32, f32)> {
        let whole = self
            .each
            .iter()
            .filter(|peg| (peg.fit[0] - 1.0).abs() < 2.0 * LIGHT_OFF);
        whole.map(|peg| (peg.place_mm, peg.fit[2])).collect()
    }

    /// Takes their light away.
    pub(super) fn take_away(&self, bases: &Bases, light: &mut Light<N>) {
        let before = light.per_row as i64;
        for peg in &self.each {
            let centre = peg.place_mm + peg.fit[1];
            let reach = self.shape.reach_mm + 1.0;
            let first = ((centre - reach) / bases.line_mm).floor() as i64 + before;
            let last = ((centre + reach) / bases.line_mm).ceil() as i64 + before;
            for number in first.max(0)..=last {
                let at = (number - before) as f32 * bases.line_mm;
                let line = usize::try_from(number).ok();
                let Some(line) = line.and_then(|line| light.lines.get_mut(line)) else {
                    continue;
                };
                for seen in &self.shape.seen {
                    line[seen.lane] -= peg.amplitude[seen.lane] * peg.model(seen, at).0;
                }
            }
        }
    }

    /// Where the light of the last ends.
    pub(super) fn end_mm(&self) -> f32 {
        let ends = self.each.iter().map(|peg| peg.place_mm + peg.fit[1]);
        ends.fold(0.0, f32::max) + self.shape.reach_mm
    }

    /// The final word on each, by the light there is on each channel.
    pub(super) fn spots(&mut self, rows: &Rows<'_, N>, levels: &Levels<N>) -> Vec<PegSpot> {
        let shape = self.shape;
        let each = self.each.iter_mut();
        each.map(|peg| peg.spot(shape, rows, levels)).collect()
    }
}

impl<const N: usize> Peg<N> {
    /// Light of a whole hole as fitted, and its changes with the last three
    /// coefficients.
    fn model(&self, seen: &Seen, at_mm: f32) -> (f32, [f32; 3]) {
        let [_, along, across, wider] = self.fit;
        let from = at_mm - self.place_mm - along;
        let (light, slope, further) = seen.at(from, across);
        let wide = seen.wider.at(from);
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
                let beside: heapless::Vec<(usize, f32), _> = self
                    .needles
                    .iter()
                    .enumerate()
                    .filter(|(_, needle)| needle.lane == seen.lane)
                    .map(|(n, needle)| (n, bases.needle.at(at_mm - needle.centre_mm)))
                    .filter(|(_, share)| *share != 0.0)
                    .collect();
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
            .map(|(n, share)| share * self.needles[*n].amplitude)
            .sum()
    }

    /// Gauss-Newton, held by what is believed beforehand.
    fn settle(&mut self, shape: &PegShape, gains: &Lanes<N>) {
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
            if step.iter().all(|step| step.abs() < 0.01) {
                break;
            }
        }
    }

    /// The equations of the next step. They are symmetrical: what is left of the
    /// diagonal is enough.
    fn equations(&self, shape: &PegShape, gains: &Lanes<N>) -> ([[f64; MOST]; MOST], [f64; MOST]) {
        let mut normal = [[0.0f64; MOST]; MOST];
        let mut right = [0.0f64; MOST];
        for sample in &self.samples {
            let (model, [along, across, wider]) =
                self.model(&shape.seen[sample.seen], sample.at_mm);
            let gain = gains[sample.lane];
            let amplitude = self.fit[0] * gain;
            let own = [
                model * gain,
                amplitude * along,
                amplitude * across,
                amplitude * wider,
            ];
            if own == [0.0; OWN] && sample.beside.is_empty() {
                continue;
            }
            let left = sample.light - amplitude * model - self.needle_light(sample);
            // what lies beside it may be a chad, whose shape nobody knows
            let weight = if sample.is_clear { 1.0 } else { BESIDE };
            for n in 0..OWN {
                let a = weight * own[n];
                right[n] += f64::from(a * left);
                for m in 0..=n {
                    normal[n][m] += f64::from(a * own[m]);
                }
            }
            for (at, (n, share)) in sample.beside.iter().enumerate() {
                let a = weight * share;
                right[OWN + n] += f64::from(a * left);
                let row = &mut normal[OWN + n];
                for (sum, own) in row.iter_mut().zip(&own) {
                    *sum += f64::from(a * own);
                }
                for (m, other) in &sample.beside[..=at] {
                    row[OWN + m] += f64::from(a * other);
                }
            }
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
        for sample in &self.samples {
            let model = self.model(&shape.seen[sample.seen], sample.at_mm).0;
            product[sample.lane] += model * (sample.light - self.needle_light(sample));
            square[sample.lane] += model * model;
        }
        for (product, square) in product.iter_mut().zip(&square) {
            *product = (*product / square).clamp(0.0, 1.2);
        }
        product
    }

    fn spot(&mut self, shape: &PegShape, rows: &Rows<'_, N>, levels: &Levels<N>) -> PegSpot {
        let bases = rows.bases;
        let gains = levels.gains_at(self.place_mm);
        self.settle(shape, &gains);
        let (mut misfit, mut count, mut light, mut whole) = (0.0, 0.0, 0.0, 0.0f32);
        for sample in self.samples.iter().filter(|sample| sample.is_clear) {
            let seen = &shape.seen[sample.seen];
            let model = self.model(seen, sample.at_mm).0;
            let own = sample.light / gains[sample.lane];
            misfit += (own - self.fit[0] * model).powi(2);
            count += 1.0;
            let from = sample.at_mm - self.place_mm - self.fit[1];
            light += own;
            whole += seen.at(from, self.fit[2]).0;
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
                open,
                offset_mm: there.then_some(along),
                diameter_mm: there.then_some(shape.diameter_mm + wider),
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
