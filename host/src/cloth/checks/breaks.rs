//! Where weaves do not go on as they should.
//!
//! Enters: a cloth mounted for a paper, its squares, how many cards there are. Leaves:
//! weaves that break where the cloth goes on over an edge of the paper, the selvedges'
//! among them, and ends that lift alike where the tie turns. Refuses nothing.

use crate::cloth::{Binding, Cloth, Mounting, Squares, Weave};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Whose weave it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum WeaveOf {
    /// A colour's, for a weft.
    Colour {
        /// The colour.
        name: String,
        /// The weft.
        weft: String,
    },
    /// The selvedges'.
    Selvedges,
}

/// A weave that breaks at the edge of the repeat.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Break {
    /// Whose weave it is.
    pub of: WeaveOf,
    /// Whether it is the width that it does not go into, not the length; a selvedge's
    /// the holes of the spare row.
    pub across: bool,
    /// Ends, or picks, of its repeat.
    pub repeat: usize,
    /// Lines of the paper, cards, or holes of a row; or the columns between two that meet in the cloth,
    /// which are all of them where the tie repeats the paper.
    pub size: u32,
}

/// Where the tie turns and two ends side by side lift alike, in weaves that have no
/// neighbours alike of their own. A design that is turned over a hook that works one end
/// has none.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Turn {
    /// The first two such ends, from 1 at the left with the selvedge's.
    pub ends: [usize; 2],
    /// Turns at which it is so.
    pub places: usize,
    /// The colours whose weaves it is.
    pub colours: Vec<String>,
}

/// Two columns that meet in the cloth and not on the paper.
enum Seam {
    /// The tie goes on in the direction in which it came; so many columns lie between.
    On(u32),
    /// It turns, behind so many columns across the cloth, from the one column to the other.
    Turn(usize, [usize; 2]),
}

impl Cloth {
    /// Weaves that do not go on over an edge: across, where columns meet in the cloth
    /// that do not on the paper; along the cloth, as the cards go round.
    pub(super) fn breaks(&self, mounting: &Mounting, squares: &Squares) -> Vec<Break> {
        let used: BTreeSet<u8> = squares.colours().iter().copied().collect();
        let between = self.between_columns(mounting);
        let mut breaks = Vec::new();
        for (_, colour) in (0u8..)
            .zip(&self.colours)
            .filter(|(at, _)| used.contains(at))
        {
            if colour.binding == Binding::Afresh {
                continue;
            }
            for (weft, weave) in self.wefts.iter().zip(&colour.weaves) {
                let mut tell = |across, repeat: usize, size: u32| {
                    if !(size as usize).is_multiple_of(repeat) {
                        breaks.push(Break {
                            of: WeaveOf::Colour {
                                name: colour.name.clone(),
                                weft: weft.name.clone(),
                            },
                            across,
                            repeat,
                            size,
                        });
                    }
                };
                for columns in &between {
                    tell(true, weave.ends(), *columns);
                }
                tell(false, weave.picks(), squares.lines());
            }
        }
        breaks
    }

    /// The selvedges' weave, if it does not go on from the last card to the first, or
    /// within a selvedge that is wider than the spare row.
    pub(super) fn selvedges_break(&self, cards: u32) -> Vec<Break> {
        let Some(selvedge) = self.selvedge() else {
            return Vec::new();
        };
        let row = u32::from(self.format.holes_per_row());
        let (left, all) = (selvedge.left, selvedge.left + selvedge.right);
        let within = left > row || (left / row + 1) * row < all;
        let sides = [
            (true, selvedge.weave.ends(), row, within),
            (false, selvedge.weave.picks(), cards, true),
        ];
        let breaks = |(_, repeat, size, meet): &(bool, usize, u32, bool)| {
            *meet && !(*size as usize).is_multiple_of(*repeat)
        };
        let told = |(across, repeat, size, _)| Break {
            of: WeaveOf::Selvedges,
            across,
            repeat,
            size,
        };
        sides.into_iter().filter(breaks).map(told).collect()
    }

