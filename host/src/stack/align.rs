//! The cards of a stack laid against the cards of the deck, in order.
//!
//! Enters: for each place of the stack the classes it may be, the class of
//! every card, what each step costs, and how much is too much. Leaves: for each
//! place the card it faces, and what that costs. Refuses nothing; a stack too
//! long for a table is laid against the deck by its runs of equal cards.

use super::recognise::Candidate;
use super::table::Table;
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// Largest table, a byte a cell: some 4,000 cards in any disorder.
const MOST_CELLS: usize = 16_000_000;

/// Half the band that is tried first: what is wrong with a stack is mostly a
/// few cards, so that every place faces a card near its own number.
const FIRST_BAND: usize = 8;

/// What one thing wrong costs. Wrong holes weigh next to nothing: they only
/// decide between cards that otherwise do equally well.
pub(super) const ONE: u32 = 10_000;
const WRONG_HOLE: u32 = 10;
const MOST_WRONG: u32 = 99;

/// One class that a place may be, as the stack as a whole lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    pub(super) candidate: Candidate,
    /// Whether it lies otherwise than the stack.
    pub(super) turned: bool,
}

impl Choice {
    pub(super) fn cost(&self) -> u32 {
        let turned = if self.turned { ONE } else { 0 };
        turned + self.candidate.difference.wrong().min(MOST_WRONG) * WRONG_HOLE
    }
}

/// What the steps cost beside fitting cards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Costs {
    /// A card faces a place that is another card.
    pub(super) unlike: u32,
    /// The first place or card of a run that faces nothing.
    pub(super) gap: u32,
    /// Each further one.
    pub(super) more: u32,
    /// Of gaps that could as well lie further up or down, the furthest down.
    pub(super) late: bool,
}

/// What it costs, and the card that each place faces.
pub(super) type Aligned = (u64, Vec<Option<Facing>>);

impl Costs {
    /// An exchange is as dear as a move: as many cards to handle.
    pub(super) const EVEN: Costs = Costs {
        unlike: ONE + 1,
        gap: ONE,
        more: ONE,
        late: false,
    };
    /// As many cards in order as there can be.
    const MOST_IN_ORDER: Costs = Costs {
        unlike: 2 * ONE - 1,
        gap: ONE,
        more: ONE,
        late: false,
    };
    /// The ways that are worth trying, each with something it is best at.
    pub(super) const ALL: [Costs; 4] = [
        Costs::EVEN,
        Costs::MOST_IN_ORDER,
        Costs::BLOCKS,
        Costs::BLOCKS_IN_ORDER,
    ];
    /// The least that a way costs which anywhere is more than `half` beyond the
    /// numbers that lie between those of the first and of the last pair.
    fn beyond(&self, half: usize, places: usize, cards: usize) -> u64 {
        let run = |passed: usize| u64::from(self.gap) + passed as u64 * u64::from(self.more);
        run(half + places.saturating_sub(cards)) + run(half + cards.saturating_sub(places))
    }

    /// A block is moved as one piece, and cards stay in order for all that.
    const BLOCKS_IN_ORDER: Costs = Costs {
        unlike: 2 * ONE - 1,
        ..Costs::BLOCKS
    };
    /// A block is moved as one piece.
    const BLOCKS: Costs = Costs {
        unlike: ONE + 1,
        gap: ONE + 2,
        more: ONE / 4,
        late: false,
    };
}

/// What a place faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Facing {
    /// The card, from 0.
    pub(super) card: usize,
    /// Whether the place can be that card.
    pub(super) fits: bool,
}

/// Each place against the card it faces, and what that costs; none if it costs
/// more than `limit`.
pub(super) fn align(
    seen: &[Vec<Choice>],
    deck: &[usize],
    classes: usize,
    costs: &Costs,
    limit: u64,
) -> Option<Aligned> {
    align_from(FIRST_BAND, seen, deck, classes, costs, limit)
}

/// Only pairs near the straight way are looked at, within a band that is made
/// wider until no way that leaves it can be as cheap.
fn align_from(
    first: usize,
    seen: &[Vec<Choice>],
    deck: &[usize],
    classes: usize,
    costs: &Costs,
    limit: u64,
) -> Option<Aligned> {
    let mut half = first;
    loop {
        let widest = seen.len().max(deck.len());
        half = half.min(widest);
        let width = seen.len().abs_diff(deck.len()) + 2 * half + 1;
        if (seen.len() + 1).saturating_mul(width) > MOST_CELLS {
            return Some(by_runs(seen, deck));
        }
        let table = Table::fill(seen, deck, classes, costs, half);
        let beyond = costs.beyond(half, seen.len(), deck.len());
        if half == widest || table.cost() < beyond {
            let found = (table.cost(), table.walk(seen, deck));
            return (found.0 <= limit).then_some(found);
        }
        if beyond > limit {
            return None;
        }
        half = 2 * half + 1;
    }
}

