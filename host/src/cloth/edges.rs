//! The outlines of a design: no binding point of a satin touches another colour
//! where the thread does not need it.
//!
//! Enters: the picks of a paper as they are lifted, the points beside an edge, and the
//! longest float. Leaves: the picks, points left out. Refuses nothing: a point without
//! which a thread would float over more than the longest float, or be bound nowhere,
//! stays (both common practice, no source). Floats go on over the sides of the paper as
//! the tie has it, and from the last pick to the first.

use super::repeat::Over;

/// Picks of a paper, one after another, each of so many columns.
pub(super) struct Picks {
    columns: usize,
    over: Over,
    lifted: Vec<bool>,
    /// The points beside an edge: places in `lifted`.
    points: Vec<usize>,
}

impl Picks {
    pub fn new(columns: usize, over: Over) -> Picks {
        Picks {
            columns,
            over,
            lifted: Vec::new(),
            points: Vec::new(),
        }
    }

    /// Adds a pick and its points beside edges.
    pub fn push(&mut self, lifted: &[bool], points: &[usize]) {
        let before = self.lifted.len();
        self.points
            .extend(points.iter().map(|column| before + column));
        self.lifted.extend_from_slice(lifted);
    }

    /// Whether this pick lifts this column.
    pub fn lifts(&self, pick: usize, column: usize) -> bool {
        self.lifted[pick * self.columns + column]
    }

    /// Makes it lift what it left, or leave what it lifted.
    pub fn turn(&mut self, pick: usize, column: usize) {
        let lifted = &mut self.lifted[pick * self.columns + column];
        *lifted = !*lifted;
    }

    /// Leaves out the points that are not needed, and gives the picks.
    pub fn cleared(mut self, longest: Longest) -> impl Iterator<Item = Vec<bool>> {
        // A point that is left out can shorten a float of the other yarn and so free a
        // point that was passed before. Each turn leaves at least one out.
        let mut points = std::mem::take(&mut self.points);
        loop {
            let before = points.len();
            points.retain(|at| !self.leave_out(*at, longest));
            if points.len() == before {
                break;
            }
        }
        let Picks {
            columns, lifted, ..
        } = self;
        let picks = lifted.len() / columns;
        (0..picks).map(move |pick| lifted[pick * columns..][..columns].to_vec())
    }

    fn leave_out(&mut self, at: usize, longest: Longest) -> bool {
        self.lifted[at] = !self.lifted[at];
        let (pick, column) = (at / self.columns, at % self.columns);
        let extent = Extent {
            columns: self.columns,
            picks: self.lifted.len() / self.columns,
            over: self.over,
            longest,
        };
        let lifted = |pick, column| self.lifted[pick * self.columns + column];
        let fits = extent.fits(pick, column, lifted);
        if !fits {
            self.lifted[at] = !self.lifted[at];
        }
        fits
    }
}

/// The longest a thread may float.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Longest {
    /// Over so many columns.
    pub columns: usize,
    /// Over so many picks.
    pub picks: usize,
}

/// So many picks of so many columns, in which floats may be so long.
#[derive(Clone, Copy)]
pub(super) struct Extent {
    pub columns: usize,
    pub picks: usize,
    pub over: Over,
    pub longest: Longest,
}

impl Extent {
    /// Whether neither of the two floats through this place is too long.
    pub fn fits(self, pick: usize, column: usize, lifted: impl Fn(usize, usize) -> bool) -> bool {
        let across = |step| {
            let column = self.over.column(column, step, self.columns)?;
            Some(lifted(pick, column))
        };
        let along = |step| {
            let pick = Over::Again.column(pick, step, self.picks)?;
            Some(lifted(pick, column))
        };
        let Longest { columns, picks } = self.longest;
        run(self.over.round(self.columns), columns, across) <= columns
            && run(self.picks, picks, along) <= picks
    }
}

/// How many threads lie alike, this one among them, on a ring of `around`; counted as
/// far as one more than `longest` each way. Where all of them do, the float has no end,
/// however short the ring; on a ring of one nothing binds whatever it does.
fn run(around: usize, longest: usize, lifted: impl Fn(isize) -> Option<bool>) -> usize {
    let here = lifted(0);
    let far = isize::try_from(around.min(longest + 2)).unwrap_or(isize::MAX);
    let after = (1..far).take_while(|step| lifted(*step) == here).count();
    let before = (1..far).take_while(|step| lifted(-step) == here).count();
    let alike = 1 + after + before;
    if alike < around.max(2) {
        alike
    } else {
        usize::MAX
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A point stays that binds a float longer than may be, the others go.
    #[test]
    fn a_point_stays_where_the_thread_would_float_too_far() {
        let picks = |most| {
            let longest = Longest {
                columns: most,
                picks: most,
            };
            let mut picks = Picks::new(8, Over::Again);
            picks.push(
                &[true, false, false, false, true, false, false, false],
                &[0, 4],
            );
            picks.push(&[true; 8], &[]);
            picks.cleared(longest).next().expect("the first pick")
        };
        // Without the first the weft floats from the second to itself, over seven.
        let second = [false, false, false, false, true, false, false, false];
        assert_eq!(picks(7), second);
        assert_eq!(picks(6)[0..5], [true, false, false, false, true]);
        // Without the second it is bound nowhere, however often the eight come again.
        assert_eq!(picks(8), second);
        assert_eq!(picks(20), second);
    }
}
