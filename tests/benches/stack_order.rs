//! The order of the same stacks of 400 cards told by us and by the plainest program
//! on numpy, in one run: both medians.
//!
//! Both begin with the holes of every card, the deck having been taken in, and end with
//! the card of each place. Our account also names the disorders and their remedies; the
//! plain program knows of none. Both must give every place the same card, or one that
//! is identical to it, and miss the same ones, or this stops. We use one core; numpy's
//! products use all there are.

#[path = "../../host/benches/stacks/mod.rs"]
mod stacks;

use cardwright::deck::{CardNumber, Deck};
use cardwright::stack::{Account, Catalogue, Pattern, Taken, order};
use cardwright_tests::reference::reference;
use serde_json::{Value, json};
use stacks::{deck, disordered, seen};
use std::hint::black_box;
use std::time::Instant;

const CARDS: u32 = 400;
const ROUNDS: usize = 21;

/// Every so many cards of a disordered stack have a wrong hole.
const FAULTY: Option<usize> = Some(20);

/// Most wrong positions of a card that is still taken for one of the deck.
const LIMIT: u32 = 3;

fn main() {
    println!("{ROUNDS} rounds, the same card in every place; medians:");
    for repeats in [false, true] {
        let deck = deck(CARDS, repeats);
        let whole = seen(&deck, None);
        let stacks = [
            ("in order", whole.clone()),
            ("in disorder", disordered(seen(&deck, FAULTY))),
            ("last card first", whole.into_iter().rev().collect()),
        ];
        let kind = if repeats { ", a third blank" } else { "" };
        let answer = reference(
            "stacks",
            problem(&deck, stacks.iter().map(|(_, cards)| cards)),
        );
        for (number, (name, stack)) in stacks.iter().enumerate() {
            let name = format!("{CARDS} cards{kind}, {name}");
            let (account, ours_us) = told(&deck, stack);
            compare(&name, &deck, &account, &answer, number);
            let theirs_us = answer["median_us"][number].as_f64().expect("a median");
            let times = theirs_us / ours_us;
            println!(
                "  {name}: {ours_us:.1} us; numpy {theirs_us:.1} us; {times:.0} times as fast"
            );
        }
    }
}

/// Our account of a stack, and the median time to it.
fn told(deck: &Deck, stack: &[Pattern]) -> (Account, f64) {
    let catalogue = Catalogue::of_deck(deck).expect("a catalogue");
    let mut times_us = Vec::with_capacity(ROUNDS);
    let mut account = Account::default();
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let cards = black_box(stack).iter();
        let found: Vec<_> = cards.map(|card| catalogue.recognise(card)).collect();
        account = black_box(order(&found, &catalogue));
        times_us.push(start.elapsed().as_secs_f64() * 1e6);
    }
    times_us.sort_by(f64::total_cmp);
    (account, times_us[ROUNDS / 2])
}

fn problem<'a>(deck: &Deck, stacks: impl Iterator<Item = &'a Vec<Pattern>>) -> Value {
    json!({
        "rounds": ROUNDS,
        "limit": LIMIT,
        "deck": bits(&seen(deck, None)),
        "stacks": stacks.map(|stack| bits(stack)).collect::<Vec<_>>(),
    })
}

/// A list of 0 and 1 for every row of every card.
fn bits(cards: &[Pattern]) -> Value {
    let plane = |rows: fn(&Pattern) -> &[u16]| -> Vec<Vec<Vec<u16>>> {
        let card = |card: &Pattern| {
            let row = |row: &u16| (0..card.holes()).map(|hole| row >> hole & 1).collect();
            rows(card).iter().map(row).collect()
        };
        cards.iter().map(card).collect()
    };
    json!({ "holes": plane(Pattern::places), "doubtful": plane(Pattern::doubtful) })
}

/// Holds both accounts against each other. Identical cards are told by the first of
/// them: which of them lies where, nobody can say.
fn compare(name: &str, deck: &Deck, ours: &Account, answer: &Value, number: usize) {
    let cards: Vec<_> = deck.cards().map(|(_, rows)| rows).collect();
    let first_alike = |card: usize| cards.iter().position(|rows| *rows == cards[card]);
    let own = |card: &CardNumber| first_alike(card.0 as usize - 1);
    let ours: Vec<(Option<usize>, bool)> = ours
        .places
        .iter()
        .map(|taken| match taken {
            Taken::Card { card, .. } => (own(card), false),
            Taken::TooMany { like, .. } => (like.first().and_then(own), true),
            Taken::Foreign | Taken::Unknown => (None, false),
        })
        .collect();
    let theirs = answer["cards"][number].as_array().expect("a list of cards");
    let surplus = answer["surplus"][number].as_array().expect("a list");
    let theirs: Vec<(Option<usize>, bool)> = theirs
        .iter()
        .zip(surplus)
        .map(|(card, surplus)| {
            let card = card.as_u64().and_then(|card| first_alike(card as usize));
            (card, surplus.as_bool().expect("yes or no"))
        })
        .collect();
    assert_eq!(ours.len(), theirs.len(), "{name}");
    for (place, (ours, theirs)) in ours.iter().zip(&theirs).enumerate() {
        assert_eq!(ours.0, theirs.0, "{name}, place {place}");
    }
    let once = |places: &[(Option<usize>, bool)]| {
        let once = places.iter().filter(|(_, surplus)| !surplus);
        let mut once: Vec<_> = once.map(|(card, _)| *card).collect();
        once.sort_unstable();
        once
    };
    assert_eq!(
        once(&ours),
        once(&theirs),
        "{name}: the cards that are missing"
    );
}
