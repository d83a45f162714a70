//! `cardwright ledger`: what was cut, found and recut. Enters: the command
//! line and the data directory. Leaves: lists for a person, one JSON object a
//! line, or a file for other programs. Refuses: decks and jobs that are not in
//! the ledger, naming those that are.

use crate::ledger::export::{self, Table};
use crate::ledger::{CardRow, DeckRow, DeckSha, Fault, JobRow, Ledger, LedgerError, UnixMillis};
use anyhow::{Context, bail};
use cardwright_protocol::JobNumber;
use clap::{Args, Subcommand, ValueEnum};
use serde::Serialize;
use serde_json::json;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Look into the ledger: jobs, cards, units; export it.
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
/// the last the summary. Returns the exit status, 0.
///
/// # Errors
/// No ledger, no such job or deck, damage, and `out` not taking it; each with
/// its remedy.
pub fn run(
    args: &LedgerArgs,
    data_dir: &Path,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    if let Some(What::Export(ExportArgs { columns: true, .. })) = &args.what {
        return columns(out);
    }
    let ledger = open(data_dir)?;
    ledger.at_one_moment(|| match &args.what {
        None | Some(What::Jobs) => jobs(&ledger, as_json, out),
        Some(What::Show { job }) => show(&ledger, JobNumber(*job), as_json, out),
        Some(What::Cards { deck, name }) => {
            cards(&ledger, deck.as_deref(), name.as_deref(), as_json, out)
        }
        Some(What::Units) => units(&ledger, as_json, out),
        Some(What::Export(args)) => export(&ledger, args, out),
    })
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

/// One JSON object a line: the rows, then the summary.
fn lines<T: Serialize>(
    rows: &[T],
    summary: &serde_json::Value,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    for row in rows {
        writeln!(out, "{}", serde_json::to_string(row)?)?;
    }
    writeln!(out, "{summary}")?;
    Ok(0)
}

fn jobs(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let jobs = ledger.jobs()?;
    if as_json {
        return lines(&jobs, &json!({ "jobs": jobs.len() }), out);
    }
    if jobs.is_empty() {
        writeln!(out, "No jobs yet.")?;
        return Ok(0);
    }
    writeln!(
        out,
        "{:>5}  {:<6}  {:<20}  {:<8}  {:>5}  {:>5}  {:>5}  deck",
        "job", "kind", "began", "ended", "sent", "good", "open"
    )?;
    for job in &jobs {
        writeln!(
            out,
            "{:>5}  {:<6}  {:<20}  {:<8}  {:>5}  {:>5}  {:>5}  {}",
            job.job.0,
            job.kind.word(),
            to_the_second(job.started),
            ending(job),
            job.attempts,
            job.good,
            job.open,
            deck_name(job)
        )?;
    }
    Ok(0)
}

fn show(
    ledger: &Ledger,
    number: JobNumber,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    let job = ledger.job(number)?;
    let attempts = ledger.attempts(number)?;
    let events = ledger.events(Some(number))?;
    if as_json {
        for attempt in &attempts {
            writeln!(out, "{}", serde_json::to_string(attempt)?)?;
        }
        return lines(&events, &serde_json::to_value(&job)?, out);
    }
    writeln!(
        out,
        "job {}: {} {}",
        job.job.0,
        job.kind.word(),
        deck_name(&job)
    )?;
    let unit = job.unit.as_deref().unwrap_or("not known");
    writeln!(out, "unit {}, began {}", plain(unit), job.started)?;
    match job.ended {
        Some(ended) => writeln!(out, "{} {ended}", ending(&job))?,
        None => writeln!(out, "still open")?,
    }
    writeln!(
        out,
        "{} cards sent, {} good, {} open",
        job.attempts, job.good, job.open
    )?;
    for attempt in &attempts {
        let (card, again, verdict) = (attempt.card.0, attempt.attempt.0, attempt.verdict.word());
        writeln!(out, "card {card:>4} attempt {again}: {verdict}")?;
        for fault in &attempt.faults {
            writeln!(out, "    {}", in_words(fault))?;
        }
    }
    for event in &events {
        let detail = plain(&event.detail.to_string());
        writeln!(out, "{} {} {detail}", event.at, event.kind.word())?;
    }
    Ok(0)
}

fn cards(
    ledger: &Ledger,
    file: Option<&Path>,
    name: Option<&str>,
    as_json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    let deck = match (file, name) {
        (Some(file), _) => deck_of_file(ledger, file)?,
        (None, Some(name)) => deck_of_name(ledger, name)?,
        (None, None) => bail!("no deck was named; give a deck file or --deck NAME"),
    };
    let cards = ledger.cards(&deck)?;
    let good = cards.iter().filter(|card| card.good).count();
    let mut faults: BTreeMap<&str, u32> = BTreeMap::new();
    for (kind, count) in cards.iter().flat_map(|card| &card.faults) {
        *faults.entry(kind).or_default() += count;
    }
    let attempts: u64 = cards.iter().map(|card| u64::from(card.attempts)).sum();
    if as_json {
        let summary = json!({
            "deck": deck.name, "sha256": deck.sha256, "cards": deck.cards,
            "good": good, "attempts": attempts, "faults": faults,
        });
        return lines(&cards, &summary, out);
    }
    writeln!(
        out,
        "deck {}: {} cards of format {}",
        plain(&deck.name),
        deck.cards,
        deck.format
    )?;
    writeln!(out, "SHA-256 {}", deck.sha256)?;
    for card in &cards {
        writeln!(out, "card {:>4}: {}", card.card.0, card_line(card))?;
    }
    writeln!(
        out,
        "{good} of {} cards good, {attempts} attempts",
        deck.cards
    )?;
    for (kind, count) in faults {
        writeln!(out, "{count:>6} {}", plain(kind))?;
    }
    Ok(0)
}

fn card_line(card: &CardRow) -> String {
    let state = match (card.good, card.last) {
        (true, _) => "good",
        (false, Some(last)) => last.word(),
        (false, None) => return "not cut yet".to_string(),
    };
    let mut line = format!("{state}, attempts {}", card.attempts);
    for (kind, count) in &card.faults {
        // Writing into a string cannot fail.
        let _ = write!(line, ", {} {count}", plain(kind));
    }
    line
}

fn deck_of_file(ledger: &Ledger, file: &Path) -> anyhow::Result<DeckRow> {
    let content = std::fs::read(file).with_context(|| {
        format!(
            "the deck file {} could not be read; check its name, or give --deck NAME",
            file.display()
        )
    })?;
    let sha256 = DeckSha(Sha256::digest(&content).into());
    let decks = ledger.decks()?;
    decks
        .into_iter()
        .find(|deck| deck.sha256 == sha256)
        .with_context(|| {
            format!(
                "no job has met the deck {} as it is now; an earlier state of it may be in the \
             ledger under its name: give --deck NAME",
                file.display()
            )
        })
}

fn deck_of_name(ledger: &Ledger, name: &str) -> anyhow::Result<DeckRow> {
    let decks = ledger.decks()?;
    let by_name: Vec<&DeckRow> = decks.iter().filter(|deck| deck.name == name).collect();
    let found = if by_name.is_empty() && name.len() >= 4 {
        decks
            .iter()
            .filter(|deck| deck.sha256.to_string().starts_with(name))
            .collect()
    } else {
        by_name
    };
    match found.as_slice() {
        [one] => Ok((*one).clone()),
        [] if decks.is_empty() => bail!("there are no decks in the ledger yet; cut one first"),
        [] => {
            let names: Vec<String> = decks.iter().map(|deck| plain(&deck.name)).collect();
            bail!(
                "there is no deck `{name}` in the ledger; there are: {}",
                names.join(", ")
            )
        }
        many => {
            let sums: Vec<String> = many.iter().map(|deck| deck.sha256.to_string()).collect();
            bail!(
                "there are {} decks `{name}` in the ledger; give the beginning of one's SHA-256 \
                 instead: {}",
                many.len(),
                sums.join(", ")
            )
        }
    }
}

fn units(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let units = ledger.units()?;
    if as_json {
        return lines(&units, &json!({ "units": units.len() }), out);
    }
    if units.is_empty() {
        writeln!(out, "No units yet.")?;
    }
    for unit in &units {
        writeln!(
            out,
            "{} {} {}, firmware {}, protocol {}, boot {}",
            plain(&unit.role),
            plain(&unit.board),
            if unit.settings.is_some() {
                "with settings"
            } else {
                "without settings"
            },
            plain(&unit.firmware),
            unit.protocol,
            unit.boot
        )?;
        let last_stop = plain(&unit.last_stop);
        let (first, last) = (unit.first_seen, unit.last_seen);
        writeln!(
            out,
            "    seen from {first} to {last}, last stop: {last_stop}"
        )?;
    }
    Ok(0)
}

fn export(ledger: &Ledger, args: &ExportArgs, out: &mut dyn Write) -> anyhow::Result<u8> {
    let write = |out: &mut dyn Write| match args.format {
        Format::Json => export::json(ledger, out),
        Format::Csv => export::csv(ledger, args.table, out),
    };
    let Some(path) = &args.out else {
        write(out)?;
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

fn columns(out: &mut dyn Write) -> anyhow::Result<u8> {
    for table in Table::ALL {
        writeln!(out, "{}", table.name())?;
        for (name, meaning) in table.columns() {
            writeln!(out, "    {name:<13} {meaning}")?;
        }
    }
    Ok(0)
}

fn ending(job: &JobRow) -> &'static str {
    job.ending.map_or("open", |ending| ending.word())
}

fn deck_name(job: &JobRow) -> String {
    job.deck
        .as_deref()
        .map_or_else(|| "no deck".to_string(), plain)
}

fn in_words(fault: &Fault) -> String {
    let mut words = plain(&fault.kind);
    let mut add = |text: String| {
        words.push_str(&text);
    };
    match fault.hole {
        Some(0) => add(", peg hole".to_string()),
        Some(hole) => add(format!(", hole {hole}")),
        None => {}
    }
    match (fault.row, fault.stroke) {
        (Some(row), _) => add(format!(" of row {row}")),
        (None, Some(stroke)) => add(format!(" at stroke {stroke}")),
        (None, None) => {}
    }
    if let Some(measured) = fault.measured {
        add(format!(": {measured} {}", plain(&fault.measured_in)));
    }
    if !fault.note.is_empty() {
        add(format!(" ({})", plain(&fault.note)));
    }
    words
}

/// A time without its fraction, for lists.
fn to_the_second(time: UnixMillis) -> String {
    let mut text = time.to_string();
    if let Some(dot) = text.find('.') {
        text.truncate(dot);
        text.push('Z');
    }
    text
}

/// Text from the ledger without characters that would act on the terminal.
fn plain(text: &str) -> String {
    text.chars()
        .map(|one| if one.is_control() { '\u{fffd}' } else { one })
        .collect()
}
