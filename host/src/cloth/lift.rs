//! Which hooks of a line of the paper each weft's pick lifts.
//!
//! Enters: squares, lines in the order of weaving. Leaves: for a line and a
//! weft, whether each column is lifted as seen on the face: the weave of each
//! square's colour, its floats bound where they are longer than the limit; and
//! the binding points beside an edge, which `edges` leaves out.
//!
//! A float is bound at the points of a satin over so many ends that none longer
//! than the limit is left within the area. Where edges are kept clear, a point
//! that binds a float is left out at either end of the float only, and the
//! satin is so much closer that the limit still holds. Floats that go on over
//! the edge of their area are not seen here. Those that go on over the edge of the
//! paper are bound as `seams` has it. The edge of the paper is an edge of an area
//! only if the cloth shows another colour beyond.

use super::areas::{Areas, Run, runs};
use super::edges::Picks;
use super::repeat::Over;
use super::satin;
use super::seams::{Seams, Square};
use super::squares::Squares;
use super::weave::{Bound, Weave};
use super::{Binding, Cloth, Colour, Edges};
use crate::deck::FirstPick;

/// The satin by whose points floats are bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Points {
    ends: usize,
    counter: usize,
}

impl Points {
    /// Those of this weave in a colour with such edges, if its floats are bound.
    pub fn of(weave: &Weave, edges: Edges) -> Option<Points> {
        let bound = weave.bound();
        let limits = bound.ends.into_iter().chain(bound.picks);
        let limit = limits.min()? as usize;
        let ends = match edges {
            Edges::Keep => limit + 1,
            Edges::Clear => limit - 1,
        };
        let counter = satin::most_even(ends);
        Some(Points { ends, counter })
    }

    /// Ends, and picks, of their repeat.
    pub fn ends(self) -> usize {
        self.ends
    }

    /// Whether there is one at this end and pick.
    pub fn at(self, end: usize, pick: usize) -> bool {
        end % self.ends == pick * self.counter % self.ends
    }
}

/// Lines of one column, from the first woven, that have one colour.
#[derive(Clone, Copy, Default)]
struct Stretch {
    from: u32,
    to: u32,
}

/// Goes through the lines of a paper, first woven first.
pub(super) struct Lifter<'a> {
    cloth: &'a Cloth,
    squares: &'a Squares,
    over: Over,
    first: FirstPick,
    areas: Option<Areas>,
    /// For each colour and weft, the points that bind its floats.
    points: Vec<Vec<Option<Points>>>,
    /// The stretch of each column in which the line stands, if a weave asks.
    stretches: Vec<Stretch>,
    /// The runs of the line.
    runs: Vec<Run>,
    line: u32,
}

