//! A first guess: at each square the weave that explains a window around it best.
//!
//! Enters: what is lifted at each square. Leaves: a label for each. Refuses: a square
//! that no label can make. A point that is left out costs little, a lift that no weave
//! explains costs much.

use super::super::Weave;
use super::super::seams::Seams;
use super::labels::{Label, Sign};

/// What a point that may be so and an unexplained hole cost in a window.
const PERHAPS: u16 = 3;
const WRONG: u16 = 8;

/// Least and most squares from the middle of a window to its side.
const REACH: (usize, usize) = (3, 12);

/// How far a window reaches, so that some points of the widest satin lie in it.
pub(super) fn reach<'a>(weaves: impl Iterator<Item = &'a Weave>) -> usize {
    let ends = weaves.map(|weave| weave.ends()).max().unwrap_or_default();
    ends.isqrt().clamp(REACH.0, REACH.1)
}

/// The costs of one label in a window that goes down the lines.
struct Window<'a> {
    label: &'a Label<'a>,
    seams: &'a Seams,
    /// The sums of each column over the lines of the window.
    columns: Vec<u16>,
    /// The costs of the line in the middle.
    line: Vec<u16>,
    /// What a window around each square of it costs, as many squares each, and whether
    /// that is a line or a column only: of equals the whole window says more.
    sums: Vec<(u32, bool)>,
}

impl Window<'_> {
    fn cost(&self, column: usize, line: usize, seen: u16) -> u16 {
        let near = |_| self.seams.near(column, line);
        match self.label.sign(column, line, seen, near) {
            Sign::Right => 0,
            Sign::Perhaps => PERHAPS,
            Sign::Wrong => WRONG,
        }
    }

    fn enter(&mut self, line: usize, seen: &[u16]) {
        for (column, seen) in seen.iter().enumerate() {
            self.columns[column] += self.cost(column, line, *seen);
        }
    }

    fn leave(&mut self, line: usize, seen: &[u16]) {
        for (column, seen) in seen.iter().enumerate() {
            self.columns[column] -= self.cost(column, line, *seen);
        }
    }

    /// Sums up the windows of this line: the square one, or a part of the line or of the
    /// column where that is explained better, as in a thin stalk.
    fn sum(&mut self, reach: usize, line: usize, seen: &[u16]) {
        for (column, seen) in seen.iter().enumerate() {
            self.line[column] = self.cost(column, line, *seen);
        }
        let side = u32::try_from(2 * reach + 1).unwrap_or(u32::MAX);
        let beside = |costs: &[u16], at: usize| costs.get(at).copied().map_or(0, u32::from);
        let sum = |costs: &[u16]| costs.iter().take(reach).copied().map(u32::from).sum();
        let (mut square, mut along): (u32, u32) = (sum(&self.columns), sum(&self.line));
        for column in 0..seen.len() {
            square += beside(&self.columns, column + reach);
            along += beside(&self.line, column + reach);
            let up = beside(&self.columns, column);
            // between the points of a wide satin a line of it is as good as flat
            let thin = side * along.min(up);
            self.sums[column] = (square.min(thin), thin < square);
            if let Some(last) = column.checked_sub(reach) {
                square -= beside(&self.columns, last);
                along -= beside(&self.line, last);
            }
        }
    }
}

/// The guess, or the first square that no label makes.
pub(super) fn guess(
    labels: &[Label<'_>],
    seams: &Seams,
    seen: &[u16],
    width: usize,
) -> Result<Vec<u8>, usize> {
    let reach = reach(labels.iter().flat_map(|label| &label.colour.weaves));
    let line = |line: usize| seen.get(line * width..(line + 1) * width);
    let window = |label| Window {
        label,
        seams,
        columns: vec![0; width],
        line: vec![0; width],
        sums: vec![(0, false); width],
    };
    let mut windows: Vec<Window<'_>> = labels.iter().map(window).collect();
    let mut found = Vec::with_capacity(seen.len());
    for window in &mut windows {
        for (at, line) in (0..reach).filter_map(|at| Some((at, line(at)?))) {
            window.enter(at, line);
        }
    }
    for at in 0..seen.len() / width {
        for window in &mut windows {
            if let Some(next) = line(at + reach) {
                window.enter(at + reach, next);
            }
            window.sum(reach, at, &seen[at * width..][..width]);
        }
        for column in 0..width {
            let seen = seen[at * width + column];
            let labels = (0u8..).zip(&windows);
            let fits = |(_, window): &(u8, &Window<'_>)| {
                let near = |_| seams.near(column, at);
                window.label.sign(column, at, seen, near) != Sign::Wrong
            };
            let best = labels
                .filter(fits)
                .min_by_key(|(_, window)| window.sums[column]);
            let (label, _) = best.ok_or(at * width + column)?;
            found.push(label);
        }
        if let Some(before) = at.checked_sub(reach) {
            for window in &mut windows {
                window.leave(before, &seen[before * width..][..width]);
            }
        }
    }
    Ok(found)
}
