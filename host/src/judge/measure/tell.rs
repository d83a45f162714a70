//! What every position is, and how sure that is.
//!
//! Enters: the rows as measured, the light there is. Leaves: a spot for each
//! position. Three explanations are weighed for each: a whole hole of this
//! channel's size in this row's place, solid card, or neither, each allowed the
//! small differences that blocks and paper have.

use super::super::input::{Geometry, Limits};
use super::super::light::Lanes;
use super::super::verdict::UnreadReason;
use super::bases::SHAPES;
use super::dust::DIMMEST;
use super::levels::Levels;
use super::rows::{LEAST_LIGHT, Rows, beliefs};
use super::window::{Beliefs, Expected};
use super::{Measured, Spot, What};

/// Spreads allowed a whole hole: of its light, of its offset in the row and its
/// diameter (in millimetres), and of the light around it (common practice, no
/// source).
const WHOLE: [f32; SHAPES] = [0.006, 0.15, 0.04, 0.02];

/// Spreads allowed solid card: a pinhole's light, and thin or thick places.
const SOLID: [f32; SHAPES] = [0.02, 0.002, 0.002, 0.015];

/// A misfit of so many squares of the noise is as likely another thing: beyond
/// what noise does (chi-square tables: seven squares pass 48, where doubt begins,
/// four times in a hundred million).
const MISFIT: f32 = 58.0;

/// What has a misfit so much larger than another thing's is not likely at all: less
/// than the last digit of a probability.
const BEYOND: f32 = 40.0;

/// Furthest that a hole may pass beside its aperture's middle: beyond it, a chad
/// that covers three tenths of the hole from the far side hides from the aperture.
const MOST_ACROSS_MM: f32 = 0.5;

/// What a hole's light differs by from line to line because a feed goes in steps: a
/// line is taken up to half a step of a tenth of a millimetre beside its place.
const STEPS: f32 = 0.008;

/// What solid card's light differs by from line to line.
const PAPER: f32 = 0.01;

/// A hole that differs by less from what it should be may do so by a lamp that
/// changes while the card is read.
const WAVERING: f32 = 0.075;

/// Light between two rows that belongs to neither.
const STRAY: f32 = 0.25;

/// Tells of every position what it is.
///
/// # Errors
/// Noise in which the least chad could hide.
pub(super) fn tell<const N: usize>(
    rows: &Rows<'_, N>,
    levels: &Levels<N>,
    geometry: &Geometry,
    limits: &Limits,
) -> Result<Measured, UnreadReason> {
    quiet_enough(rows, levels, limits)?;
    straight_enough(rows)?;
    let mut spots = Vec::with_capacity(rows.each.len() * rows.light.holes);
    let uneven = levels.noise.map(|noise| noise.hypot(STEPS));
    let rough = levels.noise.map(|noise| noise.hypot(PAPER));
    let scales = Scales {
        whole: beliefs(&WHOLE, &uneven),
        solid: beliefs(&SOLID, &rough),
        uneven: uneven.map(|noise| 1.0 / noise.powi(2)),
        rough: rough.map(|noise| 1.0 / noise.powi(2)),
    };
    for number in 0..rows.each.len() {
        row_spots(rows, levels, &scales, geometry, number, &mut spots);
    }
    strays(rows, &mut spots);
    Ok(Measured {
        holes: rows.light.holes,
        spots,
        rows_mm: rows.each.iter().map(|row| row.off_mm).collect(),
        pegs: Vec::new(),
        plane: rows.plane,
        noise: levels.noise_levels,
        solid: rows.light.solid,
    })
}

/// Whether the least chad shows through the noise on every channel.
fn quiet_enough<const N: usize>(
    rows: &Rows<'_, N>,
    levels: &Levels<N>,
    limits: &Limits,
) -> Result<(), UnreadReason> {
    for (hole, noise) in (1u8..).zip(&levels.noise).take(rows.light.holes) {
        if f64::from(*noise) > limits.most_noise {
            return Err(UnreadReason::TooNoisy {
                hole,
                permille: super::super::light::permille(*noise),
            });
        }
    }
    Ok(())
}

/// Whether no row's holes pass so far beside their apertures that a chad could
/// hide there.
fn straight_enough<const N: usize>(rows: &Rows<'_, N>) -> Result<(), UnreadReason> {
    let furthest = [0, rows.each.len().max(1) - 1]
        .into_iter()
        .flat_map(|row| rows.beside(row).into_iter().take(rows.light.holes))
        .fold(0.0, |most: f32, beside| {
            if beside.abs() > most.abs() {
                beside
            } else {
                most
            }
        });
    if furthest.abs() <= MOST_ACROSS_MM {
        return Ok(());
    }
    Err(UnreadReason::Askew {
        across_um: (furthest * 1000.0) as i32,
        skew_urad: (rows.plane.skew * 1e6) as i32,
    })
}

/// What misfits are measured by, the same for every row.
struct Scales<const N: usize> {
    whole: Beliefs<N>,
    solid: Beliefs<N>,
    /// One over the square of what light differs by from line to line: a hole's,
    /// and solid card's.
    uneven: Lanes<N>,
    rough: Lanes<N>,
}

