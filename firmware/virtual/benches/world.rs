//! How fast the world and the unit in it run: feed steps, scans, strokes, and
//! whole cards cut and read through the firmware and the link.

#[path = "../tests/common/mod.rs"]
mod common;

use cardwright_protocol::card::Row;
use cardwright_protocol::{Micros, Stroke};
use cardwright_virtual::world::{Input, Output};
use cardwright_virtual::{
    CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World, WorldSettings,
};
use common::{SmallHost, card_400};
use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};

fn card_in_path() -> World {
    let mut world = World::new(WorldSettings::default(), &Faults::default());
    world.set_output(Output::FeedOn, true);
    world.set_output(Output::Lamp, true);
    world.lay_in_card();
    world
}

fn step(world: &mut World, at: &mut u64) {
    *at += 125;
    world.advance(Micros(*at));
    world.set_output(Output::Step, true);
    world.set_output(Output::Step, false);
}

fn steps(c: &mut Criterion) {
    let mut group = c.benchmark_group("world");
    group.throughput(Throughput::Elements(1000));
    group.bench_function("1000 feed steps, edge looked at", |bench| {
        let mut world = card_in_path();
        let mut at = 0;
        bench.iter(|| {
            let mut covered = 0u32;
            for _ in 0..1000 {
                step(&mut world, &mut at);
                covered += u32::from(world.input(Input::Edge));
            }
            covered
        });
    });
    group.throughput(Throughput::Elements(1));
    group.bench_function("one scan of eight channels over a full row", |bench| {
        let mut world = card_in_path();
        let mut at = 0;
        for _ in 0..20 {
            for _ in 0..136 {
                step(&mut world, &mut at);
            }
            world.shift(0);
            world.shift(0xff);
            world.set_output(Output::LocksLatch, true);
            world.set_output(Output::LocksOn, true);
            at += 5_000;
            world.advance(Micros(at));
            world.set_output(Output::Stroke, true);
            at += 20_000;
            world.advance(Micros(at));
            world.set_output(Output::Stroke, false);
            world.set_output(Output::LocksLatch, false);
        }
        bench.iter(|| {
            world.begin_scan();
            at += 40;
            world.advance(Micros(at));
            world.take_scan()
        });
    });
    group.finish();
}

fn whole_cards(c: &mut Criterion) {
    let mut group = c.benchmark_group("unit");
    let cards: Vec<Vec<Stroke>> = (0..4u16)
        .map(|n| card_400(|row| Row((row * 37 + n * 11) & 0xff)))
        .collect();
    group.throughput(Throughput::Elements(4 * 56));
    group.sample_size(20);
    group.bench_function("strokes, four 400 cards cut and read", |bench| {
        bench.iter_batched(
            || {
                let settings = WorldSettings::default();
                let mut world = World::new(settings.clone(), &Faults::default());
                world.fill_magazine(4);
                let unit = VirtualUnit::new(world, Nameplate::default());
                let cabled = CabledUnit::new(unit, &LineSettings::sound(115_200, 1_000), 0);
                (
                    cabled,
                    SmallHost::new(settings.as_told_to_unit(56), cards.clone()),
                )
            },
            |(mut cabled, mut host)| {
                host.run(&mut cabled, Micros(120_000_000), |_, cabled| {
                    cabled.unit.world().truth().cards.len() == 4
                });
                assert_eq!(cabled.unit.world().truth().cards.len(), 4);
                cabled.unit.polls()
            },
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, steps, whole_cards);
criterion_main!(benches);
