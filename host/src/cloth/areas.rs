//! The areas of a paper: squares of one colour that hang together by their
//! sides, and where each begins.
//!
//! Enters: lines of squares, first woven first. Leaves: for each run of a line
//! the left and the first woven line of its area. Where the paper goes on beyond
//! its edge in the cloth, so do areas; one that goes all round begins at the edge.

use super::repeat::Over;
use super::squares::Squares;
use crate::deck::FirstPick;
use std::collections::BTreeMap;

/// Squares of one colour side by side in one line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub colour: u8,
    /// First column.
    pub from: usize,
    /// The column after the last.
    pub to: usize,
}

/// The runs of a line, from the left.
pub(super) fn runs(line: &[u8]) -> impl Iterator<Item = Run> + '_ {
    let mut from = 0;
    line.chunk_by(|one, next| one == next).map(move |run| {
        let begun = from;
        from += run.len();
        Run {
            colour: run[0],
            from: begun,
            to: from,
        }
    })
}

/// Which runs of a line touch which of the next and have their colour.
fn touching(before: &[Run], now: &[Run]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    let mut below = 0;
    for (place, run) in now.iter().enumerate() {
        while before.get(below).is_some_and(|other| other.to <= run.from) {
            below += 1;
        }
        let over = (below..).zip(&before[below.min(before.len())..]);
        let over = over.take_while(|(_, other)| other.from < run.to);
        let same = over.filter(|(_, other)| other.colour == run.colour);
        pairs.extend(same.map(|(other, _)| (other, place)));
    }
    pairs
}

/// Where each area begins.
pub(super) struct Areas {
    /// The area of each run, and which run is the first of each line.
    area: Vec<u32>,
    first_run: Vec<usize>,
    /// Left column and first line of each area.
    begins: Vec<(u32, u32)>,
}

impl Areas {
    pub fn of(squares: &Squares, first: FirstPick, over: Over) -> Areas {
        let mut areas = Areas {
            area: Vec::new(),
            first_run: Vec::new(),
            begins: Vec::new(),
        };
        let mut before: Vec<Run> = Vec::new();
        for line in 0..squares.lines() {
            let now: Vec<Run> = runs(squares.woven_line(line, first)).collect();
            areas.join(line, &before, &now);
            before = now;
        }
        areas.join_over_edges(squares, first, over);
        for at in 0..areas.area.len() {
            areas.area[at] = areas.root(at);
        }
        areas
    }

    /// Adds a line, joining its runs with those of the line before.
    fn join(&mut self, line: u32, before: &[Run], now: &[Run]) {
        let first_before = self.first_run.last().copied().unwrap_or_default();
        let first_now = self.area.len();
        self.first_run.push(first_now);
        for (place, run) in now.iter().enumerate() {
            let at = first_now + place;
            self.area.push(u32::try_from(at).unwrap_or(u32::MAX));
            let from = u32::try_from(run.from).unwrap_or(u32::MAX);
            self.begins.push((from, line));
        }
        for (one, other) in touching(before, now) {
            self.unite(first_before + one, first_now + other);
        }
    }

    /// Joins what hangs together over the edges of the paper: the cards go round, and
    /// the tie may repeat.
    fn join_over_edges(&mut self, squares: &Squares, first: FirstPick, over: Over) {
        let lines = squares.lines();
        let line = |line: u32| squares.woven_line(line, first);
        let (mut upwards, mut sideways) = (Vec::new(), Vec::new());
        let of = |at: u32| runs(line(at)).collect::<Vec<_>>();
        for (last, next) in touching(&of(lines - 1), &of(0)) {
            self.unite(self.first_run[lines as usize - 1] + last, next);
            upwards.push(next);
        }
        let ends = self.first_run.iter().skip(1).copied();
        let ends: Vec<usize> = ends.chain([self.area.len()]).collect();
        for (at, end) in (0..lines).zip(ends) {
            let from = self.first_run[at as usize];
            if over == Over::Again && line(at).first() == line(at).last() {
                self.unite(from, end - 1);
                sideways.push(from);
            }
        }
        let upwards = self.covered(&upwards, lines, squares, first, |at, _| at..at + 1);
        let columns = |_, run: Run| run.from..run.to;
        let sideways = self.covered(&sideways, squares.columns(), squares, first, columns);
        for (area, line) in upwards {
            self.begins[area as usize].1 = line;
        }
        for (area, column) in sideways {
            self.begins[area as usize].0 = column;
        }
    }

