//! Which cards carry the wires that the chain hangs by.

use cardwright_protocol::CardNumber;
use std::ops::RangeInclusive;

/// Cards from one wire to the next in a small set (Bell ch. V).
pub const SMALL: RangeInclusive<usize> = 14..=16;

/// Cards from one wire to the next in a large set (Bell ch. V).
pub const LARGE: RangeInclusive<usize> = 20..=24;

/// Cards in a chain from which on it is called large: common practice, no source.
/// Bell gives the spacings and not where the one ends.
pub const LARGE_SET_FROM: usize = 201;

/// The wires of one chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wires {
    /// The cards under which a wire is tied, in the order of the chain.
    pub cards: Vec<CardNumber>,
    /// Fewest cards from one wire to the next, over the join as well.
    pub narrowest: usize,
    /// Most cards from one wire to the next, over the join as well.
    pub widest: usize,
    /// The handbook's spacing for a chain of this length.
    pub range: RangeInclusive<usize>,
}

impl Wires {
    /// Spreads the wires over a chain that is closed, its last card being laced to
    /// the first. No two spacings differ by more than one card, and the join lies
    /// midway between two wires, since it is the join that is undone to take the
    /// chain off the loom (common practice, no source).
    #[must_use]
    pub fn of(chain: &[CardNumber]) -> Wires {
        let cards = chain.len();
        let range = range(cards);
        let wires = wires(cards, &range);
        // Midway in its own spacing, so that the spacing over the join is like
        // the others. Doubled, to stay with whole numbers.
        let place = |wire: usize| (2 * wire + 1) * cards / (2 * wires);
        Wires {
            cards: (0..wires)
                .filter_map(|wire| chain.get(place(wire)).copied())
                .collect(),
            narrowest: cards / wires,
            widest: cards.div_ceil(wires),
            range,
        }
    }

    /// Whether the chain is too short to be divided as the handbook says. Its
    /// wires are then closer together than that, and never further apart.
    #[must_use]
    pub fn closer(&self) -> bool {
        self.narrowest < *self.range.start()
    }

    /// The handbook's word for a chain of this length.
    #[must_use]
    pub fn set(&self) -> &'static str {
        if self.range == LARGE {
            "large"
        } else {
            "small"
        }
    }
}

fn range(cards: usize) -> RangeInclusive<usize> {
    if cards < LARGE_SET_FROM { SMALL } else { LARGE }
}

/// How many wires: one of the numbers that keep every spacing within the range;
/// of these, one that divides the chain equally, and then the one nearest to the
/// middle of the range. Some chains of fewer than 98 cards have no such number
/// (20 cards are too many for one wire and too few for two): then the fewest that
/// hang it no further apart than the range's end.
fn wires(cards: usize, range: &RangeInclusive<usize>) -> usize {
    let (low, high) = (*range.start(), *range.end());
    let fewest = cards.div_ceil(high).max(1);
    let unequal = |wires: &usize| !cards.is_multiple_of(*wires);
    // How far wires x middle is from the cards there are, doubled.
    let off_middle = |wires: &usize| (wires * (low + high)).abs_diff(2 * cards);
    (fewest..=cards / low)
        .min_by_key(|wires| (unequal(wires), off_middle(wires)))
        .unwrap_or(fewest)
}
