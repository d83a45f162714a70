//! The report for other programs. Enters: a report. Leaves: one table of it as CSV (RFC
//! 4180), with a line of column names. Times are ISO 8601 in UTC, lengths millimetres.

use super::{FaultSeen, Report, Session, WovenPick};
use std::io::Write;

/// A table of the report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum ReportTable {
    /// One line a pick.
    Picks,
    /// One line a fault.
    Faults,
    /// One line a session.
    Sessions,
}

const PICKS: &[&str] = &[
    "pick",
    "at",
    "session",
    "section",
    "deck",
    "card",
    "weft",
    "in_cloth",
    "length_mm",
    "take_up_mm",
    "since_s",
    "after_rest",
    "taken_out",
    "caught_up",
];

const FAULTS: &[&str] = &[
    "fault", "pick", "at", "session", "kind", "words", "evidence", "remedy", "decided", "righted",
    "by", "after_s",
];

const SESSIONS: &[&str] = &[
    "session",
    "began",
    "ended",
    "ending",
    "at_loom_s",
    "paused_s",
    "weaving_s",
    "stops",
    "stopped_s",
    "picks",
    "taken_out",
    "faults",
    "picks_a_minute",
];

/// The columns of a table.
#[must_use]
pub const fn columns(table: ReportTable) -> &'static [&'static str] {
    match table {
        ReportTable::Picks => PICKS,
        ReportTable::Faults => FAULTS,
        ReportTable::Sessions => SESSIONS,
    }
}

/// Writes a table.
///
/// # Errors
/// `out` does not take it.
pub fn csv(report: &Report, table: ReportTable, out: impl Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(out);
    writer.write_record(columns(table))?;
    match table {
        ReportTable::Picks => {
            for pick in &report.picks {
                writer.write_record(pick_cells(pick))?;
            }
        }
        ReportTable::Faults => {
            for fault in &report.faults {
                writer.write_record(fault_cells(fault))?;
            }
        }
        ReportTable::Sessions => {
            for session in &report.sessions {
                writer.write_record(session_cells(session))?;
            }
        }
    }
    writer.flush()?;
    Ok(())
}

fn cell<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn seconds(ms: i64) -> String {
    format!("{:.3}", ms as f64 / 1000.0)
}

fn decimals(value: Option<f64>, places: usize) -> String {
    value.map(|v| format!("{v:.places$}")).unwrap_or_default()
}

fn yes(is: bool) -> String {
    if is { "yes" } else { "no" }.to_string()
}

fn pick_cells(pick: &WovenPick) -> [String; 14] {
    [
        pick.pick.to_string(),
        pick.at.to_string(),
        pick.session.to_string(),
        pick.section.clone(),
        cell(pick.deck.as_ref()),
        cell(pick.card),
        cell(pick.weft.as_ref()),
        cell(pick.in_cloth),
        decimals(pick.length_mm, 2),
        decimals(pick.take_up_mm, 2),
        pick.since_ms.map(seconds).unwrap_or_default(),
        yes(pick.after_rest),
        yes(pick.taken_out),
        yes(pick.caught_up),
    ]
}

fn fault_cells(fault: &FaultSeen) -> [String; 12] {
    [
        fault.fault.to_string(),
        fault.pick.to_string(),
        fault.at.to_string(),
        fault.session.to_string(),
        fault.kind.clone(),
        fault.words.clone(),
        fault.evidence.clone(),
        fault.remedy.clone(),
        cell(fault.decided.as_ref()),
        cell(fault.righted),
        cell(fault.by.as_ref()),
        fault.after_ms.map(seconds).unwrap_or_default(),
    ]
}

fn session_cells(session: &Session) -> [String; 13] {
    [
        session.session.to_string(),
        session.began.to_string(),
        session.ended.to_string(),
        session.ending.word().to_string(),
        seconds(session.at_loom_ms),
        seconds(session.paused_ms),
        seconds(session.weaving_ms),
        session.stops.to_string(),
        seconds(session.stopped_ms),
        session.picks.to_string(),
        session.taken_out.to_string(),
        session.faults.to_string(),
        decimals(session.picks_a_minute, 2),
    ]
}
