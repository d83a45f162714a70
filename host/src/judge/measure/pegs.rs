//! Peg holes: where they are looked for, and the light without them.
//!
//! Enters: the geometry, the light, how the card lies. Leaves: each peg hole's
//! place, size and openness, and the light without them. Only light that no
//! needle hole beside a peg hole can reach is measured by.

use super::super::light::Light;
use super::super::plane::Plane;
use super::PegSpot;
use super::bases::Bases;
use super::levels::Levels;
use super::peg::{Needle, Peg};
use super::peg_shape::{PegShape, Seen};
use super::rows::Rows;
use cardwright_protocol::Stroke;

/// So many rows before and after a peg hole are asked whether their holes lie beside it.
const ROWS: usize = 6;

/// All peg holes, in order along the card.
pub(super) struct Pegs<'a, const N: usize> {
    shape: &'a PegShape,
    each: Vec<Peg<N>>,
}

impl<'a, const N: usize> Pegs<'a, N> {
    /// The peg holes that `strokes` cut.
    pub(super) fn new(shape: &'a PegShape, strokes: &[Stroke], pitch_mm: f32) -> Pegs<'a, N> {
        let cutting = strokes.iter().enumerate().filter(|(_, what)| what.peg());
        let place_mm = |stroke: usize| (stroke as f32 + shape.offset_rows as f32) * pitch_mm;
        let each = cutting.map(|(stroke, _)| Peg::new(stroke, place_mm(stroke)));
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

    /// Finds every peg hole on a card that lies so, its rows at `rows_mm`, of which so
    /// much lies within one.
    pub(super) fn settle(
        &mut self,
        bases: &Bases,
        light: &Light<N>,
        plane: Plane,
        rows_mm: &[Option<f32>],
        within: &[[bool; N]],
    ) {
        let sight = bases.pitch_mm + bases.needle.reach_mm();
        for peg in &mut self.each {
            let lead = plane.at(f64::from(peg.place_mm), 0.0) as f32;
            let centre = peg.place_mm + lead;
            let first = ((centre - bases.pitch_mm) / bases.line_mm).ceil() as i64;
            let last = ((centre + bases.pitch_mm) / bases.line_mm).floor() as i64;
            let lines = (first..=last).filter_map(|number| {
                let line = usize::try_from(number + light.per_row as i64).ok()?;
                Some((number as f32 * bases.line_mm, light.lines.get(line)?))
            });
            // a row lies a few pitches from its place at most
            let nearest = (centre / bases.pitch_mm) as usize;
            let rows = within.iter().zip(rows_mm).enumerate();
            let rows = rows.skip(nearest.saturating_sub(ROWS)).take(2 * ROWS + 1);
            let rows = rows.filter_map(|(row, (within, off))| {
                let place = row as f32 * bases.pitch_mm;
                let lead = || plane.at(f64::from(place), 0.0) as f32;
                let centre_mm = place + off.unwrap_or_else(lead);
                ((centre_mm - centre).abs() <= sight).then_some((centre_mm, within))
            });
            let seen = &self.shape.seen;
            let needles = rows.flat_map(|(centre_mm, within)| {
                let beside = seen.iter().filter(|seen| !within[seen.lane]);
                beside.map(move |seen| Needle {
                    lane: seen.lane,
                    centre_mm,
                    amplitude: 0.0,
                })
            });
            peg.find(self.shape, bases, lead, needles, lines);
        }
    }

    /// Where those that are whole lie, along and across.
    pub(super) fn across(&self) -> Vec<(f32, f32)> {
        let whole = self.each.iter().filter(|peg| peg.is_bright());
        whole.map(|peg| (peg.place_mm, peg.across_mm())).collect()
    }

    /// Takes their light away.
    pub(super) fn take_away(&self, bases: &Bases, light: &mut Light<N>) {
        let before = light.per_row as i64;
        for peg in &self.each {
            let centre = peg.centre_mm();
            let looks = peg.looks(self.shape);
            let reach = self.shape.reach_mm + 1.0;
            let first = ((centre - reach) / bases.line_mm).floor() as i64 + before;
            let last = ((centre + reach) / bases.line_mm).ceil() as i64 + before;
            for number in first.max(0)..=last {
                let at = (number - before) as f32 * bases.line_mm;
                let line = usize::try_from(number).ok();
                let Some(line) = line.and_then(|line| light.lines.get_mut(line)) else {
                    continue;
                };
                for (seen, looks) in self.shape.seen.iter().zip(&looks) {
                    line[seen.lane] -= peg.light(seen.lane, looks, at);
                }
            }
        }
    }

    /// Where the light of the last ends.
    pub(super) fn end_mm(&self) -> f32 {
        let ends = self.each.iter().map(Peg::centre_mm);
        ends.fold(0.0, f32::max) + self.shape.reach_mm
    }

    /// The final word on each, by the light there is on each channel.
    pub(super) fn spots(&mut self, rows: &Rows<'_, N>, levels: &Levels<N>) -> Vec<PegSpot> {
        let shape = self.shape;
        let each = self.each.iter_mut();
        each.map(|peg| peg.spot(shape, rows, levels)).collect()
    }
}
