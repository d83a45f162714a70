//! The measurement: how open each position is, and where its light lies.
//!
//! Enters: scaled light, the strokes, the geometry. Leaves: for each position
//! the light found as a share of a whole hole's and the offset of its centre,
//! and for each stroke the common offset of its holes, which one block cuts.
//! Nothing is judged here. A measurement by other means takes the place of
//! [`measure`] and fills the same [`Measured`].
//!
//! How: the light of a hole of known size is known at every line, so each row's
//! offset is the one at which its required holes' light fits best, with the
//! light of neighbouring rows and peg holes taken away first. Rows and pegs are
//! gone over in turn until their offsets settle.

use super::input::{Fit, Geometry, Limits};
use super::light::Light;
use super::overlap::Profile;
use super::register::Line;
use cardwright_protocol::Stroke;

/// A row is looked for this far from its place, in row pitches. Beyond it, its
/// holes count as missing here and extra there.
const SEARCH_PITCHES: f32 = 0.38;
/// Distance between the offsets tried first, in millimetres.
const SEARCH_STEP_MM: f32 = 0.2;
/// How often rows and pegs are gone over.
const SWEEPS: usize = 3;
/// Less light than this, of a whole hole's, has no centre worth telling.
const LEAST_LIGHT: f32 = 0.3;
/// How far one hole is looked for from its row, in millimetres.
const HOLE_SEARCH_MM: f32 = 1.2;
/// Light on two lines running that no position accounts for.
const STRAY_LIGHT: f32 = 0.35;

/// Light at one position.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spot {
    /// As a share of a whole hole's.
    pub(super) open: f32,
    /// Its centre's offset along the feed, in millimetres.
    pub(super) offset_mm: Option<f32>,
    /// It lies within a required peg hole.
    pub(super) within_peg: bool,
}

/// A required peg hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PegSpot {
    /// The stroke that cuts it.
    pub(super) stroke: usize,
    /// Its light.
    pub(super) spot: Spot,
}

/// Light where nothing is cut, in register or out of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stray {
    /// The nearest position's stroke.
    pub(super) stroke: usize,
    /// Its hole, from 0.
    pub(super) channel: usize,
    /// Light beyond what is accounted for.
    pub(super) open: f32,
    /// From the nearest position, in millimetres.
    pub(super) offset_mm: f32,
}

/// Everything measured on one card.
#[derive(Clone, Debug, Default)]
pub(super) struct Measured {
    /// Stroke after stroke, a spot for each hole.
    pub(super) spots: Vec<Spot>,
    /// Each stroke's offset by its own needle punches, if it has holes.
    pub(super) rows_mm: Vec<Option<f32>>,
    /// The required peg holes.
    pub(super) pegs: Vec<PegSpot>,
    /// Light nothing accounts for.
    pub(super) strays: Vec<Stray>,
}

/// Measures one card.
pub(super) fn measure(
    strokes: &[Stroke],
    geometry: &Geometry,
    limits: &Limits,
    light: &Light,
    fit: Fit,
) -> Measured {
    let mut work = Work::new(strokes, geometry, limits, light);
    for stroke in 0..strokes.len() {
        work.seek_row(stroke);
    }
    if fit == Fit::OffsetAndStretch {
        // The card as a whole may be far off; rows are then sought from there.
        work.follow_trend();
        for stroke in 0..strokes.len() {
            work.seek_row(stroke);
        }
    }
    for peg in 0..work.pegs.len() {
        work.settle_peg(peg);
    }
    for _ in 0..SWEEPS {
        for stroke in 0..strokes.len() {
            work.settle_row(stroke);
        }
        for peg in 0..work.pegs.len() {
            work.settle_peg(peg);
        }
    }
    let spots = (0..strokes.len())
        .flat_map(|stroke| work.spots_of(stroke))
        .collect();
    // Extra holes beside a peg hole are known only now.
    for peg in 0..work.pegs.len() {
        work.settle_peg(peg);
    }
    let strays = work.strays();
    let rows_mm = work.rows_mm;
    let pegs = work
        .pegs
        .iter()
        .map(|peg| PegSpot {
            stroke: peg.stroke,
            spot: peg.spot,
        })
        .collect();
    Measured {
        spots,
        rows_mm,
        pegs,
        strays,
    }
}

/// A peg hole while it is being measured.
struct Peg {
    stroke: usize,
    place_mm: f32,
    /// Channels it reaches, each with its profile.
    channels: Vec<(usize, Profile)>,
    offset_mm: f32,
    spot: Spot,
}

