//! From levels to light: the share of each aperture that is open.
//!
//! Enters: a reading, the number of strokes, the geometry. Leaves: for every
//! line the open share of each channel, 0 behind solid card and 1 behind a whole
//! hole, from the card's own dark and open levels, so that lamp ageing, dust and
//! steady stray light cancel. Refuses every reading that cannot be scaled with
//! certainty.

use super::input::{Geometry, Limits, Reading};
use super::verdict::UnreadReason;
use cardwright_protocol::card::MOST_STROKES;

/// One value a channel, for so many channels as are worked on together; those
/// beyond the card's holes are idle.
pub(super) type Lanes<const N: usize> = [f32; N];

/// Light below dark or above open by more than this is no card's doing.
const LEAST_SHARE: f32 = -0.25;
const MOST_SHARE: f32 = 1.35;

/// The open share of every channel at every line.
#[derive(Clone, Debug)]
pub(super) struct Light<const N: usize> {
    /// Line after line.
    pub(super) lines: Vec<Lanes<N>>,
    /// Lines in a row pitch.
    pub(super) per_row: usize,
    /// Light through the leading margin as a share of the open light.
    pub(super) solid: f32,
    /// Levels between dark and open on each channel.
    pub(super) span: Lanes<N>,
    /// Channels in use.
    pub(super) holes: usize,
}

impl<const N: usize> Light<N> {
    /// Light beyond solid card's as a share of the open light.
    pub(super) fn through(&self, beyond_solid: f32) -> f32 {
        self.solid + (1.0 - self.solid) * beyond_solid
    }
}

/// Scales a reading, or says why it cannot be.
pub(super) fn light<const N: usize>(
    strokes: usize,
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
) -> Result<Light<N>, UnreadReason> {
    shape(strokes, geometry, reading, limits)?;
    let bar = Bar::<N>::new(geometry, reading, limits)?;
    if let Some(reason) = bar.unsteady(&reading.samples) {
        return Err(reason);
    }
    let Some(solid) = bar.margin_share(geometry, reading, limits) else {
        return Err(UnreadReason::BadGeometry);
    };
    if let Some(reason) = not_one_card(solid, limits) {
        return Err(reason);
    }
    Ok(Light {
        lines: bar.beyond_solid(&reading.samples, solid),
        per_row: usize::from(reading.samples_per_row),
        solid,
        span: bar.span,
        holes: bar.holes,
    })
}

/// Why what is in the reader, by the light through its margin, is not one card.
fn not_one_card(solid: f32, limits: &Limits) -> Option<UnreadReason> {
    let permille = permille(solid);
    if solid > f32::from(limits.no_card_permille) / 1000.0 {
        return Some(UnreadReason::NoCard { permille });
    }
    let stroke = 0;
    let two = solid < f32::from(limits.single_card_permille) / 1000.0;
    two.then_some(UnreadReason::TwoCards { permille, stroke })
}

/// Whether no card can cause so much light, or so little.
fn is_wild(share: &f32) -> bool {
    !(LEAST_SHARE..=MOST_SHARE).contains(share)
}

