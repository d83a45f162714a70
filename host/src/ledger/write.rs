//! Everything that is written. Enters: what the job learned. Leaves: rows in
//! one transaction that the caller commits. Refuses: an identity used twice,
//! a second end of an attempt, and a good card without its readings.

use super::error::LedgerError;
use super::readings::press;
use super::types::{
    BoardId, EndedAttempt, NewAttempt, NewCalibration, NewDeck, NewEvent, NewJob, PunchSeen,
    SeenUnit, UnixMillis,
};
use super::words::{Ending, Verdict};
use cardwright_protocol::unit_to_host::Role;
use cardwright_protocol::{CardId, JobNumber};
use rusqlite::{Connection, OptionalExtension, params};
use std::path::Path;

/// Writes within one transaction. What it returns is not yet on disk: only
/// the commit makes it so.
pub(super) struct Batch<'a> {
    pub conn: &'a Connection,
    pub dir: &'a Path,
}

impl Batch<'_> {
    fn sql<T>(&self, result: rusqlite::Result<T>) -> Result<T, LedgerError> {
        result.map_err(|error| LedgerError::from_sql(self.dir, &error))
    }

    pub(super) fn run(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
    ) -> Result<usize, LedgerError> {
        let run = || self.conn.prepare_cached(sql)?.execute(values);
        self.sql(run())
    }

    pub(super) fn ask<T: rusqlite::types::FromSql>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
    ) -> Result<Option<T>, LedgerError> {
        let run = || {
            self.conn
                .prepare_cached(sql)?
                .query_row(values, |row| row.get(0))
                .optional()
        };
        self.sql(run())
    }

    /// Writes the deck down if its content is new; a known content takes the
    /// new name.
    fn deck(&self, deck: &NewDeck, at: UnixMillis) -> Result<i64, LedgerError> {
        let sql =
            "INSERT INTO deck (sha256, name, format, cards, first_seen, content, content_length)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
             ON CONFLICT (sha256) DO UPDATE SET name = excluded.name,
                 content = excluded.content, content_length = excluded.content_length
             RETURNING id";
        let content = press(deck.text.as_bytes()).map_err(|error| {
            LedgerError::from_io(&self.dir.join(super::FILE), "written", &error)
        })?;
        let values = params![
            deck.sha256.0,
            deck.name,
            deck.format,
            deck.cards,
            at.0,
            content,
            i64::try_from(deck.text.len()).unwrap_or(i64::MAX)
        ];
        self.ask(sql, values)?.ok_or_else(|| self.lost("deck"))
    }

    pub fn begin_job(&self, job: &NewJob) -> Result<JobNumber, LedgerError> {
        let deck = job
            .deck
            .as_ref()
            .map(|deck| self.deck(deck, job.started))
            .transpose()?;
        let sql = "INSERT INTO job (kind, deck, unit, settings, started)
             VALUES (?1, ?2, ?3, ?4, ?5) RETURNING number";
        let values = params![
            job.kind.word(),
            deck,
            job.unit.map(|board| board.to_string()),
            job.settings.to_string(),
            job.started.0
        ];
        let number: i64 = self.ask(sql, values)?.ok_or_else(|| self.lost("job"))?;
        u32::try_from(number)
            .map(JobNumber)
            .map_err(|_| self.used_up("job"))
    }

    pub fn job_unit(&self, job: JobNumber, unit: BoardId) -> Result<(), LedgerError> {
        self.job_takes_more(job)?;
        let sql = "UPDATE job SET unit = ?2 WHERE number = ?1";
        self.run(sql, params![job.0, unit.to_string()]).map(drop)
    }

    pub fn end_job(
        &self,
        job: JobNumber,
        ending: Ending,
        at: UnixMillis,
    ) -> Result<(), LedgerError> {
        self.job_takes_more(job)?;
        let sql = "UPDATE job SET ended = ?2, ending = ?3 WHERE number = ?1";
        self.run(sql, params![job.0, at.0, ending.word()]).map(drop)
    }

    /// Ends what no later run takes up: every job but those that cut.
    pub fn end_abandoned(&self, at: UnixMillis) -> Result<(), LedgerError> {
        let sql = "UPDATE job SET ended = ?1, ending = ?2
             WHERE ended IS NULL AND kind <> 'cut'";
        self.run(sql, params![at.0, Ending::Failed.word()])
            .map(drop)
    }

    pub fn attempt_sent(&self, attempts: &[NewAttempt]) -> Result<(), LedgerError> {
        let sql = "INSERT INTO attempt (job, card, attempt, strokes, strokes_crc, sent, verdict)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, 'sent')
             ON CONFLICT DO NOTHING";
        for new in attempts {
            self.job_takes_more(new.id.job)?;
            let (job, card, attempt) = key(new.id);
            let values = params![job, card, attempt, new.strokes, new.crc, new.sent.0];
            if self.run(sql, values)? == 0 {
                return Err(LedgerError::AttemptUsed(new.id));
            }
        }
        Ok(())
    }

    pub fn attempt_ended(&self, end: &EndedAttempt) -> Result<(), LedgerError> {
        let (job, card, attempt) = key(end.id);
        // The strokes to be cut (none where cards are only read), or -1 once
        // it has ended.
        let before = "SELECT CASE WHEN attempt.ended IS NOT NULL THEN -1
                 WHEN job.kind IN ('cut', 'mend') THEN attempt.strokes ELSE 0 END
             FROM attempt JOIN job ON job.number = attempt.job
             WHERE attempt.job = ?1 AND card = ?2 AND attempt = ?3";
        let strokes = match self.ask::<i64>(before, params![job, card, attempt])? {
            None => return Err(LedgerError::NoSuchAttempt(end.id)),
            Some(-1) => return Err(LedgerError::AttemptEnded(end.id)),
            Some(strokes) => strokes,
        };
        if let Some(cause) = contradiction(end, strokes) {
            return Err(LedgerError::Contradiction { id: end.id, cause });
        }
        let faults = serde_json::to_string(&end.faults)
            .map_err(|_| self.contradicts(end.id, "its faults cannot be written as JSON"))?;
        let sql = "UPDATE attempt SET verdict = ?4, ended = ?5, place = ?6, faults = ?7,
                 strokes_made = ?8, lines = ?9, length_um = ?10,
                 end_order = (SELECT coalesce(max(end_order), 0) + 1 FROM attempt)
             WHERE job = ?1 AND card = ?2 AND attempt = ?3";
        let values = params![
            job,
            card,
            attempt,
            end.verdict.word(),
            end.ended.0,
            end.place,
            faults,
            end.strokes_made,
            end.lines,
            end.length_um
        ];
        self.run(sql, values)?;
        self.readings(end)?;
        self.punches(end)
    }

    fn punches(&self, end: &EndedAttempt) -> Result<(), LedgerError> {
        let (job, card, attempt) = key(end.id);
        let sql = "INSERT INTO punch (job, card, attempt, hole, holes, diameter_um, along_um)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
        for seen in &end.punches {
            let PunchSeen {
                hole,
                holes,
                diameter_um,
                along_um,
            } = *seen;
            self.run(
                sql,
                params![job, card, attempt, hole, holes, diameter_um, along_um],
            )?;
        }
        Ok(())
    }

    fn readings(&self, end: &EndedAttempt) -> Result<(), LedgerError> {
        let Some(readings) = &end.readings else {
            return Ok(());
        };
        let samples = press(&readings.samples)
            .map_err(|_| self.contradicts(end.id, "its readings cannot be pressed"))?;
        let lines = u32::try_from(readings.lines())
            .map_err(|_| self.contradicts(end.id, "it has too many readings"))?;
        let (job, card, attempt) = key(end.id);
        let sql = "INSERT INTO readings (job, card, attempt, holes, lines, dark, open, samples)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
        let values = params![
            job,
            card,
            attempt,
            readings.holes,
            lines,
            readings.dark,
            readings.open,
            samples
        ];
        self.run(sql, values).map(drop)
    }

    pub fn unit_seen(&self, unit: &SeenUnit) -> Result<(), LedgerError> {
        let role = match unit.role {
            Role::Rig => "rig",
            Role::Loom => "loom",
        };
        let sql = "INSERT INTO unit
                 (board, role, firmware, protocol, first_seen, last_seen, boot, last_stop, settings)
             VALUES (?1, ?2, ?3, ?4, ?5, ?5, ?6, ?7, ?8)
             ON CONFLICT (board) DO UPDATE SET
                 role = excluded.role, firmware = excluded.firmware,
                 protocol = excluded.protocol, last_seen = excluded.last_seen,
                 boot = excluded.boot, last_stop = excluded.last_stop,
                 settings = coalesce(excluded.settings, settings)";
        let values = params![
            unit.board.to_string(),
            role,
            unit.firmware,
            unit.protocol,
            unit.at.0,
            unit.boot,
            spaced(&format!("{:?}", unit.last_stop)),
            unit.settings.as_ref().map(ToString::to_string)
        ];
        self.run(sql, values).map(drop)
    }

    pub fn calibrated(&self, found: &NewCalibration) -> Result<(), LedgerError> {
        let sql = "INSERT INTO calibration (board, holes, at, detail) VALUES (?1, ?2, ?3, ?4)";
        let board = found.board.to_string();
        let values = params![board, found.holes, found.at.0, found.detail.to_string()];
        self.run(sql, values).map(drop)
    }

    pub fn event(&self, event: &NewEvent) -> Result<(), LedgerError> {
        if let Some(job) = event.job {
            self.ended(job)?;
        }
        let sql = "INSERT INTO event (at, job, kind, detail) VALUES (?1, ?2, ?3, ?4)";
        let job = event.job.map(|job| job.0);
        let values = params![event.at.0, job, event.kind.word(), event.detail.to_string()];
        self.run(sql, values).map(drop)
    }

    pub fn next_session(&self) -> Result<u32, LedgerError> {
        // A new ledger begins anywhere: a unit that has served another ledger
        // must not take the first session of this one for the last of that.
        let sql = "UPDATE counter SET value =
                CASE value WHEN 0 THEN abs(random() % 2147483647) + 1 ELSE value + 1 END
             WHERE name = 'session' RETURNING value";
        let value: i64 = self
            .ask(sql, [])?
            .ok_or_else(|| self.lost("session counter"))?;
        u32::try_from(value).map_err(|_| self.used_up("session"))
    }

    /// Whether the job has ended; an error if there is none.
    fn ended(&self, job: JobNumber) -> Result<bool, LedgerError> {
        let sql = "SELECT ended IS NOT NULL FROM job WHERE number = ?1";
        self.ask(sql, [job.0])?.ok_or(LedgerError::NoSuchJob(job))
    }

    fn job_takes_more(&self, job: JobNumber) -> Result<(), LedgerError> {
        if self.ended(job)? {
            Err(LedgerError::JobEnded(job))
        } else {
            Ok(())
        }
    }

    pub(super) fn lost(&self, what: &'static str) -> LedgerError {
        let file = self.dir.join(super::FILE);
        LedgerError::Corrupt {
            file,
            cause: format!("no {what} where there must be one"),
        }
    }

    pub(super) fn used_up(&self, what: &'static str) -> LedgerError {
        LedgerError::UsedUp {
            dir: self.dir.to_path_buf(),
            what,
        }
    }

    fn contradicts(&self, id: CardId, cause: &'static str) -> LedgerError {
        LedgerError::Contradiction { id, cause }
    }
}

