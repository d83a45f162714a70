//! A lamp that slowly dims or brightens while one card is read.
//!
//! Enters: the light and the card as measured with an even lamp. Leaves: the
//! lamp's strength along the card, by which the light is then divided. Refused,
//! so that no faulty hole can pass for a whole one in dim light: drift that is
//! not slow, that only some channels show, or that solid card does not show. A
//! chad or a blunt punch dims its own hole; only the lamp dims solid card too.

use super::light::{Light, STRETCH};
use super::measure::{Measured, median};
use cardwright_protocol::Stroke;

/// Drift below this changes no verdict and is left alone.
const WORTH: f32 = 0.04;
/// Fastest drift believed, for each row.
const FASTEST_ROW: f32 = 0.008;
/// What noise alone may do to one stretch's strength.
const NOISE: f32 = 0.02;
/// The levels are taken a little before the card reaches the bar.
const ROWS_BEFORE: f32 = 8.0;
/// Holes with less light than this are not whole even in dim light.
const CLEARLY_OPEN: f32 = 0.5;
/// Fewest channels with clearly open holes that tell a stretch's strength.
const FEWEST_CHANNELS: usize = 3;
/// How far a channel may lie from the others and still agree.
const AGREED: f32 = 0.05;
/// How far solid card may seem to lag behind the holes: its light is only some
/// ten levels, of which half a one is lost in rounding.
const SOLID_SLACK: f32 = 0.06;

/// The lamp's strength along the card; 1 where the open levels were taken.
pub(super) struct Lamp {
    /// Lines and strengths, in order.
    knots: Vec<(f32, f32)>,
}

impl Lamp {
    /// Strength at line `line`.
    pub(super) fn at(&self, line: usize) -> f32 {
        let line = line as f32;
        let after = self.knots.partition_point(|(at, _)| *at <= line);
        let before = after.checked_sub(1).and_then(|n| self.knots.get(n));
        match (before, self.knots.get(after)) {
            (Some((from, start)), Some((to, end))) => {
                start + (end - start) * (line - from) / (to - from)
            }
            (Some((_, only)), None) | (None, Some((_, only))) => *only,
            (None, None) => 1.0,
        }
    }
}

/// The lamp's drift, if there is one worth taking out and all that was seen
/// agrees on it.
pub(super) fn drift(strokes: &[Stroke], light: &Light, measured: &Measured) -> Option<Lamp> {
    let per_row = light.per_row as f32;
    let mut knots = vec![(-ROWS_BEFORE * per_row, 1.0)];
    for (number, solid) in light.stretches.iter().enumerate() {
        let first = number * STRETCH;
        let last = (first + STRETCH).min(strokes.len());
        let strength = strength(strokes, measured, first..last);
        let (Some(solid), Told::Strength(strength)) = (solid, &strength) else {
            if matches!(strength, Told::Discord) {
                return None;
            }
            continue;
        };
        let line = (first + last) as f32 / 2.0 * per_row + per_row / 2.0;
        let (before, was) = *knots.last()?;
        let rows = (line - before) / per_row;
        if (strength - was).abs() > FASTEST_ROW * rows + NOISE {
            return None;
        }
        let solid_dimming = 1.0 - solid / light.solid;
        if 1.0 - strength > 2.0 * solid_dimming.max(0.0) + SOLID_SLACK {
            return None;
        }
        knots.push((line, *strength));
    }
    let worth = knots.iter().any(|(_, at)| (at - 1.0).abs() > WORTH);
    worth.then_some(Lamp { knots })
}

/// What the holes of one stretch tell of the lamp.
enum Told {
    Strength(f32),
    /// Too few holes.
    Nothing,
    /// The channels do not agree.
    Discord,
}

/// The median over channels of each channel's median clearly open hole.
fn strength(strokes: &[Stroke], measured: &Measured, stretch: std::ops::Range<usize>) -> Told {
    let channels = measured.spots.len() / strokes.len().max(1);
    let mut told: Vec<f32> = Vec::with_capacity(channels);
    let mut opens: Vec<f32> = Vec::with_capacity(STRETCH);
    for (channel, hole) in (0..channels).zip(1u8..) {
        opens.clear();
        for stroke in stretch.clone() {
            let required = strokes[stroke].punches().has(hole);
            let spot = measured.spots.get(stroke * channels + channel);
            opens.extend(
                spot.filter(|spot| required && spot.open > CLEARLY_OPEN)
                    .map(|spot| spot.open),
            );
        }
        told.extend(median(&mut opens));
    }
    if told.len() < FEWEST_CHANNELS {
        return Told::Nothing;
    }
    let Some(middle) = median(&mut told) else {
        return Told::Nothing;
    };
    let agreed = told
        .iter()
        .filter(|own| (*own - middle).abs() <= AGREED)
        .count();
    // Of three channels two must agree, of eight six.
    if agreed * 3 < told.len() * 2 {
        return Told::Discord;
    }
    Told::Strength(middle)
}
