//! The lists. Enters: numbers and names. Leaves: plain rows in a stable order.
//! Refuses: words and numbers that this program never writes, which it takes
//! for damage.

use super::Ledger;
use super::error::LedgerError;
use super::read::card_id;
use super::rows::{AttemptRow, CardRow, DeckRow, EventRow, JobRow, UnitRow};
use super::types::{DeckSha, UnixMillis};
use super::weaving::PieceNumber;
use super::words::{Ending, EventKind, JobKind, Verdict};
use cardwright_protocol::{CardNumber, JobNumber};
use rusqlite::types::Type;
use rusqlite::{Row, params};
use std::collections::BTreeMap;

/// The columns of [`job_row`].
const JOB: &str = "SELECT job.number, job.kind, deck.name, deck.sha256, job.unit, job.started,
        job.ended, job.ending,
        (SELECT count(*) FROM attempt WHERE attempt.job = job.number),
        (SELECT count(*) FROM attempt WHERE attempt.job = job.number AND verdict = 'good'),
        (SELECT count(*) FROM attempt WHERE attempt.job = job.number AND attempt.ended IS NULL),
        job.settings
    FROM job LEFT JOIN deck ON deck.id = job.deck";

/// The columns of [`attempt_row`].
const ATTEMPT: &str = "SELECT attempt.job, attempt.card, attempt.attempt, attempt.verdict,
        attempt.faults, attempt.strokes, attempt.strokes_crc, attempt.strokes_made,
        attempt.lines, attempt.length_um, attempt.place, attempt.sent, attempt.ended,
        EXISTS (SELECT 1 FROM readings WHERE readings.job = attempt.job
            AND readings.card = attempt.card AND readings.attempt = attempt.attempt)
    FROM attempt";

impl Ledger {
    /// How many records of each kind every piece has.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn weaving_counts(&self) -> Result<Vec<(PieceNumber, String, u32)>, LedgerError> {
        let sql = "SELECT piece, kind, count(*) FROM weaving GROUP BY piece, kind";
        self.rows(sql, [], |row| {
            Ok((PieceNumber(row.get(0)?), row.get(1)?, row.get(2)?))
        })
    }

    /// Every job, oldest first.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn jobs(&self) -> Result<Vec<JobRow>, LedgerError> {
        self.rows(&format!("{JOB} ORDER BY job.number"), [], job_row)
    }

    /// Jobs with this deck that have not ended, oldest first.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn unfinished_jobs(&self, deck: DeckSha) -> Result<Vec<JobRow>, LedgerError> {
        let sql = format!("{JOB} WHERE deck.sha256 = ?1 AND job.ended IS NULL ORDER BY job.number");
        self.rows(&sql, params![deck.0], job_row)
    }

    /// Jobs in which a stack was read that no deck was known of, oldest first.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn reading_jobs(&self) -> Result<Vec<JobRow>, LedgerError> {
        let sql = format!("{JOB} WHERE job.kind = 'read' ORDER BY job.number");
        self.rows(&sql, [], job_row)
    }

    /// Of each card of a deck, over all jobs, the attempt that was read last, if it
    /// was not in the rig again since without being read.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn last_read(&self, deck: DeckSha) -> Result<Vec<AttemptRow>, LedgerError> {
        let sql = format!(
            "{ATTEMPT} JOIN job ON job.number = attempt.job JOIN deck ON deck.id = job.deck
             WHERE deck.sha256 = ?1 AND NOT EXISTS (
                 SELECT 1 FROM attempt AS newer JOIN job AS its ON its.number = newer.job
                 WHERE its.deck = job.deck AND newer.card = attempt.card
                     AND newer.verdict <> 'not begun'
                     AND coalesce(newer.end_order > attempt.end_order, 1)
                     AND NOT EXISTS (SELECT 1 FROM readings WHERE readings.job = newer.job
                         AND readings.card = newer.card
                         AND readings.attempt = newer.attempt))
             AND attempt.end_order = (
                 SELECT max(last.end_order) FROM attempt AS last
                 JOIN job AS its ON its.number = last.job
                 JOIN readings ON readings.job = last.job AND readings.card = last.card
                     AND readings.attempt = last.attempt
                 WHERE its.deck = job.deck AND last.card = attempt.card)
             ORDER BY card"
        );
        self.rows(&sql, params![deck.0], attempt_row)
    }

    /// One job.
    ///
    /// # Errors
    /// [`LedgerError::NoSuchJob`]; as [`LedgerError`] says for damage and disk.
    pub fn job(&self, number: JobNumber) -> Result<JobRow, LedgerError> {
        let rows = self.rows(&format!("{JOB} WHERE job.number = ?1"), [number.0], job_row)?;
        rows.into_iter()
            .next()
            .ok_or(LedgerError::NoSuchJob(number))
    }

    /// Every deck, in the order they were met.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn decks(&self) -> Result<Vec<DeckRow>, LedgerError> {
        let sql = "SELECT id, name, sha256, format, cards, first_seen FROM deck ORDER BY id";
        self.rows(sql, [], |row| {
            Ok(DeckRow {
                deck: row.get(0)?,
                name: row.get(1)?,
                sha256: DeckSha(row.get(2)?),
                format: row.get(3)?,
                cards: row.get(4)?,
                first_seen: UnixMillis(row.get(5)?),
            })
        })
    }

    /// Every attempt of one job, by card and attempt.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn attempts(&self, job: JobNumber) -> Result<Vec<AttemptRow>, LedgerError> {
        let sql = format!("{ATTEMPT} WHERE attempt.job = ?1 ORDER BY card, attempt");
        self.rows(&sql, [job.0], attempt_row)
    }

    /// Every attempt of every job, by job, card and attempt.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn all_attempts(&self) -> Result<Vec<AttemptRow>, LedgerError> {
        self.rows(
            &format!("{ATTEMPT} ORDER BY job, card, attempt"),
            [],
            attempt_row,
        )
    }

    /// Every card of a deck, cut or not, by number.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn cards(&self, deck: &DeckRow) -> Result<Vec<CardRow>, LedgerError> {
        let good = self.good_cards(deck.sha256)?;
        let sql = format!(
            "{ATTEMPT} JOIN job ON job.number = attempt.job WHERE job.deck = ?1
             ORDER BY attempt.end_order IS NULL, attempt.end_order, attempt.job, card, attempt"
        );
        let mut cards: BTreeMap<u32, CardRow> = (1..=deck.cards)
            .map(|number| {
                let card = CardNumber(number);
                let good = good.contains(&card);
                let faults = BTreeMap::new();
                (
                    number,
                    CardRow {
                        card,
                        good,
                        attempts: 0,
                        last: None,
                        faults,
                    },
                )
            })
            .collect();
        for attempt in self.rows(&sql, [deck.deck], attempt_row)? {
            let Some(card) = cards.get_mut(&attempt.card.0) else {
                continue;
            };
            card.attempts = card.attempts.saturating_add(1);
            card.last = Some(attempt.verdict);
            for fault in attempt.faults {
                *card.faults.entry(fault.kind).or_default() += 1;
            }
        }
        Ok(cards.into_values().collect())
    }

    /// Every unit, in the order they were first seen.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn units(&self) -> Result<Vec<UnitRow>, LedgerError> {
        let sql = "SELECT board, role, firmware, protocol, first_seen, last_seen, boot,
                 last_stop, settings
             FROM unit ORDER BY first_seen, board";
        self.rows(sql, [], |row| {
            Ok(UnitRow {
                board: row.get(0)?,
                role: row.get(1)?,
                firmware: row.get(2)?,
                protocol: row.get(3)?,
                first_seen: UnixMillis(row.get(4)?),
                last_seen: UnixMillis(row.get(5)?),
                boot: row.get(6)?,
                last_stop: row.get(7)?,
                settings: row
                    .get::<_, Option<String>>(8)?
                    .map(|_| json(row, 8))
                    .transpose()?,
            })
        })
    }

    /// Events in the order they were written, of one job or of all.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn events(&self, job: Option<JobNumber>) -> Result<Vec<EventRow>, LedgerError> {
        let sql = "SELECT number, at, job, kind, detail FROM event
             WHERE ?1 IS NULL OR job = ?1 ORDER BY number";
        self.rows(sql, [job.map(|job| job.0)], |row| {
            Ok(EventRow {
                event: row.get(0)?,
                at: UnixMillis(row.get(1)?),
                job: row.get::<_, Option<u32>>(2)?.map(JobNumber),
                kind: word(row, 3, &EventKind::ALL, EventKind::word)?,
                detail: json(row, 4)?,
            })
        })
    }
}

