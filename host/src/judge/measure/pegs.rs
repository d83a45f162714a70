//! Peg holes: their shape over every channel, and the measurement of each.
//!
//! Enters: the geometry, the light, what is known of the rows. Leaves: each peg
//! hole's offset and openness.

use super::super::input::{Geometry, Limits};
use super::super::overlap::Profile;
use super::fitting::{NO_STEP_MM, Sums};
use super::work::Work;
use super::{LEAST_LIGHT, Spot};
use cardwright_protocol::Stroke;

/// What every peg hole of the card looks like to the channels.
pub(super) struct PegShape {
    /// Channel by channel; dark where it does not reach.
    profiles: Vec<Profile>,
    /// How far along the feed it can be seen.
    reach_mm: f32,
}

/// A peg hole while it is being measured.
pub(super) struct Peg {
    /// The stroke that cuts it.
    pub(super) stroke: usize,
    pub(super) place_mm: f32,
    pub(super) offset_mm: f32,
    pub(super) spot: Spot,
}

/// All peg holes, in order along the card.
pub(super) struct Pegs {
    shape: PegShape,
    pub(super) each: Vec<Peg>,
}

impl Pegs {
    /// The peg holes `strokes` should have, before they are measured.
    pub(super) fn new(strokes: &[Stroke], geometry: &Geometry, limits: &Limits) -> Pegs {
        let cutting = strokes.iter().enumerate().filter(|(_, what)| what.peg());
        let each: Vec<Peg> = cutting
            .map(|(stroke, _)| Peg {
                stroke,
                place_mm: ((stroke as f64 + geometry.peg_offset_rows) * geometry.row_pitch_mm)
                    as f32,
                offset_mm: 0.0,
                spot: Spot {
                    open: 1.0,
                    ..Spot::default()
                },
            })
            .collect();
        let holes = if each.is_empty() { 0 } else { geometry.holes };
        let profiles: Vec<Profile> = (1..=holes)
            .map(|hole| {
                let across = geometry.across_mm(hole);
                Profile::new(geometry.peg_diameter_mm, limits.aperture_mm, across)
            })
            .collect();
        let reach_mm = profiles.iter().map(Profile::reach_mm).fold(0.0, f32::max);
        let shape = PegShape { profiles, reach_mm };
        Pegs { shape, each }
    }

    /// Share of the aperture of `channel` that `peg` opens at `x_mm`, were it
    /// displaced by `offset_mm`.
    pub(super) fn share(&self, peg: &Peg, channel: usize, x_mm: f32, offset_mm: f32) -> f32 {
        let along = x_mm - peg.place_mm - offset_mm;
        self.shape
            .profiles
            .get(channel)
            .map_or(0.0, |profile| profile.at(along))
    }

    /// Those whose places lie within sight of `x_mm` and `more_mm` further.
    pub(super) fn near(&self, x_mm: f32, more_mm: f32) -> impl Iterator<Item = (usize, &Peg)> {
        let reach = self.shape.reach_mm + more_mm;
        let first = self.each.partition_point(|peg| peg.place_mm < x_mm - reach);
        self.each
            .iter()
            .enumerate()
            .skip(first)
            .take_while(move |(_, peg)| peg.place_mm <= x_mm + reach)
    }

    /// The same, with room for being displaced as far again as they are wide.
    pub(super) fn around(&self, x_mm: f32) -> impl Iterator<Item = (usize, &Peg)> {
        self.near(x_mm, self.shape.reach_mm)
    }
}

impl Work<'_> {
    /// Every peg hole's offset and light anew; gives the furthest move.
    pub(super) fn settle_pegs(&mut self) -> f32 {
        let moves = (0..self.pegs.each.len()).map(|number| self.settle_peg(number));
        moves.fold(0.0, f32::max)
    }

    fn settle_peg(&mut self, number: usize) -> f32 {
        let Some(peg) = self.pegs.each.get(number) else {
            return 0.0;
        };
        let (least, greatest) = self.bounds_mm(peg.place_mm);
        let start = peg
            .spot
            .offset_mm
            .unwrap_or_else(|| self.offset_near(peg.stroke));
        let centre = (peg.place_mm / self.pitch_mm).round().max(0.0) as usize;
        let half = self.light.per_row * 3 / 4;
        let mut offset = start;
        let mut open = 0.0;
        for round in 0..4 {
            let mut sums = Sums::default();
            let seen = self.pegs.shape.profiles.iter().enumerate();
            for (channel, profile) in seen.filter(|(_, profile)| !profile.is_dark()) {
                for line in self.window(centre, offset, half) {
                    let x = self.position_mm(line);
                    let others = self.known_light(channel, x, Some(number));
                    let light = self.light.at(channel, line) - others;
                    sums.add(light, profile.at_with_slope(x - peg.place_mm - offset));
                }
            }
            open = sums.open();
            let step = sums.step(open);
            if round == 3 || open <= LEAST_LIGHT || step.abs() < NO_STEP_MM {
                break;
            }
            offset = (offset + step).max(least).min(greatest);
        }
        let offset_mm = (open > LEAST_LIGHT).then_some(offset);
        let Some(peg) = self.pegs.each.get_mut(number) else {
            return 0.0;
        };
        let moved = (offset - peg.offset_mm).abs();
        peg.offset_mm = offset;
        peg.spot = Spot {
            open: open.max(0.0),
            offset_mm,
            within_peg: false,
        };
        moved
    }
}
