//! What else could have been done to a stack: identical cards hide it.
//!
//! Enters: the account that is told, with the classes of the deck's cards. Leaves:
//! single acts each of which, in the stead of one that is told, gives the very same
//! stack. Refuses nothing. Every act is tried out on the deck; none is inferred.

use super::disorder::{Counted as _, Disorder, Place, Run};
use super::order::{Account, Taken};
use cardwright_protocol::CardNumber;

/// How far before and behind what has changed an act is looked for.
const FURTHEST: usize = 24;

/// A card that changes places with another, or a block with what it has passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Act {
    /// The cards at these two places of the deck, the lower first.
    Exchange(usize, usize),
    /// From `first` to before `end`, the first `count` are put last.
    Turn {
        first: usize,
        count: usize,
        end: usize,
    },
}

impl Act {
    /// Whether it makes `after` of these cards, which are the same outside the turn.
    fn makes(self, cards: &[usize], after: &[usize]) -> bool {
        let Act::Turn { first, count, end } = self else {
            return self.of(cards) == after;
        };
        let part = cards.get(first..end).zip(after.get(first..end));
        part.is_some_and(|(before, after)| {
            let (head, tail) = before.split_at(count.min(before.len()));
            after.starts_with(tail) && after.ends_with(head)
        })
    }

    /// What becomes of these cards.
    fn of(self, cards: &[usize]) -> Vec<usize> {
        let mut cards = cards.to_vec();
        match self {
            Act::Exchange(a, b) => {
                if a.max(b) < cards.len() {
                    cards.swap(a, b);
                }
            }
            Act::Turn { first, count, end } => {
                if let Some(part) = cards.get_mut(first..end).filter(|part| count <= part.len()) {
                    part.rotate_left(count);
                }
            }
        }
        cards
    }
}

/// Disorders that are not told, of accounts as short and of single acts that do as
/// well as one that is told.
pub(super) fn otherwise(told: &Account, others: &[Account], classes: &[usize]) -> Vec<Disorder> {
    let standing = Standing::new(told, classes.len());
    let mut known: Vec<Meaning> = Vec::new();
    let mut found = Vec::new();
    for disorder in &told.disorders {
        known.push(standing.meaning(disorder));
    }
    let mut tell = |disorder: Disorder, meaning: Meaning| {
        if !known.contains(&meaning) {
            known.push(meaning);
            found.push(disorder);
        }
    };
    let acts: Vec<Act> = told
        .disorders
        .iter()
        .filter_map(|one| standing.act(one))
        .collect();
    for (at, act) in acts.iter().enumerate() {
        let alone = alike(*act, classes).into_iter();
        let mut instead: Vec<(Act, Vec<Act>)> = alone.map(|other| (other, vec![*act])).collect();
        for second in acts.iter().skip(at + 1) {
            let both = crosswise(*act, *second, classes).into_iter();
            instead.extend(both.map(|other| (other, vec![*act, *second])));
        }
        for (other, told) in instead {
            if let Some(disorder) = standing.disorder(other, &told) {
                tell(disorder, Meaning::Order(standing.deck_after(&[other])));
            }
        }
    }
    for other in others.iter().filter(|other| other.acts() == told.acts()) {
        let standing = Standing::new(other, classes.len());
        for disorder in &other.disorders {
            tell(disorder.clone(), standing.meaning(disorder));
        }
    }
    found
}

/// What a disorder says, however it is put: that two neighbours are exchanged is
/// also that one stands behind the other.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Meaning {
    /// The cards in the order in which they stand.
    Order(Vec<usize>),
    Missing(Run<CardNumber>, u32),
    Other(Disorder),
}

/// Every other act that makes the same of the deck.
fn alike(act: Act, classes: &[usize]) -> Vec<Act> {
    let after = act.of(classes);
    let unlike = |at: &usize| classes.get(*at) != after.get(*at);
    let unlike: Vec<usize> = (0..classes.len()).filter(unlike).collect();
    let (Some(first), Some(last)) = (unlike.first().copied(), unlike.last().copied()) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    if unlike.len() == 2 {
        found.push(Act::Exchange(first, last));
    }
    let ends = last + 1..=classes.len().min(last + 1 + FURTHEST);
    for count in 1..classes.len() {
        // Before what has changed a turn goes on as long as the deck repeats.
        let before = (first.saturating_sub(FURTHEST)..first).rev();
        let before = before.take_while(|at| classes.get(*at) == classes.get(at + count));
        for first in std::iter::once(first).chain(before) {
            let turn = |end| Act::Turn { first, count, end };
            let ends = ends.clone().filter(|end| first + count < *end);
            found.extend(ends.map(turn).filter(|turn| turn.makes(classes, &after)));
        }
    }
    found.retain(|other| *other != act);
    found
}

