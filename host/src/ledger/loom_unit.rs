//! Loom units and their boots. Enters: events as a unit tells them. Leaves: each of
//! them stored once, how far a boot is stored, and boot numbers never used before.
//! Refuses: another event under the number of one that is stored.

use super::Ledger;
use super::error::LedgerError;
use super::types::BoardId;
use super::weaving::{NewLoomEvent, PieceNumber};
use super::write::Batch;
use rusqlite::params;

impl Batch<'_> {
    /// Stores an event. One that is stored already, and the same, is told again: a
    /// unit does that until it hears that the event is on disk. When it was is worked
    /// out anew each time and is not compared.
    pub(super) fn loom_event(
        &self,
        e: &NewLoomEvent,
        piece: PieceNumber,
    ) -> Result<(), LedgerError> {
        let board = e.board.to_string();
        let unit_us = i64::try_from(e.unit_us).unwrap_or(i64::MAX);
        let sql = "INSERT INTO loom_event (board, boot, number, unit_us, at, error_us, what, piece)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
             ON CONFLICT (board, boot, number) DO NOTHING";
        let error_us = i64::try_from(e.error_us).unwrap_or(i64::MAX);
        let values = params![
            board, e.boot, e.number, unit_us, e.at.0, error_us, e.what, piece.0
        ];
        if self.run(sql, values)? > 0 {
            return Ok(());
        }
        let sql = "SELECT unit_us = ?4 AND what = ?5 FROM loom_event
             WHERE board = ?1 AND boot = ?2 AND number = ?3";
        let same = self.ask(sql, params![board, e.boot, e.number, unit_us, e.what])?;
        match same {
            Some(true) => Ok(()),
            _ => Err(LedgerError::BootUsed {
                board: e.board,
                boot: e.boot,
                event: e.number,
            }),
        }
    }

    /// A boot number that no loom unit of this board has in this ledger, and that is
    /// given once.
    pub(super) fn next_boot(&self, board: BoardId) -> Result<u32, LedgerError> {
        let sql = "INSERT INTO counter (name, value) VALUES ('boot of ' || ?1, 1 + max(
                 coalesce((SELECT max(boot) FROM loom_event WHERE board = ?1), 0),
                 coalesce((SELECT max(boot) FROM piece WHERE board = ?1), 0)))
             ON CONFLICT (name) DO UPDATE SET value = max(value + 1, excluded.value)
             RETURNING value";
        let boot: i64 = self
            .ask(sql, [board.to_string()])?
            .ok_or_else(|| self.lost("boot counter"))?;
        u32::try_from(boot).map_err(|_| self.used_up("boot"))
    }
}

impl Ledger {
    /// The number of the first event that is not stored of this boot of a loom unit;
    /// 0 if none is.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn loom_events_stored(&self, board: BoardId, boot: u32) -> Result<u32, LedgerError> {
        let sql = "SELECT coalesce(max(number) + 1, 0) FROM loom_event
             WHERE board = ?1 AND boot = ?2";
        let next = self.rows(sql, params![board.to_string(), boot], |row| row.get(0))?;
        Ok(next.first().copied().unwrap_or_default())
    }

    /// A boot number for a unit of this board; see
    /// [`super::writer::Command::NextBoot`].
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk, and if there are no more numbers.
    pub fn next_boot(&mut self, board: BoardId) -> Result<u32, LedgerError> {
        self.in_one(|batch| batch.next_boot(board))
    }
}
