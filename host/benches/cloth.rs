//! How long it takes to make the cards of a large design with a cloth file, to
//! check them, and to find the design again: 1,200 hooks by 10,000 picks, a
//! figure and a ground in satins, once more with all that has to look around:
//! bound floats, clear edges, binding started afresh.

#[path = "wide/mod.rs"]
mod wide;

use cardwright::deck::{Cutting, Deck};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use wide::{COLUMNS, LINES, cloth as cloth_of, design, format};

fn making(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    format(folder.path());
    let squares = design();
    let mut group = c.benchmark_group("1,200 hooks by 10,000 picks");
    group
        .sample_size(10)
        .throughput(Throughput::Elements(u64::from(COLUMNS * LINES)));
    for (what, figure) in [
        ("satins", "weave = \"satin 8 counter 3 warp\""),
        (
            "bound floats, clear edges, afresh",
            "weave = \"lift bound 9 ends 9 picks\"\nedges = \"clear\"\nbinding = \"afresh\"",
        ),
    ] {
        let cloth = cloth_of(folder.path(), figure);
        group.bench_function(format!("made: {what}"), |b| {
            b.iter(|| cloth.make(black_box(&squares)).expect("made"));
        });
    }
    let cloth = cloth_of(folder.path(), "weave = \"satin 8 counter 3 warp\"");
    let made = cloth.make(&squares).expect("made");
    let format = cloth.format().clone();
    let deck = Deck::new("bench", format, None, Cutting::default(), made.cards).expect("a deck");
    group.bench_function("checked", |b| {
        b.iter(|| {
            cloth
                .check(&deck, &made.mounting, Some(&squares))
                .expect("checked")
        });
    });
    group.bench_function("found again", |b| {
        b.iter(|| cloth.unmake(&deck, COLUMNS).expect("found"));
    });
    let clear = "weave = \"satin 8 counter 3 warp\"\nedges = \"clear\"";
    let cloth = cloth_of(folder.path(), clear);
    let made = cloth.make(&squares).expect("made");
    let format = cloth.format().clone();
    let deck = Deck::new("bench", format, None, Cutting::default(), made.cards).expect("a deck");
    group.bench_function("found again: clear edges", |b| {
        b.iter(|| cloth.unmake(&deck, COLUMNS).expect("found"));
    });
    group.finish();
}

criterion_group!(benches, making);
criterion_main!(benches);