/// One value of light beside what a hole would give there.
#[derive(Clone, Copy)]
struct Sample {
    light: f32,
    /// Line's distance from the nominal place.
    along_mm: f32,
}

/// What is known so far.
struct Work<'a> {
    strokes: &'a [Stroke],
    light: &'a Light,
    holes: usize,
    pitch_mm: f32,
    line_mm: f32,
    needle: Profile,
    pegs: Vec<Peg>,
    /// How far a peg hole's light can lie from its place.
    peg_reach_mm: f32,
    /// Light of every position, for taking away from its neighbours.
    open: Vec<f32>,
    within_peg: Vec<bool>,
    rows_mm: Vec<Option<f32>>,
    /// Shift and stretch of the whole card, about which rows are sought.
    trend: Line,
}

impl<'a> Work<'a> {
    fn new(strokes: &'a [Stroke], geometry: &Geometry, limits: &Limits, light: &'a Light) -> Self {
        let holes = usize::from(geometry.holes);
        let pitch_mm = geometry.row_pitch_mm as f32;
        let pegs: Vec<Peg> = strokes
            .iter()
            .enumerate()
            .filter(|(_, what)| what.peg())
            .map(|(stroke, _)| peg(stroke, geometry, limits))
            .collect();
        let reach = pegs
            .iter()
            .flat_map(|peg| &peg.channels)
            .map(|(_, at)| at.reach_mm());
        let peg_reach_mm = reach.fold(0.0, f32::max) + pitch_mm;
        let mut work = Work {
            strokes,
            peg_reach_mm,
            light,
            holes,
            pitch_mm,
            line_mm: pitch_mm / light.per_row as f32,
            needle: Profile::new(geometry.hole_diameter_mm, limits.aperture_mm, 0.0),
            pegs,
            open: vec![0.0; strokes.len() * holes],
            within_peg: vec![false; strokes.len() * holes],
            rows_mm: vec![None; strokes.len()],
            trend: Line::default(),
        };
        work.look_over();
        work
    }

    /// First idea of every position: its brightest line.
    fn look_over(&mut self) {
        let half = self.light.per_row / 2;
        for stroke in 0..self.strokes.len() {
            let centre = self.light.line_of(stroke);
            let place = stroke as f32 * self.pitch_mm;
            for channel in 0..self.holes {
                let cell = stroke * self.holes + channel;
                let beside = self
                    .pegs
                    .iter()
                    .any(|peg| peg.share(channel, place, 0.0) > 0.5);
                if beside {
                    self.within_peg[cell] = true;
                } else if self.required(stroke, channel) {
                    let brightest = (centre - half..=centre + half)
                        .map(|line| self.light.at(channel, line))
                        .fold(0.0, f32::max);
                    self.open[cell] = brightest.min(1.0);
                }
            }
        }
    }

    fn required(&self, stroke: usize, channel: usize) -> bool {
        self.strokes.get(stroke).is_some_and(|what| {
            u8::try_from(channel + 1).is_ok_and(|hole| what.punches().has(hole))
        })
    }

