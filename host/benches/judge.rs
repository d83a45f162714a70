//! How long the verdict on one whole 400 card takes.
//!
//! Card after card is another one: a processor that is shown the same card again and
//! again learns its holes by heart, and looks quicker than it is at a rig.
//! Both kinds of verdict are made of the same measurement and differ in little else.

#[path = "../tests/judge_synthetic/mod.rs"]
mod synthetic;

use cardwright::judge::{Fit, Geometry, Judge, Limits};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use synthetic::{Chance, Made, Tables, random_card};

/// Different cards: far more positions than can be learnt.
const CARDS: usize = 64;

fn verdict(bench: &mut Criterion) {
    let (mut tables, mut chance) = (Tables::default(), Chance(1));
    let cards: Vec<_> = (0..CARDS)
        .map(|_| {
            let strokes = random_card(&mut chance);
            let reading = Made::new(&strokes).read(&mut tables, &mut chance);
            (strokes, reading)
        })
        .collect();
    let judge = Judge::new(&Geometry::card_400(), &Limits::default(), 8);
    for (name, fit) in [
        ("verdict on a 400 card, cut and read in one pass", Fit::None),
        ("verdict on a 400 card, cut earlier", Fit::OffsetAndStretch),
    ] {
        let mut stack = cards.iter().cycle();
        bench.bench_function(name, |b| {
            b.iter(|| {
                let card = stack.next().map(black_box);
                card.map(|(strokes, reading)| judge.judge(strokes, reading, fit))
            });
        });
    }
}

criterion_group!(benches, verdict);
criterion_main!(benches);