/// For very long stacks: by the nearest class of each place alone.
fn by_runs(seen: &[Vec<Choice>], deck: &[usize]) -> (u64, Vec<Option<Facing>>) {
    let stranger = usize::MAX;
    let nearest = |choices: &Vec<Choice>| {
        let best = choices.iter().min_by_key(|choice| choice.cost());
        best.map_or(stranger, |choice| choice.candidate.class)
    };
    let stack: Vec<usize> = seen.iter().map(nearest).collect();
    let mut facing = vec![None; seen.len()];
    let mut cost = 0;
    for op in capture_diff_slices(Algorithm::Myers, &stack, deck) {
        let (_, places, cards) = op.as_tag_tuple();
        let fits = matches!(op, DiffOp::Equal { .. });
        if !fits {
            cost += u64::from(ONE) * places.len().max(cards.len()) as u64;
        }
        for (place, card) in places.zip(cards) {
            if let Some(facing) = facing.get_mut(place) {
                *facing = Some(Facing { card, fits });
            }
        }
    }
    (cost, facing)
}

#[cfg(test)]
mod tests {
    use super::super::pattern::{Difference, Lie};
    use super::super::table::{FACED, PASSED_CARD, PASSED_PLACE};
    use super::*;

    /// The least cost by trying every way, written as plainly as can be.
    fn plain(seen: &[usize], deck: &[usize], costs: &Costs, state: usize) -> u32 {
        let gap = |own| if state == own { costs.more } else { costs.gap };
        let mut ways = Vec::new();
        if let ([place, seen @ ..], [card, deck @ ..]) = (seen, deck) {
            let cost = if place == card { 0 } else { costs.unlike };
            ways.push(cost + plain(seen, deck, costs, FACED));
        }
        if let [_, seen @ ..] = seen {
            ways.push(gap(PASSED_PLACE) + plain(seen, deck, costs, PASSED_PLACE));
        }
        if let [_, deck @ ..] = deck {
            ways.push(gap(PASSED_CARD) + plain(seen, deck, costs, PASSED_CARD));
        }
        ways.into_iter().min().unwrap_or(0)
    }

    fn choices(seen: &[usize]) -> Vec<Vec<Choice>> {
        let choice = |class: &usize| Choice {
            candidate: Candidate {
                class: *class,
                lie: Lie::AsIs,
                difference: Difference::default(),
            },
            turned: false,
        };
        seen.iter().map(|class| vec![choice(class)]).collect()
    }

    /// Every row of up to `longest` cards of three kinds.
    fn rows(longest: u32) -> impl Iterator<Item = Vec<usize>> {
        let row = |length: u32| {
            (0..3usize.pow(length))
                .map(move |mut number| (0..length).map(|_| (number % 3, number /= 3).0).collect())
        };
        (0..=longest).flat_map(row)
    }

    #[test]
    fn no_way_is_cheaper_than_the_one_taken() {
        let decks: [&[usize]; 6] = [
            &[0, 1, 2],
            &[0, 0, 1, 2],
            &[0, 1, 0, 1, 2],
            &[2, 2, 2, 2],
            &[0, 1, 2, 2, 1],
            &[1],
        ];
        for deck in decks {
            for seen in rows(5) {
                for costs in Costs::ALL {
                    let seen_as = choices(&seen);
                    let aligned = |band, limit| align_from(band, &seen_as, deck, 3, &costs, limit);
                    let (cost, facing) = aligned(5, u64::MAX).expect("no limit");
                    let least = plain(&seen, deck, &costs, FACED);
                    assert_eq!(cost, u64::from(least), "{seen:?} on {deck:?} {costs:?}");
                    // A narrow band to begin with changes nothing.
                    assert_eq!(aligned(0, cost), Some((cost, facing.clone())));
                    assert_eq!(aligned(0, cost.saturating_sub(1)).is_some(), cost == 0);
                    let cards: Vec<usize> = facing.iter().flatten().map(|it| it.card).collect();
                    assert!(cards.is_sorted_by(|a, b| a < b), "{facing:?}");
                    for (place, facing) in facing.iter().enumerate() {
                        let fits = facing.map(|it| deck[it.card] == seen[place]);
                        assert_eq!(facing.map(|it| it.fits), fits);
                    }
                }
            }
        }
    }

    fn faced(seen: &[usize], deck: &[usize]) -> Vec<Option<usize>> {
        let aligned = align(&choices(seen), deck, deck.len(), &Costs::EVEN, u64::MAX);
        let (_, facing) = aligned.expect("no limit");
        let card = |it: &Option<Facing>| it.filter(|it| it.fits).map(|it| it.card);
        facing.iter().map(card).collect()
    }

    #[test]
    fn a_very_long_stack_is_laid_against_its_deck() {
        let deck: Vec<usize> = (0..5_000).collect();
        let mut seen = deck.clone();
        seen.remove(4_000);
        seen.insert(1_000, 77);
        for (place, card) in faced(&seen, &deck).into_iter().enumerate() {
            assert_eq!(card, (place != 1_000).then_some(seen[place]), "{place}");
        }
        // Too far apart for a table: its runs are faced.
        let mut seen = deck.clone();
        seen.rotate_left(2_400);
        for (place, card) in faced(&seen, &deck).into_iter().enumerate() {
            assert_eq!(card, (place < 2_600).then_some(seen[place]), "{place}");
        }
    }
}
