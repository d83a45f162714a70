//! The punches over time: one that blunts or drifts is told before it fails.
//!
//! Enters: what each punch's holes were like in the cards it cut, in the order
//! in which they were cut, and what they were like when the rig was calibrated.
//! Leaves: whether the punch is steady, its holes get narrower, it drifts along
//! the feed, or it is another punch than before. Refuses nothing: of a punch that
//! has cut too little nothing is said. Pure.

mod judge;
mod seen;
mod trend;
mod words;

pub use judge::{Finding, Wear, judge_punch};
pub use seen::punches_seen;
pub use words::punch_words;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::ledger::{PunchRow, PunchSeen};

/// Newest cards of a history that are looked at one by one.
const NEWEST: usize = 200;

/// Older ones are taken together, into so many groups at most.
const GROUPS: usize = 100;

/// What is known of one punch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PunchState {
    /// The hole, from 1; 0 is the peg punch.
    pub hole: u8,
    /// Cards it has cut.
    pub cards: u32,
    /// Holes in them that were measured.
    pub strokes: u64,
    /// Diameter of its holes in the last card, in millimetres.
    pub diameter_mm: f64,
    /// How far behind the other punches' they lie there.
    pub along_mm: f64,
    /// What there is to be told; nothing of a steady one.
    pub findings: Vec<Finding>,
}

/// What is known of every punch by the whole history of a rig, in the order of the
/// cards. `start` is what each punch was like before the first of them, if that
/// is known.
#[must_use]
pub fn punch_states(history: &[PunchRow], start: &[PunchSeen]) -> Vec<PunchState> {
    let mut punches: BTreeMap<u8, Vec<PunchRow>> = BTreeMap::new();
    for row in history {
        punches.entry(row.seen.hole).or_default().push(row.clone());
    }
    punches
        .into_iter()
        .map(|(hole, rows)| {
            let start = start.iter().find(|seen| seen.hole == hole).copied();
            let last = rows.last().map(|row| row.seen);
            let mm = |um: Option<i32>| f64::from(um.unwrap_or(0)) / 1000.0;
            PunchState {
                hole,
                cards: u32::try_from(rows.len()).unwrap_or(u32::MAX),
                strokes: rows.iter().map(|row| u64::from(row.seen.holes)).sum(),
                diameter_mm: mm(last.map(|seen| seen.diameter_um)),
                along_mm: mm(last.map(|seen| seen.along_um)),
                findings: judge_punch(&thinned(rows), start),
            }
        })
        .collect()
}

/// A long history in fewer rows: the newest as they are, older neighbours
/// together.
fn thinned(rows: Vec<PunchRow>) -> Vec<PunchRow> {
    let old = rows.len().saturating_sub(NEWEST);
    let size = old.div_ceil(GROUPS);
    if size < 2 {
        return rows;
    }
    let (old, newest) = rows.split_at(old);
    old.chunks(size)
        .filter_map(together)
        .chain(newest.iter().cloned())
        .collect()
}

/// Neighbours in one: under the first one's name, with the middle of their values.
fn together(rows: &[PunchRow]) -> Option<PunchRow> {
    let middle = |value: fn(&PunchSeen) -> i32| {
        let values: Vec<f64> = rows.iter().map(|row| f64::from(value(&row.seen))).collect();
        trend::middle(&values).round() as i32
    };
    let holes = rows.iter().map(|row| u32::from(row.seen.holes)).sum();
    let mut one = rows.first()?.clone();
    one.seen.holes = u16::try_from(u32::min(holes, u32::from(u16::MAX))).unwrap_or(u16::MAX);
    one.seen.diameter_um = middle(|seen| seen.diameter_um);
    one.seen.along_um = middle(|seen| seen.along_um);
    Some(one)
}
