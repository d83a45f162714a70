//! From levels to light: the share of each aperture that is open.
//!
//! Enters: a reading, the strokes, the geometry. Leaves: for every channel and
//! line the open share, 0 behind solid card and 1 behind a whole hole, from the
//! card's own dark and open levels, so that lamp ageing, dust and steady stray
//! light cancel. Refuses every reading that cannot be scaled with certainty.

use super::input::{Geometry, Limits, Reading};
use super::verdict::UnreadReason;
use cardwright_protocol::card::MOST_STROKES;
use cardwright_protocol::{Row, Stroke};

/// Light below dark or above open by more than this is no card's doing.
const LEAST_SHARE: f32 = -0.25;
const MOST_SHARE: f32 = 1.35;

/// Stroke positions over which solid card is averaged to find a second card.
pub(super) const STRETCH: usize = 8;

/// The open share of every channel at every line.
#[derive(Clone, Debug)]
pub(super) struct Light {
    /// Channel after channel, `lines` values each.
    shares: Vec<f32>,
    lines: usize,
    /// Lines in a row pitch.
    pub(super) per_row: usize,
    /// Light through solid card as a share of the open light.
    pub(super) solid: f32,
    /// The same for each [`STRETCH`] of strokes; none where too few places are
    /// solid to tell.
    pub(super) stretches: Vec<Option<f32>>,
}

impl Light {
    /// Open share of channel `channel` (from 0) at line `line`; 0 outside.
    pub(super) fn at(&self, channel: usize, line: usize) -> f32 {
        if line >= self.lines {
            return 0.0;
        }
        self.shares
            .get(channel * self.lines + line)
            .copied()
            .unwrap_or(0.0)
    }

    /// How many lines there are.
    pub(super) fn lines(&self) -> usize {
        self.lines
    }

    /// The same light, had the lamp burned evenly: `lamp` is its strength at
    /// each line, 1 where the open levels were taken.
    pub(super) fn evened(&self, lamp: impl Fn(usize) -> f32) -> Light {
        let mut even = self.clone();
        for column in even.shares.chunks_exact_mut(self.lines.max(1)) {
            for (line, share) in column.iter_mut().enumerate() {
                let through = *share * (1.0 - self.solid) + self.solid;
                *share = (through / lamp(line) - self.solid) / (1.0 - self.solid);
            }
        }
        even
    }

    /// The line taken over stroke position `stroke`.
    pub(super) fn line_of(&self, stroke: usize) -> usize {
        (stroke + 1) * self.per_row
    }
}

/// Scales a reading, or says why it cannot be.
pub(super) fn light(
    strokes: &[Stroke],
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
) -> Result<Light, UnreadReason> {
    let lines = shape(strokes, geometry, reading, limits)?;
    let mut light = scale(geometry, reading, limits, lines)?;
    let margin = margin_share(&light, geometry, limits);
    let Some(solid) = margin else {
        return Err(UnreadReason::BadGeometry);
    };
    if solid > f32::from(limits.no_card_permille) / 1000.0 {
        return Err(UnreadReason::NoCard {
            permille: permille(solid),
        });
    }
    let least = f32::from(limits.single_card_permille) / 1000.0;
    if solid < least {
        return Err(UnreadReason::TwoCards {
            permille: permille(solid),
            stroke: 0,
        });
    }
    for first in (0..strokes.len()).step_by(STRETCH) {
        let share = solid_share(&light, strokes, geometry, first, STRETCH);
        if let Some(share) = share.filter(|share| *share < least) {
            let stroke = u16::try_from(first).unwrap_or(u16::MAX);
            return Err(UnreadReason::TwoCards {
                permille: permille(share),
                stroke,
            });
        }
        light.stretches.push(share);
    }
    for share in &mut light.shares {
        *share = (*share - solid) / (1.0 - solid);
    }
    light.solid = solid;
    Ok(light)
}

