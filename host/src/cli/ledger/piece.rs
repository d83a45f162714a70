//! The pieces woven. Enters: an open ledger. Leaves: their list, the report on one, its
//! tables as CSV, and a plot as SVG or PDF. Refuses: a piece that is not there, naming
//! those that are; a file that is in the way; a plot of a piece without picks.

use super::lists::lines;
use super::piece_text::report_text;
use super::wording::{plain, shortened, to_the_minute};
use crate::ledger::{Ledger, PieceNumber, PieceRow, WeavingKind};
use crate::output;
use crate::picture::pdf_from_svg;
use crate::report::{Report, ReportTable, csv, plot};
use anyhow::bail;
use clap::Args;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Characters of a plan's name in the list.
const NAME_WIDTH: usize = 18;

/// Which piece, and what else to make of it.
#[derive(Debug, Args)]
pub struct PieceArgs {
    /// The piece's number
    #[arg(value_parser = super::super::number)]
    piece: u32,
    /// Write a table of it to this CSV file, too
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// The table, for CSV
    #[arg(long, value_enum, default_value = "picks", requires = "csv")]
    table: ReportTable,
    /// Draw pace, faults and length on one page, too: FILE.svg or FILE.pdf
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Write over files that are there
    #[arg(long)]
    force: bool,
}

impl PieceArgs {
    /// The report on a piece, with its plot in this file.
    pub fn plotted(piece: u32, plot: PathBuf) -> PieceArgs {
        PieceArgs {
            piece,
            csv: None,
            table: ReportTable::Picks,
            plot: Some(plot),
            force: true,
        }
    }
}

/// A piece in the list.
#[derive(Serialize)]
struct Listed {
    #[serde(flatten)]
    row: PieceRow,
    sessions: u32,
    picks: u32,
    in_cloth: i64,
    open_faults: u32,
}

fn listed(ledger: &Ledger) -> anyhow::Result<Vec<Listed>> {
    let mut counts = BTreeMap::new();
    for (piece, kind, count) in ledger.weaving_counts()? {
        counts.insert((piece, kind), count);
    }
    let list = |row: PieceRow| {
        let count = |kind: WeavingKind| {
            let key = (row.piece, kind.name().to_string());
            counts.get(&key).copied().unwrap_or(0)
        };
        let (faults, righted) = (count(WeavingKind::Fault), count(WeavingKind::Righted));
        let place = |what| row.place.pointer(what).and_then(Value::as_i64);
        let beside = place("/place/stray").unwrap_or_default();
        let counted = place("/place/in_cloth").unwrap_or_default();
        Listed {
            sessions: count(WeavingKind::Began),
            picks: count(WeavingKind::Pick),
            in_cloth: counted.saturating_add(beside),
            open_faults: faults.saturating_sub(righted),
            row,
        }
    };
    Ok(ledger.pieces()?.into_iter().map(list).collect())
}

pub(super) fn pieces(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let pieces = listed(ledger)?;
    if as_json {
        return lines(&pieces, &json!({ "pieces": pieces.len() }), out);
    }
    if pieces.is_empty() {
        writeln!(out, "No pieces yet.")?;
        return Ok(0);
    }
    writeln!(
        out,
        "{:>5}  {:<18}  {:<17}  {:<8}  {:>6}  {:>6}  {:>4}",
        "piece", "plan", "began", "state", "picks", "cloth", "open"
    )?;
    for piece in &pieces {
        let state = match piece.row.ended {
            Some(_) if piece.row.is_left() => "left",
            Some(_) => "done",
            None => "on loom",
        };
        writeln!(
            out,
            "{:>5}  {:<18}  {:<17}  {:<8}  {:>6}  {:>6}  {:>4}",
            piece.row.piece.0,
            shortened(&plain(&piece.row.name), NAME_WIDTH),
            to_the_minute(piece.row.began),
            state,
            piece.picks,
            piece.in_cloth,
            piece.open_faults
        )?;
    }
    Ok(0)
}

