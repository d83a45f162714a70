//! What can be done to a stack, the decks it is done to, and whether a disorder
//! names it.

use super::{Chance, PLACES, number, pattern, plain_card, plain_deck, symmetric_card};
use cardwright::stack::{Disorder, Lie, Pattern};
use rand::RngExt as _;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    Missing(usize),
    Exchanged(usize, usize),
    /// Card, and the card behind which its double is put.
    Double(usize, usize),
    /// First card, how many, and the card behind which they are put.
    Moved(usize, usize, usize),
    Turned(usize, Lie),
    /// Card of the other deck, how it lies, behind which card.
    Foreign(usize, Lie, usize),
    Unknown(usize),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Plain,
    FewClasses,
    Blanks,
    Symmetric,
    TwoCylinders,
    Pairs,
}

pub const KINDS: [Kind; 6] = [
    Kind::Plain,
    Kind::FewClasses,
    Kind::Blanks,
    Kind::Symmetric,
    Kind::TwoCylinders,
    Kind::Pairs,
];

pub fn deck(kind: Kind, cards: usize, chance: &mut Chance) -> Vec<Pattern> {
    let some = plain_deck(chance, 5);
    let lie = |chance: &mut Chance| Lie::ALL[chance.random_range(1..4)];
    let mut made: Vec<Pattern> = Vec::new();
    for at in 0..cards {
        let card = match kind {
            Kind::Plain => plain_card(chance),
            Kind::FewClasses => some[chance.random_range(0..some.len())].clone(),
            Kind::Blanks if chance.random_bool(0.4) => pattern(vec![0; PLACES]),
            Kind::Blanks => plain_card(chance),
            Kind::Symmetric => {
                let lie = lie(chance);
                symmetric_card(chance, lie)
            }
            // the ground on the one cylinder, a figure on the other
            Kind::TwoCylinders if at % 2 == 0 => some[at / 2 % 2].clone(),
            Kind::TwoCylinders if chance.random_bool(0.7) => some[2 + at / 2 % 3].clone(),
            Kind::TwoCylinders => plain_card(chance),
            // some cards are others, turned
            Kind::Pairs if at > 0 && chance.random_bool(0.3) => {
                let lie = lie(chance);
                made[chance.random_range(0..at)].lying(lie)
            }
            Kind::Pairs => plain_card(chance),
        };
        made.push(card);
    }
    made
}

pub struct Made {
    pub acts: Vec<Act>,
    /// The stack before faults, and of which card each is, if of the deck.
    pub stack: Vec<(Pattern, Option<usize>)>,
}

/// Marks these cards and those beside them; none if one is marked.
fn reserve(used: &mut [bool], first: usize, last: usize) -> Option<()> {
    let around = first.saturating_sub(2)..(last + 3).min(used.len());
    if used[around.clone()].contains(&true) {
        return None;
    }
    used[around].fill(true);
    Some(())
}

/// An act on cards that no other act touches.
pub fn draw(used: &mut Vec<bool>, cards: usize, chance: &mut Chance) -> Option<Act> {
    let before = used.clone();
    let act = (|| {
        let one = chance.random_range(0..cards);
        let gap = chance.random_range(0..cards);
        let lie = Lie::ALL[chance.random_range(1..4)];
        Some(match chance.random_range(0..8) {
            0 => {
                reserve(used, one, one)?;
                Act::Missing(one)
            }
            1 if one + 1 < cards => {
                reserve(used, one, one + 1)?;
                Act::Exchanged(one, one + 1)
            }
            2 => {
                reserve(used, one, one)?;
                reserve(used, gap, gap)?;
                Act::Exchanged(one.min(gap), one.max(gap))
            }
            3 if chance.random_bool(0.5) => {
                reserve(used, one, one)?;
                Act::Double(one, one)
            }
            3 => {
                reserve(used, one, one)?;
                reserve(used, gap, gap)?;
                Act::Double(one, gap)
            }
            4 => {
                let count = chance.random_range(1..5).min(cards - one);
                reserve(used, one, one + count - 1)?;
                reserve(used, gap, gap)?;
                // the block is the shorter of the two parts that change places
                let passed = if gap < one {
                    one - gap - 1
                } else {
                    gap + 1 - one - count
                };
                (passed > count + 4).then_some(())?;
                Act::Moved(one, count, gap)
            }
            5 => {
                reserve(used, one, one)?;
                Act::Turned(one, lie)
            }
            6 => {
                reserve(used, gap, gap)?;
                let lie = Lie::ALL[chance.random_range(0..4)];
                Act::Foreign(chance.random_range(0..20), lie, gap)
            }
            7 => {
                reserve(used, gap, gap)?;
                Act::Unknown(gap)
            }
            _ => return None,
        })
    })();
    if act.is_none() {
        *used = before;
    }
    act
}

