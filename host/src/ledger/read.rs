//! Everything that is read. Enters: numbers and names. Leaves: plain rows in a
//! stable order. Refuses: words and numbers that this program never writes,
//! which it takes for damage.

use super::error::LedgerError;
use super::readings::unpress;
use super::types::{
    AttemptRow, CardRow, DeckRow, DeckSha, EventRow, JobRow, OpenAttempt, Readings, UnitRow,
    UnixMillis,
};
use super::words::{Ending, EventKind, JobKind, Verdict};
use super::{FILE, Ledger};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rusqlite::types::Type;
use rusqlite::{OptionalExtension, Params, Row, params};
use std::collections::{BTreeMap, BTreeSet};

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

/// Good cards of a deck: cut or read good, and not found faulty by a later
/// verifying job. (A later cut that failed spoils other stock, not this card.)
const GOOD: &str = "SELECT DISTINCT good.card FROM attempt AS good
    JOIN job ON job.number = good.job JOIN deck ON deck.id = job.deck
    WHERE deck.sha256 = ?1 AND good.verdict = 'good' AND NOT EXISTS (
        SELECT 1 FROM attempt AS later JOIN job AS verifying ON verifying.number = later.job
        WHERE verifying.deck = job.deck AND verifying.kind = 'verify'
            AND later.card = good.card
            AND (later.job, later.attempt) > (good.job, good.attempt)
            AND later.verdict IN ('missing', 'extra', 'out of register', 'mixed'))
    ORDER BY good.card";

impl Ledger {
    fn rows<T>(
        &self,
        sql: &str,
        values: impl Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, LedgerError> {
        let run = || {
            let mut statement = self.conn.prepare_cached(sql)?;
            statement
                .query_map(values, read)?
                .collect::<rusqlite::Result<Vec<T>>>()
        };
        run().map_err(|error| LedgerError::from_sql(&self.dir, &error))
    }

    /// Cards of this deck, by its content, that need not be cut: over all
    /// jobs, read good and not found faulty by a later verifying job.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn good_cards(&self, deck: DeckSha) -> Result<BTreeSet<CardNumber>, LedgerError> {
        let cards = self.rows(GOOD, params![deck.0], |row| Ok(CardNumber(row.get(0)?)))?;
        Ok(cards.into_iter().collect())
    }

    /// The lowest attempt number not yet used at this card of this job.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn next_attempt(&self, job: JobNumber, card: CardNumber) -> Result<Attempt, LedgerError> {
        let sql = "SELECT max(attempt) FROM attempt WHERE job = ?1 AND card = ?2";
        let last: Vec<Option<u32>> = self.rows(sql, [job.0, card.0], |row| row.get(0))?;
        let last = last.first().copied().flatten().unwrap_or(0);
        last.checked_add(1)
            .map(Attempt)
            .ok_or_else(|| LedgerError::UsedUp {
                dir: self.dir.clone(),
                what: "attempt",
            })
    }

    /// Attempts of this job that were sent and have not ended, by card.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn open_attempts(&self, job: JobNumber) -> Result<Vec<OpenAttempt>, LedgerError> {
        let sql = "SELECT job, card, attempt, strokes, strokes_crc, sent FROM attempt
             WHERE job = ?1 AND ended IS NULL ORDER BY card, attempt";
        self.rows(sql, [job.0], |row| {
            Ok(OpenAttempt {
                id: card_id(row)?,
                strokes: row.get(3)?,
                crc: row.get(4)?,
                sent: UnixMillis(row.get(5)?),
            })
        })
    }

    /// The highest attempt number used in this job, for each card tried.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn used_attempts(&self, job: JobNumber) -> Result<BTreeMap<CardNumber, u32>, LedgerError> {
        let sql = "SELECT card, max(attempt) FROM attempt WHERE job = ?1 GROUP BY card";
        let used = self.rows(sql, [job.0], |row| Ok((CardNumber(row.get(0)?), row.get(1)?)))?;
        Ok(used.into_iter().collect())
    }

    /// Attempts of every other job that were sent and have not ended.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn open_elsewhere(&self, job: JobNumber) -> Result<BTreeSet<CardId>, LedgerError> {
        let sql = "SELECT job, card, attempt FROM attempt WHERE job <> ?1 AND ended IS NULL";
        Ok(self.rows(sql, [job.0], card_id)?.into_iter().collect())
    }

    /// Jobs with this deck that have not ended, oldest first.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn unfinished_jobs(&self, deck: DeckSha) -> Result<Vec<JobRow>, LedgerError> {
        let sql = format!("{JOB} WHERE deck.sha256 = ?1 AND job.ended IS NULL ORDER BY job.number");
        self.rows(&sql, params![deck.0], job_row)
    }

    /// The raw readings of one card, if they were kept.
    ///
    /// # Errors
    /// [`LedgerError::Corrupt`] if they are damaged; as [`LedgerError`] says
    /// for the disk.
    pub fn raw_readings(&self, id: CardId) -> Result<Option<Readings>, LedgerError> {
        let sql = "SELECT holes, lines, dark, open, samples FROM readings
             WHERE job = ?1 AND card = ?2 AND attempt = ?3";
        let run = || {
            self.conn
                .prepare_cached(sql)?
                .query_row([id.job.0, id.card.0, id.attempt.0], |row| {
                    let (holes, lines): (u8, u32) = (row.get(0)?, row.get(1)?);
                    let pressed = row.get_ref(4)?.as_blob()?;
                    let length = usize::from(holes).saturating_mul(lines as usize);
                    let samples = unpress(pressed, length).map_err(|error| {
                        rusqlite::Error::FromSqlConversionFailure(4, Type::Blob, error.into())
                    })?;
                    Ok(Readings {
                        holes,
                        dark: row.get(2)?,
                        open: row.get(3)?,
                        samples,
                    })
                })
                .optional()
        };
        run().map_err(|error| LedgerError::from_sql(&self.dir, &error))
    }

    /// Every job, oldest first.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn jobs(&self) -> Result<Vec<JobRow>, LedgerError> {
        self.rows(&format!("{JOB} ORDER BY job.number"), [], job_row)
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
             ORDER BY attempt.job, card, attempt"
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

    /// The last session number given out; 0 if none was.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn last_session(&self) -> Result<u32, LedgerError> {
        let sql = "SELECT value FROM counter WHERE name = 'session'";
        let values = self.rows(sql, [], |row| row.get(0))?;
        values.first().copied().ok_or_else(|| LedgerError::Corrupt {
            file: self.dir.join(FILE),
            cause: "the session counter is missing".to_string(),
        })
    }
}

fn card_id(row: &Row<'_>) -> rusqlite::Result<CardId> {
    Ok(CardId {
        job: JobNumber(row.get(0)?),
        card: CardNumber(row.get(1)?),
        attempt: Attempt(row.get(2)?),
    })
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
