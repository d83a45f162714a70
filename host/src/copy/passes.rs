//! Passes of one stack laid side by side, card by card.
//!
//! Enters: what was seen in each pass, a card that could not be measured being
//! none. Leaves: the cards of the stack in order, each with every sight of it.
//! A card that was missed or fed twice in one pass does not put the others out
//! of step; a pass laid in the other way round is turned.

use super::sight::Sight;

/// A sight, and the pass (from 0) it is of.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub pass: usize,
    pub sight: Option<Sight>,
}

/// One card of the stack.
pub(super) type Column = Vec<Placed>;

/// What it costs to lay a card beside one that could not be measured, and to
/// leave a card alone; a wrong position costs 20.
const UNSEEN: u32 = 100;
const ALONE: u32 = 10_000;
const WRONG: u32 = 20;

/// Two sights of one card differ in no more than this share of its positions,
/// or of its holes; so many are always borne.
const MOST_PERMILLE: u32 = 60;
const LEAST: u32 = 3;

/// How far two passes may be out of step, beyond their difference in length.
const BAND: usize = 64;

const FAR: u32 = u32::MAX / 4;

/// The cards of the stack by all passes.
pub(super) fn side_by_side(passes: &[Vec<Option<Sight>>]) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for (number, pass) in passes.iter().enumerate() {
        let placed = |sight: &Option<Sight>| Placed {
            pass: number,
            sight: sight.clone(),
        };
        let pass: Vec<Placed> = pass.iter().map(placed).collect();
        columns = if columns.is_empty() {
            pass.into_iter().map(|one| vec![one]).collect()
        } else {
            join(columns, pass)
        };
    }
    columns
}

fn join(columns: Vec<Column>, pass: Vec<Placed>) -> Vec<Column> {
    let forwards = Table::fill(&columns, &pass);
    let mut turned = pass.clone();
    turned.reverse();
    let backwards = Table::fill(&columns, &turned);
    if backwards.cost < forwards.cost {
        backwards.walk(columns, turned)
    } else {
        forwards.walk(columns, pass)
    }
}

/// How a cell was come to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Step {
    Beside,
    ColumnAlone,
    OneAlone,
}

/// For each number of columns, those numbers of cards of the pass that lie
/// within the band.
struct Table {
    steps: Vec<Vec<Step>>,
    first: Vec<usize>,
    cost: u32,
}

impl Table {
    fn fill(columns: &[Column], pass: &[Placed]) -> Table {
        let slack = BAND + columns.len().abs_diff(pass.len());
        let mut table = Table {
            steps: Vec::with_capacity(columns.len() + 1),
            first: Vec::with_capacity(columns.len() + 1),
            cost: FAR,
        };
        let (mut above, mut above_first): (Vec<u32>, usize) = (Vec::new(), 0);
        for row in 0..=columns.len() {
            let first = row.saturating_sub(slack);
            let last = (row + slack).min(pass.len());
            let (mut costs, mut steps) = (Vec::new(), Vec::new());
            for card in first..=last {
                let over = |card: usize| {
                    let at = card.checked_sub(above_first);
                    at.and_then(|at| above.get(at)).copied().unwrap_or(FAR)
                };
                let left = costs.last().copied().unwrap_or(FAR);
                let column = row.checked_sub(1).and_then(|row| columns.get(row));
                let one = card.checked_sub(1).and_then(|card| pass.get(card));
                let beside = column.zip(one).map_or(FAR, |(column, one)| {
                    over(card - 1).saturating_add(fits(column, one).map_or(FAR, |(cost, _)| cost))
                });
                let mut best = (beside, Step::Beside);
                if row > 0 && over(card).saturating_add(ALONE) < best.0 {
                    best = (over(card) + ALONE, Step::ColumnAlone);
                }
                if card > first && left.saturating_add(ALONE) < best.0 {
                    best = (left + ALONE, Step::OneAlone);
                }
                if row == 0 && card == 0 {
                    best.0 = 0;
                }
                costs.push(best.0.min(FAR));
                steps.push(best.1);
            }
            table.steps.push(steps);
            table.first.push(first);
            (above, above_first) = (costs, first);
        }
        let end = pass.len().checked_sub(above_first);
        table.cost = end.and_then(|end| above.get(end)).copied().unwrap_or(FAR);
        table
    }

    fn walk(&self, mut columns: Vec<Column>, mut pass: Vec<Placed>) -> Vec<Column> {
        let mut joined = Vec::with_capacity(columns.len());
        while !columns.is_empty() || !pass.is_empty() {
            let (row, card) = (columns.len(), pass.len());
            let step = self.first.get(row).and_then(|first| {
                let at = card.checked_sub(*first)?;
                self.steps.get(row)?.get(at).copied()
            });
            match step {
                Some(Step::Beside) if row > 0 && card > 0 => {
                    if let (Some(mut column), Some(mut one)) = (columns.pop(), pass.pop()) {
                        let over = fits(&column, &one).is_some_and(|(_, face_over)| face_over);
                        if over {
                            one.sight = one.sight.as_ref().map(Sight::face_over);
                        }
                        column.push(one);
                        joined.push(column);
                    }
                }
                Some(Step::ColumnAlone) if row > 0 => joined.extend(columns.pop()),
                _ if card > 0 => joined.extend(pass.pop().map(|one| vec![one])),
                _ => joined.extend(columns.pop()),
            }
        }
        joined.reverse();
        joined
    }
}

/// What it costs to take both for one card, and whether its other face is up;
/// none if they are two cards.
fn fits(column: &Column, one: &Placed) -> Option<(u32, bool)> {
    let known = column.iter().find_map(|placed| placed.sight.as_ref());
    let (Some(known), Some(seen)) = (known, &one.sight) else {
        return Some((UNSEEN, false));
    };
    let compared = known.positions();
    let holes = known.holes();
    let rarer = holes.min(compared.saturating_sub(holes)) / 3;
    let limit = (compared * MOST_PERMILLE / 1000).min(rarer).max(LEAST);
    let same = known.differs(seen);
    if same <= limit {
        return Some((same * WRONG, false));
    }
    let over = known.differs(&seen.face_over());
    (over <= limit).then_some((over * WRONG + 1, true))
}