pub(super) fn piece(
    ledger: &Ledger,
    args: &PieceArgs,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    let form = args.plot.as_deref().map(plot_form).transpose()?;
    let row = row_of(ledger, args.piece)?;
    if args.csv.is_some() && args.csv == args.plot {
        bail!("--csv and --plot name the same file; give each its own");
    }
    for file in args.csv.iter().chain(&args.plot) {
        if ledger.is_own_file(file) {
            bail!(
                "{} is the ledger's own file and was left as it is; choose another name",
                file.display()
            );
        }
        output::may_write(file, args.force)?;
    }
    let report = Report::of(&row, &ledger.weaving(row.piece)?)?;
    // drawn before anything is written, so that a refusal leaves no half of it
    let drawn = match form {
        Some(form) => Some(drawing(&report, form)?),
        None => None,
    };
    if let Some(file) = &args.csv {
        let mut table = Vec::new();
        csv(&report, args.table, &mut table)?;
        output::whole(file, &table, args.force)?;
    }
    if let Some((file, drawn)) = args.plot.as_ref().zip(drawn) {
        output::whole(file, &drawn, args.force)?;
    }
    let written: Vec<&PathBuf> = args.csv.iter().chain(&args.plot).collect();
    if as_json {
        json_lines(&report, &row, &written, out)?;
    } else {
        report_text(&report, out)?;
        for file in written {
            writeln!(out, "wrote {}", file.display())?;
        }
    }
    Ok(u8::from(report.sums.open_faults > 0))
}

#[derive(Clone, Copy)]
enum PlotForm {
    Svg,
    Pdf,
}

fn plot_form(file: &Path) -> anyhow::Result<PlotForm> {
    let extension = file.extension().map(|end| end.to_ascii_lowercase());
    match extension.as_ref().and_then(|end| end.to_str()) {
        Some("svg") => Ok(PlotForm::Svg),
        Some("pdf") => Ok(PlotForm::Pdf),
        _ => bail!(
            "{} is neither .svg nor .pdf, and a plot is one of these; give --plot FILE.svg or \
             --plot FILE.pdf",
            file.display()
        ),
    }
}

fn drawing(report: &Report, form: PlotForm) -> anyhow::Result<Vec<u8>> {
    let page = plot(report)?;
    Ok(match form {
        PlotForm::Svg => page.into_bytes(),
        PlotForm::Pdf => {
            let title = format!("Piece {}: {}", report.piece.0, report.name);
            pdf_from_svg(&title, &[page])?
        }
    })
}

fn row_of(ledger: &Ledger, number: u32) -> anyhow::Result<PieceRow> {
    let pieces = ledger.pieces()?;
    let numbers: Vec<u32> = pieces.iter().map(|row| row.piece.0).collect();
    let found = pieces
        .into_iter()
        .find(|row| row.piece == PieceNumber(number));
    match (found, numbers.as_slice()) {
        (Some(row), _) => Ok(row),
        (None, []) => bail!("there are no pieces in the ledger yet; weave one first"),
        (None, [first, .., last]) => bail!(
            "there is no piece {number} in the ledger; there are pieces {first} to {last}, and \
             `cardwright ledger pieces` lists them"
        ),
        (None, [only]) => bail!(
            "there is no piece {number} in the ledger; there is piece {only}, and `cardwright \
             ledger pieces` lists it"
        ),
    }
}

/// Every row with what it is, then the summary.
fn json_lines(
    report: &Report,
    row: &PieceRow,
    written: &[&PathBuf],
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    rows("session", &report.sessions, out)?;
    rows("stop", &report.stops, out)?;
    rows("fault", &report.faults, out)?;
    rows("faults_of_kind", &report.kinds, out)?;
    rows("decision", &report.decisions, out)?;
    rows("note", &report.notes, out)?;
    rows("weft", &report.wefts, out)?;
    rows("deck", &report.decks, out)?;
    rows("stretch", &report.length.stretches, out)?;
    let mut summary = serde_json::to_value(&report.sums)?;
    summary["piece"] = json!(report.piece);
    summary["name"] = json!(report.name);
    summary["plan_sha256"] = json!(row.plan_sha256);
    summary["began"] = json!(report.began);
    summary["ended"] = json!(report.ended);
    summary["unfinished"] = json!(report.left);
    summary["pace"] = json!(report.pace);
    summary["length"] = json!(report.length);
    summary["written"] = json!(written);
    Ok(writeln!(out, "{summary}")?)
}

fn rows<T: Serialize>(what: &str, rows: &[T], out: &mut dyn Write) -> anyhow::Result<()> {
    for row in rows {
        let mut row = serde_json::to_value(row)?;
        row["row"] = json!(what);
        writeln!(out, "{row}")?;
    }
    Ok(())
}