/// Whether strokes, geometry and reading fit one another; gives the lines.
fn shape(
    strokes: &[Stroke],
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
) -> Result<usize, UnreadReason> {
    // An aperture over several rows at once could not tell them apart.
    let fine = limits.aperture_mm <= 2.0 * geometry.row_pitch_mm;
    if !geometry.is_sound() || !limits.is_sound() || !fine {
        return Err(UnreadReason::BadGeometry);
    }
    let room = Row::full(geometry.holes).0;
    let fits = strokes.iter().all(|stroke| stroke.punches().0 & !room == 0);
    if strokes.is_empty() || strokes.len() > usize::from(MOST_STROKES) || !fits {
        return Err(UnreadReason::BadStrokes);
    }
    if (reading.began.id, reading.began.place) != (reading.ended.id, reading.ended.place) {
        return Err(UnreadReason::Mixed);
    }
    if reading.holes != geometry.holes {
        let (channels, holes) = (reading.holes, geometry.holes);
        return Err(UnreadReason::Channels { channels, holes });
    }
    let per_row = reading.samples_per_row;
    if !(4..=64).contains(&per_row) || per_row % 2 == 1 {
        return Err(UnreadReason::SamplesPerRow {
            samples_per_row: per_row,
        });
    }
    let channels = usize::from(reading.holes);
    let want = (strokes.len() + 2) * usize::from(per_row);
    let got = reading.samples.len() / channels;
    let said = usize::from(reading.ended.lines);
    if got != want || said != want || !reading.samples.len().is_multiple_of(channels) {
        let fewest = u32::try_from(got.min(said)).unwrap_or(u32::MAX);
        let most = u32::try_from(got.max(said)).unwrap_or(u32::MAX);
        let want = u32::try_from(want).unwrap_or(u32::MAX);
        return Err(UnreadReason::Lines {
            got: if fewest < want { fewest } else { most },
            want,
        });
    }
    Ok(want)
}

/// Levels as shares of each channel's own light.
fn scale(
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
    lines: usize,
) -> Result<Light, UnreadReason> {
    let channels = usize::from(geometry.holes);
    let mut shares = vec![0.0; channels * lines];
    let levels = reading.began.dark.iter().zip(&reading.began.open);
    for ((hole, (dark, open)), column) in (1u8..)
        .zip(levels)
        .zip(shares.chunks_exact_mut(lines.max(1)))
    {
        let span = i16::from(*open) - i16::from(*dark);
        if span < i16::from(limits.least_light) || span <= 0 {
            return Err(UnreadReason::TooLittleLight { hole, levels: span });
        }
        if *open == u8::MAX {
            return Err(UnreadReason::Clipped { hole });
        }
        let (dark, span) = (f32::from(*dark), f32::from(span));
        let samples = reading
            .samples
            .iter()
            .skip(usize::from(hole) - 1)
            .step_by(channels);
        for ((line, share), level) in (0u32..).zip(column).zip(samples) {
            *share = (f32::from(*level) - dark) / span;
            if !(LEAST_SHARE..=MOST_SHARE).contains(share) {
                return Err(UnreadReason::Unsteady { hole, line });
            }
        }
    }
    Ok(Light {
        shares,
        lines,
        per_row: usize::from(reading.samples_per_row),
        solid: 0.0,
        stretches: Vec::new(),
    })
}

/// Light through the leading margin, where no hole can reach.
fn margin_share(light: &Light, geometry: &Geometry, limits: &Limits) -> Option<f32> {
    let line_mm = geometry.row_pitch_mm / light.per_row as f64;
    let reach_mm = (geometry.hole_diameter_mm + limits.aperture_mm) / 2.0;
    let on_card_mm = geometry.first_stroke_mm - limits.aperture_mm / 2.0;
    let shares = (0..light.per_row)
        .filter(|line| {
            let before_mm = (light.per_row - line) as f64 * line_mm;
            before_mm > reach_mm && before_mm < on_card_mm
        })
        .flat_map(|line| (0..usize::from(geometry.holes)).map(move |hole| (hole, line)))
        .map(|(hole, line)| light.at(hole, line));
    middle_mean(shares.collect())
}

/// Light through the places of `count` strokes from `first` that should be
/// solid; none where too few are to tell.
fn solid_share(
    light: &Light,
    strokes: &[Stroke],
    geometry: &Geometry,
    first: usize,
    count: usize,
) -> Option<f32> {
    let mut shares = Vec::new();
    for (stroke, what) in strokes.iter().enumerate().skip(first).take(count) {
        // A peg hole may lie here; its row of places is left out.
        let peg_near = strokes.iter().enumerate().any(|(at, other)| {
            let place = at as f64 + geometry.peg_offset_rows;
            other.peg() && (place - stroke as f64).abs() < 1.5
        });
        if peg_near {
            continue;
        }
        for hole in (1..=geometry.holes).filter(|hole| !what.punches().has(*hole)) {
            for line in [light.line_of(stroke) - 1, light.line_of(stroke)] {
                shares.push(light.at(usize::from(hole) - 1, line));
            }
        }
    }
    if shares.len() < 16 {
        None
    } else {
        middle_mean(shares)
    }
}

/// Mean of the middle half, so that a few odd values do not count.
fn middle_mean(mut values: Vec<f32>) -> Option<f32> {
    values.sort_by(f32::total_cmp);
    let quarter = values.len() / 4;
    let middle = values.get(quarter..values.len() - quarter)?;
    (!middle.is_empty()).then(|| middle.iter().sum::<f32>() / middle.len() as f32)
}

/// A share in whole thousandths, 0 to 65535.
pub(super) fn permille(share: f32) -> u16 {
    // `as` saturates and turns not-a-number into 0.
    (share * 1000.0).round() as u16
}
