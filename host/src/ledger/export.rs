//! The ledger for other programs. Enters: an open ledger. Leaves: JSON with
//! every table, or one table as CSV (RFC 4180), in a stable order. Refuses
//! nothing that could be read. Raw readings are not part of it.

use super::error::LedgerError;
use super::{Ledger, PieceNumber, newest_form};
use serde::Serialize;
use serde_json::{Map, Value};
use std::io::Write;

/// A table that can be exported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, clap::ValueEnum)]
pub enum Table {
    /// Decks, by number.
    Decks,
    /// Jobs, by number.
    Jobs,
    /// Attempts, by job, card and attempt.
    Attempts,
    /// Faults, by job, card, attempt and place in the attempt's list.
    Faults,
    /// Cards of every deck, by deck and card.
    Cards,
    /// Events, in the order they were written.
    Events,
    /// Units, by first sight.
    Units,
    /// What each punch's holes were like, card by card, in the order they were
    /// judged.
    Punches,
    /// Calibrations, in the order they were made.
    Calibrations,
    /// Pieces woven, by number.
    Pieces,
    /// What came of them, in the order it was written, piece by piece.
    Weaving,
    /// What loom units have seen, piece by piece.
    #[value(name = "loom_events", alias = "loom-events")]
    LoomEvents,
}

/// A column's name and what it holds.
pub type Column = (&'static str, &'static str);

impl Table {
    /// Every table.
    pub const ALL: [Table; 12] = [
        Table::Decks,
        Table::Jobs,
        Table::Attempts,
        Table::Faults,
        Table::Cards,
        Table::Events,
        Table::Units,
        Table::Punches,
        Table::Calibrations,
        Table::Pieces,
        Table::Weaving,
        Table::LoomEvents,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Table::Decks => "decks",
            Table::Jobs => "jobs",
            Table::Attempts => "attempts",
            Table::Faults => "faults",
            Table::Cards => "cards",
            Table::Events => "events",
            Table::Units => "units",
            Table::Punches => "punches",
            Table::Calibrations => "calibrations",
            Table::Pieces => "pieces",
            Table::Weaving => "weaving",
            Table::LoomEvents => "loom_events",
        }
    }

    /// Its columns, in the order of the CSV file. Times are ISO 8601 in UTC.
    #[must_use]
    pub const fn columns(self) -> &'static [Column] {
        match self {
            Table::Decks => DECKS,
            Table::Jobs => JOBS,
            Table::Attempts => ATTEMPTS,
            Table::Faults => FAULTS,
            Table::Cards => CARDS,
            Table::Events => EVENTS,
            Table::Units => UNITS,
            Table::Punches => PUNCHES,
            Table::Calibrations => CALIBRATIONS,
            Table::Pieces => PIECES,
            Table::Weaving => WEAVING,
            Table::LoomEvents => LOOM_EVENTS,
        }
    }
}

const DECKS: &[Column] = &[
    ("deck", "number of the deck in this ledger"),
    ("name", "what it is called"),
    ("sha256", "SHA-256 of the deck file's content"),
    ("format", "name of its card format"),
    ("cards", "how many cards it has"),
    ("first_seen", "when a job first met it"),
];

const JOBS: &[Column] = &[
    ("job", "number of the job"),
    ("kind", "cut, verify, read, mend or calibrate"),
    ("deck", "name of its deck; empty if it has none"),
    ("deck_sha256", "SHA-256 of the deck file's content"),
    ("unit", "board of the unit that did it"),
    ("started", "when it began"),
    ("ended", "when it ended; empty while it is open"),
    ("ending", "done, stopped or failed; empty while it is open"),
    ("attempts", "cards sent"),
    ("good", "attempts that came out good"),
    ("open", "attempts sent and not heard of again"),
    ("settings", "settings of the job, JSON"),
];

const ATTEMPTS: &[Column] = &[
    ("job", "number of the job"),
    ("card", "number of the card in its deck, from 1"),
    ("attempt", "which try at this card in this job, from 1"),
    (
        "verdict",
        "sent, good, missing, partial, extra, out of register, mixed, interrupted, unread, not begun, out of order or read",
    ),
    (
        "faults",
        "everything wrong with it, a JSON list; see the table of faults",
    ),
    ("strokes", "strokes the card takes"),
    ("strokes_crc", "CRC-32 over identity and strokes"),
    ("strokes_made", "strokes begun"),
    ("lines", "lines read"),
    (
        "length_um",
        "measured length in micrometres; 0 if not known",
    ),
    (
        "place",
        "place in the stack, as the unit counts since it started",
    ),
    ("sent", "when it was sent to the unit"),
    ("ended", "when it ended; empty while it is open"),
    ("readings", "whether its raw readings are kept"),
];

