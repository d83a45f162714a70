//! What a square could be: a colour, and from where its weave is counted.
//!
//! Enters: a cloth. Leaves: its colours, one that starts afresh once for each place from
//! which its weaves lift other ends. Refuses nothing: a colour whose weaves could begin
//! at too many places stands once, counted from the corner of the paper.

use super::super::lift::Points;
use super::super::satin::divisor;
use super::super::{Binding, Cloth, Colour, Edges, Weave};
use std::collections::BTreeSet;

/// Most ways in which one colour can begin.
const MOST_BEGINNINGS: usize = 64;

/// Most squares of a repeat that are looked at for it.
const MOST_SQUARES: usize = 4_096;

/// A colour whose weaves are counted from so far to the left and below the corner.
#[derive(Clone, Debug)]
pub(super) struct Label<'a> {
    pub place: u8,
    pub colour: &'a Colour,
    /// For each weft, the points that bind its floats.
    pub points: Vec<Option<Points>>,
    pub across: usize,
    pub up: usize,
}

/// What a weave shows at a square, whatever stands around it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sign {
    /// As it is seen.
    Right,
    /// A point of the weave is not there, which may be left out, or one is there that only
    /// the edge of the repeat asks for.
    Perhaps,
    /// It never is so.
    Wrong,
}

impl<'a> Label<'a> {
    /// Those of a cloth.
    pub fn all(cloth: &'a Cloth) -> Vec<Label<'a>> {
        let mut labels = Vec::new();
        for (place, colour) in (0u8..).zip(&cloth.colours) {
            let of_weave = |weave| Points::of(weave, colour.edges);
            let label = Label {
                place,
                colour,
                points: colour.weaves.iter().map(of_weave).collect(),
                across: 0,
                up: 0,
            };
            let beginnings = label.beginnings();
            if labels.len() + beginnings.len() >= usize::from(u8::MAX) {
                labels.push(label);
                continue;
            }
            labels.extend(beginnings.into_iter().map(|(across, up)| Label {
                across,
                up,
                ..label.clone()
            }));
        }
        labels
    }

    /// From where else the weaves could be counted so that they lift other ends.
    fn beginnings(&self) -> Vec<(usize, usize)> {
        let corner = vec![(0, 0)];
        if self.colour.binding == Binding::Continuous {
            return corner;
        }
        let common = |a: usize, b: usize| a / divisor(a, b) * b;
        let points = || self.points.iter().flatten().map(|points| points.ends());
        let weaves = &self.colour.weaves;
        let ends = weaves.iter().map(Weave::ends).chain(points());
        let picks = weaves.iter().map(Weave::picks).chain(points());
        let (ends, picks) = (ends.fold(1, common), picks.fold(1, common));
        if ends.saturating_mul(picks) > MOST_SQUARES {
            return corner;
        }
        let (mut seen, mut beginnings) = (BTreeSet::new(), Vec::new());
        for (up, across) in (0..picks).flat_map(|up| (0..ends).map(move |end| (up, end))) {
            let square = |at: usize| self.signs(at % ends + across, at / ends + up);
            if seen.insert((0..ends * picks).map(square).collect::<Vec<_>>()) {
                beginnings.push((across, up));
            }
            if beginnings.len() > MOST_BEGINNINGS {
                return corner;
            }
        }
        beginnings
    }

    fn signs(&self, end: usize, pick: usize) -> (u16, u16) {
        let weaves = self.colour.weaves.iter().zip(&self.points).enumerate();
        weaves.fold((0, 0), |(lifted, bound), (weft, (weave, points))| {
            let point = points.is_some_and(|points| points.at(end, pick));
            (
                lifted | u16::from(weave.lifts(end, pick)) << weft,
                bound | u16::from(point) << weft,
            )
        })
    }

    /// Whether this weft's weave lifts the square, floats unbound.
    pub fn lifts(&self, weft: usize, column: usize, line: usize) -> bool {
        self.colour.weaves[weft].lifts(column + self.across, line + self.up)
    }

    /// Whether its float could be bound there.
    pub fn could_bind(&self, weft: usize, column: usize, line: usize) -> bool {
        self.points[weft].is_some_and(|points| points.at(column + self.across, line + self.up))
    }

    /// Whether points of this weft's weave are left out at edges.
    pub fn leaves_out(&self, weft: usize) -> bool {
        self.colour.edges == Edges::Clear && self.colour.weaves[weft].is_satin()
    }

    /// How well these holes fit, if nothing is known of the squares around but whether
    /// they let a weft's float be bound for the edge of the repeat.
    pub fn sign(
        &self,
        column: usize,
        line: usize,
        seen: u16,
        over_edge: impl Fn(usize) -> bool,
    ) -> Sign {
        let mut all = Sign::Right;
        for weft in 0..self.points.len() {
            let seen = seen >> weft & 1 == 1;
            let as_woven = self.lifts(weft, column, line) == seen;
            let bound = self.could_bind(weft, column, line);
            let weave = &self.colour.weaves[weft];
            all = match (as_woven, bound) {
                (true, false) => all,
                (false, true) => all,
                (true, true) => Sign::Perhaps,
                _ if self.leaves_out(weft) && weave.float() == Some(seen) => Sign::Perhaps,
                _ if self.points[weft].is_some() && over_edge(weft) => Sign::Perhaps,
                _ => return Sign::Wrong,
            };
        }
        all
    }
}