fn row_spots<const N: usize>(
    rows: &Rows<'_, N>,
    levels: &Levels<N>,
    scales: &Scales<N>,
    geometry: &Geometry,
    number: usize,
    spots: &mut Vec<Spot>,
) {
    let row = &rows.each[number];
    let Some(window) = &row.window else {
        let nothing = Spot {
            whole: 0.5,
            solid: 0.5,
            ..Spot::default()
        };
        spots.extend(std::iter::repeat_n(nothing, rows.light.holes));
        return;
    };
    let base = levels.base.get(number).copied().unwrap_or(0.0);
    let place = number as f32 * rows.bases.pitch_mm;
    let centre = row.off_mm.unwrap_or(window.centre_mm - place) + place - window.centre_mm;
    let expected = Expected {
        gain: levels.gains(number),
        moved: rows.skewed().map(|skewed| centre + skewed),
        across: rows.beside(number),
        wider: levels.wider_mm,
        base: [base; N],
    };
    let (whole, filled) = window.compare(rows.bases, &expected, &scales.whole);
    let solid = window.solid(base, &scales.solid);
    for lane in 0..rows.light.holes {
        if rows.within_peg(number, lane) {
            spots.push(Spot {
                what: What::WithinPeg,
                ..Spot::default()
            });
            continue;
        }
        let open = filled[lane].max(0.0);
        let mut spot = weigh(
            whole.misfit[lane] * scales.uneven[lane],
            solid.misfit[lane] * scales.rough[lane],
        );
        if spot.what == What::Partial {
            // darker than solid card: no hole, but something else is amiss
            let dark = row.amplitude[lane] <= 0.0 && open < LEAST_LIGHT;
            let left = row.amplitude[lane] / levels.lamp[number];
            let dusty = levels.dust_falls(number, lane)
                || row.near_peg[lane] && levels.dust_near(number)
                || left > DIMMEST && levels.may_be_dust(rows, number, lane, left);
            let near = (row.amplitude[lane] / expected.gain[lane] - 1.0).abs() < WAVERING;
            if (dusty && left > DIMMEST) || (near && levels.lamp_wavers()) {
                // it may be dim by dust alone, or read half with it and half
                // without; or the lamp is not known so well
                spot.whole = 0.5;
            } else if dark || dusty {
                spot.solid = 0.5;
            }
        }
        let there = spot.what != What::Solid && row.amplitude[lane] > LEAST_LIGHT;
        spots.push(Spot {
            open,
            offset_mm: there.then(|| row.along_mm[lane]),
            diameter_mm: there.then(|| geometry.hole_diameter_mm as f32 + row.wider_mm[lane]),
            ..spot
        });
    }
}

/// What explains the light best, by the two misfits in squares of the noise.
fn weigh(whole: f32, solid: f32) -> Spot {
    let (best, other) = (whole.min(solid), whole.max(solid));
    if best < MISFIT - BEYOND && other - best > BEYOND {
        // plainly one thing or the other, as nearly all are; which, is as good as
        // chance, so there is no branch on it
        let is_whole = whole < solid;
        return Spot {
            what: if is_whole { What::Whole } else { What::Solid },
            whole: f32::from(u8::from(is_whole)),
            solid: f32::from(u8::from(!is_whole)),
            ..Spot::default()
        };
    }
    let best = best.min(MISFIT);
    let likely = |misfit: f32| {
        let worse = misfit - best;
        if worse > BEYOND {
            0.0
        } else {
            (-0.5 * worse).exp()
        }
    };
    let all = likely(whole) + likely(solid) + likely(MISFIT);
    let what = if best == whole {
        What::Whole
    } else if best == solid {
        What::Solid
    } else {
        What::Partial
    };
    Spot {
        what,
        whole: likely(whole) / all,
        solid: likely(solid) / all,
        ..Spot::default()
    }
}

/// Light on a line between two rows' windows that neither row accounts for is
/// light at the nearer position.
fn strays<const N: usize>(rows: &Rows<'_, N>, spots: &mut [Spot]) {
    let bases = rows.bases;
    let before = rows.light.per_row as f32;
    let centre = |number: usize| {
        let row = rows.each.get(number)?;
        Some(row.window.as_ref()?.centre_mm)
    };
    let reach = (bases.half as f32 + 0.5) * bases.line_mm;
    let rows_a_mm = 1.0 / bases.pitch_mm;
    let seen = |row: usize, x: f32| centre(row).is_some_and(|at| (at - x).abs() <= reach);
    for (number, line) in rows.light.lines.iter().enumerate() {
        let x = (number as f32 - before) * bases.line_mm;
        let beyond =
            x < -0.5 * bases.pitch_mm || x > (rows.each.len() as f32 - 0.5) * bases.pitch_mm;
        if beyond {
            continue;
        }
        // `as` makes nothing of what is less than nothing
        let nearest = ((x * rows_a_mm + 0.5) as usize).min(rows.each.len().max(1) - 1);
        if seen(nearest, x) || line.iter().all(|light| *light < STRAY) {
            continue;
        }
        let after = (0..rows.each.len())
            .skip((x / bases.pitch_mm - 2.0).max(0.0) as usize)
            .find(|row| centre(*row).is_some_and(|at| at > x))
            .unwrap_or(rows.each.len());
        let earlier = after.checked_sub(1);
        if seen(after, x) || earlier.is_some_and(|row| seen(row, x)) {
            continue;
        }
        let mut known: Lanes<N> = [0.0; N];
        for row in earlier
            .into_iter()
            .chain([after])
            .filter_map(|row| rows.each.get(row).map(|each| (row, each)))
        {
            let at = row.0 as f32 * bases.pitch_mm + row.1.off_mm.unwrap_or(0.0);
            let share = bases.needle.at(x - at);
            for (known, amplitude) in known.iter_mut().zip(&row.1.amplitude) {
                *known += share * amplitude;
            }
        }
        for lane in 0..rows.light.holes {
            let left = line[lane] - known[lane];
            let spot = spots.get_mut(nearest * rows.light.holes + lane);
            if let Some(spot) =
                spot.filter(|spot| left > STRAY && matches!(spot.what, What::Solid | What::Whole))
            {
                (spot.what, spot.whole, spot.solid) = (What::Partial, 0.0, 0.0);
                spot.open = spot.open.max(left);
            }
        }
    }
}
