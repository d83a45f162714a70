//! How long the verdict on one whole 400 card takes.

#[path = "../tests/judge_synthetic/mod.rs"]
mod synthetic;

use cardwright::judge::{Fit, Geometry, Judge, Limits};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use synthetic::{Chance, Made, Tables, random_card};

fn verdict(bench: &mut Criterion) {
    let (mut tables, mut chance) = (Tables::default(), Chance(1));
    let strokes = random_card(&mut chance);
    let reading = Made::new(&strokes).read(&mut tables, &mut chance);
    let judge = Judge::new(&Geometry::card_400(), &Limits::default(), 8);
    for (name, fit) in [
        ("verdict on a 400 card, cut and read in one pass", Fit::None),
        ("verdict on a 400 card, cut earlier", Fit::OffsetAndStretch),
    ] {
        bench.bench_function(name, |b| {
            b.iter(|| judge.judge(black_box(&strokes), &reading, fit))
        });
    }
}

criterion_group!(benches, verdict);
criterion_main!(benches);
