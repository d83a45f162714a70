//! How long it takes to read the squares of a scanned sheet of 400 by 400
//! squares, and of the same design with one pixel a square.

#[path = "../tests/paper_drawn/mod.rs"]
mod drawn;

use cardwright::paper::{How, Picture, squares};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use drawn::{BLACK, BLUE, Drawn, PAPER, RED};
use std::hint::black_box;

fn sheets(c: &mut Criterion) {
    let drawn = Drawn {
        skew_degrees: 1.5,
        gradient: 0.3,
        noise: 4.0,
        rays: 2,
        ..Drawn::random(400, 400, &[PAPER, BLACK, RED, BLUE], 1)
    };
    let scan = drawn.picture();
    let sheet = squares(&scan, How::Ruled).expect("a sheet");
    assert_eq!((sheet.columns, sheet.rows), (400, 400));
    let levels = drawn
        .design
        .iter()
        .flat_map(|colour| drawn.palette[*colour])
        .collect();
    let pixels = Picture::new(400, 400, levels).expect("a picture");
    let mut group = c.benchmark_group("point paper of 400 x 400 squares");
    group
        .sample_size(10)
        .throughput(Throughput::Elements(400 * 400));
    group.bench_function("scanned, 10 pixels a square", |b| {
        b.iter(|| squares(black_box(&scan), How::Ruled).expect("a sheet"));
    });
    group.bench_function("one pixel a square", |b| {
        b.iter(|| squares(black_box(&pixels), How::Pixels).expect("a sheet"));
    });
    group.finish();
}

criterion_group!(benches, sheets);
criterion_main!(benches);
