//! Dust that comes to lie on a channel while a card is read, and stays there.
//!
//! Enters: the rows as measured, the lamp, the light through solid card. Leaves:
//! from which row on a channel is dim, and what light each channel has behind the
//! last stroke. A channel's holes that are dim beside paper that clearly is not
//! are refused as dust: they are faulty.

use super::super::light::median;
use super::levels::{HARMLESS, Levels, MARGIN_DIFFERS, agrees};
use super::paper::Paper;
use super::pick::Columns;
use super::rows::{Row, Rows};

/// Less light than this is no hole's in dust.
pub(super) const DIMMEST: f32 = 0.2;
/// Fewest holes that tell dust on one channel, and how well they must agree.
const FEWEST_DUSTY: usize = 3;
/// Holes at the end of a channel that are looked at first.
const LAST: usize = 5;
const DUSTY_AGREE: f32 = 0.02;
/// Paper that is brighter than half as dim as the holes by so much is not dim.
const PAPER_CLEAR: f32 = 0.045;
/// Fewest lines of the margin that tell of its light, and what is left free of the
/// last hole and of the edge, in millimetres.
const FEWEST_LINES: usize = 5;
const FREE_MM: f32 = 1.0;

/// Dust that came to lie on one channel.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Dust {
    /// Rows of the last hole before and the first hole after it came; one of them
    /// may have been read in both lights.
    pub(super) turn: std::ops::RangeInclusive<usize>,
    /// First row that is dim.
    pub(super) from: usize,
    /// What light is left.
    pub(super) left: f32,
    /// Whether enough holes tell of it to allow for it.
    pub(super) known: bool,
}

/// Light through the margin behind the last stroke, on each channel against all: what
/// dust has come by the end.
#[derive(Clone, Debug)]
pub(super) struct Margin<const N: usize> {
    against: Option<[f32; N]>,
}

impl<const N: usize> Margin<N> {
    /// The margin from the last hole, which ends its light at `from_mm`, to the
    /// trailing edge, which begins to show at `to_mm`.
    pub(super) fn new(rows: &Rows<'_, N>, from_mm: f32, to_mm: f32) -> Margin<N> {
        let light = rows.light;
        let line = |at_mm: f32| at_mm / rows.bases.line_mm + light.per_row as f32;
        let first = line(from_mm + FREE_MM).ceil().max(0.0) as usize;
        let after = (line(to_mm - FREE_MM).floor().max(0.0) as usize + 1).min(light.lines.len());
        let lines = light.lines.get(first..after).unwrap_or_default();
        if lines.len() < FEWEST_LINES {
            return Margin { against: None };
        }
        let mut values = Columns::<N>::with_room(lines.len());
        for line in lines {
            values.keep_each(&line.map(|share| light.through(share)), &[true; N]);
        }
        let values = values.sorted();
        // idle channels have all their light
        let mut own = [1.0; N];
        for (lane, own) in own.iter_mut().enumerate().take(light.holes) {
            *own = values.middle_mean(lane).unwrap_or(0.0);
        }
        let all = own;
        let common = median(&all[..light.holes]).filter(|common| *common > 0.0);
        Margin {
            against: common.map(|common| {
                let share = |own: &mut f32| *own /= common;
                own.iter_mut().take(light.holes).for_each(share);
                own
            }),
        }
    }

    /// Whether any channel may have lost light.
    pub(super) fn may_be_dim(&self) -> bool {
        let clear = |own: &f32| *own > 1.0 - PAPER_CLEAR;
        !self
            .against
            .is_some_and(|against| against.iter().all(clear))
    }

    /// Whether a channel clearly has more than this share of its light.
    pub(super) fn is_clear(&self, lane: usize, share: f32) -> bool {
        let own = self.against.map(|against| against[lane]);
        own.is_some_and(|own| own > share + PAPER_CLEAR)
    }
}

/// Dust on one channel: from some hole on to the last, all are dim alike, and so
/// is the paper.
pub(super) fn dust<const N: usize>(
    rows: &Rows<'_, N>,
    levels: &Levels<N>,
    paper: &Paper<N>,
    lane: usize,
) -> Option<Dust> {
    let lit = |(number, row): (usize, &Row<'_, N>)| {
        let is_lit = (row.amplitude[lane] > DIMMEST) & row.clear[lane];
        (number, row.amplitude[lane] / levels.lamp[number], is_lit)
    };
    let each = rows.each.iter().enumerate();
    let mut last = [0.0; LAST];
    let mut count = 0;
    for (_, left, is_lit) in each.clone().rev().map(lit) {
        // what is not lit is written over by the next
        last[count] = left;
        count += usize::from(is_lit);
        if count == LAST {
            break;
        }
    }
    let last = &last[..count];
    let after = *last.first()?;
    if last.iter().all(|own| (own - 1.0).abs() < HARMLESS) {
        return None;
    }
    let mut left = median(last)?;
    let agreeing = last.iter().filter(|own| (*own - left).abs() < DUSTY_AGREE);
    if agreeing.count() < FEWEST_DUSTY || (left - 1.0).abs() < DUSTY_AGREE {
        // those that are dim are too few to count against those before
        left = after;
    }
    if (left - 1.0).abs() < HARMLESS {
        // the last holes are as bright as they should be; a single dim hole
        // among them is a fault of its own
        return None;
    }
    let lit = each.map(lit).filter(|(_, _, is_lit)| *is_lit);
    let holes: Vec<(usize, f32)> = lit.map(|(number, left, _)| (number, left)).collect();
    let alike = |hole: &(usize, f32)| (hole.1 - left).abs() < DUSTY_AGREE;
    // from the end as far back as nearly all are alike
    let (mut start, mut others) = (holes.len(), 0);
    for (at, hole) in holes.iter().enumerate().rev() {
        if alike(hole) {
            start = at;
        } else {
            others += 1;
            if others > 1 + (holes.len() - at) / 6 {
                break;
            }
        }
    }
    let count = holes.iter().skip(start).filter(|hole| alike(hole)).count();
    // dust may have come at any row after the last hole that is not dim
    let from = start
        .checked_sub(1)
        .and_then(|at| holes.get(at))
        .map_or(0, |hole| hole.0 + 1);
    let first = holes.get(start).map_or(from, |hole| hole.0);
    let dim = paper.against(rows.light, lane, first);
    // holes that are dim beside paper that clearly is not are faulty
    let half = 1.0 - (1.0 - left) / 2.0;
    if dim.is_some_and(|dim| dim > half + PAPER_CLEAR) {
        return None;
    }
    let known = count >= FEWEST_DUSTY && dim.is_some_and(|dim| agrees(left, dim, MARGIN_DIFFERS));
    Some(Dust {
        turn: from.saturating_sub(1)..=first,
        from,
        left,
        known,
    })
}