fn job_row(row: &Row<'_>) -> rusqlite::Result<JobRow> {
    let ending: Option<String> = row.get(7)?;
    Ok(JobRow {
        job: JobNumber(row.get(0)?),
        kind: word(row, 1, &JobKind::ALL, JobKind::word)?,
        deck: row.get(2)?,
        deck_sha256: row.get::<_, Option<[u8; 32]>>(3)?.map(DeckSha),
        unit: row.get(4)?,
        started: UnixMillis(row.get(5)?),
        ended: row.get::<_, Option<i64>>(6)?.map(UnixMillis),
        ending: ending
            .map(|_| word(row, 7, &Ending::ALL, Ending::word))
            .transpose()?,
        attempts: row.get(8)?,
        good: row.get(9)?,
        open: row.get(10)?,
        settings: json(row, 11)?,
    })
}

fn attempt_row(row: &Row<'_>) -> rusqlite::Result<AttemptRow> {
    let id = card_id(row)?;
    Ok(AttemptRow {
        job: id.job,
        card: id.card,
        attempt: id.attempt,
        verdict: word(row, 3, &Verdict::ALL, Verdict::word)?,
        faults: json(row, 4)?,
        strokes: row.get(5)?,
        strokes_crc: row.get(6)?,
        strokes_made: row.get(7)?,
        lines: row.get(8)?,
        length_um: row.get(9)?,
        place: row.get(10)?,
        sent: UnixMillis(row.get(11)?),
        ended: row.get::<_, Option<i64>>(12)?.map(UnixMillis),
        readings: row.get(13)?,
    })
}

/// The one of `all` whose word stands in column `index`.
fn word<T: Copy>(
    row: &Row<'_>,
    index: usize,
    all: &[T],
    word: fn(T) -> &'static str,
) -> rusqlite::Result<T> {
    let found: String = row.get(index)?;
    all.iter()
        .copied()
        .find(|one| word(*one) == found)
        .ok_or_else(|| {
            let cause = format!("the word `{found}` is not one of this column's");
            rusqlite::Error::FromSqlConversionFailure(index, Type::Text, cause.into())
        })
}

/// The JSON in column `index`.
fn json<T: serde::de::DeserializeOwned>(row: &Row<'_>, index: usize) -> rusqlite::Result<T> {
    let text: String = row.get(index)?;
    serde_json::from_str(&text)
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(index, Type::Text, error.into()))
}
