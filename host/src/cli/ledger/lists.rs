//! The lists. Enters: an open ledger. Leaves: text for a person, in which
//! neighbours that say the same stand in one line, or one JSON object a line
//! with everything. Refuses: what the ledger does not hold.

use super::decks::{deck_of_file, deck_of_name};
use super::wording::{
    all_kinds, card, card_range, deck_name, detail, ending, fault, folded, kinds, plain, shortened,
    to_the_second, wrapped,
};
use crate::ledger::{AttemptRow, EventRow, Fault, Ledger, UnitRow};
use crate::words::counted;
use anyhow::bail;
use cardwright_protocol::JobNumber;
use serde::Serialize;
use serde_json::json;
use std::io::Write;
use std::path::Path;

/// Faults of one attempt that are listed one by one.
const MOST_FAULTS: usize = 5;

/// Characters of a deck's name in the list of jobs.
const DECK_WIDTH: usize = 14;

/// One JSON object a line: the rows, then the summary.
pub(super) fn lines<T: Serialize>(
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

pub(super) fn jobs(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
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
        "{:>4}  {:<9}  {:<14}  {:<20}  {:<7}  {:>4}  {:>4}  {:>4}",
        "job", "kind", "deck", "began", "ended", "sent", "good", "open"
    )?;
    for job in &jobs {
        writeln!(
            out,
            "{:>4}  {:<9}  {:<14}  {:<20}  {:<7}  {:>4}  {:>4}  {:>4}",
            job.job.0,
            job.kind.word(),
            shortened(&deck_name(job), DECK_WIDTH),
            to_the_second(job.started),
            ending(job),
            job.attempts,
            job.good,
            job.open
        )?;
    }
    Ok(0)
}

pub(super) fn show(
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
    let (kind, deck) = (job.kind.word(), deck_name(&job));
    writeln!(
        out,
        "{}",
        wrapped(&format!("job {}: {kind} {deck}", job.job.0), 4)
    )?;
    writeln!(
        out,
        "unit   {}",
        plain(job.unit.as_deref().unwrap_or("not known"))
    )?;
    writeln!(out, "began  {}", to_the_second(job.started))?;
    match job.ended {
        Some(ended) => writeln!(out, "ended  {}, {}", to_the_second(ended), ending(&job))?,
        None => writeln!(out, "ended  not yet")?,
    }
    let (sent, good, open) = (job.attempts, job.good, job.open);
    let sent = counted(u64::from(sent), "attempt");
    writeln!(
        out,
        "cards  {sent}: {good} good, {open} not heard of again yet"
    )?;
    if !attempts.is_empty() {
        writeln!(out, "\nattempts")?;
        show_attempts(&attempts, out)?;
    }
    if !events.is_empty() {
        writeln!(out, "\nevents")?;
        events.iter().try_for_each(|event| show_event(event, out))?;
    }
    Ok(0)
}

fn show_attempts(attempts: &[AttemptRow], out: &mut dyn Write) -> anyhow::Result<()> {
    let words = |row: &AttemptRow| {
        let mut words = row.verdict.word().to_string();
        if row.attempt.0 > 1 {
            words = format!("attempt {}, {words}", row.attempt.0);
        }
        let listed = row.faults.iter().take(MOST_FAULTS).map(fault);
        for fault in listed {
            words.push('\n');
            words.push_str(&wrapped(&format!("      {fault}"), 8));
        }
        if let Some(more) = row
            .faults
            .get(MOST_FAULTS..)
            .filter(|more| !more.is_empty())
        {
            words.push('\n');
            words.push_str(&wrapped(
                &format!("      and {} more: {}", more.len(), in_all(more)),
                8,
            ));
        }
        words
    };
    for (first, last, words) in folded(attempts.iter().map(|row| (row.card.0, words(row)))) {
        writeln!(out, "  {}: {words}", card_range(first, last))?;
    }
    Ok(())
}

/// The faults by kind.
fn in_all(faults: &[Fault]) -> String {
    let mut counts = std::collections::BTreeMap::new();
    for fault in faults {
        *counts.entry(&fault.kind).or_insert(0u32) += 1;
    }
    kinds(counts.into_iter())
}

fn show_event(event: &EventRow, out: &mut dyn Write) -> anyhow::Result<()> {
    let (at, kind, more) = (
        to_the_second(event.at),
        event.kind.word(),
        detail(&event.detail),
    );
    let line = if more.is_empty() {
        format!("  {at}  {kind}")
    } else {
        format!("  {at}  {kind}: {more}")
    };
    Ok(writeln!(out, "{}", wrapped(&line, 24))?)
}

pub(super) fn cards(
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
    let faults = all_kinds(&cards);
    let attempts: u64 = cards.iter().map(|card| u64::from(card.attempts)).sum();
    if as_json {
        let summary = json!({
            "deck": deck.name, "sha256": deck.sha256, "cards": deck.cards,
            "good": good, "attempts": attempts, "faults": faults,
        });
        return lines(&cards, &summary, out);
    }
    let (number, format) = (deck.cards, plain(&deck.format));
    let title = format!(
        "deck {}: {number} cards of format {format}",
        plain(&deck.name)
    );
    writeln!(out, "{}", wrapped(&title, 4))?;
    writeln!(out, "SHA-256 {}", deck.sha256)?;
    for (first, last, words) in folded(cards.iter().map(|row| (row.card.0, card(row)))) {
        let words = if first == last || words == "not cut yet" {
            words
        } else {
            format!("{words} each")
        };
        let line = format!("  {}: {words}", card_range(first, last));
        writeln!(out, "{}", wrapped(&line, 4))?;
    }
    writeln!(
        out,
        "{good} of {number} cards good, {}",
        counted(attempts, "attempt")
    )?;
    if !faults.is_empty() {
        let line = format!("faults over all attempts: {}", kinds(faults.into_iter()));
        writeln!(out, "{}", wrapped(&line, 4))?;
    }
    Ok(0)
}

pub(super) fn units(ledger: &Ledger, as_json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let units = ledger.units()?;
    if as_json {
        return lines(&units, &json!({ "units": units.len() }), out);
    }
    if units.is_empty() {
        writeln!(out, "No units yet.")?;
    }
    for unit in &units {
        show_unit(unit, out)?;
    }
    Ok(0)
}

fn show_unit(unit: &UnitRow, out: &mut dyn Write) -> anyhow::Result<()> {
    let (firmware, protocol) = (plain(&unit.firmware), unit.protocol);
    writeln!(out, "{} {}", plain(&unit.role), plain(&unit.board))?;
    writeln!(out, "    firmware   {firmware}, protocol {protocol}")?;
    writeln!(
        out,
        "    settings   {}",
        if unit.settings.is_some() {
            "sent"
        } else {
            "never sent"
        }
    )?;
    let (first, last) = (
        to_the_second(unit.first_seen),
        to_the_second(unit.last_seen),
    );
    writeln!(out, "    seen       first {first}, last {last}")?;
    let (boot, stop) = (unit.boot, plain(&unit.last_stop));
    let line = format!("    last seen  in boot {boot}; stopped before that by: {stop}");
    Ok(writeln!(out, "{}", wrapped(&line, 15))?)
}
