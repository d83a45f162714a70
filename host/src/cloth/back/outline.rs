//! How far a satin goes into a colour that is all as the satin floats.
//!
//! Enters: a paper whose colours were found. Leaves: it, the outlines between two such
//! colours moved. Refuses nothing.
//!
//! Between such colours only the satin's points tell where the one ends. Of equals that
//! make the same cards the likeliest is midway between points that are there and points
//! that are not, seen over some of them at once: a square is the satin's if about it more
//! are there. Where edges are clear and no float keeps the outermost points, the satin so
//! found lacks its outermost squares, and gets them.

use super::labels::Label;
use super::paper::Paper;
use std::cmp::Ordering;

/// How many points of the satin lie in a window at most. Measured on chance areas in
/// satins of 5 to 11: fewer leave ragged outlines, more cut corners.
const POINTS: usize = 4;

/// Moves the outlines of all such pairs. Leaves whether there are any.
pub(super) fn move_outlines(paper: &mut Paper<'_>) -> bool {
    let mut used = [false; 1 << u8::BITS];
    for label in &paper.at {
        used[usize::from(*label)] = true;
    }
    let mut pairs = pairs(&paper.labels);
    pairs.retain(|(satin, _)| used[usize::from(*satin)]);
    for (satin, flat) in &pairs {
        between(paper, *satin, *flat);
    }
    !pairs.is_empty()
}

/// The labels that are a satin and one that differs by its points alone.
fn pairs(labels: &[Label<'_>]) -> Vec<(u8, u8)> {
    let numbered = || (0u8..).zip(labels);
    let both = numbered().flat_map(|one| numbered().map(move |other| (one, other)));
    both.filter(|((_, one), (_, other))| differ_by_points(one, other))
        .map(|((satin, _), (flat, _))| (satin, flat))
        .collect()
}

fn differ_by_points(satin: &Label<'_>, flat: &Label<'_>) -> bool {
    let mut weaves = satin.colour.weaves.iter().zip(&flat.colour.weaves);
    let as_floats = |(one, other): &(&super::Weave, &super::Weave)| {
        one.is_satin() && one.float().is_some_and(|float| !other.has(!float))
    };
    weaves.clone().any(|both| as_floats(&both))
        && weaves.all(|both| {
            let (one, other) = both;
            one.bound() == other.bound() && (as_floats(&both) || one.same_everywhere(other))
        })
}

/// What is known of a point of the satin.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Point {
    /// No point, or no square of the two.
    None,
    /// It is there.
    There,
    /// It is there and would not be if it touched the outline.
    Inside,
    /// It is not there, and no float would keep it.
    LeftOut,
    /// It is not there, and would be in the satin.
    Outside,
}

impl Point {
    fn is_there(self) -> bool {
        matches!(self, Point::There | Point::Inside)
    }

    /// For more of the satin or for less.
    fn within(self) -> i32 {
        match self {
            Point::None => 0,
            Point::There | Point::Inside => 1,
            Point::LeftOut | Point::Outside => -1,
        }
    }

    /// Whether points were left out thereabouts.
    fn clear(self) -> i32 {
        match self {
            Point::LeftOut | Point::Inside => 1,
            Point::Outside => -1,
            Point::None | Point::There => 0,
        }
    }
}

/// Moves the outlines between these two labels.
fn between(paper: &mut Paper<'_>, satin: u8, flat: u8) {
    let pair: Vec<bool> = paper
        .at
        .iter()
        .map(|at| [satin, flat].contains(at))
        .collect();
    let point = |at: usize| {
        if pair[at] {
            point(paper, at, satin, flat)
        } else {
            Point::None
        }
    };
    let points: Vec<Point> = (0..pair.len()).map(point).collect();
    let label = &paper.labels[usize::from(satin)];
    let ends = label.colour.weaves.iter().map(|weave| weave.ends()).max();
    let reach = (POINTS * ends.unwrap_or(1)).isqrt().saturating_sub(1) / 2;
    let window = |of: fn(Point) -> i32| {
        let values: Vec<i32> = points.iter().map(|point| of(*point)).collect();
        // twice, so that what is near counts more
        let once = windows(&values, paper.width, reach);
        windows(&once, paper.width, reach)
    };
    let sums = window(Point::within);
    let within = |at: usize| match sums[at].cmp(&0) {
        _ if points[at] != Point::None => points[at].is_there(),
        Ordering::Equal => paper.at[at] == satin,
        more => more == Ordering::Greater,
    };
    let within: Vec<bool> = (0..pair.len()).map(|at| pair[at] && within(at)).collect();
    let any_clear = points.iter().any(|point| point.clear() > 0);
    let clear = any_clear.then(|| window(Point::clear));
    for at in (0..pair.len()).filter(|at| pair[*at]) {
        let is_clear = |clear: &Vec<i32>| clear[at] > 0;
        let here = clear.as_ref().is_some_and(is_clear);
        let grows = |other: usize| within[other] && (here || points[other] == Point::Inside);
        let grown = within[at] || paper.beside(at).any(grows);
        paper.at[at] = if grown { satin } else { flat };
    }
}

/// What a square tells of these two labels.
fn point(paper: &Paper<'_>, at: usize, satin: u8, flat: u8) -> Point {
    let label = |label: u8| &paper.labels[usize::from(label)];
    let (line, column) = (at / paper.width, at % paper.width);
    let lifts = |of: u8, weft: usize| label(of).lifts(weft, column, line);
    let differ = |weft: &usize| lifts(satin, *weft) != lifts(flat, *weft);
    let Some(weft) = (0..paper.wefts).find(differ) else {
        return Point::None;
    };
    let there = lifts(satin, weft) == (paper.seen[at] >> weft & 1 == 1);
    match (there, label(satin).leaves_out(weft)) {
        (true, true) if !paper.stays(at, weft) => Point::Inside,
        (true, _) => Point::There,
        (false, true) if paper.goes(at, weft) => Point::LeftOut,
        (false, _) => Point::Outside,
    }
}

/// The sum of a window about each square.
fn windows(values: &[i32], width: usize, reach: usize) -> Vec<i32> {
    let mut along = Vec::with_capacity(values.len());
    for line in values.chunks(width) {
        let mut sum: i32 = line.iter().take(reach).sum();
        for at in 0..width {
            sum += line.get(at + reach).copied().unwrap_or_default();
            along.push(sum);
            sum -= at.checked_sub(reach).map_or(0, |before| line[before]);
        }
    }
    let line = |line: usize| along.get(line * width..(line + 1) * width);
    let mut sums = vec![0; width];
    let add = |sums: &mut [i32], line: Option<&[i32]>, sign: i32| {
        for (sum, value) in sums.iter_mut().zip(line.unwrap_or_default()) {
            *sum += sign * value;
        }
    };
    (0..reach).for_each(|at| add(&mut sums, line(at), 1));
    let mut all = Vec::with_capacity(values.len());
    for at in 0..values.len() / width {
        add(&mut sums, line(at + reach), 1);
        all.extend_from_slice(&sums);
        add(&mut sums, at.checked_sub(reach).and_then(line), -1);
    }
    all
}