    /// Channels whose needle holes tell where stroke `stroke` lies.
    fn telling(&self, stroke: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.holes).filter(move |channel| {
            self.required(stroke, *channel) && !self.within_peg[stroke * self.holes + channel]
        })
    }

    /// Lines within half a pitch of `offset_mm` from stroke `stroke`'s place.
    fn window(&self, stroke: usize, offset_mm: f32, half: usize) -> impl Iterator<Item = usize> {
        let moved = (offset_mm / self.line_mm).round() as i64;
        let centre = self.light.line_of(stroke) as i64 + moved;
        let half = half as i64;
        let last = self.light.lines() as i64 - 1;
        (centre - half..=centre + half)
            .filter(move |line| (0..=last).contains(line))
            .map(|line| line as usize)
    }

    fn position_mm(&self, line: usize) -> f32 {
        (line as f32 - self.light.per_row as f32) * self.line_mm
    }

    /// Light that holes other than this row's or this peg's give.
    fn others(&self, channel: usize, x_mm: f32, row: Option<usize>, peg: Option<usize>) -> f32 {
        let nearest = (x_mm / self.pitch_mm).round() as i64;
        let mut sum = 0.0;
        for other in nearest - 1..=nearest + 1 {
            let Ok(other) = usize::try_from(other) else {
                continue;
            };
            if other >= self.strokes.len() || Some(other) == row {
                continue;
            }
            let open = self.open[other * self.holes + channel];
            if open > 0.0 {
                let centre = other as f32 * self.pitch_mm + self.rows_mm[other].unwrap_or(0.0);
                sum += open * self.needle.at(x_mm - centre);
            }
        }
        // Peg holes lie in order; only those within reach are asked.
        let first = self
            .pegs
            .partition_point(|other| other.place_mm < x_mm - self.peg_reach_mm);
        for (number, other) in self.pegs.iter().enumerate().skip(first) {
            if other.place_mm > x_mm + self.peg_reach_mm {
                break;
            }
            if Some(number) != peg {
                sum += other.spot.open.min(1.0) * other.share(channel, x_mm, other.offset_mm);
            }
        }
        sum.min(1.0)
    }

    fn follow_trend(&mut self) {
        let pitch = f64::from(self.pitch_mm);
        let points: Vec<(f64, f64)> = self
            .rows_mm
            .iter()
            .enumerate()
            .filter_map(|(stroke, row)| Some((stroke as f64 * pitch, f64::from((*row)?))))
            .collect();
        self.trend = Line::through(&points, pitch / 16.0);
    }

    fn trend_mm(&self, x_mm: f32) -> f32 {
        self.trend.at(f64::from(x_mm)) as f32
    }

    /// The offset at which this row's required holes fit best, if its
    /// neighbours are displaced as it is.
    fn seek_row(&mut self, stroke: usize) {
        let telling: Vec<usize> = self.telling(stroke).collect();
        let place = stroke as f32 * self.pitch_mm;
        let trend = self.trend_mm(place);
        let weight = |other: Option<usize>| -> f32 {
            let Some(other) = other.filter(|other| *other < self.strokes.len()) else {
                return 0.0;
            };
            telling
                .iter()
                .map(|channel| self.open[other * self.holes + channel])
                .sum()
        };
        let (own, before, after) = (
            weight(Some(stroke)),
            weight(stroke.checked_sub(1)),
            weight(Some(stroke + 1)),
        );
        if own < LEAST_LIGHT {
            return;
        }
        let near: Vec<&Peg> = self.pegs.iter().filter(|peg| peg.is_near(place)).collect();
        let half = self.light.per_row / 2;
        let lines: Vec<(f32, f32)> = self
            .window(stroke, trend, half)
            .map(|line| {
                let light = telling
                    .iter()
                    .map(|channel| self.light.at(*channel, line))
                    .sum();
                (self.position_mm(line) - place, light)
            })
            .collect();
        let tries = (SEARCH_PITCHES * self.pitch_mm / SEARCH_STEP_MM).min(100.0) as i32;
        let mut best = (f32::INFINITY, 0.0);
        for number in -tries..=tries {
            let offset = trend + number as f32 * SEARCH_STEP_MM;
            let mut misfit = 0.0;
            for (along, light) in &lines {
                let x = along - offset;
                let mut want = own * self.needle.at(x)
                    + before * self.needle.at(x + self.pitch_mm)
                    + after * self.needle.at(x - self.pitch_mm);
                for peg in &near {
                    let shares = telling
                        .iter()
                        .map(|channel| peg.share(*channel, place + along, offset));
                    want += shares.sum::<f32>();
                }
                misfit += (light - want).powi(2);
            }
            if misfit < best.0 {
                best = (misfit, offset);
            }
        }
        self.rows_mm[stroke] = Some(best.1);
    }

    /// Light of the row's hole on `channel`, without its neighbours'.
    fn samples(&self, stroke: usize, channel: usize, offset_mm: f32) -> Vec<Sample> {
        let place = stroke as f32 * self.pitch_mm;
        self.window(stroke, offset_mm, self.light.per_row / 2)
            .map(|line| {
                let x = self.position_mm(line);
                let others = self.others(channel, x, Some(stroke), None);
                Sample {
                    light: self.light.at(channel, line) - others,
                    along_mm: x - place,
                }
            })
            .collect()
    }

    /// Least and greatest offset that is believed at `x_mm`.
    fn bounds_mm(&self, x_mm: f32) -> (f32, f32) {
        let (trend, reach) = (self.trend_mm(x_mm), SEARCH_PITCHES * self.pitch_mm);
        (trend - reach, trend + reach)
    }

    /// Offset of a row whose own holes tell nothing: that of those around it.
    fn offset_near(&self, stroke: usize) -> f32 {
        if let Some(own) = self.rows_mm.get(stroke).copied().flatten() {
            return own;
        }
        let before = self.rows_mm[..stroke.min(self.rows_mm.len())]
            .iter()
            .rev()
            .flatten()
            .take(2);
        let after = self.rows_mm.iter().skip(stroke + 1).flatten().take(2);
        median(before.chain(after).copied().collect()).unwrap_or(0.0)
    }

    /// One row's offset anew, its neighbours being where they are now: the
    /// median of its holes', so that one torn hole does not move it.
    fn settle_row(&mut self, stroke: usize) {
        if self.rows_mm[stroke].is_none() {
            return;
        }
        let bounds = self.bounds_mm(stroke as f32 * self.pitch_mm);
        let start = self.offset_near(stroke);
        let mut offsets = Vec::with_capacity(self.holes);
        for channel in self.telling(stroke).collect::<Vec<_>>() {
            let samples = self.samples(stroke, channel, start);
            let (open, offset) = settle(&samples, &self.needle, start, bounds);
            self.open[stroke * self.holes + channel] = open.clamp(0.0, 1.0);
            if open > LEAST_LIGHT {
                offsets.push((open > 0.6, offset));
            }
        }
        // Half-cut holes count only where there are no better ones.
        let whole = offsets
            .iter()
            .filter(|(whole, _)| *whole)
            .map(|(_, offset)| *offset)
            .collect();
        let any = offsets.iter().map(|(_, offset)| *offset).collect();
        self.rows_mm[stroke] = median(whole).or_else(|| median(any));
    }

    /// One peg hole's offset and light anew.
    fn settle_peg(&mut self, number: usize) {
        let Some(peg) = self.pegs.get(number) else {
            return;
        };
        let (least, greatest) = self.bounds_mm(peg.place_mm);
        let start = peg
            .spot
            .offset_mm
            .unwrap_or_else(|| self.offset_near(peg.stroke));
        let centre = (peg.place_mm / self.pitch_mm).round().max(0.0) as usize;
        let mut offset = start;
        let mut open = 0.0;
        for round in 0..4 {
            let mut sums = Sums::default();
            for (channel, profile) in &peg.channels {
                for line in self.window(centre, offset, self.light.per_row * 3 / 4) {
                    let x = self.position_mm(line);
                    let others = self.others(*channel, x, None, Some(number));
                    let light = self.light.at(*channel, line) - others;
                    sums.add(light, profile.at_with_slope(x - peg.place_mm - offset));
                }
            }
            open = sums.open();
            if round < 3 && open > LEAST_LIGHT {
                offset = (offset + sums.step(open)).max(least).min(greatest);
            }
        }
        let offset_mm = (open > LEAST_LIGHT).then_some(offset);
        if let Some(peg) = self.pegs.get_mut(number) {
            peg.offset_mm = offset;
            peg.spot = Spot {
                open: open.max(0.0),
                offset_mm,
                within_peg: false,
            };
        }
    }

    /// The final word on every position of one row.
    fn spots_of(&mut self, stroke: usize) -> Vec<Spot> {
        let row_mm = self.offset_near(stroke);
        let bounds = self.bounds_mm(stroke as f32 * self.pitch_mm);
        let mut spots = Vec::with_capacity(self.holes);
        for channel in 0..self.holes {
            let cell = stroke * self.holes + channel;
            if self.within_peg[cell] {
                spots.push(Spot {
                    open: 0.0,
                    offset_mm: None,
                    within_peg: true,
                });
                continue;
            }
            let samples = self.samples(stroke, channel, row_mm);
            let mut sums = Sums::default();
            for sample in &samples {
                sums.add(
                    sample.light,
                    self.needle.at_with_slope(sample.along_mm - row_mm),
                );
            }
            let mut open = sums.open();
            let mut offset_mm = None;
            if open > LEAST_LIGHT {
                let (_, offset) = settle(&samples, &self.needle, row_mm, bounds);
                offset_mm = ((offset - row_mm).abs() <= HOLE_SEARCH_MM).then_some(offset);
            }
            if self.required(stroke, channel) {
                // A hole blocked at its rim keeps its shape but loses light:
                // the smaller of the two measures counts.
                open = open.min(sums.filled());
            }
            self.open[cell] = open.clamp(0.0, 1.0);
            spots.push(Spot {
                open: open.max(0.0),
                offset_mm,
                within_peg: false,
            });
        }
        spots
    }

    /// Light that no position accounts for, at most one entry a position.
    fn strays(&self) -> Vec<Stray> {
        let mut strays: Vec<Stray> = Vec::new();
        let rows = self.strokes.len();
        for channel in 0..self.holes {
            let mut last = 0.0;
            for line in 0..self.light.lines() {
                let x = self.position_mm(line);
                let light = self.light.at(channel, line);
                let left = if light < STRAY_LIGHT {
                    0.0
                } else {
                    light - self.others(channel, x, None, None)
                };
                let both = f32::min(left, last);
                last = left;
                if both < STRAY_LIGHT {
                    continue;
                }
                let x = x - self.line_mm / 2.0;
                let stroke = ((x / self.pitch_mm).round().max(0.0) as usize).min(rows.max(1) - 1);
                let offset_mm = x - stroke as f32 * self.pitch_mm;
                let stray = Stray {
                    stroke,
                    channel,
                    open: both,
                    offset_mm,
                };
                match strays.last_mut() {
                    Some(old) if (old.stroke, old.channel) == (stroke, channel) => {
                        if both > old.open {
                            *old = stray;
                        }
                    }
                    _ => strays.push(stray),
                }
            }
        }
        strays
    }
}

