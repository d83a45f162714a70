//! What recording costs: one card's end with 4 KB of readings, alone (one
//! flush of the disk a card) and fifty at a time through the writer (one flush
//! for all of them). The figures are those of the disk under the system's
//! temporary directory.

use cardwright::ledger::writer::{Command, Completions, LedgerWriter};
use cardwright::ledger::{
    EndedAttempt, JobKind, Ledger, NewAttempt, NewJob, Readings, UnixMillis, Verdict,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use criterion::{Criterion, criterion_group, criterion_main};
use std::error::Error;
use std::time::{Duration, Instant};

fn ended(id: CardId) -> EndedAttempt {
    // Noise over a level, as a reader gives it: hard to press, as real ones.
    let mut state = id.attempt.0 | 1;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 29) as u8
    };
    let samples = (0..4096).map(|n| {
        if n / 64 % 2 == 0 {
            20 + noise()
        } else {
            200 + noise()
        }
    });
    let readings = Readings {
        holes: 8,
        dark: [4; 16],
        open: [230; 16],
        samples: samples.collect(),
    };
    EndedAttempt {
        id,
        verdict: Verdict::Good,
        faults: Vec::new(),
        strokes_made: 56,
        lines: 512,
        length_um: 402_600,
        place: Some(id.attempt.0),
        readings: Some(readings),
        punches: Vec::new(),
        ended: UnixMillis(1_800_000_000_000),
    }
}

fn sent(ledger: &mut Ledger, job: JobNumber, first: u32, count: u32) -> Vec<CardId> {
    let ids = (first..first + count).map(|attempt| CardId {
        job,
        card: CardNumber(1),
        attempt: Attempt(attempt),
    });
    let ids: Vec<CardId> = ids.collect();
    let sent = UnixMillis(1_800_000_000_000);
    let new: Vec<NewAttempt> = ids
        .iter()
        .map(|id| NewAttempt {
            id: *id,
            strokes: 56,
            crc: 1,
            sent,
        })
        .collect();
    ledger.attempt_sent(&new).expect("the attempts are new");
    ids
}

fn job(ledger: &mut Ledger) -> JobNumber {
    let started = UnixMillis(1_800_000_000_000);
    let settings = serde_json::Value::Null;
    let new = NewJob {
        kind: JobKind::Cut,
        deck: None,
        unit: None,
        settings,
        started,
    };
    ledger.begin_job(&new).expect("the disk has room")
}

fn one_card(criterion: &mut Criterion) -> Result<(), Box<dyn Error>> {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let job = job(&mut ledger);
    let mut next = 1;
    criterion.bench_function("ledger, one card's end with 4 KB of readings", |bench| {
        bench.iter_custom(|rounds| {
            let count = u32::try_from(rounds).unwrap_or(u32::MAX);
            let ids = sent(&mut ledger, job, next, count);
            next += count;
            let ends: Vec<EndedAttempt> = ids.into_iter().map(ended).collect();
            let start = std::time::Instant::now();
            for end in &ends {
                ledger.attempt_ended(end).expect("the attempt is open");
            }
            start.elapsed()
        });
    });
    Ok(())
}

fn fifty_cards(criterion: &mut Criterion) -> Result<(), Box<dyn Error>> {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let job = job(&mut ledger);
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 64)?;
    let mut next = 1;
    criterion.bench_function("ledger, fifty cards' ends through the writer", |bench| {
        bench.iter_custom(|rounds| {
            let mut spent = Duration::ZERO;
            for _ in 0..rounds {
                let ids: Vec<CardId> = (next..next + 50)
                    .map(|attempt| CardId {
                        job,
                        card: CardNumber(1),
                        attempt: Attempt(attempt),
                    })
                    .collect();
                next += 50;
                let sent = UnixMillis(1_800_000_000_000);
                let new = ids.iter().map(|id| NewAttempt {
                    id: *id,
                    strokes: 56,
                    crc: 1,
                    sent,
                });
                submit(&mut writer, Command::AttemptSent(new.collect()));
                collect(&mut completions, 1);
                let ends: Vec<EndedAttempt> = ids.into_iter().map(ended).collect();
                let start = Instant::now();
                for end in ends {
                    submit(&mut writer, Command::AttemptEnded(Box::new(end)));
                }
                collect(&mut completions, 50);
                spent += start.elapsed();
            }
            spent
        });
    });
    Ok(())
}

fn submit(writer: &mut LedgerWriter<u8>, command: Command) {
    writer.submit(command, 0).expect("there is room");
}

fn collect(completions: &mut Completions<u8>, count: usize) {
    for _ in 0..count {
        completions
            .wait_next()
            .expect("an answer")
            .result
            .expect("it can be written");
    }
}

fn all(criterion: &mut Criterion) {
    one_card(criterion).expect("a ledger in the temporary directory");
    fifty_cards(criterion).expect("a ledger in the temporary directory");
}

criterion_group!(benches, all);
criterion_main!(benches);
