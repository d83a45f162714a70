//! The areas of a paper: squares of one colour that hang together by their
//! sides, and where each begins.
//!
//! Enters: lines of squares, first woven first. Leaves: for each run of a line
//! the left and the first woven line of its area. An area that runs over the
//! edge of the paper is two.

use super::squares::Squares;
use crate::deck::FirstPick;

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

/// Where each area begins.
pub(super) struct Areas {
    /// The area of each run, and which run is the first of each line.
    area: Vec<u32>,
    first_run: Vec<usize>,
    /// Left column and first line of each area.
    begins: Vec<(u32, u32)>,
}

impl Areas {
    pub fn of(squares: &Squares, first: FirstPick) -> Areas {
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
        let mut below = 0;
        for (place, run) in now.iter().enumerate() {
            let at = first_now + place;
            self.area.push(u32::try_from(at).unwrap_or(u32::MAX));
            let from = u32::try_from(run.from).unwrap_or(u32::MAX);
            self.begins.push((from, line));
            while before.get(below).is_some_and(|other| other.to <= run.from) {
                below += 1;
            }
            let over = before[below.min(before.len())..].iter().enumerate();
            for (step, other) in over.take_while(|(_, other)| other.from < run.to) {
                if other.colour == run.colour {
                    self.unite(first_before + below + step, at);
                }
            }
        }
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
    fn flooded(squares: &Squares) -> Vec<(usize, usize)> {
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
                beside.extend((line > 0).then(|| square - columns));
                beside.extend((line + 1 < lines).then(|| square + columns));
                for other in beside {
                    if !seen[other] && colours[other] == colours[start] {
                        seen[other] = true;
                        area.push(other);
                    }
                }
            }
            let left = area.iter().map(|square| square % columns).min();
            let first = area.iter().map(|square| square / columns).min();
            for square in area {
                begin[square] = left.zip(first);
            }
        }
        begin.into_iter().flatten().collect()
    }

    proptest! {
        #[test]
        fn areas_are_those_that_a_flood_finds(
            (columns, colours) in (1u32..14, 1usize..14).prop_flat_map(|(columns, lines)| {
                let squares = proptest::collection::vec(0u8..3, columns as usize * lines);
                (Just(columns), squares)
            })
        ) {
            let squares = Squares::new(columns, colours).expect("whole lines");
            let wanted = flooded(&squares);
            let areas = Areas::of(&squares, FirstPick::Top);
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
