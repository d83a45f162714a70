//! What every position is, and how sure that is.
//!
//! Enters: the rows as measured, the light there is. Leaves: a spot for each
//! position. Three explanations are weighed for each: a whole hole of this
//! channel's size in this row's place, solid card, or neither, each allowed the
//! small differences that blocks and paper have.

use super::super::input::{Geometry, Limits};
use super::super::light::{Lanes, micrometres, permille};
use super::super::verdict::UnreadReason;
use super::bases::SHAPES;
use super::dust::DIMMEST;
use super::levels::Levels;
use super::rows::{LEAST_LIGHT, Rows, beliefs};
use super::window::{Expected, Weighing};
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
    let mut scales = Scales {
        whole: Weighing::new(beliefs(&WHOLE, &uneven)),
        solid: Weighing::new(beliefs(&SOLID, &rough)),
        uneven: uneven.map(|noise| 1.0 / noise.powi(2)),
        rough: rough.map(|noise| 1.0 / noise.powi(2)),
    };
    for number in 0..rows.each.len() {
        row_spots(rows, levels, &mut scales, geometry, number, &mut spots);
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
                permille: permille(*noise),
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
struct Scales<'a, const N: usize> {
    whole: Weighing<'a, N>,
    solid: Weighing<'a, N>,
    /// One over the square of what light differs by from line to line: a hole's,
    /// and solid card's.
    uneven: Lanes<N>,
    rough: Lanes<N>,
}

/// One row's light against what it may be.
struct Weighed<const N: usize> {
    number: usize,
    /// Amplitude of a whole hole.
    gain: Lanes<N>,
    /// Misfits of a whole hole and of solid card, in squares of the noise.
    whole: Lanes<N>,
    solid: Lanes<N>,
    /// Open area.
    open: Lanes<N>,
}

impl<const N: usize> Weighed<N> {
    /// Whether every channel shows plainly one thing or the other, as nearly all do.
    fn is_plain(&self, holes: usize) -> bool {
        let mut plain = true;
        for lane in 0..N {
            // idle channels tell nothing
            plain &= (lane >= holes) | is_plain(self.whole[lane], self.solid[lane]);
        }
        plain
    }
}

fn row_spots<'a, const N: usize>(
    rows: &Rows<'a, N>,
    levels: &Levels<N>,
    scales: &mut Scales<'a, N>,
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
        base,
    };
    let (whole, open) = window.whole(&expected, &mut scales.whole);
    let mut weighed = Weighed {
        number,
        gain: expected.gain,
        whole,
        solid: window.solid(base, &mut scales.solid),
        open,
    };
    for lane in 0..N {
        weighed.whole[lane] *= scales.uneven[lane];
        weighed.solid[lane] *= scales.rough[lane];
    }
    let within = rows.within_pegs(number);
    let plain = weighed.is_plain(rows.light.holes) & (within == [false; N]);
    let diameter_mm = geometry.hole_diameter_mm as f32;
    let (mut offset_um, mut diameter_um, mut open) = ([0; N], [0; N], [0; N]);
    for lane in 0..N {
        offset_um[lane] = micrometres(row.along_mm[lane]);
        diameter_um[lane] = micrometres(diameter_mm + row.wider_mm[lane]);
        open[lane] = permille(weighed.open[lane]);
    }
    let lit = |lane: usize, spot: Spot| Spot {
        open_permille: open[lane],
        is_lit: (spot.what != What::Solid) & (row.amplitude[lane] > LEAST_LIGHT),
        offset_um: offset_um[lane],
        diameter_um: diameter_um[lane],
        ..spot
    };
    let mut found = [Spot::default(); N];
    if plain {
        for (lane, found) in found.iter_mut().enumerate() {
            *found = lit(lane, plainly(weighed.whole[lane], weighed.solid[lane]));
        }
    } else {
        for (lane, found) in found.iter_mut().enumerate().take(rows.light.holes) {
            if within[lane] {
                found.what = What::WithinPeg;
            } else {
                *found = lit(lane, spot(rows, levels, &weighed, lane));
            }
        }
    }
    spots.extend(found.iter().take(rows.light.holes));
}