    /// Where the lines, or columns, that these runs' areas cover begin on their round.
    /// An area hangs together, so they are one stretch of it, or all.
    fn covered(
        &mut self,
        of: &[usize],
        round: u32,
        squares: &Squares,
        first: FirstPick,
        covers: impl Fn(usize, Run) -> std::ops::Range<usize>,
    ) -> Vec<(u32, u32)> {
        let none = || vec![false; round as usize];
        let mut covered: BTreeMap<u32, Vec<bool>> =
            of.iter().map(|run| (self.root(*run), none())).collect();
        if covered.is_empty() {
            return Vec::new();
        }
        let mut at = 0;
        for line in 0..squares.lines() {
            for run in runs(squares.woven_line(line, first)) {
                if let Some(covered) = covered.get_mut(&self.root(at)) {
                    covered[covers(line as usize, run)].fill(true);
                }
                at += 1;
            }
        }
        let begin = |covered: &[bool]| {
            let before = |at: u32| covered[((at + round - 1) % round) as usize];
            let begins = |at: &u32| covered[*at as usize] && !before(*at);
            (0..round).find(begins).unwrap_or_default()
        };
        let begins = covered
            .iter()
            .map(|(area, covered)| (*area, begin(covered)));
        begins.collect()
    }

    fn unite(&mut self, one: usize, other: usize) {
        let (one, other) = (self.root(one), self.root(other));
        let (root, child) = (one.min(other), one.max(other));
        self.area[child as usize] = root;
        let (a, b) = (self.begins[root as usize], self.begins[child as usize]);
        self.begins[root as usize] = (a.0.min(b.0), a.1.min(b.1));
    }

    fn root(&mut self, mut at: usize) -> u32 {
        while self.area[at] as usize != at {
            let up = self.area[at] as usize;
            self.area[at] = self.area[up];
            at = up;
        }
        u32::try_from(at).unwrap_or(u32::MAX)
    }

    /// Left column and first line of the area that this run of the line, both
    /// from 0, belongs to.
    pub fn begin(&self, line: u32, run: usize) -> (usize, usize) {
        let area = self.area[self.first_run[line as usize] + run];
        let (left, first) = self.begins[area as usize];
        (left as usize, first as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// By flooding each area from its first square, one square at a time.
    fn flooded(squares: &Squares, again: bool) -> Vec<(usize, usize)> {
        let (columns, lines) = (squares.columns() as usize, squares.lines() as usize);
        let colours = squares.colours();
        let mut begin = vec![None; colours.len()];
        for start in 0..colours.len() {
            if begin[start].is_some() {
                continue;
            }
            let (mut area, mut at) = (vec![start], 0);
            let mut seen = vec![false; colours.len()];
            seen[start] = true;
            while let Some(square) = area.get(at).copied() {
                at += 1;
                let (column, line) = (square % columns, square / columns);
                let mut beside = Vec::new();
                beside.extend((column > 0).then(|| square - 1));
                beside.extend((column + 1 < columns).then(|| square + 1));
                beside.extend((again && column == 0).then(|| square + columns - 1));
                beside.extend((again && column + 1 == columns).then(|| square + 1 - columns));
                beside.push((line + lines - 1) % lines * columns + column);
                beside.push((line + 1) % lines * columns + column);
                for other in beside {
                    if !seen[other] && colours[other] == colours[start] {
                        seen[other] = true;
                        area.push(other);
                    }
                }
            }
            let has = |place: fn(usize, usize) -> usize, at: usize| {
                area.iter().any(|square| place(*square, columns) == at)
            };
            // on its round, the first that follows one without the area
            let begins = |place: fn(usize, usize) -> usize, round: usize| {
                let begins = |at: &usize| has(place, *at) && !has(place, (at + round - 1) % round);
                (0..round).find(begins).unwrap_or_default()
            };
            let left = begins(|square, columns| square % columns, columns);
            let first = begins(|square, columns| square / columns, lines);
            for square in &area {
                begin[*square] = Some((left, first));
            }
        }
        begin.into_iter().flatten().collect()
    }

    proptest! {
        #[test]
        fn areas_are_those_that_a_flood_finds(
            again in any::<bool>(),
            (columns, colours) in (1u32..14, 1usize..14).prop_flat_map(|(columns, lines)| {
                let squares = proptest::collection::vec(0u8..3, columns as usize * lines);
                (Just(columns), squares)
            })
        ) {
            let squares = Squares::new(columns, colours).expect("whole lines");
            let wanted = flooded(&squares, again);
            let over = if again { Over::Again } else { Over::Nothing };
            let areas = Areas::of(&squares, FirstPick::Top, over);
            for line in 0..squares.lines() {
                for (place, run) in runs(squares.woven_line(line, FirstPick::Top)).enumerate() {
                    for column in run.from..run.to {
                        let square = line as usize * columns as usize + column;
                        prop_assert_eq!(areas.begin(line, place), wanted[square]);
                    }
                }
            }
        }
    }
}
