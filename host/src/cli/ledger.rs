//! `cardwright ledger`: what was cut, found, recut and woven. Enters: the command
//! line and the data directory. Leaves: lists for a person, one JSON object a
//! line, or a file for other programs. Refuses: decks, jobs and pieces
//! that are not in the ledger, naming those that are.

mod decks;
mod lists;
mod piece;
mod piece_text;
mod punches;
pub(super) mod wording;

use crate::ledger::export::{self, Table};
use crate::ledger::{Ledger, LedgerError};
use anyhow::Context;
use cardwright_protocol::JobNumber;
use clap::{Args, Subcommand, ValueEnum};
use lists::{cards, jobs, show, units};
use piece::{PieceArgs, piece, pieces};
use punches::punches;
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Look into the ledger: jobs, cards, pieces, units; export it.
#[derive(Debug, Args)]
pub struct LedgerArgs {
    /// What to show; without it, the jobs.
    #[command(subcommand)]
    pub what: Option<What>,
}

/// What to show.
#[derive(Debug, Subcommand)]
pub enum What {
    /// List the jobs
    Jobs,
    /// Show one job: each attempt with its faults, and what happened meanwhile
    Show {
        /// The job's number
        #[arg(value_parser = super::number)]
        job: u32,
    },
    /// Show a deck's cards: which are good, attempts, faults by kind
    Cards {
        /// The deck file
        #[arg(required_unless_present = "name", conflicts_with = "name")]
        deck: Option<PathBuf>,
        /// A deck by its name, or the beginning of its SHA-256, in the ledger
        #[arg(long = "deck", value_name = "NAME", id = "name")]
        name: Option<String>,
    },
    /// List the units that have been seen
    Units,
    /// Show what the punches' holes are like and which punch wears
    Punches,
    /// List the pieces woven
    Pieces,
    /// Report on one piece: picks, time, pace, stops, faults, length; exit status 1 if
    /// faults are open
    Piece(PieceArgs),
    /// Write the ledger out for other programs, without raw readings
    Export(ExportArgs),
}

/// How to write the ledger out.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// JSON: all tables in one object. CSV: one table a file
    #[arg(long, value_enum, default_value = "json")]
    pub format: Format,
    /// The table, for CSV
    #[arg(long, value_enum, default_value = "attempts")]
    pub table: Table,
    /// Write to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Only say which tables and columns there are
    #[arg(long)]
    pub columns: bool,
}

/// A format for other programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// One object with every table.
    Json,
    /// One table, with a line of column names.
    Csv,
}

/// Does what `args` ask for. With `as_json`, lists are one JSON object a line,
/// the last the summary. Returns the exit status: 0, or 1 for a piece with open faults.
///
/// # Errors
/// No ledger, no such job, deck or piece, damage, and `out` not taking it; each with
/// its remedy.
pub fn run(
    args: &LedgerArgs,
    data_dir: &Path,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    if let Some(What::Export(ExportArgs { columns: true, .. })) = &args.what {
        return columns(as_json, out);
    }
    let ledger = open(data_dir).map_err(|error| absent(error, args.what.as_ref()))?;
    ledger.at_one_moment(|| match &args.what {
        None | Some(What::Jobs) => jobs(&ledger, as_json, out),
        Some(What::Show { job }) => show(&ledger, JobNumber(*job), as_json, out),
        Some(What::Cards { deck, name }) => {
            cards(&ledger, deck.as_deref(), name.as_deref(), as_json, out)
        }
        Some(What::Units) => units(&ledger, as_json, out),
        Some(What::Punches) => punches(&ledger, as_json, out),
        Some(What::Pieces) => pieces(&ledger, as_json, out),
        Some(What::Piece(args)) => piece(&ledger, args, as_json, out),
        Some(What::Export(args)) => export(&ledger, args, as_json, out),
    })
}

/// The report on a piece, and its plot in this file.
///
/// # Errors
/// As [`run`].
pub(super) fn report(
    piece: u32,
    plot: &Path,
    data_dir: &Path,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    let what = What::Piece(PieceArgs::plotted(piece, plot.to_path_buf()));
    run(&LedgerArgs { what: Some(what) }, data_dir, false, out)
}

/// Opens the ledger to read it, after bringing an earlier form up to date.
fn open(data_dir: &Path) -> Result<Ledger, LedgerError> {
    match Ledger::open_read_only(data_dir) {
        Err(LedgerError::Older { .. }) => {
            Ledger::open(data_dir)?.close()?;
            Ledger::open_read_only(data_dir)
        }
        other => other,
    }
}

/// Where pieces are asked for and there is no ledger, what makes one is weaving.
fn absent(error: LedgerError, what: Option<&What>) -> anyhow::Error {
    match (&error, what) {
        (LedgerError::Absent { dir }, Some(What::Pieces | What::Piece(_))) => anyhow::anyhow!(
            "there is no ledger in {} yet: nothing has been recorded there; weave by a plan first \
             (`cardwright weave PLAN`) or give another --data DIR",
            dir.display()
        ),
        _ => error.into(),
    }
}

fn export(
    ledger: &Ledger,
    args: &ExportArgs,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    let write = |out: &mut dyn Write| match args.format {
        Format::Json => export::json(ledger, out),
        Format::Csv => export::csv(ledger, args.table, out),
    };
    let Some(path) = &args.out else {
        if as_json && args.format == Format::Json {
            // one object a line, as everywhere with --json
            let mut pretty = Vec::new();
            write(&mut pretty)?;
            let whole: serde_json::Value = serde_json::from_slice(&pretty)?;
            writeln!(out, "{whole}")?;
        } else {
            write(out)?;
        }
        return Ok(0);
    };
    // Written whole under another name first, so that an export that fails
    // leaves what was there.
    let failed = || {
        format!(
            "{} could not be written; check the disk or choose another --out",
            path.display()
        )
    };
    let dir = path
        .parent()
        .filter(|dir| !dir.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(dir).with_context(failed)?;
    write(&mut std::io::BufWriter::new(&mut file)).with_context(failed)?;
    file.persist(path).with_context(failed)?;
    Ok(0)
}

fn columns(as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    if as_json {
        for table in Table::ALL {
            for (column, meaning) in table.columns() {
                let line = json!({ "table": table.name(), "column": column, "meaning": meaning });
                writeln!(out, "{line}")?;
            }
        }
        writeln!(out, "{}", json!({ "tables": Table::ALL.len() }))?;
        return Ok(0);
    }
    for table in Table::ALL {
        writeln!(out, "{}", table.name())?;
        for (name, meaning) in table.columns() {
            let line = format!("    {name:<13} {meaning}");
            writeln!(out, "{}", wording::wrapped(&line, 18))?;
        }
    }
    Ok(0)
}