/// The exchanges of the same four cards, paired otherwise, that make the same of the
/// deck as these two.
fn crosswise(one: Act, two: Act, classes: &[usize]) -> Vec<Act> {
    let (Act::Exchange(a, b), Act::Exchange(c, d)) = (one, two) else {
        return Vec::new();
    };
    let exchange = |a: usize, b: usize| Act::Exchange(a.min(b), a.max(b));
    let after = two.of(&one.of(classes));
    let pairs = [
        (exchange(a, c), exchange(b, d)),
        (exchange(a, d), exchange(b, c)),
    ];
    let same = pairs
        .into_iter()
        .filter(|(one, two)| two.of(&one.of(classes)) == after);
    same.flat_map(|(one, two)| [one, two]).collect()
}

/// Where the deck's cards stand in the stack.
struct Standing<'a> {
    told: &'a Account,
    place_of: Vec<Option<usize>>,
}

impl<'a> Standing<'a> {
    fn new(told: &'a Account, cards: usize) -> Standing<'a> {
        let mut place_of = vec![None; cards];
        for (place, taken) in told.places.iter().enumerate() {
            let Taken::Card { card, .. } = taken else {
                continue;
            };
            let slot = (card.0 as usize)
                .checked_sub(1)
                .and_then(|card| place_of.get_mut(card));
            if let Some(slot) = slot {
                *slot = Some(place);
            }
        }
        Standing { told, place_of }
    }

    fn card_at(&self, place: Place) -> Option<usize> {
        match self.told.places.get((place.0 as usize).checked_sub(1)?)? {
            Taken::Card { card, .. } => (card.0 as usize).checked_sub(1),
            _ => None,
        }
    }

    /// What a disorder does to the deck; none if it is no exchange and no move, or
    /// a block of which cards are missing.
    fn act(&self, disorder: &Disorder) -> Option<Act> {
        match disorder {
            Disorder::Exchanged { cards: (a, b), .. } => {
                Some(Act::Exchange(a.0 as usize - 1, b.0 as usize - 1))
            }
            Disorder::Moved {
                count,
                places,
                after,
                ..
            } => {
                let count = *count as usize;
                let moved = (places.first.0..=places.last.0).map(|at| self.card_at(Place(at)));
                let mut moved = moved.collect::<Option<Vec<usize>>>()?;
                moved.sort_unstable();
                let (first, last) = (*moved.first()?, *moved.last()?);
                if moved.len() != count || last - first + 1 != count {
                    return None;
                }
                let to = after.map_or(0, |card| card.0 as usize);
                let (first, count, end) = if to <= first {
                    (to, first - to, last + 1)
                } else {
                    (first, count, to)
                };
                Some(Act::Turn { first, count, end })
            }
            _ => None,
        }
    }

    /// The cards of the deck in the order that acts make of them.
    fn deck_after(&self, acts: &[Act]) -> Vec<usize> {
        let deck = (0..self.place_of.len()).collect();
        acts.iter()
            .fold(deck, |cards: Vec<usize>, act| act.of(&cards))
    }

    fn meaning(&self, disorder: &Disorder) -> Meaning {
        match (self.act(disorder), disorder) {
            (Some(act), _) => Meaning::Order(self.deck_after(&[act])),
            (None, Disorder::Missing { cards, count, .. }) => Meaning::Missing(*cards, *count),
            (None, other) => Meaning::Other(other.clone()),
        }
    }

    /// How an act is told in the stead of `told`; none if it moves a card that is
    /// nowhere.
    fn disorder(&self, act: Act, told: &[Act]) -> Option<Disorder> {
        let (after, standing) = (self.deck_after(&[act]), self.deck_after(told));
        let place = |at: usize| *self.place_of.get(*standing.get(at)?)?;
        match act {
            Act::Exchange(a, b) => Some(Disorder::Exchanged {
                cards: (CardNumber::of_index(a), CardNumber::of_index(b)),
                places: (Place::of_index(place(b)?), Place::of_index(place(a)?)),
            }),
            Act::Turn { first, count, end } => {
                let passed = end - first - count;
                // The shorter of the two parts is what a person would move.
                let (cards, at) = if count <= passed {
                    (first..first + count, end - count..end)
                } else {
                    (first + count..end, first..first + passed)
                };
                let before = at.start.checked_sub(1).and_then(|at| after.get(at));
                let places = at.map(place).collect::<Option<Vec<usize>>>()?;
                Some(Disorder::Moved {
                    count: u32::try_from(cards.len()).unwrap_or(u32::MAX),
                    cards: Run::of(cards.start, cards.end - 1),
                    places: Run::of(*places.iter().min()?, *places.iter().max()?),
                    after: before.map(|card| CardNumber::of_index(*card)),
                    like: 1,
                })
            }
        }
    }
}
