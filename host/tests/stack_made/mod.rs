//! Decks, stacks and disorders for the tests of stacks, and what a person does
//! who follows the remedies.

#![allow(dead_code, reason = "each test takes what it needs")]

pub mod acts;

use cardwright::deck::CardNumber;
use cardwright::stack::{
    Account, Catalogue, Disorder, Lie, Pattern, Place, Recognition, Run, Taken, order,
};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};

pub const HOLES: u8 = 8;
pub const PLACES: usize = 10;

pub type Chance = Xoshiro256PlusPlus;

pub fn chance(seed: u64) -> Chance {
    Chance::seed_from_u64(seed)
}

pub fn pattern(places: Vec<u16>) -> Pattern {
    let doubtful = vec![0; places.len()];
    Pattern::new(HOLES, places, doubtful).expect("a card")
}

pub fn plain_card(chance: &mut Chance) -> Pattern {
    pattern((0..PLACES).map(|_| chance.random_range(0..256)).collect())
}

/// A card that looks the same when it is turned like this.
pub fn symmetric_card(chance: &mut Chance, lie: Lie) -> Pattern {
    let (card, other) = (plain_card(chance), plain_card(chance));
    let thin = |card: &Pattern| -> Vec<u16> {
        let rows = card.places().iter().zip(other.places());
        rows.map(|(row, other)| row & other).collect()
    };
    let (card, turned) = (pattern(thin(&card)), pattern(thin(&card)).lying(lie));
    let rows = card.places().iter().zip(turned.places());
    pattern(rows.map(|(row, turned)| row | turned).collect())
}

pub fn plain_deck(chance: &mut Chance, cards: usize) -> Vec<Pattern> {
    (0..cards).map(|_| plain_card(chance)).collect()
}

pub fn number(index: usize) -> CardNumber {
    CardNumber(u32::try_from(index + 1).expect("a card"))
}

/// The card with so many positions wrong.
pub fn with_faults(card: &Pattern, faults: usize, chance: &mut Chance) -> Pattern {
    let mut rows = card.places().to_vec();
    let mut hit = Vec::new();
    while hit.len() < faults {
        let at = (
            chance.random_range(0..PLACES),
            chance.random_range(0..HOLES),
        );
        if !hit.contains(&at) {
            rows[at.0] ^= 1 << at.1;
            hit.push(at);
        }
    }
    pattern(rows)
}

pub fn recognise(catalogue: &Catalogue, stack: &[Pattern]) -> Vec<Recognition> {
    stack.iter().map(|card| catalogue.recognise(card)).collect()
}

/// The account of a stack.
pub fn account(deck: &[Pattern], stack: &[Pattern]) -> Account {
    let catalogue = Catalogue::new("own", deck).expect("a deck");
    order(&recognise(&catalogue, stack), &catalogue)
}

pub fn cards_in(run: &Run<CardNumber>) -> impl Iterator<Item = usize> + use<> {
    (run.first.0..=run.last.0).map(|card| card as usize - 1)
}

pub fn places_in(run: &Run<Place>) -> impl Iterator<Item = usize> + use<> {
    (run.first.0..=run.last.0).map(|place| place as usize - 1)
}

fn pick(from: impl Iterator<Item = usize>, count: u32, chance: &mut Chance) -> Vec<usize> {
    let mut from: Vec<usize> = from.collect();
    while from.len() > count as usize {
        from.remove(chance.random_range(0..from.len()));
    }
    from
}

/// Does what the account says, card by card, and gives the stack that comes
/// of it. Where the account leaves a choice, one is drawn: all must do.
pub fn remedied(
    account: &Account,
    stack: &[Pattern],
    deck: &[Pattern],
    chance: &mut Chance,
) -> Result<Vec<Pattern>, String> {
    let mut at: Vec<Option<Pattern>> = stack.iter().cloned().map(Some).collect();
    let mut slots: Vec<Option<Pattern>> = vec![None; deck.len()];
    let mut reversed = false;
    let mut moved = Vec::new();
    for disorder in &account.disorders {
        match disorder {
            Disorder::StackReversed => reversed = true,
            Disorder::StackTurned(lie) => {
                at = at
                    .iter()
                    .map(|card| card.as_ref().map(|card| card.lying(*lie)))
                    .collect();
            }
            Disorder::Turned { places, lie, .. } => {
                for place in places_in(places) {
                    at[place] = at[place].as_ref().map(|card| card.lying(*lie));
                }
            }
            Disorder::Moved { places, .. } => moved.extend(places_in(places)),
            _ => {}
        }
    }
    for place in moved {
        let Taken::Card { card, .. } = account.places[place] else {
            return Err(format!("place {place} is moved, but no card"));
        };
        slots[card.0 as usize - 1] = at[place].take();
    }
    for disorder in &account.disorders {
        match disorder {
            Disorder::Exchanged { places: (a, b), .. } => {
                at.swap(a.0 as usize - 1, b.0 as usize - 1);
            }
            Disorder::Double { count, extra, .. } => {
                for place in pick(places_in(extra), *count, chance) {
                    at[place] = None;
                }
            }
            Disorder::Foreign { places, .. } | Disorder::Unknown { places } => {
                places_in(places).for_each(|place| at[place] = None);
            }
            Disorder::Missing {
                cards,
                count,
                such_as,
            } => {
                let alike =
                    cards_in(cards).all(|card| deck[card] == deck[cards_in(cards).next().unwrap()]);
                let free = |card: &usize| slots[*card].is_none();
                let choice = if alike {
                    pick(cards_in(cards).filter(free), *count, chance)
                } else {
                    such_as.iter().map(|card| card.0 as usize - 1).collect()
                };
                for card in choice {
                    slots[card] = Some(deck[card].clone());
                }
            }
            _ => {}
        }
    }
    let mut left: Vec<Pattern> = at.into_iter().flatten().collect();
    if reversed {
        left.reverse();
    }
    let mut left = left.into_iter();
    for slot in slots.iter_mut().filter(|slot| slot.is_none()) {
        *slot = left.next();
    }
    match left.count() {
        0 => slots
            .into_iter()
            .collect::<Option<_>>()
            .ok_or("cards are still missing".to_owned()),
        over => Err(format!("{over} cards are left over")),
    }
}

/// Panics unless following the remedies gives the deck, and the places agree
/// with the disorders.
pub fn assert_mends(account: &Account, stack: &[Pattern], deck: &[Pattern], seed: u64) {
    let mut chance = chance(seed);
    for _ in 0..3 {
        let mended = remedied(account, stack, deck, &mut chance);
        assert!(
            mended.as_deref() == Ok(deck),
            "seed {seed}: {:?}\n{account}\n{account:?}",
            mended.err()
        );
    }
    let mut taken: Vec<u32> = account
        .places
        .iter()
        .filter_map(|taken| match taken {
            Taken::Card { card, .. } => Some(card.0),
            _ => None,
        })
        .collect();
    assert_eq!(account.places.len(), stack.len(), "seed {seed}");
    taken.sort_unstable();
    assert!(
        taken.is_sorted_by(|a, b| a < b),
        "seed {seed}: a card is taken twice"
    );
}