const FAULTS: &[Column] = &[
    ("job", "number of the job"),
    ("card", "number of the card"),
    ("attempt", "number of the attempt"),
    ("fault", "place in the attempt's list, from 1"),
    ("kind", "what is wrong"),
    ("stroke", "the stroke, from 0; empty for the whole card"),
    (
        "row",
        "the needle row, from 1; empty for lace and peg holes",
    ),
    (
        "hole",
        "the hole, from 1; 0 is the peg hole; empty for a whole row",
    ),
    ("measured", "what was measured"),
    ("measured_in", "what `measured` is"),
    ("note", "reason and remedy in words"),
];

const CARDS: &[Column] = &[
    ("deck", "number of the deck in this ledger"),
    ("card", "number of the card"),
    ("good", "whether there is a good one"),
    ("attempts", "how often it was sent, over all jobs"),
    (
        "last",
        "verdict of the last attempt; empty if it was never sent",
    ),
    ("faults", "faults over all attempts by kind, a JSON object"),
];

const EVENTS: &[Column] = &[
    ("event", "number of the event"),
    ("at", "when"),
    ("job", "number of the job; empty if in none"),
    (
        "kind",
        "stop, reset, pause, resume, unit found, unit lost, version refused or order refused",
    ),
    ("detail", "more about it, JSON"),
];

const UNITS: &[Column] = &[
    ("board", "the board's own number, hexadecimal"),
    ("role", "rig or loom"),
    ("firmware", "version of its firmware"),
    ("protocol", "protocol version agreed on"),
    ("first_seen", "when it was first seen"),
    ("last_seen", "when it was last seen"),
    ("boot", "its boot number when last seen"),
    ("last_stop", "why it last stopped"),
    ("settings", "settings sent last, JSON"),
];

const PUNCHES: &[Column] = &[
    ("job", "number of the job"),
    ("card", "number of the card"),
    ("attempt", "number of the attempt"),
    ("ended", "when the card was judged"),
    ("hole", "the punch's hole, from 1; 0 is the peg punch"),
    ("holes", "its whole holes in this card"),
    ("diameter_um", "their mean diameter in micrometres"),
    (
        "along_um",
        "how far behind the other punches' they lie along the feed, in micrometres",
    ),
];

const CALIBRATIONS: &[Column] = &[
    ("calibration", "number of the calibration"),
    ("board", "the unit's own number, hexadecimal"),
    ("holes", "holes a row of the card format"),
    ("at", "when it was made"),
    ("detail", "what was found, JSON"),
];

const PIECES: &[Column] = &[
    ("piece", "number of the piece"),
    ("name", "name of its plan"),
    ("plan_sha256", "SHA-256 of the plan file"),
    ("began", "when it was begun"),
    (
        "ended",
        "when it was done or left unfinished; empty while it is on the loom",
    ),
    ("place", "where it stands, JSON"),
    (
        "unit",
        "the loom unit heard last and how far its events are stored, JSON",
    ),
];

const WEAVING: &[Column] = &[
    ("piece", "number of the piece"),
    ("at", "when"),
    (
        "kind",
        "began, pick, fault, righted, decided, note, paused, resumed, caught_up, finished or left",
    ),
    ("detail", "more about it, JSON"),
];

const LOOM_EVENTS: &[Column] = &[
    ("piece", "number of the piece on the loom"),
    ("board", "the unit's own number, hexadecimal"),
    ("boot", "its boot"),
    ("number", "number of the event in that boot, from 0"),
    ("unit_us", "microseconds since the unit started"),
    ("at", "the time of day that is"),
    ("error_us", "by how much that may be wrong, in microseconds"),
    ("what", "what happened"),
];

