//! How long it takes to say whether a stack of 400 cards is the deck, from the
//! holes of its cards to the account.

#[path = "stacks/mod.rs"]
mod stacks;

use cardwright::stack::{Catalogue, Pattern, order};
use criterion::{Criterion, criterion_group, criterion_main};
use stacks::{deck, disordered, seen};
use std::hint::black_box;

fn order_of_stacks(c: &mut Criterion) {
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
        check("in order", seen(&deck, None));
        check(
            "in disorder, every 20th card faulty",
            disordered(seen(&deck, Some(20))),
        );
        check(
            "last card first",
            seen(&deck, None).into_iter().rev().collect(),
        );
        group.finish();
        let stack: Vec<_> = disordered(seen(&deck, Some(20)));
        let found: Vec<_> = stack.iter().map(|card| catalogue.recognise(card)).collect();
        c.bench_function(&format!("order alone, {kind}"), |b| {
            b.iter(|| order(black_box(&found), &catalogue));
        });
    }
}

criterion_group!(benches, order_of_stacks);
criterion_main!(benches);