    /// Ends that lift alike where the tie turns, turns with the same colours as one.
    pub(super) fn turns(&self, mounting: &Mounting, squares: &Squares) -> Vec<Turn> {
        let mut meet: BTreeMap<[usize; 2], (usize, usize)> = BTreeMap::new();
        for seam in self.seams(mounting) {
            if let Seam::Turn(at, columns) = seam {
                meet.entry(columns).or_insert((at, 0)).1 += 1;
            }
        }
        let mut told: BTreeMap<Vec<&str>, (usize, usize)> = BTreeMap::new();
        for (columns, (at, places)) in meet {
            let alike = self.alike_at(columns, squares);
            if !alike.is_empty() {
                let (first, all) = told.entry(alike).or_insert((at, 0));
                *first = at.min(*first);
                *all += places;
            }
        }
        let each = self.sett.ends_per_hook as usize;
        let end = |at: usize| mounting.left_selvedge() as usize + at * each;
        let turn = |(colours, (at, places)): (Vec<&str>, (usize, usize))| Turn {
            ends: [end(at), end(at) + 1],
            places,
            colours: colours.into_iter().map(str::to_owned).collect(),
        };
        let mut turns: Vec<Turn> = told.into_iter().map(turn).collect();
        turns.sort_by_key(|turn| turn.ends);
        turns
    }

    /// The colours that stand in both of two columns that meet at a turn, and lift them
    /// alike, as they do no others.
    fn alike_at(&self, [one, other]: [usize; 2], squares: &Squares) -> Vec<&str> {
        let lines = squares.colours().chunks(squares.columns() as usize);
        let both = lines.filter(|line| line[one] == line[other]);
        let both: BTreeSet<u8> = both.map(|line| line[one]).collect();
        let colours = (0u8..).zip(&self.colours);
        let alike = colours.filter(|(at, colour)| {
            let same = one == other;
            // where it starts afresh is not known here
            let known = same || colour.binding == Binding::Continuous;
            let turns = |weave: &Weave| {
                let neighbours = (0..weave.ends()).any(|end| alike(weave, end, end + 1));
                !neighbours && (same || alike(weave, one, other))
            };
            both.contains(at) && known && colour.weaves.iter().any(turns)
        });
        alike.map(|(_, colour)| colour.name.as_str()).collect()
    }

    /// How many columns lie between two that meet in the cloth and not on the paper,
    /// wherever the tie goes on in the direction in which it came.
    fn between_columns(&self, mounting: &Mounting) -> BTreeSet<u32> {
        let seams = self.seams(mounting).into_iter();
        let between = seams.filter_map(|seam| match seam {
            Seam::On(between) => Some(between),
            Seam::Turn(..) => None,
        });
        between.collect()
    }

    fn seams(&self, mounting: &Mounting) -> Vec<Seam> {
        let across = self.columns_across(mounting);
        let columns: Vec<i64> = across.iter().copied().map(i64::from).collect();
        let way = |at: usize| match columns.get(at..at + 2) {
            Some([one, next]) if one.abs_diff(*next) == 1 => Some(next - one),
            _ => None,
        };
        let jumps = (0..columns.len().saturating_sub(1)).filter(|at| way(*at).is_none());
        let seam = |at: usize| {
            let (before, after) = (at.checked_sub(1).and_then(way), way(at + 1));
            let way = before.or(after).unwrap_or(1);
            if after.is_some_and(|after| after != way) {
                let meet = [across[at] as usize, across[at + 1] as usize];
                return Some(Seam::Turn(at + 1, meet));
            }
            let far = (columns[at + 1] - columns[at]) * way;
            u32::try_from((far - 1).unsigned_abs()).ok().map(Seam::On)
        };
        jumps.filter_map(seam).collect()
    }
}

/// Whether a weave lifts two ends alike at every pick.
fn alike(weave: &Weave, one: usize, other: usize) -> bool {
    (0..weave.picks()).all(|pick| weave.lifts(one, pick) == weave.lifts(other, pick))
}