impl Peg {
    /// Share of the aperture of `channel` that it opens at `x_mm`, were it
    /// displaced by `offset_mm`.
    fn share(&self, channel: usize, x_mm: f32, offset_mm: f32) -> f32 {
        let along = x_mm - self.place_mm - offset_mm;
        self.channels
            .iter()
            .find(|(reached, _)| *reached == channel)
            .map_or(0.0, |(_, profile)| profile.at(along))
    }

    /// Whether its light can reach the places around `x_mm`.
    fn is_near(&self, x_mm: f32) -> bool {
        let reach = self
            .channels
            .iter()
            .map(|(_, profile)| profile.reach_mm())
            .fold(0.0, f32::max);
        (x_mm - self.place_mm).abs() < 2.0 * reach
    }
}

/// The peg hole that stroke `stroke` cuts, before it is measured.
fn peg(stroke: usize, geometry: &Geometry, limits: &Limits) -> Peg {
    let place_mm = (stroke as f64 + geometry.peg_offset_rows) * geometry.row_pitch_mm;
    let channels = (1..=geometry.holes)
        .map(|hole| {
            let across = geometry.across_mm(hole);
            (
                usize::from(hole) - 1,
                Profile::new(geometry.peg_diameter_mm, limits.aperture_mm, across),
            )
        })
        .filter(|(_, profile)| !profile.is_dark())
        .collect();
    let spot = Spot {
        open: 1.0,
        ..Spot::default()
    };
    Peg {
        stroke,
        place_mm: place_mm as f32,
        channels,
        offset_mm: 0.0,
        spot,
    }
}

