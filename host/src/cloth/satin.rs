//! Regular satins: by which counters the binding point can move.
//!
//! Each pick moves the binding point by a counter that has no common factor
//! with the number of ends and is not 1 or one less than it (Wolfensberger).

/// Greatest common divisor.
pub(super) fn divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { divisor(b, a % b) }
}

/// Whether this counter makes a satin on so many ends. A counter and what is
/// left of the ends without it make the same satin, seen in a mirror.
#[must_use]
pub fn is_counter(ends: usize, counter: usize) -> bool {
    counter > 1 && counter + 1 < ends && divisor(ends, counter) == 1
}

/// The counters of a satin, up to half of its ends; the others are the same in
/// a mirror. None where there is no regular satin.
#[must_use]
pub fn counters(ends: usize) -> Vec<usize> {
    (2..=ends / 2)
        .filter(|counter| is_counter(ends, *counter))
        .collect()
}

/// The end, from 0, that is bound at each pick of the repeat.
#[must_use]
pub fn order(ends: usize, counter: usize) -> Vec<usize> {
    (0..ends).map(|pick| pick * counter % ends).collect()
}

/// The counter that scatters points most evenly: the two that lie nearest to
/// each other are as far apart as can be. 1, a twill, where there is no satin.
#[must_use]
pub fn most_even(ends: usize) -> usize {
    let nearest = |counter: &usize| {
        let apart = |picks: usize| {
            let across = picks * counter % ends;
            let across = across.min(ends - across);
            across * across + picks * picks
        };
        (1..ends).map(apart).min().unwrap_or_default()
    };
    let counters = counters(ends);
    // the first of equals, so that the same cloth file always binds the same
    let best = counters.iter().rev().max_by_key(|counter| nearest(counter));
    best.copied().unwrap_or(1)
}

pub(super) fn counters_in_words(ends: usize) -> String {
    let both: Vec<String> = (2..ends)
        .filter(|counter| is_counter(ends, *counter))
        .map(|counter| counter.to_string())
        .collect();
    both.join(", ")
}
