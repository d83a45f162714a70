//! The light there is: lamp, dust and the paper itself, followed along the card.
//!
//! Enters: the rows as measured. Leaves: for every row and channel the light of
//! a whole hole and of solid card, each channel's hole size, the noise. Refuses,
//! so that no faulty hole passes for a whole one in dim light, every dimming of
//! holes that the paper beside them does not show: a chad or a blunt punch dims
//! its own hole, only lamp and dust dim solid card too.

use super::super::input::Limits;
use super::super::light::{Lanes, median};
use super::super::verdict::UnreadReason;
use super::dust::{Dust, Margin, dust};
use super::paper::{FEWEST_SOLID, Paper, SOLID, STRETCH, between, by_stretch, columns, middle_of};
use super::pick::{Columns, Sorted};
use super::rows::{Row, Rows};

/// A change below this is left alone.
const WORTH: f32 = 0.006;
/// Holes that are dimmer by less, all together, hide nothing.
pub(super) const HARMLESS: f32 = 0.015;
/// Fastest change of the lamp believed, for each row, and what noise adds to it.
const FASTEST_ROW: f32 = 0.008;
const NOISE: f32 = 0.02;
/// Rows before the first at which the open levels were taken.
const ROWS_BEFORE: f32 = 8.0;
/// How well the paper's dimming must agree with the holes': a share of it, and
/// what paper differs by in itself; more by a few lines of it.
const PAPER_AGREES: f32 = 0.35;
const PAPER_DIFFERS: f32 = 0.02;
pub(super) const MARGIN_DIFFERS: f32 = 0.045;
/// Fewest holes, and channels with holes, that tell a stretch's lamp.
const FEWEST_HOLES: usize = 6;
const FEWEST_CHANNELS: usize = 3;
/// Punches wear: a hole's size is taken as it is within this of nominal.
const MOST_WIDER_MM: f32 = 0.3;
/// The median of a sum of six squares of normal noise over its mean (chi-square
/// tables).
const MEDIAN_OF_SQUARES: f32 = 0.891;
/// A channel is a noisier one than the others from so many times their noise on.
const NOISIER: f32 = 1.5;
/// Least noise: rounding to a whole level, 1 / sqrt(12).
const ROUNDING: f32 = 0.29;

/// The light there is.
#[derive(Clone, Debug)]
pub(super) struct Levels<const N: usize> {
    /// Light of a whole hole in each row, before dust.
    pub(super) lamp: Vec<f32>,
    /// Light over solid card in each row.
    pub(super) base: Vec<f32>,
    /// Dust on each channel.
    pub(super) dust: [Option<Dust>; N],
    /// Whether there is any.
    is_dusty: bool,
    /// Light through each channel's margin behind the last stroke.
    margin: Margin<N>,
    /// Diameter of each channel's holes beyond the nominal one.
    pub(super) wider_mm: Lanes<N>,
    /// Noise of one line's light on each channel.
    pub(super) noise: Lanes<N>,
    /// The largest of them.
    pub(super) noise_share: f32,
    /// Noise in levels.
    pub(super) noise_levels: f32,
    pitch_mm: f32,
}

impl<const N: usize> Levels<N> {
    /// Light of a whole hole of row `row` on each channel.
    pub(super) fn gains(&self, row: usize) -> Lanes<N> {
        let lamp = self.lamp.get(row).or(self.lamp.last()).copied();
        let mut gains = [lamp.unwrap_or(1.0); N];
        if self.is_dusty {
            for (gain, dust) in gains.iter_mut().zip(&self.dust) {
                if let Some(dust) = dust.as_ref().filter(|dust| dust.known && row >= dust.from) {
                    *gain *= dust.left;
                }
            }
        }
        gains
    }

    /// Whether the lamp changes so much that a hole's light is known less well.
    pub(super) fn lamp_wavers(&self) -> bool {
        self.lamp
            .iter()
            .any(|strength| (strength - 1.0).abs() > HARMLESS)
    }

    /// Whether dust may lie on any channel while a row is read, and bend what is made
    /// of light that several channels see.
    pub(super) fn dust_near(&self, row: usize) -> bool {
        self.margin.may_be_dim() || (0..N).any(|lane| self.dust_falls(row, lane))
    }

    /// Whether dust may lie on a channel while a row is read.
    pub(super) fn dust_falls(&self, row: usize, lane: usize) -> bool {
        self.dust[lane]
            .as_ref()
            .is_some_and(|dust| row + 1 >= *dust.turn.start())
    }

