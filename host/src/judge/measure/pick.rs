//! Values picked from many, and the middle of few.
//!
//! Enters: values with whether they count. Leaves: those that do, and their median.
//! Refuses nothing.
//!
//! Whether a position of a card is a hole is as good as chance: a branch on it is
//! guessed wrong at every other position, which costs more than all else done there.
//! So everything is written down here, and only what counts is kept.

use super::super::light::{Lanes, greater, lesser};
use std::sync::OnceLock;

/// Values in columns, each with as many as count in it.
#[derive(Clone, Debug)]
pub(super) struct Columns<const N: usize> {
    /// Line by line; what is not there is infinite.
    lines: Vec<Lanes<N>>,
    counts: [usize; N],
}

impl<const N: usize> Columns<N> {
    /// Empty columns with room for so many values each.
    pub(super) fn with_room(most: usize) -> Columns<N> {
        Columns {
            lines: vec![[f32::INFINITY; N]; most],
            counts: [0; N],
        }
    }

    /// Adds those values that count to a column; what it has no room for is left out.
    #[inline]
    pub(super) fn keep<const M: usize>(
        &mut self,
        column: usize,
        values: &Lanes<M>,
        counts: &[bool; M],
    ) {
        let mut count = self.counts[column];
        for (value, counts) in values.iter().zip(counts) {
            if let Some(line) = self.lines.get_mut(count) {
                // what does not count is written over by the next, or in the end
                line[column] = *value;
                count += usize::from(*counts);
            }
        }
        self.counts[column] = count;
    }

    /// Adds each value that counts to the column of its number.
    #[inline]
    pub(super) fn keep_each(&mut self, values: &Lanes<N>, counts: &[bool; N]) {
        for column in 0..N {
            let count = &mut self.counts[column];
            if let Some(line) = self.lines.get_mut(*count) {
                line[column] = values[column];
                *count += usize::from(counts[column]);
            }
        }
    }

    /// Puts every column in order, all at once: Batcher's merge exchange (Knuth, The
    /// Art of Computer Programming, 5.2.2, algorithm M), which asks the same of any
    /// values.
    pub(super) fn sorted(mut self) -> Sorted<N> {
        for (column, count) in self.counts.iter().enumerate() {
            if let Some(line) = self.lines.get_mut(*count) {
                line[column] = f32::INFINITY;
            }
        }
        let most = self.counts.iter().copied().max().unwrap_or(0);
        let lines = self.lines.get_mut(..most).unwrap_or_default();
        match NETWORKS.get(most) {
            Some(list) => {
                for [low, high] in list.get_or_init(|| network(most)) {
                    exchange(lines, usize::from(*low), usize::from(*high));
                }
            }
            None => merge_exchange(most, |low, high| exchange(lines, low, high)),
        }
        Sorted(self)
    }
}

/// Which lines to put in order, one pair after the other, so that so many come to lie in
/// order: Batcher's merge exchange.
fn merge_exchange(most: usize, mut exchange: impl FnMut(usize, usize)) {
    let first = most.next_power_of_two() / 2;
    let mut p = first;
    while p > 0 {
        let (mut q, mut r, mut apart) = (first, 0, p);
        loop {
            let end = most.saturating_sub(apart);
            for start in (r..end).step_by(2 * p) {
                for low in start..(start + p).min(end) {
                    exchange(low, low + apart);
                }
            }
            if q == p {
                break;
            }
            (apart, q, r) = (q - p, q / 2, p);
        }
        p /= 2;
    }
}

/// The pairs for so many as a card has rows or a stretch has positions, each made into a
/// list when it is first asked for: that is quicker to follow.
static NETWORKS: [OnceLock<Vec<[u8; 2]>>; LISTED] = [const { OnceLock::new() }; LISTED];
const LISTED: usize = 128;

/// The list for `most`, which is less than [`LISTED`].
fn network(most: usize) -> Vec<[u8; 2]> {
    let mut pairs = Vec::new();
    merge_exchange(most, |low, high| pairs.push([low as u8, high as u8]));
    pairs
}

/// Puts two lines in order, column by column.
#[inline]
fn exchange<const N: usize>(lines: &mut [Lanes<N>], low: usize, high: usize) {
    let (before, after) = (lines[low], lines[high]);
    for column in 0..N {
        lines[low][column] = lesser(before[column], after[column]);
        lines[high][column] = greater(before[column], after[column]);
    }
}

/// Columns in order.
#[derive(Clone, Debug)]
pub(super) struct Sorted<const N: usize>(Columns<N>);

impl<const N: usize> Sorted<N> {
    pub(super) fn count(&self, column: usize) -> usize {
        self.0.counts[column]
    }

