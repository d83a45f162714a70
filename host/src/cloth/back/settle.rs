//! Squares are given other labels until each makes the cards' holes.
//!
//! Enters: a paper that was guessed. Leaves: it, settled as far as it went, and the
//! squares that still make other holes. Refuses nothing; every loop has an end.
//!
//! A square costs what it has other colours beside it, and much if it makes other holes
//! than the cards. First each square takes what costs least. Where that stays at wrong
//! holes, the best change near one is made even if it costs, and not taken back soon.

use super::paper::Paper;
use std::collections::{BTreeSet, HashMap, VecDeque};

/// What other labels beside a square and at its corners cost. The sides alone would let
/// an outline have any steps.
const SIDE: i32 = 2;
const CORNER: i32 = 1;

/// What wrong holes cost, at first and then.
const WRONG: [i32; 2] = [3, 40];

/// Changes that are tried for each square with wrong holes, and in all.
const TRIES: usize = 200;
const LEAST_TRIES: usize = 2_000;
const MOST_TRIES: usize = 400_000;

/// For how many changes a square keeps what it was given.
const KEPT: usize = 12;

/// Settles the whole paper.
pub(super) fn settle(paper: &mut Paper<'_>) -> BTreeSet<usize> {
    for wrong in WRONG {
        let unsettled = |at: &usize| {
            let label = paper.at[*at];
            let mut around = paper.beside(*at).map(|other| paper.at[other]);
            around.any(|other| other != label) || !paper.makes(*at)
        };
        let all: VecDeque<usize> = (0..paper.at.len()).filter(unsettled).collect();
        ease(paper, wrong, all);
    }
    let wrong = (0..paper.at.len()).filter(|at| !paper.makes(*at));
    let wrong = wrong.collect();
    mend(paper, wrong)
}

/// What a square's label costs beside the others.
fn unlike(paper: &Paper<'_>, at: usize, label: u8) -> i32 {
    let other = |at: &usize| paper.at[*at] != label;
    let count = |count: usize| i32::try_from(count).unwrap_or(i32::MAX);
    SIDE * count(paper.beside(at).filter(other).count())
        + CORNER * count(paper.at_corners(at).filter(other).count())
}

/// How much more it costs if this square has that label.
fn change(paper: &mut Paper<'_>, at: usize, label: u8, wrong: i32) -> i32 {
    let before = paper.at[at];
    let mut cost = unlike(paper, at, label) - unlike(paper, at, before);
    let misses = |paper: &Paper<'_>| {
        let misses = paper.around(at).filter(|at| !paper.makes(*at)).count();
        i32::try_from(misses).unwrap_or(i32::MAX)
    };
    cost -= wrong * misses(paper);
    paper.at[at] = label;
    cost += wrong * misses(paper);
    paper.at[at] = before;
    cost
}

/// Labels that stand beside a square, or all that fit if its holes are wrong.
fn choices(paper: &Paper<'_>, at: usize, all: bool) -> Vec<u8> {
    let near = || paper.beside(at).chain(paper.at_corners(at));
    let is_near = |label: &u8| all || near().any(|other| paper.at[other] == *label);
    let other = |label: &u8| *label != paper.at[at];
    paper
        .fitting(at)
        .filter(|label| other(label) && is_near(label))
        .collect()
}

/// Gives each square what costs least, as long as it gets less.
fn ease(paper: &mut Paper<'_>, wrong: i32, mut queue: VecDeque<usize>) {
    let mut waits = vec![false; paper.at.len()];
    for at in &queue {
        waits[*at] = true;
    }
    while let Some(at) = queue.pop_front() {
        waits[at] = false;
        let all = !paper.makes(at);
        let choices = choices(paper, at, all).into_iter();
        let costs = choices.map(|label| (change(paper, at, label, wrong), label));
        let Some((cost, label)) = costs.min() else {
            continue;
        };
        if cost >= 0 {
            continue;
        }
        paper.at[at] = label;
        for other in paper.around(at).chain(paper.at_corners(at)) {
            if !waits[other] {
                waits[other] = true;
                queue.push_back(other);
            }
        }
    }
}

/// Makes the best change near each square with wrong holes, whatever it costs. Leaves the
/// squares that still have them.
pub(super) fn mend(paper: &mut Paper<'_>, mut wrong: BTreeSet<usize>) -> BTreeSet<usize> {
    let tries = (TRIES * wrong.len()).clamp(LEAST_TRIES, MOST_TRIES);
    let mut kept: HashMap<usize, usize> = HashMap::new();
    let mut next = 0;
    for turn in 0..tries {
        // in turn, so that none that cannot be mended holds up the others
        let Some(at) = wrong.range(next..).next().or(wrong.first()).copied() else {
            break;
        };
        next = at + 1;
        let near: Vec<usize> = std::iter::once(at).chain(paper.beside(at)).collect();
        let mut best: Option<(i32, usize, u8)> = None;
        for place in near {
            if kept.get(&place).is_some_and(|until| *until > turn) {
                continue;
            }
            for label in choices(paper, place, true) {
                let cost = change(paper, place, label, WRONG[1]);
                if best.is_none_or(|(least, ..)| cost < least) {
                    best = Some((cost, place, label));
                }
            }
        }
        let Some((_, place, label)) = best else {
            continue;
        };
        paper.at[place] = label;
        kept.insert(place, turn + KEPT);
        for other in paper.around(place) {
            if paper.makes(other) {
                wrong.remove(&other);
            } else {
                wrong.insert(other);
            }
        }
    }
    wrong
}
