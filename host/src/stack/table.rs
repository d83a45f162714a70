//! The cheapest way to lay a stack against a deck, by dynamic programming.
//!
//! Enters: as for aligning, and how far a place may face a card of another
//! number. Leaves: the cost of the cheapest way, and for each place the card it
//! faces. Refuses nothing.

use super::align::{Choice, Costs, Facing};

/// How a cell was come to: facing a card, passing a place, passing a card.
const STATES: usize = 3;
pub(super) const FACED: usize = 0;
pub(super) const PASSED_PLACE: usize = 1;
pub(super) const PASSED_CARD: usize = 2;

/// A cost with the state it stands for in its two lowest bits, so that the lower
/// of two numbers is the cheaper way and, where both cost as much, the one that
/// is preferred.
type Marked = u64;
const MARK: u32 = 2;
/// No way leads there.
const FAR: Marked = 1 << 60;

/// For each pair of places and cards done with, how it is best come to in each
/// state: two bits a state. Only the pairs within the band are held.
pub(super) struct Table {
    from: Vec<u8>,
    band: Band,
    /// Cost of all, and the state at the end.
    last: (u64, usize),
}

/// The cards that are paired with a place: from `before` below its own number,
/// `width` of them.
#[derive(Clone, Copy)]
struct Band {
    before: usize,
    width: usize,
}

/// What steps cost, marked, and how states are marked.
struct Steps {
    gap: Marked,
    more: Marked,
    flip: u64,
}

impl Steps {
    fn new(costs: &Costs) -> Steps {
        Steps {
            gap: u64::from(costs.gap) << MARK,
            more: u64::from(costs.more) << MARK,
            // Of gaps as cheap, the furthest down is found from the end by
            // preferring to pass.
            flip: if costs.late { 3 } else { 0 },
        }
    }

    fn marked(&self, way: Marked, state: usize) -> Marked {
        way >> MARK << MARK | state as u64 ^ self.flip
    }

    /// The best of these ways, and its state.
    fn best(&self, [a, b, c]: [Marked; STATES]) -> (Marked, u8) {
        let best = a.min(b).min(c);
        let state = [0, 1, 2, 3][((best ^ self.flip) & 3) as usize];
        (best, state)
    }
}

impl Table {
    /// The table of all pairs at most `half` beyond the numbers that lie between
    /// those of the first and of the last pair.
    pub(super) fn fill(
        seen: &[Vec<Choice>],
        deck: &[usize],
        classes: usize,
        costs: &Costs,
        half: usize,
    ) -> Table {
        let band = Band {
            before: half + seen.len().saturating_sub(deck.len()),
            width: seen.len().abs_diff(deck.len()) + 2 * half + 1,
        };
        let steps = Steps::new(costs);
        let unlike = u64::from(costs.unlike) << MARK;
        let mut from = vec![0; band.width * (seen.len() + 1)];
        let mut above = vec![[FAR; STATES]; deck.len() + 1];
        let mut row = above.clone();
        let mut fit = vec![unlike; classes];
        for (place, from) in from.chunks_exact_mut(band.width).enumerate() {
            let choices = place.checked_sub(1).and_then(|place| seen.get(place));
            for choice in choices.into_iter().flatten() {
                let cost = u64::from(choice.cost()) << MARK;
                if let Some(fit) = fit.get_mut(choice.candidate.class) {
                    *fit = cost.min(*fit);
                }
            }
            fill_row(place, band, &steps, (&above, &mut row), from, |card| {
                deck.get(card).and_then(|class| fit.get(*class)).copied()
            });
            for choice in choices.into_iter().flatten() {
                if let Some(fit) = fit.get_mut(choice.candidate.class) {
                    *fit = unlike;
                }
            }
            std::mem::swap(&mut row, &mut above);
        }
        let (last, state) = steps.best(above.last().copied().unwrap_or([FAR; STATES]));
        Table {
            from,
            band,
            last: (last >> MARK, usize::from(state)),
        }
    }

    /// What the cheapest way costs.
    pub(super) fn cost(&self) -> u64 {
        self.last.0
    }

    /// The cheapest way: the card that each place faces.
    pub(super) fn walk(&self, seen: &[Vec<Choice>], deck: &[usize]) -> Vec<Option<Facing>> {
        let mut facing = vec![None; seen.len()];
        let (mut place, mut card, mut state) = (seen.len(), deck.len(), self.last.1);
        while place > 0 || card > 0 {
            let cell = (card + self.band.before).checked_sub(place);
            let from = cell.and_then(|cell| self.from.get(place * self.band.width + cell));
            let before = usize::from(from.copied().unwrap_or(0) >> (2 * state) & 3);
            match state {
                FACED if place > 0 && card > 0 => {
                    (place, card) = (place - 1, card - 1);
                    let both = seen.get(place).zip(deck.get(card));
                    let fits = both.is_some_and(|(choices, class)| {
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
        facing
    }
}

/// Fills the row of one place from the one above; `faces` is what it costs that
/// the place faces a card.
fn fill_row(
    place: usize,
    band: Band,
    steps: &Steps,
    (above, row): (&[[Marked; STATES]], &mut [[Marked; STATES]]),
    from: &mut [u8],
    faces: impl Fn(usize) -> Option<Marked>,
) {
    let first = place.saturating_sub(band.before);
    let skipped = (first + band.before).saturating_sub(place);
    let end = (place + band.width)
        .saturating_sub(band.before)
        .min(row.len());
    let mut left = [FAR; STATES];
    let corner = first.checked_sub(1).and_then(|card| above.get(card));
    let mut corner = corner.copied().unwrap_or(left);
    let (Some(above), Some(row)) = (above.get(first..end), row.get_mut(first..end)) else {
        return;
    };
    let cells = row.iter_mut().zip(above).zip(from.iter_mut().skip(skipped));
    for (((cell, above), from), card) in cells.zip(first..) {
        let (faced, a) = steps.best(corner);
        let (place_passed, b) = steps.best([
            above[0] + steps.gap,
            above[1] + steps.more,
            above[2] + steps.gap,
        ]);
        let (card_passed, c) = steps.best([
            left[0] + steps.gap,
            left[1] + steps.gap,
            left[2] + steps.more,
        ]);
        let faces = card.checked_sub(1).and_then(&faces).unwrap_or(FAR);
        *cell = [
            steps.marked((faced + faces).min(FAR), FACED),
            steps.marked(place_passed.min(FAR), PASSED_PLACE),
            steps.marked(card_passed.min(FAR), PASSED_CARD),
        ];
        if place == 0 && card == 0 {
            *cell = [steps.marked(0, FACED), FAR, FAR];
        }
        *from = a | b << 2 | c << 4;
        (left, corner) = (*cell, *above);
    }
}