    /// Whether dust alone may have left so much of its light to a hole: dust stays,
    /// so no later hole of its channel is clearly brighter, nor is the margin.
    pub(super) fn may_be_dust(
        &self,
        rows: &Rows<'_, N>,
        row: usize,
        lane: usize,
        left: f32,
    ) -> bool {
        let half = 1.0 - (1.0 - left) / 2.0;
        // a lamp that changes is not known so well
        let wavering = if self.lamp_wavers() {
            PAPER_DIFFERS
        } else {
            0.0
        };
        let mut later = rows.each.iter().enumerate().skip(row + 1);
        let brighter = later.any(|(number, later)| {
            later.amplitude[lane] > (half + wavering) * self.lamp[number] && later.clear[lane]
        });
        !brighter && !self.margin.is_clear(lane, half)
    }

    /// Light of a whole hole at a place along the card.
    pub(super) fn gains_at(&self, x_mm: f32) -> Lanes<N> {
        self.gains((x_mm / self.pitch_mm).round().max(0.0) as usize)
    }
}

/// Finds out about the light.
///
/// # Errors
/// Two cards, by how dark solid card is over a stretch; holes that are dim all
/// together and no lamp's doing.
pub(super) fn levels<const N: usize>(
    rows: &Rows<'_, N>,
    margin: Margin<N>,
    limits: &Limits,
) -> Result<Levels<N>, UnreadReason> {
    let paper = Paper::new(rows);
    let least = f32::from(limits.single_card_permille) / 1000.0;
    let dark = paper
        .stretches
        .iter()
        .position(|light| light.is_some_and(|light| rows.light.through(light) < least));
    if let Some(number) = dark {
        let light = paper
            .stretches
            .get(number)
            .copied()
            .flatten()
            .unwrap_or(0.0);
        return Err(UnreadReason::TwoCards {
            permille: super::super::light::permille(rows.light.through(light)),
            stroke: u16::try_from(number * STRETCH).unwrap_or(u16::MAX),
        });
    }
    let (noise, noise_levels) = noise(rows);
    let base = paper.along();
    let lamp = lamp(rows, &paper)?;
    let mut levels = Levels {
        dust: [const { None }; N],
        is_dusty: false,
        margin,
        wider_mm: wider(rows),
        noise_share: noise
            .iter()
            .copied()
            .take(rows.light.holes)
            .fold(0.0, f32::max),
        noise,
        noise_levels,
        lamp,
        base,
        pitch_mm: rows.bases.pitch_mm,
    };
    for lane in 0..rows.light.holes {
        levels.dust[lane] = dust(rows, &levels, &paper, lane);
    }
    levels.is_dusty = levels.dust.iter().any(Option::is_some);
    Ok(levels)
}

/// Noise of a line's light on each channel, by how it differs from line to line
/// over solid card; and in levels.
fn noise<const N: usize>(rows: &Rows<'_, N>) -> (Lanes<N>, f32) {
    let light = rows.light;
    let mut squares = Columns::<N>::with_room(rows.each.len());
    for row in &rows.each {
        let Some(window) = &row.window else { continue };
        let mut solid = row.clear;
        for (solid, amplitude) in solid.iter_mut().zip(&row.amplitude) {
            *solid &= *amplitude < SOLID;
        }
        squares.keep_each(&window.variance(), &solid);
    }
    let squares = squares.sorted();
    let mut own: heapless::Vec<(usize, f32), N> = heapless::Vec::new();
    for lane in 0..light.holes {
        let scale = light.span[lane] * (1.0 - light.solid);
        if squares.count(lane) >= 2 * FEWEST_SOLID
            && let Some(square) = squares.median(lane)
        {
            let noise = (square / MEDIAN_OF_SQUARES).max(0.0).sqrt();
            // there is room: a card has no more channels
            own.push((lane, noise * scale)).ok();
        }
    }
    let all: heapless::Vec<f32, N> = own.iter().map(|(_, levels)| *levels).collect();
    // with no solid card to tell, what is common is taken for true
    let pooled = median(&all).unwrap_or(1.0).max(ROUNDING);
    let mut noise = [pooled; N];
    // a channel's own is no better known than all channels' together
    for (lane, levels) in own
        .into_iter()
        .filter(|(_, levels)| *levels > NOISIER * pooled)
    {
        noise[lane] = levels;
    }
    for (noise, span) in noise.iter_mut().zip(&light.span) {
        *noise /= span * (1.0 - light.solid);
    }
    (noise, pooled)
}

