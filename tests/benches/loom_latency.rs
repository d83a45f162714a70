//! How long after the first edge of a beat the screen is told of the pick: the sensor's
//! settling, the unit, a serial line at 115,200 bits a second, the disk not among them.
//!
//! The moment of the edge is the one that the program itself has worked out, which it
//! says is right within a few milliseconds; a virtual loom at a real one's pace.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use cardwright::engine::{Clock, Hub};
use cardwright::job::{News, WeaveNews};
use cardwright::ledger::Ledger;
use cardwright::service::{self, Request, RigChoice, VIRTUAL, VirtualChoice, WeaveAsked};
use criterion::{Criterion, SamplingMode, criterion_group, criterion_main};

/// Weaves ground for ever, and tells after how many milliseconds each pick was told.
fn weave(dir: PathBuf) -> Receiver<f64> {
    let plan = dir.join("plan.toml");
    let text = "name = \"ground\"\n[[section]]\nname = \"ground\"\nground = 1000000\n";
    std::fs::write(&plan, text).expect("the disk");
    let (told, tells) = channel();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .expect("a runtime");
        runtime.block_on(async {
            let hub = Hub::start(Ledger::open(&dir).expect("a ledger")).expect("a writer");
            let (news_to, mut news) = tokio::sync::mpsc::channel(64);
            let (_keep, mut persons) = tokio::sync::mpsc::channel(16);
            let request = Request::Weave {
                asked: WeaveAsked {
                    plan,
                    loom: None,
                    new: false,
                    changed: false,
                },
                rig: RigChoice {
                    port: VIRTUAL.to_string(),
                    board: None,
                    file: None,
                    as_virtual: VirtualChoice {
                        speed: 1.0,
                        ..VirtualChoice::default()
                    },
                    patience_s: 60,
                },
            };
            tokio::spawn(
                async move { service::serve(request, &hub, &news_to, &mut persons).await },
            );
            while let Some(item) = news.recv().await {
                if let News::Weave(item) = item
                    && let WeaveNews::Line { line, .. } = *item
                    && line.pick.is_some()
                    && told
                        .send((Clock::time_of_day().0 - line.at) as f64)
                        .is_err()
                {
                    return;
                }
            }
        });
    });
    tells
}

fn latency(bench: &mut Criterion) {
    let dir = tempfile::tempdir().expect("a directory");
    let tells = weave(dir.path().to_path_buf());
    // the first ones meet clocks that were compared once only
    for _ in 0..5 {
        tells.recv().expect("it weaves");
    }
    let mut group = bench.benchmark_group("loom");
    group
        .sampling_mode(SamplingMode::Flat)
        .sample_size(20)
        .measurement_time(Duration::from_secs(60));
    group.bench_function("from a beat's edge to the screen", |b| {
        b.iter_custom(|picks| {
            let ms: f64 = (0..picks).map(|_| tells.recv().expect("it weaves")).sum();
            Duration::from_secs_f64(ms.max(0.0) / 1000.0)
        });
    });
    group.finish();
}

criterion_group!(benches, latency);
criterion_main!(benches);
