//! A paper as it is being found: what stands at each square, and which holes it makes.
//!
//! Enters: the cards, and a label for each square. Leaves: the squares that do not make
//! the cards' holes, looked at with the squares around them. Refuses nothing.
//!
//! A point beside an edge may be there only if without it a thread of these very cards
//! would float too far: of the cards as they are no other point could be left out. So it
//! is with a point that only the edge of the repeat asks for.

use super::super::edges::{Extent, Longest};
use super::super::repeat::Over;
use super::super::seams::Seams;
use super::labels::{Label, Sign};
use std::collections::HashSet;

pub(super) struct Paper<'a> {
    pub labels: Vec<Label<'a>>,
    pub wefts: usize,
    pub width: usize,
    pub over: Over,
    pub seams: &'a Seams,
    /// Threads over which none may float for the sake of a clear edge.
    pub longest: Longest,
    /// What the cards lift at each square, first woven line first: a bit a weft.
    pub seen: &'a [u16],
    /// The label of each square.
    pub at: Vec<u8>,
    /// Points, by square and weft, that no float keeps where they are.
    pub free: HashSet<(usize, usize)>,
    /// How far a square's holes depend on others in its line and column.
    pub far: usize,
}

impl Paper<'_> {
    pub fn label(&self, at: usize) -> &Label<'_> {
        &self.labels[usize::from(self.at[at])]
    }

    fn colour(&self, at: usize) -> u8 {
        self.label(at).place
    }

    /// The colour of each square.
    pub fn colours(&self) -> Vec<u8> {
        (0..self.at.len()).map(|at| self.colour(at)).collect()
    }

    pub fn lines(&self) -> usize {
        self.at.len() / self.width
    }

    /// The square so many columns to the right and lines on, if the cloth has one.
    pub fn step(&self, at: usize, right: isize, on: isize) -> Option<usize> {
        let column = self.over.column(at % self.width, right, self.width)?;
        let line = Over::Again.column(at / self.width, on, self.lines())?;
        Some(line * self.width + column)
    }

    /// The squares that touch this one by a side.
    pub fn beside(&self, at: usize) -> impl Iterator<Item = usize> + '_ {
        let sides = [(-1, 0), (1, 0), (0, -1), (0, 1)];
        sides
            .into_iter()
            .filter_map(move |(right, on)| self.step(at, right, on))
    }

    /// The squares that touch this one by a corner.
    pub fn at_corners(&self, at: usize) -> impl Iterator<Item = usize> + '_ {
        let corners = [(-1, -1), (1, -1), (-1, 1), (1, 1)];
        corners
            .into_iter()
            .filter_map(move |(right, on)| self.step(at, right, on))
    }

    /// Whether a square of another colour touches it.
    fn touches(&self, at: usize) -> bool {
        let colour = self.colour(at);
        self.beside(at).any(|other| self.colour(other) != colour)
    }

    /// Whether this square makes the cards' holes, the others as they are.
    pub fn makes(&self, at: usize) -> bool {
        let (line, column) = (at / self.width, at % self.width);
        let label = self.label(at);
        (0..self.wefts).all(|weft| {
            let seen = self.seen[at] >> weft & 1 == 1;
            let mut lifted = label.lifts(weft, column, line);
            let bound = label.could_bind(weft, column, line) && self.binds(at, weft);
            if bound || self.binds_over_edge(at, weft) {
                lifted = !lifted;
            }
            let float = label.colour.weaves[weft].float();
            let point = label.leaves_out(weft) && float == Some(!lifted);
            match (lifted == seen, point) {
                (true, true) => !self.touches(at) || self.stays(at, weft),
                (true, false) => true,
                (false, true) => self.touches(at) && self.goes(at, weft),
                (false, false) => false,
            }
        })
    }

    /// Whether a float through a point that could bind it is so long that it does.
    fn binds(&self, at: usize, weft: usize) -> bool {
        let label = self.label(at);
        let bound = label.colour.weaves[weft].bound();
        let clear = label.colour.edges == super::super::Edges::Clear;
        let colour = self.colour(at);
        let other = |other: Option<usize>| other.is_some_and(|at| self.colour(at) != colour);
        let (line, column) = (at / self.width, at % self.width);
        let along_line = |column: usize| self.colour(line * self.width + column) == colour;
        let along_end = |line: usize| self.colour(line * self.width + column) == colour;
        let across = bound.ends.is_some_and(|ends| {
            let at_side = || other(self.step(at, -1, 0)) || other(self.step(at, 1, 0));
            longer(ends as usize, column, self.width, along_line) && !(clear && at_side())
        });
        across
            || bound.picks.is_some_and(|picks| {
                let at_end = || other(self.step(at, 0, -1)) || other(self.step(at, 0, 1));
                longer(picks as usize, line, self.lines(), along_end) && !(clear && at_end())
            })
    }

    /// Whether a thread of the cards would float too far over the edge of the repeat if
    /// it were not bound there, so that a point stands there for that alone.
    fn binds_over_edge(&self, at: usize, weft: usize) -> bool {
        let label = self.label(at);
        let same = |other| self.colour(other) == label.place;
        !self.free.contains(&(at, weft)) && self.floats_over_edge(at, weft, label, same)
    }

    /// Whether a float of this label through a place, over squares that are `same`, is
    /// over the edge of the repeat longer than its limit in the cards, not bound there.
    fn floats_over_edge(
        &self,
        at: usize,
        weft: usize,
        label: &Label<'_>,
        same: impl Fn(usize) -> bool,
    ) -> bool {
        let weave = &label.colour.weaves[weft];
        let (line, column) = (at / self.width, at % self.width);
        let (bound, float) = (weave.bound(), weave.float());
        if bound.is_none() || !self.seams.near(column, line) {
            return false;
        }
        let floats = |other: usize| {
            let lifted = self.seen[other] >> weft & 1 == 1;
            other == at || (float == Some(lifted) && same(other))
        };
        let along_line = |column: usize| floats(line * self.width + column);
        let along_end = |line: usize| floats(line * self.width + column);
        let mut across = self.seams.across().iter();
        bound
            .ends
            .is_some_and(|ends| across.any(|strip| strip.floats(column, ends, along_line)))
            || bound.picks.is_some_and(|picks| {
                let strip = self.seams.along();
                strip.is_some_and(|strip| strip.floats(line, picks, along_end))
            })
    }

    /// Whether a thread of the cards would float too far without what binds it there.
    pub fn stays(&self, at: usize, weft: usize) -> bool {
        !self.free.contains(&(at, weft)) && self.floats_too_far(at, weft, true)
    }

    /// Whether what binds a thread could be left out there: it floats no further for it.
    pub fn goes(&self, at: usize, weft: usize) -> bool {
        !self.floats_too_far(at, weft, false)
    }

    /// Whether a thread floats too far there, as the cards are or with this place `other`
    /// than it is.
    fn floats_too_far(&self, at: usize, weft: usize, other: bool) -> bool {
        let extent = Extent {
            columns: self.width,
            picks: self.lines() * self.wefts,
            over: self.over,
            longest: self.longest,
        };
        let (line, column) = (at / self.width, at % self.width);
        let pick = line * self.wefts + weft;
        let lifted = |at: usize, end: usize| {
            let seen = self.seen[at / self.wefts * self.width + end];
            (seen >> (at % self.wefts) & 1 == 1) != (other && at == pick && end == column)
        };
        !extent.fits(pick, column, lifted)
    }

    /// The squares whose holes can depend on this one, itself among them.
    pub fn around(&self, at: usize) -> impl Iterator<Item = usize> + '_ {
        let far = isize::try_from(self.far).unwrap_or(isize::MAX);
        let steps = (-far..=far).filter(|step| *step != 0);
        let cross = steps.flat_map(move |step| [self.step(at, step, 0), self.step(at, 0, step)]);
        // borders, of which a step over the side knows nothing
        let beyond = (self.over == Over::Nothing).then(|| {
            let strips = self.seams.across().iter();
            let near = strips.filter(move |strip| strip.places.contains(&(at % self.width)));
            let columns = near.flat_map(|strip| &strip.places);
            columns.map(move |column| at / self.width * self.width + column)
        });
        let cross = cross.flatten().chain(beyond.into_iter().flatten());
        std::iter::once(at).chain(cross)
    }

    /// The labels that can make this square's holes in some place.
    pub fn fitting(&self, at: usize) -> impl Iterator<Item = u8> + '_ {
        let (line, column) = (at / self.width, at % self.width);
        let fits = move |(_, label): &(u8, &Label<'_>)| {
            let over_edge = |weft| self.floats_over_edge(at, weft, label, |_| true);
            label.sign(column, line, self.seen[at], over_edge) != Sign::Wrong
        };
        (0u8..)
            .zip(&self.labels)
            .filter(fits)
            .map(|(place, _)| place)
    }

    /// Whether another colour could make this square's holes in some place.
    pub fn either(&self, at: usize) -> bool {
        let colour = self.colour(at);
        self.fitting(at)
            .any(|label| self.labels[usize::from(label)].place != colour)
    }
}

/// Whether more than `limit` squares around `at`, of so many, are alike.
fn longer(limit: usize, at: usize, squares: usize, alike: impl Fn(usize) -> bool) -> bool {
    let before = (0..at).rev().take(limit);
    let before = before.take_while(|at| alike(*at)).count();
    let after = (at + 1..squares).take(limit).take_while(|at| alike(*at));
    before + 1 + after.count() > limit
}
