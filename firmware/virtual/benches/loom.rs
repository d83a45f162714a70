//! How fast the modelled loom runs: picks of a weaver, every change of a line
//! looked at, with and without bounce.

use cardwright_virtual::loom::{LoomPlace, Script, Step, WeaverSettings};
use cardwright_virtual::{LoomOptions, LoomWorld};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

const PICKS: u64 = 1_000;

fn picks(c: &mut Criterion) {
    let mut group = c.benchmark_group("loom");
    group.throughput(Throughput::Elements(PICKS));
    for bounce_us in [0, 8_000] {
        group.bench_function(format!("1000 picks, {bounce_us} us of bounce"), |bench| {
            let world = LoomWorld {
                bounce_us,
                keep_cloth: false,
                ..LoomWorld::default()
            };
            let script = Script::over_and_over(vec![Step::NEXT_CARD]);
            let mut place = LoomPlace::new(LoomOptions {
                world,
                seed: 1,
                weaver: Some((script, WeaverSettings::default())),
            });
            let mut until = 0;
            bench.iter(|| {
                until += PICKS;
                let mut seen = 0u64;
                while place.loom.counts().beats < until {
                    place.advance(place.next_change());
                    seen += u64::from(place.loom.lines());
                }
                seen
            });
        });
    }
    group.finish();
}

criterion_group!(benches, picks);
criterion_main!(benches);
