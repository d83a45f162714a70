//! Pieces on the loom: what was seen, what came of it, what the weaver decided.
//!
//! Enters: a plan that is begun, the loom's events with all that came of them. Leaves:
//! the same in the order it was written, and where each piece stands. Refuses: what
//! belongs to a piece that is not there or is ended.

use super::Ledger;
use super::error::LedgerError;
use super::types::{BoardId, UnixMillis};
use super::write::Batch;
use rusqlite::types::Type;
use rusqlite::{Row, params};
use serde::Serialize;
use serde_json::Value;

/// A plan by which a piece is woven from now on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanChanged {
    /// The piece.
    pub piece: PieceNumber,
    /// SHA-256 of the plan as it is now.
    pub plan_sha256: String,
    /// Its text.
    pub plan: String,
}

/// A piece's number in this ledger.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct PieceNumber(pub u32);

/// A piece that begins.
#[derive(Clone, Debug, PartialEq)]
pub struct NewPiece {
    /// The plan's name.
    pub name: String,
    /// SHA-256 of the plan file, in hexadecimal.
    pub plan_sha256: String,
    /// The plan file.
    pub plan: String,
    /// When.
    pub at: UnixMillis,
    /// Where it begins.
    pub place: Value,
    /// Pieces that are ended by it, left unfinished.
    pub instead_of: Vec<PieceNumber>,
}

/// How far a loom unit's events are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct UnitStored {
    /// Its board.
    pub board: BoardId,
    /// Its boot.
    pub boot: u32,
    /// The number of the first event that is not stored.
    pub next: u32,
}

/// An event of a loom unit.
#[derive(Clone, Debug, PartialEq)]
pub struct NewLoomEvent {
    /// The unit.
    pub board: BoardId,
    /// Its boot.
    pub boot: u32,
    /// The event's number there.
    pub number: u32,
    /// Microseconds since the unit started.
    pub unit_us: u64,
    /// The time of day that is.
    pub at: UnixMillis,
    /// By how much that may be wrong, in microseconds.
    pub error_us: u64,
    /// What happened.
    pub what: &'static str,
}

/// What a piece's record is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(into = "&str")]
pub enum WeavingKind {
    /// Weaving began or went on.
    Began,
    /// A pick of the plan was woven.
    Pick,
    /// Something was wrong.
    Fault,
    /// It is no more.
    Righted,
    /// The weaver decided something.
    Decided,
    /// The weaver wrote something down.
    Note,
    /// The weaver takes a rest.
    Paused,
    /// And goes on.
    Resumed,
    /// What happened while the program was off was taken as it was counted, or not.
    Caught,
    /// The last pick of the plan was woven.
    Finished,
    /// Weaving ended for now.
    Left,
}

impl WeavingKind {
    const ALL: [WeavingKind; 11] = [
        WeavingKind::Began,
        WeavingKind::Pick,
        WeavingKind::Fault,
        WeavingKind::Righted,
        WeavingKind::Decided,
        WeavingKind::Note,
        WeavingKind::Paused,
        WeavingKind::Resumed,
        WeavingKind::Caught,
        WeavingKind::Finished,
        WeavingKind::Left,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            WeavingKind::Began => "began",
            WeavingKind::Pick => "pick",
            WeavingKind::Fault => "fault",
            WeavingKind::Righted => "righted",
            WeavingKind::Decided => "decided",
            WeavingKind::Note => "note",
            WeavingKind::Paused => "paused",
            WeavingKind::Resumed => "resumed",
            WeavingKind::Caught => "caught_up",
            WeavingKind::Finished => "finished",
            WeavingKind::Left => "left",
        }
    }

    fn named(name: &str) -> Option<WeavingKind> {
        WeavingKind::ALL
            .into_iter()
            .find(|kind| kind.name() == name)
    }
}

impl From<WeavingKind> for &str {
    fn from(kind: WeavingKind) -> &'static str {
        kind.name()
    }
}

/// One record of a piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NewWeaving {
    /// When.
    pub at: UnixMillis,
    /// About what.
    pub kind: WeavingKind,
    /// More of it.
    pub detail: Value,
}

/// What is written together: events, what came of them, and where the piece stands
/// then.
#[derive(Clone, Debug, PartialEq)]
pub struct Woven {
    /// The piece.
    pub piece: PieceNumber,
    /// Events.
    pub events: Vec<NewLoomEvent>,
    /// Records.
    pub records: Vec<NewWeaving>,
    /// Where it stands.
    pub place: Value,
    /// How far the unit's events are stored.
    pub unit: Option<UnitStored>,
    /// The piece is off the loom.
    pub ended: bool,
}

/// A piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PieceRow {
    /// Its number.
    pub piece: PieceNumber,
    /// The plan's name.
    pub name: String,
    /// SHA-256 of the plan file, in hexadecimal.
    pub plan_sha256: String,
    /// The plan file.
    #[serde(skip)]
    pub plan: String,
    /// When it was begun.
    pub began: UnixMillis,
    /// When it was taken off; none while it is on the loom.
    pub ended: Option<UnixMillis>,
    /// Where it stands.
    pub place: Value,
    /// How far its unit's events are stored.
    pub unit: Option<UnitStored>,
}

impl PieceRow {
    /// Whether another piece was begun in its stead before it was done.
    #[must_use]
    pub fn is_left(&self) -> bool {
        self.place.get("unfinished").and_then(Value::as_bool) == Some(true)
    }
}

/// A record of a piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WeavingRow {
    /// The piece.
    pub piece: PieceNumber,
    /// What was written.
    #[serde(flatten)]
    pub record: NewWeaving,
}

