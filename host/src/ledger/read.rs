//! What a job asks the ledger. Enters: numbers. Leaves: plain values in a
//! stable order. Refuses: numbers that this program never writes,
//! which it takes for damage.

use super::error::LedgerError;
use super::readings::unpress;
use super::types::{DeckSha, OpenAttempt, Readings, UnixMillis};
use super::{FILE, Ledger};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rusqlite::types::Type;
use rusqlite::{OptionalExtension, Params, Row, params};
use std::collections::{BTreeMap, BTreeSet};

/// Good cards of a deck: cut or read good, and not found faulty by a later
/// verifying job, in the order in which the ledger learned it: a job that was
/// begun before the verifying one may go on after it. (A later cut that failed spoils other stock, not this card.)
const GOOD: &str = "SELECT DISTINCT good.card FROM attempt AS good
    JOIN job ON job.number = good.job JOIN deck ON deck.id = job.deck
    WHERE deck.sha256 = ?1 AND good.verdict = 'good' AND NOT EXISTS (
        SELECT 1 FROM attempt AS later JOIN job AS verifying ON verifying.number = later.job
        WHERE verifying.deck = job.deck AND verifying.kind = 'verify'
            AND later.card = good.card
            AND later.end_order > good.end_order
            AND later.verdict IN ('missing', 'partial', 'extra', 'out of register', 'mixed'))
    ORDER BY good.card";

impl Ledger {
    pub(super) fn rows<T>(
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
        let used = self.rows(sql, [job.0], |row| {
            Ok((CardNumber(row.get(0)?), row.get(1)?))
        })?;
        Ok(used.into_iter().collect())
    }

    /// Attempts of every other job that were sent and have not ended. A reading
    /// made to calibrate by is not among them: it is of no use later.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn open_elsewhere(&self, job: JobNumber) -> Result<BTreeSet<CardId>, LedgerError> {
        let sql = "SELECT job, card, attempt FROM attempt WHERE job <> ?1 AND ended IS NULL
             AND (SELECT kind FROM job WHERE number = attempt.job) <> 'calibrate'";
        Ok(self.rows(sql, [job.0], card_id)?.into_iter().collect())
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

    /// The text of every deck file that is known, in the order they were met.
    ///
    /// # Errors
    /// [`LedgerError::Corrupt`] if one is damaged; as [`LedgerError`] says for
    /// the disk.
    pub fn deck_texts(&self) -> Result<Vec<(DeckSha, String)>, LedgerError> {
        let sql = "SELECT sha256, content, content_length FROM deck
             WHERE content IS NOT NULL ORDER BY id";
        self.rows(sql, [], |row| {
            let pressed = row.get_ref(1)?.as_blob()?;
            let damaged = |cause: Box<dyn std::error::Error + Send + Sync>| {
                rusqlite::Error::FromSqlConversionFailure(1, Type::Blob, cause)
            };
            let length = row.get::<_, u32>(2)? as usize;
            let text = unpress(pressed, length).map_err(|error| damaged(error.into()))?;
            let text = String::from_utf8(text).map_err(|error| damaged(error.into()))?;
            Ok((DeckSha(row.get(0)?), text))
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

pub(super) fn card_id(row: &Row<'_>) -> rusqlite::Result<CardId> {
    Ok(CardId {
        job: JobNumber(row.get(0)?),
        card: CardNumber(row.get(1)?),
        attempt: Attempt(row.get(2)?),
    })
}
