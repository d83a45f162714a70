//! Which cards can be mended: have what is missing cut into them.
//!
//! Enters: a deck, the cards asked for, what the ledger has of their last
//! readings. Leaves: strokes for those that can be, and the reason for those that
//! cannot. Refuses readings that are old: paper moves.

use std::collections::BTreeMap;

use cardwright_protocol::{CardNumber, Stroke};

use crate::deck::{CardList, Deck};
use crate::engine::{Clock, Hub};
use crate::judge::{Fit, Judge, mending};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{AttemptRow, DeckSha, Verdict, reading_of};
use crate::rig::RigFile;
use crate::service::ServiceError;

/// A reading older than this tells nothing of how the paper is now.
const FRESH_MS: i64 = 24 * 3_600_000;

/// What can be done.
#[derive(Debug, Default)]
pub(super) struct Mending {
    pub strokes: BTreeMap<CardNumber, Vec<Stroke>>,
    pub refused: Vec<String>,
}

pub(super) async fn mending_of(
    deck: &Deck,
    sha: DeckSha,
    list: &CardList,
    all: bool,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Mending, ServiceError> {
    let last = match hub.ask(Command::LastRead(sha)).await? {
        Answer::Attempts(last) => last,
        _ => Vec::new(),
    };
    let last: BTreeMap<CardNumber, AttemptRow> =
        last.into_iter().map(|row| (row.card, row)).collect();
    let geometry = RigFile::geometry(deck.format());
    let samples = rig.settings(deck.format()).samples_per_row;
    let judge = Judge::new(&geometry, &rig.limits(), samples);
    let mut found = Mending::default();
    for card in list.iter() {
        let row = match last.get(&card) {
            Some(row) if row.verdict == Verdict::Good && all => continue,
            Some(row) => row,
            None if all => continue,
            None => {
                let words = "it was not read since it was in the rig last; verify the stack first";
                found.refused.push(format!("card {}: {words}", card.0));
                continue;
            }
        };
        match one(deck, row, samples, &judge, rig, hub).await? {
            Ok(strokes) => drop(found.strokes.insert(card, strokes)),
            Err(words) => found.refused.push(format!("card {}: {words}", card.0)),
        }
    }
    Ok(found)
}

async fn one(
    deck: &Deck,
    row: &AttemptRow,
    samples: u8,
    judge: &Judge,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Result<Vec<Stroke>, String>, ServiceError> {
    if row.verdict == Verdict::OutOfOrder {
        return Ok(Err(
            "another card was read in its place; put the stack in order and verify it again"
                .to_string(),
        ));
    }
    let doubts = deck.reading().map_or(&[][..], |reading| &reading.doubtful);
    if doubts.iter().any(|doubt| doubt.card == row.card) {
        return Ok(Err(
            "some of its holes are doubtful and only guessed; `cardwright deck settle` first"
                .to_string(),
        ));
    }
    let age = Clock::time_of_day().0 - row.ended.map_or(0, |ended| ended.0);
    if age > FRESH_MS {
        return Ok(Err(
            "it was read more than a day ago, and paper moves with damp; verify it again"
                .to_string(),
        ));
    }
    let raw = match hub.ask(Command::RawReadings(row.id())).await? {
        Answer::Readings(Some(raw)) => raw,
        _ => {
            return Ok(Err(
                "its last reading was not kept; verify it again".to_string()
            ));
        }
    };
    let reading = reading_of(row, raw, samples);
    let strokes = deck.strokes(row.card).unwrap_or_default();
    let report = judge.judge(&strokes, &reading, Fit::OffsetAndStretch);
    let geometry = RigFile::geometry(deck.format());
    Ok(mending(&strokes, &geometry, &rig.limits(), &report).map_err(|why| why.to_string()))
}