/// Whether strokes, geometry and reading fit one another.
fn shape(
    strokes: usize,
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
) -> Result<(), UnreadReason> {
    if !geometry.is_sound() || !limits.is_sound() {
        return Err(UnreadReason::BadGeometry);
    }
    if strokes == 0 || strokes > usize::from(MOST_STROKES) {
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
    if !(6..=64).contains(&per_row) || per_row % 2 == 1 {
        return Err(UnreadReason::SamplesPerRow {
            samples_per_row: per_row,
        });
    }
    let channels = usize::from(reading.holes);
    let want = (strokes + 2) * usize::from(per_row);
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
    Ok(())
}

/// A light bar's channels: levels as shares of each one's own light.
struct Bar<const N: usize> {
    holes: usize,
    dark: Lanes<N>,
    span: Lanes<N>,
    /// One over the span; nothing for idle channels, which stay dark.
    inverse: Lanes<N>,
}

impl<const N: usize> Bar<N> {
    /// # Errors
    /// A channel with too little light, or too much for its converter.
    fn new(
        geometry: &Geometry,
        reading: &Reading,
        limits: &Limits,
    ) -> Result<Bar<N>, UnreadReason> {
        let holes = usize::from(geometry.holes);
        let (mut dark, mut span, mut inverse) = ([0.0; N], [1.0; N], [0.0; N]);
        let levels = reading.began.dark.iter().zip(&reading.began.open);
        for ((hole, (low, open)), lane) in (1u8..).zip(levels).zip(0..holes.min(N)) {
            let levels = i16::from(*open) - i16::from(*low);
            if levels < i16::from(limits.least_light) || levels <= 0 {
                return Err(UnreadReason::TooLittleLight { hole, levels });
            }
            if *open == u8::MAX {
                return Err(UnreadReason::Clipped { hole });
            }
            (dark[lane], span[lane]) = (f32::from(*low), f32::from(levels));
            inverse[lane] = 1.0 / span[lane];
        }
        Ok(Bar {
            holes,
            dark,
            span,
            inverse,
        })
    }

    /// The open share of each channel, line by line.
    fn lines(&self, samples: &[u8]) -> impl Iterator<Item = Lanes<N>> {
        let levels = samples.chunks_exact(self.holes).map(padded);
        levels.map(|levels| self.shares(&levels))
    }

    /// The open share of each channel.
    fn shares(&self, levels: &[u8; N]) -> Lanes<N> {
        let mut shares = [0.0; N];
        for lane in 0..N {
            shares[lane] = (f32::from(levels[lane]) - self.dark[lane]) * self.inverse[lane];
        }
        shares
    }

    /// The first line with light that no card can cause, and its hole.
    fn unsteady(&self, samples: &[u8]) -> Option<UnreadReason> {
        if !self.furthest(samples).as_flattened().iter().any(is_wild) {
            return None;
        }
        (0u32..)
            .zip(self.lines(samples))
            .find_map(|(line, shares)| {
                let (hole, _) = (1u8..).zip(&shares).find(|(_, share)| is_wild(share))?;
                Some(UnreadReason::Unsteady { hole, line })
            })
    }

    /// The least and the most light of each channel.
    fn furthest(&self, samples: &[u8]) -> [Lanes<N>; 2] {
        // several lines at once, level by level
        const TOGETHER: usize = 8;
        let together = TOGETHER * self.holes;
        let (mut least, mut most) = ([[u8::MAX; N]; TOGETHER], [[0; N]; TOGETHER]);
        let least = &mut least.as_flattened_mut()[..together];
        let most = &mut most.as_flattened_mut()[..together];
        for lines in samples.chunks(together) {
            for ((least, most), level) in least.iter_mut().zip(&mut *most).zip(lines) {
                *least = (*least).min(*level);
                *most = (*most).max(*level);
            }
        }
        let mut furthest = [[u8::MAX; N], [0; N]];
        for (number, (least, most)) in least.iter().zip(&*most).enumerate() {
            let lane = number % self.holes;
            furthest[0][lane] = furthest[0][lane].min(*least);
            furthest[1][lane] = furthest[1][lane].max(*most);
        }
        furthest.map(|levels| self.shares(&levels))
    }

    /// Light through the leading margin, where no hole can reach.
    fn margin_share(&self, geometry: &Geometry, reading: &Reading, limits: &Limits) -> Option<f32> {
        let per_row = usize::from(reading.samples_per_row);
        let line_mm = geometry.row_pitch_mm / per_row as f64;
        let reach_mm = (geometry.hole_diameter_mm + limits.aperture_mm) / 2.0;
        let on_card_mm = geometry.first_stroke_mm - limits.aperture_mm / 2.0;
        let lines = self.lines(&reading.samples).zip((1..=per_row).rev());
        let shares: Vec<f32> = lines
            .filter(|(_, before)| {
                let before_mm = *before as f64 * line_mm;
                before_mm > reach_mm && before_mm < on_card_mm
            })
            .flat_map(|(line, _)| line.into_iter().take(self.holes))
            .collect();
        middle_mean(&shares)
    }

    /// What of each line is beyond the light through solid card.
    fn beyond_solid(&self, samples: &[u8], solid: f32) -> Vec<Lanes<N>> {
        // in one go: share less solid, over what is left
        let (mut scale, mut shift) = ([0.0; N], [0.0; N]);
        for lane in 0..self.holes.min(N) {
            scale[lane] = self.inverse[lane] / (1.0 - solid);
            shift[lane] = self.dark[lane] * scale[lane] + solid / (1.0 - solid);
        }
        let lines = samples.chunks_exact(self.holes).map(|levels| {
            let levels = padded::<N>(levels);
            let mut line = [0.0; N];
            for lane in 0..N {
                line[lane] = f32::from(levels[lane]) * scale[lane] - shift[lane];
            }
            line
        });
        lines.collect()
    }
}

/// The levels of channels in use, those of the others being nothing.
#[inline]
fn padded<const N: usize>(levels: &[u8]) -> [u8; N] {
    // as many as there are channels, more often than not
    let all = <&[u8; N]>::try_from(levels).copied();
    all.unwrap_or_else(|_| {
        let mut all = [0; N];
        for (all, level) in all.iter_mut().zip(levels) {
            *all = *level;
        }
        all
    })
}

/// Mean of the middle half, so that a few odd values do not count.
pub(super) fn middle_mean(values: &[f32]) -> Option<f32> {
    let mut keys: Vec<i32> = values.iter().copied().map(key).collect();
    let quarter = keys.len() / 4;
    if quarter > 0 {
        keys.select_nth_unstable(quarter);
        let above = keys.get_mut(quarter..)?;
        above.select_nth_unstable(above.len() - quarter);
    }
    let middle = keys.get(quarter..keys.len() - quarter)?;
    let sum: f32 = middle.iter().copied().map(of_key).sum();
    (!middle.is_empty()).then(|| sum / middle.len() as f32)
}

/// Of numbers only, which is quicker than [`f32::min`] and [`f32::max`].
pub(super) fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

pub(super) fn greater(a: f32, b: f32) -> f32 {
    if a < b { b } else { a }
}

/// The middle value, or the mean of the middle two.
pub(super) fn median(values: &[f32]) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    let (middle, even) = (values.len() / 2, values.len().is_multiple_of(2));
    let keys = values.iter().copied().map(key);
    let (low, high) = if values.len() <= FEW {
        by_rank(&keys.collect::<heapless::Vec<i32, FEW>>(), middle)
    } else {
        let mut keys: Vec<i32> = keys.collect();
        let (lower, high, _) = keys.select_nth_unstable(middle);
        (lower.iter().copied().max().unwrap_or(*high), *high)
    };
    let high = of_key(high);
    Some(if even {
        (of_key(low) + high) / 2.0
    } else {
        high
    })
}