/// One position, with what dust and lamp may have done to it.
fn spot<const N: usize>(
    rows: &Rows<'_, N>,
    levels: &Levels<N>,
    weighed: &Weighed<N>,
    lane: usize,
) -> Spot {
    let (number, row) = (weighed.number, &rows.each[weighed.number]);
    let mut spot = weigh(weighed.whole[lane], weighed.solid[lane]);
    if spot.what == What::Partial {
        // darker than solid card: no hole, but something else is amiss
        let dark = row.amplitude[lane] <= 0.0 && weighed.open[lane] < LEAST_LIGHT;
        let left = row.amplitude[lane] / levels.lamp[number];
        let dusty = levels.dust_falls(number, lane)
            || !row.clear[lane] && levels.dust_near(number)
            || left > DIMMEST && levels.may_be_dust(rows, number, lane, left);
        let near = (row.amplitude[lane] / weighed.gain[lane] - 1.0).abs() < WAVERING;
        if (dusty && left > DIMMEST) || (near && levels.lamp_wavers()) {
            // it may be dim by dust alone, or read half with it and half
            // without; or the lamp is not known so well
            spot.whole = 0.5;
        } else if dark || dusty {
            spot.solid = 0.5;
        }
    }
    spot
}

/// Whether light is plainly one thing or the other by its two misfits.
fn is_plain(whole: f32, solid: f32) -> bool {
    let best = whole.min(solid);
    (best < MISFIT - BEYOND) & ((whole - solid).abs() > BEYOND)
}

/// What light plainly is. Which, is as good as chance, so there is no branch on it.
fn plainly(whole: f32, solid: f32) -> Spot {
    let is_whole = whole < solid;
    Spot {
        what: [What::Solid, What::Whole][usize::from(is_whole)],
        whole: [0.0, 1.0][usize::from(is_whole)],
        solid: [1.0, 0.0][usize::from(is_whole)],
        ..Spot::default()
    }
}

/// What explains the light best, by the two misfits in squares of the noise.
fn weigh(whole: f32, solid: f32) -> Spot {
    if is_plain(whole, solid) {
        return plainly(whole, solid);
    }
    let best = whole.min(solid).min(MISFIT);
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
    let within = -0.5 * bases.pitch_mm..=(rows.each.len() as f32 - 0.5) * bases.pitch_mm;
    for (number, line) in unwatched(rows) {
        // all channels, as a branch on each would be guessed wrong
        let any = line
            .iter()
            .fold(false, |any, light| any | (*light >= STRAY));
        if !any {
            continue;
        }
        let x = (number as f32 - before) * bases.line_mm;
        if !within.contains(&x) {
            continue;
        }
        // `as` makes nothing of what is less than nothing
        let nearest = ((x / bases.pitch_mm + 0.5) as usize).min(rows.each.len().max(1) - 1);
        let after = (0..rows.each.len())
            .skip((x / bases.pitch_mm - 2.0).max(0.0) as usize)
            .find(|row| {
                let window = rows.each[*row].window.as_ref();
                window.is_some_and(|window| window.centre_mm > x)
            })
            .unwrap_or(rows.each.len());
        let earlier = after.checked_sub(1);
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
                spot.open_permille = spot.open_permille.max(permille(left));
            }
        }
    }
}

/// The lines that fall into no row's window, with their numbers.
fn unwatched<'a, const N: usize>(
    rows: &Rows<'a, N>,
) -> impl Iterator<Item = (usize, &'a Lanes<N>)> {
    let windows = rows.each.iter().filter_map(|row| row.window.as_ref());
    let mut first: Vec<usize> = Vec::with_capacity(rows.each.len() + 1);
    first.extend(windows.map(|window| window.first));
    // a row that is far astray may lie beyond the next
    first.sort_unstable();
    first.push(rows.light.lines.len());
    let (lines, count) = (&rows.light.lines, 2 * rows.bases.half + 1);
    let mut next = 0;
    first.into_iter().flat_map(move |first| {
        let gap = next..first;
        next = next.max(first + count);
        gap.filter_map(|number| Some((number, lines.get(number)?)))
    })
}
