//! Counts wrong verdicts over very many cards of known truth, read in poor
//! conditions.
//!
//! Enters: how many cards (without, as many as have a hundred million positions),
//! and a seed. Leaves: every wrong verdict, and the counts. Status 1 if a flawed
//! card is called good, or more sound ones faulty than one in ten thousand.

use cardwright::judge::Limits;
use cardwright_tests::trust::{POSITIONS, Worst, judge_many};
use std::process::ExitCode;

const POSITIONS_WANTED: u64 = 100_000_000;

fn main() -> ExitCode {
    let mut numbers = std::env::args().skip(1).map(|text| text.parse::<u64>());
    let (cards, seed) = match (numbers.next(), numbers.next(), numbers.next()) {
        (None, None, None) => (POSITIONS_WANTED.div_ceil(POSITIONS), 1),
        (Some(Ok(cards)), None, None) => (cards, 1),
        (Some(Ok(cards)), Some(Ok(seed)), None) => (cards, seed),
        _ => {
            eprintln!("give the number of cards and a seed, or neither");
            return ExitCode::from(2);
        }
    };
    let counts = judge_many(Worst::RANGE, &Limits::default(), cards, seed, true);
    println!(
        "{} positions on {cards} cards, seed {seed}: {counts:?}",
        cards * POSITIONS
    );
    let trusted = counts.missed == 0 && counts.alarms * 10_000 <= counts.sound;
    ExitCode::from(u8::from(!trusted))
}