    /// The middle value of a column, or the mean of the middle two.
    pub(super) fn median(&self, column: usize) -> Option<f32> {
        let last = self.count(column).checked_sub(1)?;
        let low = self.0.lines.get(last / 2)?[column];
        let high = self.0.lines.get(last.div_ceil(2))?[column];
        Some((low + high) / 2.0)
    }

    /// Mean of the middle half, so that a few odd values do not count.
    pub(super) fn middle_mean(&self, column: usize) -> Option<f32> {
        let count = self.count(column);
        let middle = self.0.lines.get(count / 4..count - count / 4)?;
        let sum: f32 = middle.iter().map(|line| line[column]).sum();
        (!middle.is_empty()).then(|| sum / middle.len() as f32)
    }
}

/// The median of those lanes that count.
pub(super) fn median_of_lanes<const N: usize>(
    values: &Lanes<N>,
    counts: impl Fn(usize) -> bool,
) -> Option<f32> {
    let mut sorted = [f32::INFINITY; N];
    let mut count = 0;
    for (lane, sorted) in sorted.iter_mut().enumerate() {
        let counted = counts(lane);
        // an index is no branch
        *sorted = [f32::INFINITY, values[lane]][usize::from(counted)];
        count += usize::from(counted);
    }
    // neighbours are put in order as often as any value can have to move
    for round in 0..N {
        for low in (round % 2..N - 1).step_by(2) {
            let (a, b) = (sorted[low], sorted[low + 1]);
            (sorted[low], sorted[low + 1]) = (lesser(a, b), greater(a, b));
        }
    }
    let last = count.checked_sub(1)?;
    // whether there are two in the middle is as good as chance
    Some((sorted[last / 2] + sorted[last.div_ceil(2)]) / 2.0)
}

/// All lanes together, half with half: fewer steps have to wait for one another than
/// from lane to lane.
#[inline]
pub(super) fn halved<const N: usize>(mut lanes: Lanes<N>, both: impl Fn(f32, f32) -> f32) -> f32 {
    let mut half = N;
    while half > 1 {
        half /= 2;
        for lane in 0..half {
            lanes[lane] = both(lanes[lane], lanes[lane + half]);
        }
    }
    lanes[0]
}

#[cfg(test)]
mod tests {
    use super::super::super::light::{median, middle_mean};
    use super::{Columns, median_of_lanes};

    /// Against the selection of the standard library, over all choices of lanes.
    #[test]
    fn the_median_of_lanes_is_the_median() {
        let values = [0.3, -1.5, 0.25, 7.0, 0.3, -0.125, 2.0, 1.0];
        for choice in 0u32..256 {
            let counts = |lane: usize| choice >> lane & 1 == 1;
            let kept: Vec<f32> = (0..8)
                .filter(|lane| counts(*lane))
                .map(|lane| values[lane])
                .collect();
            assert_eq!(
                median_of_lanes(&values, counts),
                median(&kept),
                "{choice:#b}"
            );
        }
    }

    /// Against the selection of the standard library, over columns of all lengths.
    #[test]
    fn columns_have_the_medians_and_means_of_their_values() {
        let mut noise = 1u32;
        for most in 0..70 {
            let mut columns = Columns::<8>::with_room(8 * most);
            let mut kept: [Vec<f32>; 8] = Default::default();
            for turn in 0..most {
                let (mut values, mut counts) = ([0.0; 8], [false; 8]);
                for (value, counts) in values.iter_mut().zip(&mut counts) {
                    noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    // few enough values that some are the same
                    (*value, *counts) = ((noise >> 26) as f32 - 31.5, noise >> 9 & 7 > 1);
                }
                let told = values.iter().zip(&counts).enumerate();
                let told = told.filter(|(_, (_, counts))| **counts);
                if turn % 2 == 0 {
                    columns.keep_each(&values, &counts);
                    told.for_each(|(column, (value, _))| kept[column].push(*value));
                } else {
                    columns.keep(turn % 8, &values, &counts);
                    kept[turn % 8].extend(told.map(|(_, (value, _))| value));
                }
            }
            let sorted = columns.sorted();
            for (column, kept) in kept.iter().enumerate() {
                assert_eq!(sorted.count(column), kept.len());
                assert_eq!(sorted.median(column), median(kept), "{kept:?}");
                let (found, mean) = (sorted.middle_mean(column), middle_mean(kept));
                let off = found.unwrap_or(0.0) - mean.unwrap_or(0.0);
                assert!(off.abs() < 1e-5, "{kept:?}");
                assert_eq!(found.is_some(), mean.is_some());
            }
        }
    }
}
