//! A piece's records, read back. Enters: rows of the ledger. Leaves: what each says.
//! Refuses: a record that lacks what every such record has.

use super::ReportError;
use crate::ledger::{UnixMillis, WeavingKind, WeavingRow};
use jiff::Timestamp;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// Where the work stood.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(super) struct Place {
    /// The pick of the plan that is next, from 0.
    pub next: u64,
    /// Picks in the cloth.
    pub in_cloth: i64,
}

/// A pick as it was written down.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Pick {
    /// Its number in the plan, from 0.
    pub pick: u64,
    #[serde(default)]
    pub section: String,
    #[serde(default)]
    pub card: Option<u32>,
    #[serde(default)]
    pub deck: Option<String>,
    #[serde(default)]
    pub weft: Option<String>,
    #[serde(default)]
    pub in_cloth: Option<i64>,
    #[serde(default)]
    pub length_mm: Option<f64>,
    #[serde(default)]
    pub take_up_mm: Option<f64>,
}

/// A fault as it was written down.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Fault {
    pub id: u32,
    pub kind: FaultKind,
    pub pick: u64,
    #[serde(default)]
    pub words: String,
    #[serde(default)]
    pub evidence: String,
    #[serde(default)]
    pub remedy: String,
}

/// What else a kind carries is of its time and said in the evidence.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct FaultKind {
    pub kind: String,
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Righted {
    pub fault: u32,
    pub by: String,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "snake_case", tag = "decided")]
pub(super) enum Decided {
    Unwove {
        picks: u32,
        /// Of these, picks beside the plan; older records do not say.
        #[serde(default)]
        beside: Option<u32>,
    },
    ChainReady,
    Stands {
        card: Value,
    },
    NextIs {
        pick: u64,
    },
    Fault {
        fault: u32,
        choice: String,
    },
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Note {
    pub text: String,
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Caught {
    pub taken: bool,
    #[serde(default)]
    pub turns: i64,
    #[serde(default)]
    pub beats: u64,
}

/// What a record says.
#[derive(Clone, Debug)]
pub(super) enum What {
    Began(Place),
    Pick(Pick),
    Fault(Fault),
    Righted(Righted),
    Decided(Decided),
    Note(Note),
    Paused,
    Resumed,
    Caught(Caught),
    Finished,
    Left(Place),
}

/// One record.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub at: UnixMillis,
    pub what: What,
}

/// Every record, in the order it was written.
pub(super) fn entries(rows: &[WeavingRow]) -> Result<Vec<Entry>, ReportError> {
    (1..)
        .zip(rows)
        .map(|(number, row)| entry(number, row))
        .collect()
}

fn entry(number: usize, row: &WeavingRow) -> Result<Entry, ReportError> {
    let record = &row.record;
    if Timestamp::from_millisecond(record.at.0).is_err() {
        return Err(unreadable(number, row, "its time is no date"));
    }
    let what = match record.kind {
        WeavingKind::Began => read(number, row).map(What::Began)?,
        WeavingKind::Pick => read(number, row).map(What::Pick)?,
        WeavingKind::Fault => read(number, row).map(What::Fault)?,
        WeavingKind::Righted => read(number, row).map(What::Righted)?,
        WeavingKind::Decided => read(number, row).map(What::Decided)?,
        WeavingKind::Note => read(number, row).map(What::Note)?,
        WeavingKind::Paused => What::Paused,
        WeavingKind::Resumed => What::Resumed,
        WeavingKind::Caught => read(number, row).map(What::Caught)?,
        WeavingKind::Finished => What::Finished,
        WeavingKind::Left => read(number, row).map(What::Left)?,
    };
    let at = record.at;
    Ok(Entry { at, what })
}

fn read<T: DeserializeOwned>(number: usize, row: &WeavingRow) -> Result<T, ReportError> {
    T::deserialize(&row.record.detail).map_err(|cause| unreadable(number, row, cause))
}

fn unreadable(record: usize, row: &WeavingRow, cause: impl ToString) -> ReportError {
    ReportError::Unreadable {
        piece: row.piece.0,
        record,
        kind: row.record.kind.name(),
        at: row.record.at,
        cause: cause.to_string(),
    }
}