/// An event of a loom unit, as stored.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoomEventRow {
    /// The piece that was on the loom.
    pub piece: PieceNumber,
    /// The unit's board.
    pub board: String,
    /// Its boot.
    pub boot: u32,
    /// The event's number there.
    pub number: u32,
    /// Microseconds since the unit started.
    pub unit_us: i64,
    /// The time of day that is.
    pub at: UnixMillis,
    /// By how much that may be wrong, in microseconds.
    pub error_us: i64,
    /// What happened.
    pub what: String,
}

const PIECE: &str = "SELECT number, name, plan_sha256, plan, began, ended, place, board, boot, \
                     next_event FROM piece";

impl Batch<'_> {
    pub(super) fn woven(&self, woven: &Woven) -> Result<(), LedgerError> {
        let piece = woven.piece.0;
        // first of all: what belongs to no piece is refused by that name
        self.place(woven)?;
        for event in &woven.events {
            self.loom_event(event, woven.piece)?;
        }
        let record = "INSERT INTO weaving (piece, at, kind, detail) VALUES (?1, ?2, ?3, ?4)";
        for r in &woven.records {
            let values = params![piece, r.at.0, r.kind.name(), r.detail.to_string()];
            self.run(record, values)?;
        }
        Ok(())
    }

    /// Where a piece stands.
    fn place(&self, woven: &Woven) -> Result<(), LedgerError> {
        let piece = woven.piece.0;
        let ended = woven
            .records
            .last()
            .filter(|_| woven.ended)
            .map(|record| record.at.0);
        let sql = "UPDATE piece SET place = ?2, board = coalesce(?3, board),
                 boot = coalesce(?4, boot), next_event = coalesce(?5, next_event),
                 ended = coalesce(?6, ended)
             WHERE number = ?1";
        let values = params![
            piece,
            woven.place.to_string(),
            woven.unit.map(|unit| unit.board.to_string()),
            woven.unit.map(|unit| unit.boot),
            woven.unit.map(|unit| unit.next),
            ended
        ];
        match self.run(sql, values)? {
            0 => Err(LedgerError::NoSuchPiece { piece }),
            _ => Ok(()),
        }
    }
}

impl Ledger {
    /// Every piece, in the order they were begun.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn pieces(&self) -> Result<Vec<PieceRow>, LedgerError> {
        self.rows(&format!("{PIECE} ORDER BY number"), [], piece_row)
    }

    /// What was written about a piece, in order.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn weaving(&self, piece: PieceNumber) -> Result<Vec<WeavingRow>, LedgerError> {
        let sql = "SELECT piece, at, kind, detail FROM weaving WHERE piece = ?1 ORDER BY number";
        self.rows(sql, [piece.0], weaving_row)
    }

    /// What was seen while a piece was on the loom, in the order of the events.
    ///
    /// # Errors
    /// As [`LedgerError`] says for damage and disk.
    pub fn loom_events(&self, piece: PieceNumber) -> Result<Vec<LoomEventRow>, LedgerError> {
        let sql = "SELECT piece, board, boot, number, unit_us, at, error_us, what
             FROM loom_event WHERE piece = ?1 ORDER BY at, boot, number";
        self.rows(sql, [piece.0], loom_event_row)
    }

    /// Begins a piece; see [`super::writer::Command::BeginPiece`].
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk.
    pub fn begin_piece(&mut self, piece: &NewPiece) -> Result<PieceNumber, LedgerError> {
        self.in_one(|batch| batch.begin_piece(piece))
    }

    /// Writes down what came of a piece; see [`super::writer::Command::Woven`].
    ///
    /// # Errors
    /// No such piece, another event under a number that is used, and for the disk.
    pub fn woven(&mut self, woven: &Woven) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.woven(woven))
    }
}

fn json(row: &Row<'_>, at: usize) -> rusqlite::Result<Value> {
    let text: String = row.get(at)?;
    serde_json::from_str(&text)
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(at, Type::Text, error.into()))
}

fn piece_row(row: &Row<'_>) -> rusqlite::Result<PieceRow> {
    let board: Option<String> = row.get(7)?;
    let board = board.and_then(|text| BoardId::parse(&text));
    let unit = match (board, row.get(8)?, row.get(9)?) {
        (Some(board), Some(boot), Some(next)) => Some(UnitStored { board, boot, next }),
        _ => None,
    };
    Ok(PieceRow {
        piece: PieceNumber(row.get(0)?),
        name: row.get(1)?,
        plan_sha256: row.get(2)?,
        plan: row.get(3)?,
        began: UnixMillis(row.get(4)?),
        ended: row.get::<_, Option<i64>>(5)?.map(UnixMillis),
        place: json(row, 6)?,
        unit,
    })
}

fn weaving_row(row: &Row<'_>) -> rusqlite::Result<WeavingRow> {
    let kind: String = row.get(2)?;
    let kind = WeavingKind::named(&kind).ok_or_else(|| {
        rusqlite::Error::FromSqlConversionFailure(2, Type::Text, format!("kind {kind}").into())
    })?;
    Ok(WeavingRow {
        piece: PieceNumber(row.get(0)?),
        record: NewWeaving {
            at: UnixMillis(row.get(1)?),
            kind,
            detail: json(row, 3)?,
        },
    })
}

fn loom_event_row(row: &Row<'_>) -> rusqlite::Result<LoomEventRow> {
    Ok(LoomEventRow {
        piece: PieceNumber(row.get(0)?),
        board: row.get(1)?,
        boot: row.get(2)?,
        number: row.get(3)?,
        unit_us: row.get(4)?,
        at: UnixMillis(row.get(5)?),
        error_us: row.get(6)?,
        what: row.get(7)?,
    })
}