impl<'a> Lifter<'a> {
    pub fn new(cloth: &'a Cloth, squares: &'a Squares, over: Over) -> Lifter<'a> {
        let afresh = |colour: &Colour| colour.binding == Binding::Afresh;
        let of_colour = |colour: &Colour| {
            let of_weave = |weave| Points::of(weave, colour.edges);
            colour.weaves.iter().map(of_weave).collect()
        };
        let upwards = |weave: &Weave| weave.bound().picks.is_some();
        let mut weaves = cloth.colours.iter().flat_map(|colour| &colour.weaves);
        let columns = if weaves.any(upwards) {
            squares.columns() as usize
        } else {
            0
        };
        let areas = cloth.colours.iter().any(afresh);
        Lifter {
            cloth,
            squares,
            over,
            first: cloth.first_line,
            areas: areas.then(|| Areas::of(squares, cloth.first_line, over)),
            points: cloth.colours.iter().map(of_colour).collect(),
            stretches: vec![Stretch::default(); columns],
            runs: Vec::new(),
            line: 0,
        }
    }

    /// Goes to this line; lines are gone through in rising order.
    pub fn go_to(&mut self, line: u32) {
        self.line = line;
        self.runs.clear();
        self.runs.extend(runs(self.at(line)));
        for column in 0..self.stretches.len() {
            if line == 0 || line >= self.stretches[column].to {
                let colour = self.at(line)[column];
                let same = |other: &u32| self.at(*other)[column] == colour;
                let rest = (line + 1..self.squares.lines()).take_while(same);
                let to = rest.last().unwrap_or(line) + 1;
                self.stretches[column] = Stretch { from: line, to };
            }
        }
    }

    /// Which columns this weft's pick of the line lifts, as seen on the face.
    pub fn lift(&self, weft: usize, lifted: &mut [bool]) {
        for (place, run) in self.runs.iter().enumerate() {
            let colour = &self.cloth.colours[usize::from(run.colour)];
            let weave = &colour.weaves[weft];
            let begin = self.begin(colour, self.line, || place);
            let (_, pick) = self.counted(begin, self.line, run.from);
            let columns = lifted.len();
            let end = |column: usize| (column + columns - begin.0) % columns;
            let squares = &mut lifted[run.from..run.to];
            repeat(weave.pick(pick), end(run.from), squares);
            if let Some(points) = self.points[usize::from(run.colour)][weft] {
                self.bind(*run, colour.edges, weave, squares, |column| {
                    points.at(end(column), pick)
                });
            }
        }
    }

    /// Left column and first line of the area of this run of a line.
    fn begin(&self, colour: &Colour, line: u32, run: impl Fn() -> usize) -> (usize, usize) {
        match (&self.areas, colour.binding) {
            (Some(areas), Binding::Afresh) => areas.begin(line, run()),
            _ => (0, 0),
        }
    }

    /// End and pick of a square as counted from where its area begins.
    fn counted(&self, begin: (usize, usize), line: u32, column: usize) -> (usize, usize) {
        // areas that hang together over the edge of the repeat begin beyond it
        let after = |at: usize, begin: usize, round: usize| (at + round - begin) % round;
        let (columns, lines) = (self.squares.columns(), self.squares.lines());
        (
            after(column, begin.0, columns as usize),
            after(line as usize, begin.1, lines as usize),
        )
    }

    /// Whether floats of this weft could be bound at this square.
    fn is_point(&self, weft: usize, line: u32, column: usize) -> bool {
        let here = self.at(line);
        let colour = usize::from(here[column]);
        self.points[colour][weft].is_some_and(|points| {
            let beyond = |run: &Run| run.to <= column;
            let run = || {
                if line == self.line {
                    self.runs.partition_point(beyond)
                } else {
                    runs(here).take_while(beyond).count()
                }
            };
            let begin = self.begin(&self.cloth.colours[colour], line, run);
            let (end, pick) = self.counted(begin, line, column);
            points.at(end, pick)
        })
    }

    /// Binds the floats of this weft's pick of the line that are too long over the sides
    /// of the paper.
    pub fn bind_over_sides(&self, weft: usize, seams: &Seams, lifted: &mut [bool]) {
        let here = self.at(self.line);
        for strip in seams.across() {
            let square = |column: &usize| {
                let ends = |bound: Bound| bound.ends;
                self.square(here[*column], weft, lifted[*column], ends)
            };
            let squares = strip.places.iter().map(square).collect();
            let satin = |column| self.is_point(weft, self.line, column);
            for column in strip.bind(squares, self.line as usize, satin) {
                lifted[column] = !lifted[column];
            }
        }
    }

    /// Binds the floats of all picks that are too long over the last line and the first.
    pub fn bind_over_ends(&self, seams: &Seams, picks: &mut Picks) {
        let Some(strip) = seams.along() else {
            return;
        };
        let wefts = self.cloth.wefts.len();
        let (first, last) = (self.at(0), self.at(self.squares.lines() - 1));
        let lines: Vec<&[u8]> = {
            let line = |line: &usize| u32::try_from(*line).unwrap_or(u32::MAX);
            strip.places.iter().map(|at| self.at(line(at))).collect()
        };
        for column in (0..first.len()).filter(|column| first[*column] == last[*column]) {
            let colour = &self.cloth.colours[usize::from(first[column])];
            for weft in (0..wefts).filter(|weft| colour.weaves[*weft].bound().picks.is_some()) {
                let square = |(line, colours): (&usize, &&[u8])| {
                    let lifted = picks.lifts(line * wefts + weft, column);
                    self.square(colours[column], weft, lifted, |bound| bound.picks)
                };
                let squares = strip.places.iter().zip(&lines).map(square).collect();
                let satin = |line: usize| {
                    let line = u32::try_from(line).unwrap_or(u32::MAX);
                    self.is_point(weft, line, column)
                };
                for line in strip.bind(squares, column, satin) {
                    picks.turn(line * wefts + weft, column);
                }
            }
        }
    }

    /// A square of this colour that the weft's pick lifts or leaves.
    fn square(
        &self,
        colour: u8,
        weft: usize,
        lifted: bool,
        limit: impl Fn(Bound) -> Option<u32>,
    ) -> Square {
        let of = &self.cloth.colours[usize::from(colour)];
        let weave = &of.weaves[weft];
        Square {
            colour,
            floats: weave.float() == Some(lifted),
            limit: limit(weave.bound()).map(|limit| limit as usize),
            clear: of.edges == Edges::Clear,
        }
    }

    fn at(&self, line: u32) -> &'a [u8] {
        self.squares.woven_line(line, self.first)
    }

    /// The binding points of satins in this weft's pick, as it is lifted, that touch
    /// another colour where edges are to be clear.
    pub fn points_at_edges(&self, weft: usize, lifted: &[bool]) -> Vec<usize> {
        let here = self.at(self.line);
        let (before, after) = (self.at(self.before()), self.at(self.after()));
        let touches = |column: usize| {
            let sides = self.over.beside(column, here.len());
            let sides = sides.into_iter().flatten().map(|side| here[side]);
            let mut around = sides.chain([before[column], after[column]]);
            around.any(|colour| colour != here[column])
        };
        let is_point = |column: &usize| {
            let colour = &self.cloth.colours[usize::from(here[*column])];
            let weave = &colour.weaves[weft];
            let point = weave.is_satin() && weave.float() == Some(!lifted[*column]);
            point && colour.edges == Edges::Clear && touches(*column)
        };
        (0..here.len()).filter(is_point).collect()
    }

    /// The line woven before this one: before the first, the last.
    fn before(&self) -> u32 {
        let lines = self.squares.lines();
        (self.line + lines - 1) % lines
    }

    fn after(&self) -> u32 {
        (self.line + 1) % self.squares.lines()
    }

    /// Binds the floats that are too long.
    fn bind(
        &self,
        run: Run,
        edges: Edges,
        weave: &Weave,
        lifted: &mut [bool],
        point: impl Fn(usize) -> bool,
    ) {
        let (bound, clear) = (weave.bound(), edges == Edges::Clear);
        let here = self.at(self.line);
        let (before, after) = (self.at(self.before()), self.at(self.after()));
        let across = bound
            .ends
            .is_some_and(|ends| run.to - run.from > ends as usize);
        if !across && bound.picks.is_none() {
            return;
        }
        for (column, lifted) in (run.from..run.to).zip(lifted) {
            if !point(column) {
                continue;
            }
            let other = |line: &[u8], column: usize| line[column] != run.colour;
            let mut sides = self.over.beside(column, here.len()).into_iter().flatten();
            let at_side = sides.any(|side| other(here, side));
            let upwards = bound.picks.is_some_and(|picks| {
                let Stretch { from, to } = self.stretches[column];
                let at_end = other(before, column) || other(after, column);
                to - from > picks && !(clear && at_end)
            });
            if upwards || (across && !(clear && at_side)) {
                *lifted = !*lifted;
            }
        }
    }
}

/// One pick of a weave laid over squares, of which the first is this end.
fn repeat(pick: &[bool], end: usize, squares: &mut [bool]) {
    if let [lifted] = pick {
        squares.fill(*lifted);
        return;
    }
    let mut end = end % pick.len();
    for square in squares {
        *square = pick[end];
        end += 1;
        if end == pick.len() {
            end = 0;
        }
    }
}
