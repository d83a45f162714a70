//! The cards of a stack laid against the cards of the deck, in order.
//!
//! Enters: for each place of the stack the classes it may be, the class of
//! every card, what each step costs. Leaves: for each place the card it faces.
//! Refuses nothing; a stack too long for a table of all pairs is laid against
//! the deck by its runs of equal cards.

use super::recognise::Candidate;
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// Largest table of places by cards, a byte each: a deck of some 4,000 cards.
const MOST_CELLS: usize = 16_000_000;

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

/// Each place against the card it faces, and what that costs.
pub(super) fn align(
    seen: &[Vec<Choice>],
    deck: &[usize],
    classes: usize,
    costs: &Costs,
) -> (u64, Vec<Option<Facing>>) {
    if (seen.len() + 1).saturating_mul(deck.len() + 1) > MOST_CELLS {
        by_runs(seen, deck)
    } else {
        Table::fill(seen, deck, classes, costs).walk(seen, deck)
    }
}

/// How a cell was come to: facing a card, passing a place, passing a card.
const STATES: usize = 3;
const FACED: usize = 0;
const PASSED_PLACE: usize = 1;
const PASSED_CARD: usize = 2;
const FAR: u64 = u64::MAX / 4;

/// For each pair of places and cards done with, how it is best come to in each
/// state: two bits a state.
struct Table {
    from: Vec<u8>,
    width: usize,
    /// Cost of all, and the state at the end.
    last: (u64, u8),
}

fn least(costs: [u64; STATES], late: bool) -> (u64, u8) {
    let mut best = (costs[0], 0);
    for (cost, state) in costs.into_iter().zip(0u8..).skip(1) {
        if cost < best.0 || late && cost == best.0 {
            best = (cost, state);
        }
    }
    best
}

impl Table {
    fn fill(seen: &[Vec<Choice>], deck: &[usize], classes: usize, costs: &Costs) -> Table {
        let width = deck.len() + 1;
        let (unlike, gap, more) = (
            u64::from(costs.unlike),
            u64::from(costs.gap),
            u64::from(costs.more),
        );
        let mut from = Vec::with_capacity(width * (seen.len() + 1));
        let mut above = vec![[FAR; STATES]; width];
        let mut row = vec![[FAR; STATES]; width];
        let mut fit = vec![unlike; classes];
        for place in 0..=seen.len() {
            let choices = place.checked_sub(1).and_then(|place| seen.get(place));
            for choice in choices.into_iter().flatten() {
                let cost = u64::from(choice.cost());
                if let Some(fit) = fit.get_mut(choice.candidate.class) {
                    *fit = cost.min(*fit);
                }
            }
            let (mut left, mut corner) = ([FAR; STATES], [FAR; STATES]);
            for (card, (cell, above)) in row.iter_mut().zip(&above).enumerate() {
                let class = card.checked_sub(1).and_then(|card| deck.get(card));
                let faces = class.and_then(|class| fit.get(*class)).copied();
                let (faced, a) = least(corner, costs.late);
                let (place_passed, b) = least(
                    [above[0] + gap, above[1] + more, above[2] + gap],
                    costs.late,
                );
                let (card_passed, c) =
                    least([left[0] + gap, left[1] + gap, left[2] + more], costs.late);
                *cell = [
                    (faced + faces.unwrap_or(FAR)).min(FAR),
                    place_passed.min(FAR),
                    card_passed.min(FAR),
                ];
                if place == 0 && card == 0 {
                    *cell = [0, FAR, FAR];
                }
                from.push(a | b << 2 | c << 4);
                (left, corner) = (*cell, *above);
            }
            for choice in choices.into_iter().flatten() {
                if let Some(fit) = fit.get_mut(choice.candidate.class) {
                    *fit = unlike;
                }
            }
            std::mem::swap(&mut row, &mut above);
        }
        let last = above.last().copied().unwrap_or([FAR; STATES]);
        Table {
            from,
            width,
            last: least(last, costs.late),
        }
    }

    fn walk(&self, seen: &[Vec<Choice>], deck: &[usize]) -> (u64, Vec<Option<Facing>>) {
        let mut facing = vec![None; seen.len()];
        let (cost, state) = self.last;
        let (mut place, mut card, mut state) = (seen.len(), deck.len(), usize::from(state));
        while place > 0 || card > 0 {
            let from = self
                .from
                .get(place * self.width + card)
                .copied()
                .unwrap_or(0);
            let before = usize::from(from >> (2 * state) & 3);
            match state {
                FACED if place > 0 && card > 0 => {
                    (place, card) = (place - 1, card - 1);
                    let fits =
                        seen.get(place)
                            .zip(deck.get(card))
                            .is_some_and(|(choices, class)| {
                                choices.iter().any(|one| one.candidate.class == *class)
                            });
                    if let Some(facing) = facing.get_mut(place) {
                        *facing = Some(Facing { card, fits });
                    }
                }
                PASSED_PLACE if place > 0 => place -= 1,
                PASSED_CARD if card > 0 => card -= 1,
                _ => break,
            }
            state = before;
        }
        (cost, facing)
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
                    let (cost, facing) = align(&choices(&seen), deck, 3, &costs);
                    let least = plain(&seen, deck, &costs, FACED);
                    assert_eq!(cost, u64::from(least), "{seen:?} on {deck:?} {costs:?}");
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

    #[test]
    fn a_very_long_stack_is_laid_against_its_deck() {
        let deck: Vec<usize> = (0..5_000).collect();
        let mut seen = deck.clone();
        seen.remove(4_000);
        seen.insert(1_000, 77);
        let (_, facing) = align(&choices(&seen), &deck, deck.len(), &Costs::EVEN);
        for (place, facing) in facing.iter().enumerate() {
            let card = facing.filter(|it| it.fits).map(|it| it.card);
            assert_eq!(card, (place != 1_000).then_some(seen[place]), "{place}");
        }
    }
}
