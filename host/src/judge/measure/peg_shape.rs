//! What a peg hole looks like to the channels that see it.
//!
//! Enters: the geometry, the aperture. Leaves: its light on each of them against the
//! place along and across, and the change with its size. Refuses nothing: a peg hole
//! that no aperture sees has no light.

use super::super::input::{Geometry, Limits};
use super::super::overlap::{Profile, open_share, reach_mm};

/// Half of the step by which the size is changed to see what that does, in
/// millimetres.
const STEP_MM: f64 = 0.1;

/// What every peg hole of a card looks like to one channel.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    pub(super) lane: usize,
    /// Its light, were it this many steps further across, from [`FURTHEST`] on the
    /// near side to as many on the far side.
    light: Vec<Profile>,
    pub(super) wider: Profile,
}

/// Steps across that are tabulated on either side, and their length.
const FURTHEST: usize = 8;
const ACROSS_STEP_MM: f32 = 0.25;

impl Seen {
    /// Light of a hole in its place across.
    pub(super) fn nominal(&self) -> &Profile {
        &self.light[FURTHEST]
    }

    /// What a hole that passes `across_mm` further across looks like.
    pub(super) fn passing(&self, across_mm: f32) -> Passing<'_> {
        let most = 2 * FURTHEST - 1;
        let place = (across_mm / ACROSS_STEP_MM + FURTHEST as f32).clamp(0.0, most as f32);
        let near = (place as usize).min(most);
        Passing {
            near: &self.light[near],
            next: &self.light[near + 1],
            share: place - near as f32,
            wider: &self.wider,
        }
    }
}

/// What a peg hole looks like to one channel that it passes somewhere: between two
/// places across.
pub(super) struct Passing<'a> {
    near: &'a Profile,
    next: &'a Profile,
    /// How far from the first to the next.
    share: f32,
    pub(super) wider: &'a Profile,
}

impl Passing<'_> {
    /// Light at `along_mm` from the hole's centre, its change along the feed and its
    /// change across.
    #[inline]
    pub(super) fn at(&self, along_mm: f32) -> (f32, f32, f32) {
        let (light, slope) = self.near.at_with_slope(along_mm);
        let (next, next_slope) = self.next.at_with_slope(along_mm);
        (
            light + (next - light) * self.share,
            slope + (next_slope - slope) * self.share,
            (next - light) / ACROSS_STEP_MM,
        )
    }
}

/// What every peg hole of a card looks like.
#[derive(Clone, Debug)]
pub(super) struct PegShape {
    pub(super) seen: Vec<Seen>,
    pub(super) reach_mm: f32,
    pub(super) diameter_mm: f32,
    pub(super) offset_rows: f64,
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