/// Sums of a least-squares fit of one hole's profile.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    light_shape: f32,
    shape_shape: f32,
    light: f32,
    shape: f32,
    light_slope: f32,
    shape_slope: f32,
    slope_slope: f32,
}

impl Sums {
    fn add(&mut self, light: f32, (shape, slope): (f32, f32)) {
        self.light_shape += light * shape;
        self.shape_shape += shape * shape;
        self.light += light;
        self.shape += shape;
        self.light_slope += light * slope;
        self.shape_slope += shape * slope;
        self.slope_slope += slope * slope;
    }

    /// How open the hole is, by the shape of its light.
    fn open(&self) -> f32 {
        if self.shape_shape > 1e-3 {
            self.light_shape / self.shape_shape
        } else {
            0.0
        }
    }

    /// How open it is, by all its light.
    fn filled(&self) -> f32 {
        if self.shape > 1e-3 {
            self.light / self.shape
        } else {
            0.0
        }
    }

    /// How much further along it lies than thought.
    fn step(&self, open: f32) -> f32 {
        if self.slope_slope < 1e-3 || open < 0.05 {
            return 0.0;
        }
        let misfit = open * self.shape_slope - self.light_slope;
        (misfit / (open * self.slope_slope)).clamp(-0.5, 0.5)
    }
}

/// Openness and offset of one hole, from a first idea of its offset.
/// The offset stays within `bounds_mm`.
fn settle(
    samples: &[Sample],
    profile: &Profile,
    start_mm: f32,
    bounds_mm: (f32, f32),
) -> (f32, f32) {
    let mut offset = start_mm;
    let mut open = 0.0;
    for round in 0..3 {
        let mut sums = Sums::default();
        for sample in samples {
            sums.add(
                sample.light,
                profile.at_with_slope(sample.along_mm - offset),
            );
        }
        open = sums.open();
        if round < 2 && open > LEAST_LIGHT / 2.0 {
            offset = (offset + sums.step(open)).max(bounds_mm.0).min(bounds_mm.1);
        }
    }
    (open, offset)
}

/// The middle value, or the mean of the middle two.
fn median(mut values: Vec<f32>) -> Option<f32> {
    values.sort_by(f32::total_cmp);
    let (low, high) = (values.len().saturating_sub(1) / 2, values.len() / 2);
    Some((values.get(low)? + values.get(high)?) / 2.0)
}
