//! Pieces that begin. Enters: a plan that is begun or was changed. Leaves: a piece's
//! number; those it is begun in the stead of are ended in the same moment. Refuses: a
//! changed plan for a piece that is not there.

use super::error::LedgerError;
use super::weaving::{NewPiece, PieceNumber, PlanChanged};
use super::write::Batch;
use rusqlite::params;

impl Batch<'_> {
    pub(super) fn begin_piece(&self, piece: &NewPiece) -> Result<PieceNumber, LedgerError> {
        let sql = "INSERT INTO piece (name, plan_sha256, plan, began, place)
             VALUES (?1, ?2, ?3, ?4, ?5) RETURNING number";
        let values = params![
            piece.name,
            piece.plan_sha256,
            piece.plan,
            piece.at.0,
            piece.place.to_string()
        ];
        let number = self.ask(sql, values)?;
        let sql = "UPDATE piece SET ended = ?2,
                 place = json_set(place, '$.unfinished', json('true'))
             WHERE number = ?1 AND ended IS NULL";
        for older in &piece.instead_of {
            self.run(sql, params![older.0, piece.at.0])?;
        }
        Ok(PieceNumber(number.unwrap_or_default()))
    }

    pub(super) fn plan_changed(&self, changed: &PlanChanged) -> Result<(), LedgerError> {
        let sql = "UPDATE piece SET plan_sha256 = ?2, plan = ?3 WHERE number = ?1";
        let piece = changed.piece.0;
        match self.run(sql, params![piece, changed.plan_sha256, changed.plan])? {
            0 => Err(LedgerError::NoSuchPiece { piece }),
            _ => Ok(()),
        }
    }
}