/// Each channel's hole size, by the middle of its clear holes.
fn wider<const N: usize>(rows: &Rows<'_, N>) -> Lanes<N> {
    let mut sizes = Columns::<N>::with_room(rows.each.len());
    for row in &rows.each {
        sizes.keep_each(&row.wider_mm, &row.holes());
    }
    let sizes = sizes.sorted();
    let mut wider = [0.0; N];
    for (lane, wider) in wider.iter_mut().enumerate().take(rows.light.holes) {
        if sizes.count(lane) >= FEWEST_SOLID {
            *wider = sizes.median(lane).unwrap_or(0.0);
        }
        *wider = wider.clamp(-MOST_WIDER_MM, MOST_WIDER_MM);
    }
    wider
}

/// The lamp's strength in each row.
///
/// # Errors
/// Holes that are dim, or bright, all together in a way the paper does not bear
/// out.
fn lamp<const N: usize>(rows: &Rows<'_, N>, paper: &Paper<N>) -> Result<Vec<f32>, UnreadReason> {
    let mut knots: Vec<(f32, f32)> = Vec::new();
    let (mut before, mut was) = (-ROWS_BEFORE, 1.0);
    let (mut paper_was, mut differs) = (rows.light.solid, MARGIN_DIFFERS);
    let mut doubt = None;
    let stretches = strengths(rows).into_iter().zip(&paper.stretches);
    for (number, (strength, light)) in stretches.enumerate() {
        let (Some(strength), Some(light)) = (strength, *light) else {
            continue;
        };
        let at = middle_of(number);
        let light = rows.light.through(light);
        if knots.is_empty() && (strength - 1.0).abs() < PAPER_DIFFERS {
            // the lamp is as it was: the stretch tells more of the paper than the
            // few lines of the margin
            (paper_was, differs) = (light / strength, PAPER_DIFFERS);
        }
        let sudden = (strength - was).abs() > FASTEST_ROW * (at - before) + NOISE;
        // a brighter lamp makes no faulty hole pass
        let alone = strength < 1.0 - HARMLESS && !agrees(strength, light / paper_was, differs);
        if sudden || alone {
            doubt.get_or_insert(UnreadReason::Dim {
                stroke: u16::try_from(number * STRETCH).unwrap_or(u16::MAX),
                permille: super::super::light::permille(strength),
            });
        }
        knots.push((at, strength));
        (before, was) = (at, strength);
    }
    if knots
        .iter()
        .all(|(_, strength)| (strength - 1.0).abs() < WORTH)
    {
        return Ok(vec![1.0; rows.each.len()]);
    }
    // what is known before the first hole is how bright the lamp was at first
    knots.insert(0, (-ROWS_BEFORE, 1.0));
    match doubt {
        Some(reason) => Err(reason),
        None => Ok((0..rows.each.len())
            .map(|row| between(&knots, row as f32, 1.0))
            .collect()),
    }
}

/// Whether solid card is dimmed as holes are.
pub(super) fn agrees(holes: f32, paper: f32, differs: f32) -> bool {
    (holes - paper).abs() < differs + PAPER_AGREES * (1.0 - holes).abs()
}

/// The middle amplitude of the clear holes of each stretch.
fn strengths<const N: usize>(rows: &Rows<'_, N>) -> Vec<Option<f32>> {
    let count = rows.each.len();
    let stretches = by_stretch(count, |number| {
        let row = &rows.each[number];
        (row.amplitude, row.holes())
    });
    let mut channels = vec![[false; N]; count.div_ceil(STRETCH)];
    for (row, channels) in rows.each.chunks(STRETCH).zip(&mut channels) {
        for holes in row.iter().map(Row::holes) {
            for lane in 0..N {
                channels[lane] |= holes[lane];
            }
        }
    }
    let strength = |((found, column), channels): ((&Sorted<_>, usize), &[bool; N])| {
        let wide = channels.iter().filter(|any| **any).count() >= FEWEST_CHANNELS;
        (found.count(column) >= FEWEST_HOLES && wide)
            .then(|| found.median(column))
            .flatten()
    };
    columns(&stretches, count)
        .zip(&channels)
        .map(strength)
        .collect()
}
