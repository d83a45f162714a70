//! How long it takes to read and write deck files, to make a card's strokes,
//! and to tell two decks apart.

use cardwright::deck::{CardFormat, CardNumber, Cutting, Deck, Row, compare};
use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::path::Path;

/// A deck of a 400 head with all manner of rows.
fn deck(cards: u32) -> Deck {
    let format = CardFormat::named("400").expect("built in");
    let mut noise = 1u32;
    let mut row = || {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        Row(u16::from(noise.to_be_bytes()[0]))
    };
    let cards = (0..cards)
        .map(|_| (0..51).map(|_| row()).collect())
        .collect();
    Deck::new("bench", format, None, Cutting::default(), cards).expect("a deck")
}

fn deck_files(c: &mut Criterion) {
    for cards in [400, 10_000] {
        let deck = deck(cards);
        let text = deck.to_text();
        let mut group = c.benchmark_group(format!("deck file of {cards} cards"));
        group
            .sample_size(20)
            .throughput(Throughput::Elements(cards.into()));
        group.bench_function("read", |b| {
            b.iter(|| Deck::parse(black_box(&text), Path::new("bench.deck")).expect("a deck"));
        });
        group.bench_function("write", |b| b.iter(|| black_box(&deck).to_text()));
        group.bench_function("compare with its like", |b| {
            b.iter_batched(
                || deck.clone(),
                |other| compare(&deck, &other),
                BatchSize::LargeInput,
            );
        });
        group.finish();
    }
}

fn strokes(c: &mut Criterion) {
    let deck = deck(1);
    c.bench_function("strokes of a 400 card", |b| {
        b.iter(|| black_box(&deck).strokes(CardNumber(1)));
    });
}

criterion_group!(benches, deck_files, strokes);
criterion_main!(benches);
