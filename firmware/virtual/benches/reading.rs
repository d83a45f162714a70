//! How fast cards are made and read without the machine.

#[path = "../tests/common/mod.rs"]
mod common;

use cardwright_protocol::card::Row;
use cardwright_virtual::card_maker::Make;
use cardwright_virtual::reading::{Conditions, ReadCard};
use cardwright_virtual::stock::Card;
use cardwright_virtual::{CardMaker, ReaderModel, WorldSettings};
use common::card_400;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

fn reading(c: &mut Criterion) {
    let machine = WorldSettings::default();
    let strokes = card_400(|row| Row((row * 37) & 0xff));
    let mut group = c.benchmark_group("reading");
    group.throughput(Throughput::Elements(1));
    let card = Card::cut(&machine, &strokes, 14.2);
    let noisy = Conditions {
        noise_level: 0.7,
        ..Conditions::default()
    };
    let mut reader =
        ReaderModel::new(machine.clone(), &machine.as_told_to_unit(56), 56).expect("settings");
    group.bench_function("a 400 card read", |bench| {
        let mut read = ReadCard::default();
        bench.iter(|| reader.read_into(&card, &noisy, &mut read));
    });
    let mut maker = CardMaker::new(machine, 14.2);
    group.bench_function("a 400 card made", |bench| {
        bench.iter(|| maker.make(&strokes, &Make::default()));
    });
    group.finish();
}

criterion_group!(benches, reading);
criterion_main!(benches);
