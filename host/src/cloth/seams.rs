//! Floats over the edge of the repeat: which columns, or lines, lie side by side there,
//! and the points that bind what floats too far over it.
//!
//! Enters: the ends of a cloth mounted for a paper, and the squares along them. Leaves:
//! squares to bind. Refuses nothing: what no point can shorten, as where one column works
//! all the ends around, stays as it is.
//!
//! Every place is taken where two columns meet in the cloth that do not on the paper:
//! where the tie begins again, turns, or goes over into a border. The cards go round, so
//! the first line follows the last. What is bound within the paper stays; a float that is
//! still too long over the edge is bound at the points of its own satin, as within the
//! paper. Where these are too few, since the satin does not go on over the edge, a point
//! is put about midway.

use super::{Bound, Cloth, Mounting, Weave};
use std::cmp::Reverse;
use std::collections::BTreeSet;
use std::ops::Range;

/// Columns, or lines, that lie side by side in the cloth around an edge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Strip {
    pub places: Vec<usize>,
    /// How many beside each other, this one among them, are the same.
    alike: Vec<usize>,
    /// How far away the same comes again, if it does.
    again: Vec<usize>,
}

/// A square of a strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Square {
    pub colour: u8,
    /// Whether it is so that the colour floats there, and is no point.
    pub floats: bool,
    /// The longest float the colour may have, if there is a limit.
    pub limit: Option<usize>,
    /// Whether its points do not touch an outline.
    pub clear: bool,
}

/// All the edges of a paper in the cloth over which a limit of floats must hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seams {
    across: Vec<Strip>,
    along: Option<Strip>,
    /// Whether each column, and each line, lies so near to an edge that a point for its
    /// sake can stand there.
    near: (Vec<bool>, Vec<bool>),
}

impl Seams {
    pub fn of(cloth: &Cloth, mounting: &Mounting, lines: u32) -> Seams {
        let most = |limit: fn(Bound) -> Option<u32>| {
            let weaves = cloth.colours.iter().flat_map(|colour| &colour.weaves);
            let limits = weaves.map(Weave::bound).filter_map(limit);
            limits.max().map(|most| most as usize)
        };
        let (columns, lines) = (mounting.columns() as usize, lines as usize);
        let across = most(|bound| bound.ends).map_or_else(Vec::new, |most| {
            let ends = cloth.columns_across(mounting).into_iter();
            let ends: Vec<usize> = ends.map(|column| column as usize).collect();
            strips(&ends, most + 1)
        });
        let along = most(|bound| bound.picks).map(|most| round(lines, most + 1));
        let near = |strips: &[Strip], places: usize| {
            let mut near = vec![false; places];
            for place in strips.iter().flat_map(|strip| &strip.places) {
                near[*place] = true;
            }
            near
        };
        let near = (near(&across, columns), near(along.as_slice(), lines));
        Seams {
            across,
            along,
            near,
        }
    }

    /// Columns side by side around each edge.
    pub fn across(&self) -> &[Strip] {
        &self.across
    }

    /// The last lines and the first, if floats along the cloth have a limit.
    pub fn along(&self) -> Option<&Strip> {
        self.along.as_ref()
    }

    pub fn near(&self, column: usize, line: usize) -> bool {
        self.near.0[column] || self.near.1[line]
    }
}

/// The last lines and the first, so many of each, however often the cards go round.
fn round(lines: usize, reach: usize) -> Strip {
    let first = reach * lines - reach;
    Strip::new((first..first + 2 * reach).map(|at| at % lines).collect())
}

/// So many columns on either side of each edge, those that are the same once.
fn strips(ends: &[usize], reach: usize) -> Vec<Strip> {
    let around = |at: usize| &ends[at.saturating_sub(reach)..(at + reach).min(ends.len())];
    let mut all: Vec<&[usize]> = Vec::new();
    for at in edges(ends) {
        let strip = around(at);
        if all.last() != Some(&strip) {
            all.push(strip);
        }
    }
    let mut all: Vec<_> = BTreeSet::from_iter(all).into_iter().collect();
    // beside the edge of the cloth strips are shorter; what they show a longer one shows
    all.sort_by_key(|strip| Reverse(strip.len()));
    let mut kept: Vec<&[usize]> = Vec::new();
    for strip in all {
        let shows = |longer: &&[usize]| longer.starts_with(strip) || longer.ends_with(strip);
        if !kept.iter().any(shows) {
            kept.push(strip);
        }
    }
    kept.into_iter()
        .map(|strip| Strip::new(strip.to_vec()))
        .collect()
}

/// The ends that do not go on from those before them as the columns of the paper do, one
/// way or the other.
fn edges(ends: &[usize]) -> Vec<usize> {
    let mut rises = None;
    let mut edges = Vec::new();
    for (at, pair) in (1..).zip(ends.windows(2)) {
        let rising = pair[0] < pair[1];
        if pair[0].abs_diff(pair[1]) == 1 && rises.is_none_or(|rises| rises == rising) {
            rises = Some(rising);
        } else {
            edges.push(at);
            rises = None;
        }
    }
    edges
}

impl Strip {
    fn new(places: Vec<usize>) -> Strip {
        let mut alike = Vec::with_capacity(places.len());
        for same in places.chunk_by(|one, next| one == next) {
            alike.extend(std::iter::repeat_n(same.len(), same.len()));
        }
        let mut again = vec![usize::MAX; places.len()];
        let mut last = std::collections::BTreeMap::new();
        for (at, place) in places.iter().enumerate() {
            if let Some(before) = last.insert(*place, at) {
                let far = at - before;
                again[at] = far;
                again[before] = far.min(again[before]);
            }
        }
        Strip {
            places,
            alike,
            again,
        }
    }