/// What went wrong with an export.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The ledger could not be read.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The export could not be written.
    #[error("the export could not be written ({0}); check the disk or choose another --out")]
    Write(#[from] std::io::Error),
    /// A row could not be put into the format.
    #[error("the export could not be written ({0}); check the disk or choose another --out")]
    Json(#[from] serde_json::Error),
    /// A row could not be put into the format.
    #[error("the export could not be written ({0}); check the disk or choose another --out")]
    Csv(#[from] csv::Error),
}

/// One row: every column by name.
pub type Record = Map<String, Value>;

/// The rows of a table.
///
/// # Errors
/// What reading the ledger meets; see [`LedgerError`].
pub fn records(ledger: &Ledger, table: Table) -> Result<Vec<Record>, ExportError> {
    match table {
        Table::Decks => all(&ledger.decks()?),
        Table::Jobs => all(&ledger.jobs()?),
        Table::Attempts => all(&ledger.all_attempts()?),
        Table::Faults => faults(ledger),
        Table::Cards => cards(ledger),
        Table::Events => all(&ledger.events(None)?),
        Table::Units => all(&ledger.units()?),
        Table::Punches => all(&ledger.punches()?),
        Table::Calibrations => all(&ledger.calibrations()?),
        Table::Pieces => all(&ledger.pieces()?),
        Table::Weaving => of_each_piece(ledger, Ledger::weaving),
        Table::LoomEvents => of_each_piece(ledger, Ledger::loom_events),
    }
}

fn record(row: &impl Serialize) -> Result<Record, ExportError> {
    match serde_json::to_value(row)? {
        Value::Object(record) => Ok(record),
        other => Ok(Map::from_iter([("value".to_string(), other)])),
    }
}

fn all<T: Serialize>(rows: &[T]) -> Result<Vec<Record>, ExportError> {
    rows.iter().map(record).collect()
}

fn faults(ledger: &Ledger) -> Result<Vec<Record>, ExportError> {
    let mut records = Vec::new();
    for row in ledger.all_attempts()? {
        for (number, fault) in (1u32..).zip(&row.faults) {
            let mut whole = Map::new();
            whole.insert("job".to_string(), row.job.0.into());
            whole.insert("card".to_string(), row.card.0.into());
            whole.insert("attempt".to_string(), row.attempt.0.into());
            whole.insert("fault".to_string(), number.into());
            whole.extend(record(fault)?);
            records.push(whole);
        }
    }
    Ok(records)
}

fn of_each_piece<T: Serialize>(
    ledger: &Ledger,
    rows: impl Fn(&Ledger, PieceNumber) -> Result<Vec<T>, LedgerError>,
) -> Result<Vec<Record>, ExportError> {
    let mut records = Vec::new();
    for piece in ledger.pieces()? {
        records.extend(all(&rows(ledger, piece.piece)?)?);
    }
    Ok(records)
}

fn cards(ledger: &Ledger) -> Result<Vec<Record>, ExportError> {
    let mut records = Vec::new();
    for deck in ledger.decks()? {
        for card in ledger.cards(&deck)? {
            let mut whole = Map::new();
            whole.insert("deck".to_string(), deck.deck.into());
            whole.extend(record(&card)?);
            records.push(whole);
        }
    }
    Ok(records)
}

/// Writes every table as one JSON object: `form`, then each table's name with
/// a list of its rows.
///
/// # Errors
/// See [`ExportError`].
pub fn json(ledger: &Ledger, mut out: impl Write) -> Result<(), ExportError> {
    let mut whole = Map::new();
    whole.insert("form".to_string(), newest_form().into());
    for table in Table::ALL {
        let rows = records(ledger, table)?
            .into_iter()
            .map(Value::Object)
            .collect();
        whole.insert(table.name().to_string(), Value::Array(rows));
    }
    serde_json::to_writer_pretty(&mut out, &whole)?;
    writeln!(out)?;
    out.flush()?;
    Ok(())
}

/// Writes one table as CSV with a line of column names. A value that is not
/// there is empty; lists and objects are JSON.
///
/// # Errors
/// See [`ExportError`].
pub fn csv(ledger: &Ledger, table: Table, out: impl Write) -> Result<(), ExportError> {
    let mut writer = csv::Writer::from_writer(out);
    writer.write_record(table.columns().iter().map(|(name, _)| name))?;
    for record in records(ledger, table)? {
        let cell = |(name, _): &Column| match record.get(*name) {
            None | Some(Value::Null) => String::new(),
            Some(Value::String(text)) => text.clone(),
            Some(other) => other.to_string(),
        };
        writer.write_record(table.columns().iter().map(cell))?;
    }
    writer.flush()?;
    Ok(())
}