fn key(id: CardId) -> (u32, u32, u32) {
    (id.job.0, id.card.0, id.attempt.0)
}

/// What does not fit in the end of an attempt. Only the reader makes a card
/// good, so a good one has readings, every stroke, and no fault.
fn contradiction(end: &EndedAttempt, strokes: i64) -> Option<&'static str> {
    if let Some(readings) = &end.readings {
        let holes = usize::from(readings.holes);
        if !(1..=usize::from(cardwright_protocol::card::MOST_HOLES)).contains(&holes) {
            return Some("its readings have no channels, or more than 16");
        }
        if readings.samples.len() % holes != 0 {
            return Some("its readings do not end with a whole line");
        }
    }
    let lines = end
        .readings
        .as_ref()
        .map_or(0, super::types::Readings::lines);
    match end.verdict {
        Verdict::Sent => Some("`sent` is not an end"),
        Verdict::Good if lines == 0 => Some("a good card has readings, and this one has none"),
        Verdict::Good if lines != usize::from(end.lines) => {
            Some("a good card has the readings of all its lines")
        }
        Verdict::Good if i64::from(end.strokes_made) < strokes => {
            Some("a good card has all its strokes")
        }
        Verdict::Good if !end.faults.is_empty() => Some("a good card has no faults"),
        _ => None,
    }
}

/// `GuardOpen` as `guard open`.
pub(crate) fn spaced(name: &str) -> String {
    let mut words = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(letter.to_lowercase());
    }
    words
}

#[cfg(test)]
mod tests {
    use super::spaced;

    #[test]
    fn names_become_words() {
        assert_eq!(spaced("GuardOpen"), "guard open");
        assert_eq!(spaced("Watchdog"), "watchdog");
    }
}
