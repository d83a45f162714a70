//! What is known of a card while it is being measured, and the light its holes
//! give one another.
//!
//! Enters: strokes, geometry and light. Leaves: for every channel and place the
//! light that the holes known so far account for.

use super::super::input::{Geometry, Limits};
use super::super::light::Light;
use super::super::overlap::Profile;
use super::super::register::Line;
use super::SEARCH_PITCHES;
use super::fitting::median;
use super::pegs::Pegs;
use cardwright_protocol::Stroke;

/// What is known so far.
pub(super) struct Work<'a> {
    pub(super) strokes: &'a [Stroke],
    pub(super) light: &'a Light,
    pub(super) holes: usize,
    pub(super) pitch_mm: f32,
    pub(super) line_mm: f32,
    pub(super) needle: Profile,
    pub(super) pegs: Pegs,
    /// Light of every position, for taking away from its neighbours.
    pub(super) open: Vec<f32>,
    pub(super) within_peg: Vec<bool>,
    pub(super) rows_mm: Vec<Option<f32>>,
    /// Shift and stretch of the whole card, about which rows are sought.
    trend: Line,
}

impl<'a> Work<'a> {
    /// A card of which only the brightest line of each place is known.
    pub(super) fn new(
        strokes: &'a [Stroke],
        geometry: &Geometry,
        limits: &Limits,
        light: &'a Light,
    ) -> Self {
        let holes = usize::from(geometry.holes);
        let pitch_mm = geometry.row_pitch_mm as f32;
        let mut work = Work {
            strokes,
            light,
            holes,
            pitch_mm,
            line_mm: pitch_mm / light.per_row as f32,
            needle: Profile::new(geometry.hole_diameter_mm, limits.aperture_mm, 0.0),
            pegs: Pegs::new(strokes, geometry, limits),
            open: vec![0.0; strokes.len() * holes],
            within_peg: vec![false; strokes.len() * holes],
            rows_mm: vec![None; strokes.len()],
            trend: Line::default(),
        };
        work.look_over();
        work
    }

    fn look_over(&mut self) {
        let half = self.light.per_row / 2;
        for stroke in 0..self.strokes.len() {
            let centre = self.light.line_of(stroke);
            let place = stroke as f32 * self.pitch_mm;
            for channel in 0..self.holes {
                let cell = stroke * self.holes + channel;
                let beside = self
                    .pegs
                    .near(place, 0.0)
                    .any(|(_, peg)| self.pegs.share(peg, channel, place, 0.0) > 0.5);
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

    /// Whether stroke `stroke` should have a hole on `channel`.
    pub(super) fn required(&self, stroke: usize, channel: usize) -> bool {
        self.strokes.get(stroke).is_some_and(|what| {
            u8::try_from(channel + 1).is_ok_and(|hole| what.punches().has(hole))
        })
    }

    /// Lines within `half` lines of `offset_mm` from stroke `stroke`'s place.
    pub(super) fn window(
        &self,
        stroke: usize,
        offset_mm: f32,
        half: usize,
    ) -> impl Iterator<Item = usize> + use<> {
        let moved = (offset_mm / self.line_mm).round() as i64;
        let centre = self.light.line_of(stroke) as i64 + moved;
        let (half, last) = (half as i64, self.light.lines() as i64 - 1);
        ((centre - half).max(0)..=(centre + half).min(last)).map(|line| line as usize)
    }

    /// Where line `line` is taken, from the first stroke.
    pub(super) fn position_mm(&self, line: usize) -> f32 {
        (line as f32 - self.light.per_row as f32) * self.line_mm
    }

    /// Light that all holes known so far give, but for peg hole `but`.
    pub(super) fn known_light(&self, channel: usize, x_mm: f32, but: Option<usize>) -> f32 {
        let nearest = (x_mm / self.pitch_mm).round() as i64;
        let mut sum = 0.0;
        for other in nearest - 1..=nearest + 1 {
            let Ok(other) = usize::try_from(other) else {
                continue;
            };
            if other >= self.strokes.len() {
                continue;
            }
            let open = self.open[other * self.holes + channel];
            if open > 0.0 {
                let centre = other as f32 * self.pitch_mm + self.rows_mm[other].unwrap_or(0.0);
                sum += open * self.needle.at(x_mm - centre);
            }
        }
        for (number, other) in self.pegs.near(x_mm, self.pitch_mm) {
            if Some(number) != but {
                let share = self.pegs.share(other, channel, x_mm, other.offset_mm);
                sum += other.spot.open.min(1.0) * share;
            }
        }
        sum.min(1.0)
    }

    /// The card's shift and stretch by what is known of its rows.
    pub(super) fn follow_trend(&mut self) {
        let pitch = f64::from(self.pitch_mm);
        let points: Vec<(f64, f64)> = self
            .rows_mm
            .iter()
            .enumerate()
            .filter_map(|(stroke, row)| Some((stroke as f64 * pitch, f64::from((*row)?))))
            .collect();
        self.trend = Line::through(&points, pitch / 16.0);
    }

    /// Displacement of the card as a whole at `x_mm`.
    pub(super) fn trend_mm(&self, x_mm: f32) -> f32 {
        self.trend.at(f64::from(x_mm)) as f32
    }

    /// Least and greatest offset that is believed at `x_mm`.
    pub(super) fn bounds_mm(&self, x_mm: f32) -> (f32, f32) {
        let (trend, reach) = (self.trend_mm(x_mm), SEARCH_PITCHES * self.pitch_mm);
        (trend - reach, trend + reach)
    }

    /// Offset of a row whose own holes tell nothing: that of those around it.
    pub(super) fn offset_near(&self, stroke: usize) -> f32 {
        if let Some(own) = self.rows_mm.get(stroke).copied().flatten() {
            return own;
        }
        let before = self.rows_mm[..stroke.min(self.rows_mm.len())]
            .iter()
            .rev()
            .flatten()
            .take(2);
        let after = self.rows_mm.iter().skip(stroke + 1).flatten().take(2);
        let mut around: heapless::Vec<f32, 4> = before.chain(after).copied().collect();
        median(&mut around).unwrap_or(0.0)
    }
}