/// Does the acts on a stack that is the deck.
pub fn disorder(
    deck: &[Pattern],
    other: &[Pattern],
    acts: &[Act],
    chance: &mut Chance,
) -> Option<Made> {
    let mut stack: Vec<(Pattern, Option<usize>)> =
        deck.iter().cloned().zip((0..).map(Some)).collect();
    for act in acts {
        let at = |stack: &[(Pattern, Option<usize>)], card: usize| {
            stack.iter().position(|(_, one)| *one == Some(card))
        };
        match *act {
            Act::Missing(card) => drop(stack.remove(at(&stack, card)?)),
            Act::Exchanged(a, b) => {
                let (a, b) = (at(&stack, a)?, at(&stack, b)?);
                stack.swap(a, b);
            }
            Act::Double(card, behind) => {
                let copy = stack[at(&stack, card)?].clone();
                stack.insert(at(&stack, behind)? + 1, copy);
            }
            Act::Moved(card, count, behind) => {
                let first = at(&stack, card)?;
                let together = (0..count).all(|next| at(&stack, card + next) == Some(first + next));
                if !together || (card..card + count).contains(&behind) {
                    return None;
                }
                let block: Vec<_> = stack.drain(first..first + count).collect();
                let to = at(&stack, behind)? + 1;
                stack.splice(to..to, block);
            }
            Act::Turned(card, lie) => {
                let place = at(&stack, card)?;
                stack[place].0 = stack[place].0.lying(lie);
            }
            Act::Foreign(card, lie, behind) => {
                let place = at(&stack, behind)? + 1;
                stack.insert(place, (other[card].lying(lie), None));
            }
            Act::Unknown(behind) => {
                let place = at(&stack, behind)? + 1;
                stack.insert(place, (plain_card(chance), None));
            }
        }
    }
    let acts = acts.to_vec();
    Some(Made { acts, stack })
}

/// Whether this disorder names this act, or a set with it in it.
pub fn names(disorder: &Disorder, act: Act, deck: &[Pattern]) -> bool {
    match (act, disorder) {
        (Act::Missing(card), Disorder::Missing { cards, .. }) => cards.contains(number(card)),
        // one of several identical ones that stands elsewhere
        (
            Act::Missing(card) | Act::Double(card, _) | Act::Moved(card, 1, _),
            Disorder::Moved { cards, like, .. },
        ) if *like > 1 => deck[card] == deck[cards.first.0 as usize - 1],
        (Act::Exchanged(a, b), Disorder::Exchanged { cards, .. }) => {
            *cards == (number(a), number(b))
        }
        (Act::Double(card, _), Disorder::Double { card: like, .. }) => {
            deck[card] == deck[like.0 as usize - 1]
        }
        (
            Act::Moved(card, count, _),
            Disorder::Moved {
                cards, count: n, ..
            },
        ) => {
            *n as usize == count
                && cards.contains(number(card))
                && cards.contains(number(card + count - 1))
        }
        (Act::Turned(card, lie), Disorder::Turned { cards, lie: l, .. }) => {
            cards.contains(number(card)) && deck[card].lying(lie) == deck[card].lying(*l)
        }
        (
            Act::Foreign(card, lie, _),
            Disorder::Foreign {
                deck,
                cards,
                lie: l,
                ..
            },
        ) => deck == "other" && cards.contains(number(card)) && lie == *l,
        (Act::Unknown(_), Disorder::Unknown { .. }) => true,
        _ => false,
    }
}

/// Acts that change the stack: a symmetric card may be turned.
pub fn tells(deck: &[Pattern], act: &Act) -> bool {
    match *act {
        Act::Turned(card, lie) => deck[card].lying(lie) != deck[card],
        Act::Exchanged(a, b) => deck[a] != deck[b],
        _ => true,
    }
}
