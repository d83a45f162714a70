//! Values picked from many, and the middle of few.
//!
//! Enters: values with whether they count. Leaves: those that do, and their median.
//! Refuses nothing.
//!
//! Whether a position of a card is a hole is as good as chance: a branch on it is
//! guessed wrong at every other position, which costs more than all else done there.
//! So everything is written down here, and only what counts is kept.

use super::super::light::Lanes;

/// Adds `value` if it counts. `&&` in what tells so would be a branch, `&` is none.
pub(super) fn keep<T: Copy>(values: &mut Vec<T>, value: T, counts: bool) {
    values.push(value);
    values.truncate(values.len() - usize::from(!counts));
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
            (sorted[low], sorted[low + 1]) = (a.min(b), a.max(b));
        }
    }
    let high = *sorted.get(count / 2)?;
    match count {
        0 => None,
        _ if count.is_multiple_of(2) => Some((sorted[count / 2 - 1] + high) / 2.0),
        _ => Some(high),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::light::median;
    use super::{keep, median_of_lanes};

    #[test]
    fn only_what_counts_is_kept() {
        let mut kept = Vec::new();
        for number in 0..10 {
            keep(&mut kept, number, number % 3 == 0);
        }
        assert_eq!(kept, [0, 3, 6, 9]);
    }

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
}
