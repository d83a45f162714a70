//! How long it takes to say whether a stack of 400 cards is the deck, from the
//! holes of its cards to the account.

use cardwright::deck::{CardFormat, CardNumber, Cutting, Deck, Row};
use cardwright::stack::{Catalogue, Lie, Pattern, order};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;

/// A deck of a 400 head with all manner of rows; every third card is blank if
/// `repeats`.
fn deck(cards: u32, repeats: bool) -> Deck {
    let format = CardFormat::named("400").expect("built in");
    let mut noise = 1u32;
    let mut row = |card: u32| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let blank = repeats && card.is_multiple_of(3);
        Row(if blank {
            0
        } else {
            u16::from(noise.to_be_bytes()[0])
        })
    };
    let cards = (0..cards)
        .map(|card| (0..51).map(|_| row(card)).collect())
        .collect();
    Deck::new("bench", format, None, Cutting::default(), cards).expect("a deck")
}

/// The deck as it would be seen, with one wrong hole in every `faulty`th card.
fn seen(deck: &Deck, faulty: usize) -> Vec<Pattern> {
    let card = |(at, (number, _)): (usize, (CardNumber, &[Row]))| {
        let card = Pattern::of_card(deck, number).expect("a card");
        let mut rows = card.places().to_vec();
        if at % faulty == 0 {
            rows[10] ^= 4;
        }
        Pattern::new(8, rows, card.doubtful().to_vec()).expect("a card")
    };
    deck.cards().enumerate().map(card).collect()
}

/// A card lost, two exchanged, one doubled, a block moved, one turned.
fn disordered(mut stack: Vec<Pattern>) -> Vec<Pattern> {
    stack.swap(52, 53);
    stack[70] = stack[70].lying(Lie::EndForEnd);
    let block: Vec<Pattern> = stack.drain(200..204).collect();
    stack.splice(300..300, block);
    stack.insert(120, stack[119].clone());
    stack.remove(350);
    stack
}

fn stacks(c: &mut Criterion) {
    for repeats in [false, true] {
        let deck = deck(400, repeats);
        let catalogue = Catalogue::of_deck(&deck).expect("a catalogue");
        let kind = if repeats {
            "400 cards, a third blank"
        } else {
            "400 cards"
        };
        let mut group = c.benchmark_group(format!("stack of {kind}"));
        group.sample_size(20);
        let mut check = |name: &str, stack: Vec<Pattern>| {
            group.bench_function(name, |b| {
                b.iter(|| {
                    let cards = black_box(&stack).iter();
                    let found: Vec<_> = cards.map(|card| catalogue.recognise(card)).collect();
                    order(&found, &catalogue)
                });
            });
        };
        check("in order", seen(&deck, usize::MAX));
        check(
            "in disorder, every 20th card faulty",
            disordered(seen(&deck, 20)),
        );
        check(
            "last card first",
            seen(&deck, usize::MAX).into_iter().rev().collect(),
        );
        group.finish();
        let stack: Vec<_> = disordered(seen(&deck, 20));
        let found: Vec<_> = stack.iter().map(|card| catalogue.recognise(card)).collect();
        c.bench_function(&format!("order alone, {kind}"), |b| {
            b.iter(|| order(black_box(&found), &catalogue));
        });
    }
}

criterion_group!(benches, stacks);
criterion_main!(benches);
