//! The same cards measured and compared with their deck by our judge and by the
//! plainest program on numpy and scikit-image, in one run: both medians.
//!
//! The cards are scanned clean, and have no flaw, a missing or an extra hole; the
//! plain program knows of no chads. Both must find the same holes, or this stops.

use cardwright::judge::{Geometry, Judged, Limits, Report};
use cardwright_tests::reference::reference;
use cardwright_tests::trust::{Bench, Trial, Worst};
use cardwright_virtual::card_maker::Flaw;
use serde_json::{Value, json};
use std::hint::black_box;
use std::time::Instant;

const CARDS: usize = 200;
const ROUNDS: usize = 5;
const SEED: u64 = 701;

/// Lines a row, and rows at which a 400 card's peg holes lie.
const PER_ROW: usize = 8;
const PEGS: [usize; 2] = [1, 54];

/// Nearer to where a peg hole should be, in rows, is light of it: its half and what a
/// card is shifted and swollen by.
const PEG_REACH: f64 = 0.8;

/// How well both must agree on shift (in mm), stretch and skew: the plain program
/// takes the middle of light that is cut off at whole lines, 0.85 mm apart.
const AGREE: [f64; 3] = [0.15, 5e-4, 1e-3];

fn main() {
    let mut bench = Bench::new(Worst::CLEAN, &Limits::default(), SEED);
    let trials: Vec<Trial> = (0..)
        .map(|number| bench.trial(number))
        .filter(|trial| {
            let mut flaws = trial.wrong.iter().map(|placed| placed.flaw);
            flaws.all(|flaw| matches!(flaw, Flaw::Missing | Flaw::Extra))
        })
        .take(CARDS)
        .collect();
    let mut times_us = Vec::with_capacity(CARDS * ROUNDS);
    for _ in 0..ROUNDS {
        for trial in &trials {
            let start = Instant::now();
            black_box(bench.judge(black_box(trial)));
            times_us.push(start.elapsed().as_secs_f64() * 1e6);
        }
    }
    times_us.sort_by(f64::total_cmp);
    let ours_us = times_us[times_us.len() / 2];
    let answer = reference("cards", problem(&trials));
    let found = answer["cards"].as_array().expect("a list of cards");
    assert_eq!(found.len(), trials.len());
    for (number, (trial, theirs)) in trials.iter().zip(found).enumerate() {
        compare(number, trial, &bench.judge(trial), theirs);
    }
    let theirs_us = answer["median_us"].as_f64().expect("a median");
    println!("{CARDS} cards, {ROUNDS} rounds, the same holes found on every card; medians:");
    println!("  the judge               {ours_us:9.1} us a card");
    println!("  numpy and scikit-image  {theirs_us:9.1} us a card");
    println!("  {:.0} times as fast", theirs_us / ours_us);
}

/// Bits of what each row should show, but for what lies within peg holes.
fn wanted(trial: &Trial) -> Vec<u16> {
    trial.strokes.iter().map(|what| what.punches().0).collect()
}

fn problem(trials: &[Trial]) -> Value {
    let card = |trial: &Trial| {
        let reading = &trial.reading;
        let holes = usize::from(reading.holes);
        json!({
            "dark": reading.began.dark[..holes],
            "open": reading.began.open[..holes],
            "samples": reading.samples.chunks(holes).collect::<Vec<_>>(),
            "rows": wanted(trial),
        })
    };
    json!({
        "per_row": PER_ROW,
        "pitch_mm": Geometry::card_400().row_pitch_mm,
        "rounds": ROUNDS,
        "pegs": PEGS,
        "peg_reach": PEG_REACH,
        "cards": trials.iter().map(card).collect::<Vec<_>>(),
    })
}

fn compare(number: usize, trial: &Trial, ours: &Report, theirs: &Value) {
    let mut rows = vec![0u16; trial.strokes.len()];
    for cell in ours.cells.iter().filter(|cell| cell.hole > 0) {
        let there = match cell.judged {
            Judged::Right => cell.required,
            Judged::Extra => true,
            Judged::Missing | Judged::WithinPeg => false,
            Judged::Partial | Judged::Doubtful => panic!("card {number}: {cell:?}"),
        };
        rows[usize::from(cell.stroke)] |= u16::from(there) << (cell.hole - 1);
    }
    assert_eq!(json!(rows), theirs["rows"], "card {number}");
    assert_eq!(
        ours.verdict.is_good(),
        trial.wrong.is_empty(),
        "card {number}"
    );
    assert_eq!(
        theirs["right"],
        json!(trial.wrong.is_empty()),
        "card {number}"
    );
    let plane = [
        f64::from(ours.offset_um) / 1e3,
        f64::from(ours.stretch_ppm) / 1e6,
        f64::from(ours.skew_urad) / 1e6,
    ];
    for (part, (ours, most)) in plane.iter().zip(AGREE).enumerate() {
        let theirs = theirs["plane"][part].as_f64().expect("a number");
        assert!(
            (ours - theirs).abs() < most,
            "card {number}: {ours} {theirs}"
        );
    }
}