/// Up to so many keys it is quicker to compare each with all than to branch.
const FEW: usize = 48;

/// The key at place `middle`, were they in order, and the one before it: the largest
/// that no more keys are less than.
fn by_rank(keys: &[i32], middle: usize) -> (i32, i32) {
    let (mut low, mut high) = (i32::MIN, i32::MIN);
    for key in keys {
        let less: u32 = keys.iter().map(|other| u32::from(other < key)).sum();
        let least = |place: usize| {
            if less as usize <= place {
                *key
            } else {
                i32::MIN
            }
        };
        high = high.max(least(middle));
        low = low.max(if middle > 0 {
            least(middle - 1)
        } else {
            i32::MIN
        });
    }
    (low, high)
}

/// A whole number for each value, in the order of [`f32::total_cmp`]: they are
/// quicker to compare.
fn key(value: f32) -> i32 {
    let bits = value.to_bits().cast_signed();
    // negative values count the other way round
    bits ^ (bits >> 31 & i32::MAX)
}

/// The value of a key.
fn of_key(key: i32) -> f32 {
    f32::from_bits((key ^ (key >> 31 & i32::MAX)).cast_unsigned())
}

/// Millimetres in whole micrometres, within four metres either way. A number of which
/// the last digit is a whole one is added, so that the whole number is what is left of
/// the digits: quicker than a conversion, which asks first whether it is one.
#[inline]
pub(super) fn micrometres(mm: f32) -> i32 {
    const DIGITS: f32 = 12_582_912.0; // 1.5 times 2^23
    const MOST: f32 = 4_000_000.0;
    let near = lesser(greater(-MOST, mm * 1000.0), MOST);
    (near + DIGITS).to_bits().cast_signed() - DIGITS.to_bits().cast_signed()
}

/// A share in whole thousandths, 0 to 65535.
pub(super) fn permille(share: f32) -> u16 {
    // `as` leaves the fraction off, saturates and turns not-a-number into 0.
    (share * 1000.0 + 0.5) as u16
}

#[cfg(test)]
mod tests {
    use super::{FEW, by_rank, key, median, micrometres, of_key};

    /// Against a plain sort: the median of what is in order is in its middle.
    #[test]
    fn the_median_is_in_the_middle_of_what_is_in_order() {
        let mut noise = 1u32;
        for count in 1..2 * FEW {
            let mut values: Vec<f32> = (0..count)
                .map(|_| {
                    noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    // few enough values that some are the same
                    (noise >> 27) as f32 - 15.5
                })
                .collect();
            let found = median(&values);
            let keys: Vec<i32> = values.iter().copied().map(key).collect();
            let (low, high) = by_rank(&keys, count / 2);
            values.sort_by(f32::total_cmp);
            assert_eq!(of_key(high), values[count / 2], "{values:?}");
            if count % 2 == 1 {
                assert_eq!(found, Some(values[count / 2]), "{values:?}");
            } else {
                let both = (values[count / 2 - 1], values[count / 2]);
                assert_eq!(of_key(low), both.0, "{values:?}");
                assert_eq!(found, Some((both.0 + both.1) / 2.0), "{values:?}");
            }
        }
        assert_eq!(median(&[]), None);
    }

    /// Against the standard library's rounding.
    #[test]
    fn micrometres_are_the_nearest() {
        for mm in [
            0.0, 0.0004, -0.0004, 0.0006, 1.2347, -9.8764, 3999.0, -3999.0,
        ] {
            assert_eq!(micrometres(mm), (mm * 1000.0).round() as i32, "{mm}");
        }
        assert_eq!(micrometres(f32::INFINITY), 4_000_000);
        assert_eq!(micrometres(f32::NEG_INFINITY), -4_000_000);
        assert!(micrometres(f32::NAN).abs() <= 4_000_000);
    }

    #[test]
    fn keys_are_in_the_order_of_their_values() {
        let values = [
            f32::NEG_INFINITY,
            -2.5,
            -1e-30,
            -0.0,
            0.0,
            1e-30,
            2.5,
            f32::INFINITY,
        ];
        assert!(values.map(key).is_sorted_by(|a, b| a < b));
        assert_eq!(
            values.map(|value| of_key(key(value)).to_bits()),
            values.map(f32::to_bits)
        );
    }
}