    /// The places to bind, so that no float is longer than its limit. `satin` says
    /// whether the satin has a point at a place, `turn` is the pick, or the end.
    pub fn bind(
        &self,
        mut squares: Vec<Square>,
        turn: usize,
        satin: impl Fn(usize) -> bool,
    ) -> Vec<usize> {
        let mut bound = Vec::new();
        let mut from = 0;
        while let Some((float, limit)) = too_long(&squares, from) {
            let of_satin = float.clone().filter(|at| {
                satin(self.places[*at]) && self.may_bind(&squares, &float, *at, limit)
            });
            let mut points: Vec<usize> = of_satin.collect();
            if points.is_empty() {
                points.extend(self.midway(&squares, &float, limit, turn));
            }
            // a point shows wherever its column is worked
            from = if points.is_empty() { float.end } else { 0 };
            for at in points {
                if squares[at].floats {
                    bound.push(self.places[at]);
                }
                self.set(&mut squares, self.places[at], false);
            }
        }
        // the way back knows a point for the sake of the edge by its being needed
        bound.retain(|place| {
            self.set(&mut squares, *place, true);
            let needed = too_long(&squares, 0).is_some();
            self.set(&mut squares, *place, !needed);
            needed
        });
        bound
    }

    /// Lets a place float, or binds it, wherever it is worked.
    fn set(&self, squares: &mut [Square], place: usize, floats: bool) {
        let all = squares.iter_mut().zip(&self.places);
        for (square, _) in all.filter(|(_, other)| **other == place) {
            square.floats = floats;
        }
    }

    /// Whether a float through this place is longer than the limit, if a point there could
    /// bind it.
    pub fn floats(&self, place: usize, limit: u32, floats: impl Fn(usize) -> bool) -> bool {
        let limit = limit as usize;
        let here = |at: &usize| self.places[*at] == place && self.alike[*at] <= limit;
        let long = |at: usize| {
            let after = self.places[at..].iter().take_while(|at| floats(**at));
            let before = self.places[..at].iter().rev();
            let before = before.take_while(|at| floats(**at));
            after.take(limit + 1).count() + before.take(limit).count() > limit
        };
        (0..self.places.len()).filter(here).any(long)
    }

    /// Whether a point of the satin binds this float here, beside no other point, and
    /// touches the outline only where it may.
    fn may_bind(&self, squares: &[Square], float: &Range<usize>, at: usize, limit: usize) -> bool {
        let colour = squares[at].colour;
        let fits = |beside: Option<&Square>| {
            beside.is_some_and(|beside| beside.colour != colour && !squares[at].clear)
        };
        let before = at > float.start || fits(at.checked_sub(1).map(|at| &squares[at]));
        let after = at + 1 < float.end || fits(squares.get(at + 1));
        before && after && self.alike[at] <= limit
    }

    /// A point that leaves no part of a float longer than the limit, as far from others
    /// as can be; of a float so long that one does not, it binds the beginning.
    fn midway(
        &self,
        squares: &[Square],
        float: &Range<usize>,
        limit: usize,
        turn: usize,
    ) -> Option<usize> {
        let (from, to) = (float.start, float.end);
        let within = if to - from <= 2 * limit + 1 {
            (from + 1).max(to - 1 - limit)..(from + limit + 1).min(to - 1)
        } else {
            from + limit.div_ceil(2)..from + limit + 1
        };
        let mut places: Vec<usize> = within.filter(|at| self.alike[*at] <= limit).collect();
        let apart = |at: usize| (at - from + 1).min(to - at).min(self.again[at]);
        let most = places.iter().map(|at| apart(*at)).max()?;
        let is_point = |at: Option<usize>| {
            let beside = at.and_then(|at| squares.get(at));
            beside.is_some_and(|beside| beside.colour == squares[from].colour)
        };
        if is_point(from.checked_sub(1)) && is_point(Some(to)) {
            // the points on either side move on from pick to pick, and midway does too
            return places.into_iter().find(|at| apart(*at) == most);
        }
        // between outlines midway would be one column for many picks
        places.retain(|at| 2 * apart(*at) >= most);
        places.get(scattered(turn, places.len())).copied()
    }
}

/// One of so many places for each turn, in the golden section, in which those of turns
/// that follow each other lie far apart whatever their number.
fn scattered(turn: usize, places: usize) -> usize {
    const GOLDEN: u32 = 0x9e37_79b9;
    let turn = u32::try_from(turn).unwrap_or(u32::MAX);
    let part = u64::from(turn.wrapping_mul(GOLDEN));
    usize::try_from((part * places as u64) >> 32).unwrap_or_default()
}

/// The first float from here that is longer than its limit, and that.
fn too_long(squares: &[Square], from: usize) -> Option<(Range<usize>, usize)> {
    let mut from = from;
    let same = |one: &Square, next: &Square| one.floats == next.floats && one.colour == next.colour;
    for run in squares[from..].chunk_by(same) {
        let float = from..from + run.len();
        from = float.end;
        if let (true, Some(limit)) = (run[0].floats, run[0].limit)
            && run.len() > limit
        {
            return Some((float, limit));
        }
    }
    None
}
