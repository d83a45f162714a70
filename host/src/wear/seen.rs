//! What each punch's holes in one card were like.
//!
//! Enters: the report on a card that was just cut. Leaves: for each punch with
//! whole holes in it, how many, their mean diameter and their mean place along
//! the feed, by which the punch stands before or behind the others. Rows lie
//! where the feed led them, so that each row's own place is taken out: by a
//! median polish (Tukey, Exploratory Data Analysis), which no single bad hole
//! bends. Leaves nothing for a card that is none of this rig's work.

use crate::judge::{Cell, Judged, Report, Verdict};
use crate::ledger::PunchSeen;
use crate::wear::trend::median;
use std::collections::BTreeMap;

/// Rounds in which rows and punches are told apart.
const ROUNDS: usize = 3;

/// Whole holes of one card.
struct Hole {
    stroke: u16,
    punch: u8,
    along_um: f64,
    diameter_um: f64,
}

/// What each punch's holes in this card were like, by hole; 0 is the peg punch.
/// Punches without a whole hole are left out.
#[must_use]
pub fn punches_seen(report: &Report) -> Vec<PunchSeen> {
    if !matches!(report.verdict, Verdict::Good | Verdict::Faulty(_)) {
        return Vec::new();
    }
    let holes: Vec<Hole> = report.cells.iter().filter_map(whole).collect();
    let places = polish(&holes);
    let mut punches: BTreeMap<u8, (u16, f64)> = BTreeMap::new();
    for hole in &holes {
        let (count, sum) = punches.entry(hole.punch).or_default();
        *count = count.saturating_add(1);
        *sum += hole.diameter_um;
    }
    punches
        .into_iter()
        .map(|(hole, (holes, sum))| PunchSeen {
            hole,
            holes,
            diameter_um: (sum / f64::from(holes.max(1))).round() as i32,
            along_um: places.get(&hole).copied().unwrap_or(0.0).round() as i32,
        })
        .collect()
}

fn whole(cell: &Cell) -> Option<Hole> {
    let right = cell.required && cell.judged == Judged::Right;
    Some(Hole {
        stroke: cell.stroke,
        punch: cell.hole,
        along_um: f64::from(cell.offset_um?),
        diameter_um: f64::from(cell.diameter_um?),
    })
    .filter(|_| right)
}

/// How far behind the others each punch's holes lie, in micrometres: the mean
/// over its holes of what is left when their rows' places are taken out. The
/// middle punch of the card stands at 0.
fn polish(holes: &[Hole]) -> BTreeMap<u8, f64> {
    let mut punches: BTreeMap<u8, f64> = BTreeMap::new();
    for _ in 0..ROUNDS {
        let rows = by(
            holes,
            |hole| hole.stroke,
            median,
            |hole| hole.along_um - punches.get(&hole.punch).copied().unwrap_or(0.0),
        );
        punches = by(
            holes,
            |hole| hole.punch,
            mean,
            |hole| hole.along_um - rows.get(&hole.stroke).copied().unwrap_or(0.0),
        );
        let middle = median(&mut punches.values().copied().collect::<Vec<_>>());
        punches.values_mut().for_each(|place| *place -= middle);
    }
    punches
}

/// `middle` of `value` over the holes of each row or punch.
fn by<K: Ord>(
    holes: &[Hole],
    key: impl Fn(&Hole) -> K,
    middle: fn(&mut [f64]) -> f64,
    value: impl Fn(&Hole) -> f64,
) -> BTreeMap<K, f64> {
    let mut groups: BTreeMap<K, Vec<f64>> = BTreeMap::new();
    for hole in holes {
        groups.entry(key(hole)).or_default().push(value(hole));
    }
    groups
        .into_iter()
        .map(|(key, mut values)| (key, middle(&mut values)))
        .collect()
}

fn mean(values: &mut [f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}
