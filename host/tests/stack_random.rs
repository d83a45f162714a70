//! Ten thousand stacks with known disorders: every one is named, and where
//! cards are identical, the set is named that it cannot be told from.
//!
//! What is right is decided by the holes of the cards alone, never by what the
//! program calls them:
//!
//! 1. Following the remedies gives the deck, hole by hole, whatever is chosen
//!    where a choice is left.
//! 2. Disorders that do not touch one another are told in no more acts than
//!    were done: always, if all cards are different; else but for one stack in
//!    a thousand.
//! 3. Where all cards of a deck are different, exactly what was done is named.
//! 4. Where some are identical, what was done is named or in the set that is
//!    named. If it is not, then by 1 and 2 another explanation, as short, gives
//!    the same stack hole by hole: nobody could tell. For a single missing or
//!    doubled card that is no excuse: all cards that could be it are computed
//!    from the holes, and the named set must be just those.

mod stack_made;

use cardwright::stack::{Account, Catalogue, Disorder, Lie, Pattern, Recognition, Taken, order};
use rand::RngExt as _;
use stack_made::*;
use std::collections::BTreeMap;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Act {
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
enum Kind {
    Plain,
    FewClasses,
    Blanks,
    Symmetric,
    TwoCylinders,
    Pairs,
}

const KINDS: [Kind; 6] = [
    Kind::Plain,
    Kind::FewClasses,
    Kind::Blanks,
    Kind::Symmetric,
    Kind::TwoCylinders,
    Kind::Pairs,
];

fn deck(kind: Kind, cards: usize, chance: &mut Chance) -> Vec<Pattern> {
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

struct Made {
    acts: Vec<Act>,
    /// The stack before faults, and of which card each is, if of the deck.
    stack: Vec<(Pattern, Option<usize>)>,
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
fn draw(used: &mut Vec<bool>, cards: usize, chance: &mut Chance) -> Option<Act> {
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
fn disorder(
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

/// Whether one of the disorders names this act, or a set with it in it.
fn is_named(act: Act, account: &Account, deck: &[Pattern]) -> bool {
    account
        .disorders
        .iter()
        .any(|disorder| match (act, disorder) {
            (Act::Missing(card), Disorder::Missing { cards, .. }) => cards.contains(number(card)),
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
        })
}

/// Acts that change the stack: a symmetric card may be turned.
fn tells(deck: &[Pattern], act: &Act) -> bool {
    match *act {
        Act::Turned(card, lie) => deck[card].lying(lie) != deck[card],
        Act::Exchanged(a, b) => deck[a] != deck[b],
        _ => true,
    }
}

/// For a single card lost or doubled: every card or place that could be it, by
/// the holes, is in the set that is named, and no other.
fn assert_set(act: Act, account: &Account, deck: &[Pattern], clean: &[Pattern], seed: u64) {
    match (act, account.disorders.as_slice()) {
        (
            Act::Missing(_),
            [
                Disorder::Missing {
                    cards, count: 1, ..
                },
            ],
        ) => {
            for card in 0..deck.len() {
                let mut without = deck.to_vec();
                without.remove(card);
                assert_eq!(
                    cards.contains(number(card)),
                    without == clean,
                    "seed {seed}, {card}: {account}"
                );
            }
        }
        (
            Act::Double(..),
            [
                Disorder::Double {
                    count: 1,
                    extra,
                    also,
                    ..
                },
            ],
        ) => {
            for place in 0..clean.len() {
                let mut without = clean.to_vec();
                without.remove(place);
                let named = places_in(extra).any(|extra| extra == place)
                    || also.is_some_and(|also| also.0 as usize - 1 == place) && without == deck;
                assert_eq!(named, without == deck, "seed {seed}, {place}: {account}");
            }
        }
        (Act::Missing(_) | Act::Double(..), _) => panic!("seed {seed}: {act:?}, but {account}"),
        _ => {}
    }
}

#[derive(Debug, Default)]
struct Tally {
    stacks: u32,
    acts: u32,
    named: u32,
    alike: u32,
    crowded: u32,
    longer: u32,
}

/// One stack; `crowded` if its disorders may touch one another.
fn run(seed: u64, tallies: &mut BTreeMap<Kind, Tally>) {
    let mut chance = chance(seed);
    let kind = KINDS[(seed % KINDS.len() as u64) as usize];
    let crowded = seed % 5 == 4;
    let cards = chance.random_range(if crowded { 6..30 } else { 30..80 });
    let deck = deck(kind, cards, &mut chance);
    let other = plain_deck(&mut chance, 20);
    let wanted = chance.random_range(1..=5);
    let mut used = vec![false; cards];
    let mut acts = Vec::new();
    for _ in 0..200 {
        if acts.len() < wanted {
            if crowded {
                used.fill(false);
            }
            acts.extend(draw(&mut used, cards, &mut chance));
        }
    }
    let Some(made) = disorder(&deck, &other, &acts, &mut chance) else {
        return;
    };
    let clean: Vec<Pattern> = made.stack.iter().map(|(card, _)| card.clone()).collect();
    let faults: Vec<usize> = clean
        .iter()
        .map(|_| {
            if chance.random_bool(0.1) {
                chance.random_range(1..4)
            } else {
                0
            }
        })
        .collect();
    let seen: Vec<Pattern> = clean
        .iter()
        .zip(&faults)
        .map(|(card, faults)| with_faults(card, *faults, &mut chance))
        .collect();
    let mut catalogue = Catalogue::new("own", &deck).expect("a deck");
    catalogue.add("other", &other).expect("a deck");
    let found: Vec<Recognition> = seen.iter().map(|card| catalogue.recognise(card)).collect();
    let account = order(&found, &catalogue);
    let tally = tallies.entry(kind).or_default();
    tally.stacks += 1;
    assert_mends(&account, &clean, &deck, seed);
    assert_faults(&account, &faults, seed);
    if crowded {
        tally.crowded += 1;
        return;
    }
    let acts: Vec<Act> = made
        .acts
        .into_iter()
        .filter(|act| tells(&deck, act))
        .collect();
    let done = u32::try_from(acts.len()).expect("few");
    let unlike = (0..cards).all(|at| !deck[..at].contains(&deck[at]));
    if account.acts() > done {
        println!("seed {seed} {kind:?}: {acts:?}, but\n{account}\n");
        assert!(!unlike, "seed {seed}");
        tally.longer += 1;
        return;
    }
    for act in &acts {
        tally.acts += 1;
        let named = is_named(*act, &account, &deck);
        tally.named += u32::from(named);
        tally.alike += u32::from(!named);
        assert!(
            named || !unlike || kind == Kind::Pairs,
            "seed {seed} {kind:?}: {act:?} is not named\n{account}"
        );
    }
    if let [act] = acts[..] {
        assert_set(act, &account, &deck, &clean, seed);
    }
}

/// The wrong holes of every card are counted, neither more nor fewer.
fn assert_faults(account: &Account, faults: &[usize], seed: u64) {
    for (taken, faults) in account.places.iter().zip(faults) {
        if let Taken::Card { difference, .. } = taken {
            assert_eq!(
                difference.wrong() as usize,
                *faults,
                "seed {seed}: {account}"
            );
        }
    }
}

#[test]
fn ten_thousand_stacks() {
    let mut tallies = BTreeMap::new();
    // Another seed to begin with, for a longer search.
    let first = std::env::var("STACK_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok());
    let first = first.unwrap_or(0);
    for seed in first..first + 10_000 {
        run(seed, &mut tallies);
    }
    println!("{tallies:#?}");
    let stacks: u32 = tallies.values().map(|tally| tally.stacks).sum();
    assert!(stacks > 9_000, "only {stacks} could be made");
    // Where identical cards hide what was done, the shortest account is not
    // always found; it still mends the stack.
    let longer: u32 = tallies.values().map(|tally| tally.longer).sum();
    assert!(
        longer * 1000 <= stacks,
        "{longer} of {stacks} are told in too many acts"
    );
    for (kind, tally) in &tallies {
        assert!(tally.alike * 10 <= tally.acts, "{kind:?}: {tally:?}");
    }
}
