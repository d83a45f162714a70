//! What is known of a unit's reader and punches. Enters: a board. Leaves: its
//! newest calibrations, what its punches' holes were like over time, the levels
//! it read with last. Refuses: what this program never writes, which it takes for
//! damage.

use super::Ledger;
use super::error::LedgerError;
use super::read::card_id;
use super::rows::{CalibrationRow, LevelsRow, PunchRow, Upkeep};
use super::types::{BoardId, PunchSeen, UnixMillis};
use rusqlite::types::Type;
use rusqlite::{Row, params};

/// The columns of [`punch_row`].
const PUNCH: &str = "SELECT punch.job, punch.card, punch.attempt, attempt.ended,
        punch.hole, punch.holes, punch.diameter_um, punch.along_um
    FROM punch JOIN attempt ON attempt.job = punch.job AND attempt.card = punch.card
        AND attempt.attempt = punch.attempt";

/// The columns of [`calibration_row`].
const CALIBRATION: &str = "SELECT number, board, holes, at, detail FROM calibration";

impl Ledger {
    /// What is known of a unit's reader and punches, by holes a row.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn upkeep(&self, board: BoardId) -> Result<Vec<Upkeep>, LedgerError> {
        let sql = "SELECT holes FROM calibration WHERE board = ?1 UNION
             SELECT readings.holes FROM job JOIN readings ON readings.job = job.number
             WHERE job.unit = ?1 ORDER BY holes";
        let heads = self.rows(sql, [board.to_string()], |row| row.get(0))?;
        heads
            .into_iter()
            .map(|holes| self.upkeep_of(&board.to_string(), holes))
            .collect()
    }

    fn upkeep_of(&self, board: &str, holes: u8) -> Result<Upkeep, LedgerError> {
        let newest =
            format!("{CALIBRATION} WHERE board = ?1 AND holes = ?2 ORDER BY number DESC LIMIT 1");
        let calibration = self.rows(&newest, params![board, holes], calibration_row)?;
        let punches = format!(
            "{PUNCH} JOIN job ON job.number = punch.job
             JOIN readings ON readings.job = punch.job AND readings.card = punch.card
                 AND readings.attempt = punch.attempt
             WHERE job.unit = ?1 AND readings.holes = ?2
             ORDER BY attempt.end_order, punch.hole"
        );
        // the newest first, and only as many as it takes: a cross join keeps its order
        let levels = "SELECT readings.dark, readings.open, attempt.ended
             FROM attempt CROSS JOIN job ON job.number = attempt.job
             CROSS JOIN readings ON readings.job = attempt.job
                 AND readings.card = attempt.card AND readings.attempt = attempt.attempt
             WHERE job.unit = ?1 AND readings.holes = ?2
             ORDER BY attempt.end_order DESC LIMIT 1";
        let levels = self.rows(levels, params![board, holes], |row| {
            Ok(LevelsRow {
                dark: row.get(0)?,
                open: row.get(1)?,
                at: UnixMillis(row.get(2)?),
            })
        })?;
        Ok(Upkeep {
            holes: Some(holes),
            calibration: calibration.into_iter().next(),
            punches: self.rows(&punches, params![board, holes], punch_row)?,
            levels: levels.into_iter().next(),
        })
    }

    /// What every punch's holes were like in every card, in the order in which the
    /// cards were judged.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn punches(&self) -> Result<Vec<PunchRow>, LedgerError> {
        let sql = format!("{PUNCH} ORDER BY attempt.end_order, punch.hole");
        self.rows(&sql, [], punch_row)
    }

    /// Every calibration, in the order they were made.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn calibrations(&self) -> Result<Vec<CalibrationRow>, LedgerError> {
        self.rows(
            &format!("{CALIBRATION} ORDER BY number"),
            [],
            calibration_row,
        )
    }
}

fn punch_row(row: &Row<'_>) -> rusqlite::Result<PunchRow> {
    let id = card_id(row)?;
    Ok(PunchRow {
        job: id.job,
        card: id.card,
        attempt: id.attempt,
        ended: UnixMillis(row.get(3)?),
        seen: PunchSeen {
            hole: row.get(4)?,
            holes: row.get(5)?,
            diameter_um: row.get(6)?,
            along_um: row.get(7)?,
        },
    })
}

fn calibration_row(row: &Row<'_>) -> rusqlite::Result<CalibrationRow> {
    let detail: String = row.get(4)?;
    Ok(CalibrationRow {
        calibration: row.get(0)?,
        board: row.get(1)?,
        holes: row.get(2)?,
        at: UnixMillis(row.get(3)?),
        detail: serde_json::from_str(&detail).map_err(|error| {
            rusqlite::Error::FromSqlConversionFailure(4, Type::Text, error.into())
        })?,
    })
}
