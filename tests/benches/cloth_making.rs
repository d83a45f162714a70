//! The cards of the same painting, 1,200 hooks by 10,000 picks, made by us and by the
//! plainest program on numpy, in one run: both medians.
//!
//! Both begin with the colour of every square in memory and end with the rows of every
//! card. Both must cut the very same holes, or this stops.

#[path = "../../host/benches/wide/mod.rs"]
mod wide;

use cardwright_tests::reference::reference;
use serde_json::json;
use std::hint::black_box;
use std::time::Instant;
use wide::{COLUMNS, LINES, cloth, design, format};

const ROUNDS: usize = 9;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    format(folder.path());
    let cloth = cloth(folder.path(), "weave = \"satin 8 counter 3 warp\"");
    let squares = design();
    let mut times_us = Vec::new();
    let mut cards = Vec::new();
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let made = cloth.make(black_box(&squares)).expect("made");
        times_us.push(start.elapsed().as_secs_f64() * 1e6);
        cards = made.cards;
    }
    times_us.sort_by(f64::total_cmp);
    let ours_us = times_us[ROUNDS / 2];
    let rows = cards.iter().flatten().flat_map(|row| row.0.to_le_bytes());
    let ours = folder.path().join("rows");
    std::fs::write(&ours, rows.collect::<Vec<u8>>()).expect("the rows are written");
    let paper = folder.path().join("paper");
    std::fs::write(&paper, squares.colours()).expect("the paper is written");
    let answer = reference(
        "making",
        json!({
            "paper": paper,
            "rows": ours,
            "columns": COLUMNS,
            "lines": LINES,
            "rounds": ROUNDS,
        }),
    );
    assert_eq!(answer["same"], true, "the same holes");
    let theirs_us = answer["median_us"].as_f64().expect("a median");
    println!("{LINES} cards of {COLUMNS} hooks, {ROUNDS} rounds, the same holes; medians:");
    println!("  cardwright  {:9.1} ms", ours_us / 1e3);
    println!("  numpy       {:9.1} ms", theirs_us / 1e3);
    println!("  {:.1} times as fast", theirs_us / ours_us);
}
