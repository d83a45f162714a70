//! The sheet as lines for a terminal.

use super::words::{REMINDERS, mending, numbers, rule, standing, to_see_to, wires, wires_source};
use super::{Card, Chain, Fault, Lacing};
use crate::deck::CardFormat;
use crate::picture::card_lines;
use crate::words::counted;
use std::fmt::Write as _;

/// Columns that a line takes at most.
const COLUMNS: usize = 78;

pub(super) fn text(lacing: &Lacing) -> String {
    let sheet = &lacing.sheet;
    let mut text = String::new();
    paragraph(&mut text, "", &format!("Lacing sheet: {}", sheet.deck));
    let cards = counted(sheet.cards.len(), "card");
    let facts = format!(
        "{}, {cards}, deck {}, {}",
        sheet.format.title(),
        sheet.sha,
        sheet.date
    );
    paragraph(&mut text, "", &facts);
    text.push('\n');
    paragraph(&mut text, "", &standing(lacing));
    see_to_first(&mut text, lacing);
    heading(&mut text, "Order of lacing");
    paragraph(&mut text, "  ", &rule(lacing));
    paragraph(
        &mut text,
        "  ",
        "=n carries a wire, (n) is to be seen to first.",
    );
    for chain in &lacing.chains {
        text.push('\n');
        chain_lines(&mut text, lacing, chain);
    }
    heading(&mut text, "Wires");
    for chain in &lacing.chains {
        let (name, _) = chain.run.words();
        paragraph(
            &mut text,
            "  ",
            &format!("{}: {}", capital(name), wires(&chain.wires)),
        );
    }
    paragraph(&mut text, "  ", &wires_source());
    heading(&mut text, "While lacing (Bell ch. V)");
    for reminder in REMINDERS {
        paragraph(&mut text, "  ", reminder);
    }
    faults(&mut text, lacing);
    text
}

fn heading(text: &mut String, words: &str) {
    let _ = writeln!(text, "\n{words}");
}

fn see_to_first(text: &mut String, lacing: &Lacing) {
    for (what, cards) in to_see_to(lacing) {
        paragraph(text, "  ", &format!("{what}: {}", numbers(&cards)));
    }
    if lacing.sheet.order.is_empty() {
        return;
    }
    heading(text, "Order of the stack");
    for finding in &lacing.sheet.order {
        paragraph(text, "  ", &finding.finding);
        paragraph(text, "    ", &finding.remedy);
    }
}

/// Every card of a chain once, in columns.
fn chain_lines(text: &mut String, lacing: &Lacing, chain: &Chain) {
    let (name, way) = chain.run.words();
    let count = counted(chain.cards.len(), "card");
    let _ = writeln!(text, "  {}, {way}, {count}", capital(name));
    let highest = chain.cards.iter().map(|card| card.0).max().unwrap_or(0);
    let width = highest.to_string().len() + 4;
    let columns = if (COLUMNS - 2) / width >= 10 { 10 } else { 5 };
    for line in chain.cards.chunks(columns) {
        let cells = line.iter().map(|card| {
            let wire = if chain.wires.cards.contains(card) {
                "="
            } else {
                " "
            };
            let (open, close) = match lacing.card(*card) {
                Some(Card::Good) => ("", " "),
                _ => ("(", ")"),
            };
            let marked = format!("{wire}{open}{}{close}", card.0);
            format!("{marked:>width$}")
        });
        let line: String = cells.collect();
        let _ = writeln!(text, "  {}", line.trim_end());
    }
}

fn faults(text: &mut String, lacing: &Lacing) {
    if lacing.faults().next().is_none() {
        return;
    }
    heading(text, "Faulty cards");
    for (number, fault) in lacing.faults() {
        let what = if fault.is_cut_again() {
            "cut again"
        } else {
            "mend"
        };
        let words = if fault.words.is_empty() {
            String::new()
        } else {
            format!(" ({})", fault.words)
        };
        paragraph(text, "  ", &format!("Card {number}: {what}{words}"));
        for (what, places) in mending(&lacing.sheet.format, fault) {
            paragraph(text, "    ", &format!("{what}: {places}"));
        }
        picture(text, &lacing.sheet.format, fault);
    }
}

/// The card with what is wrong with it.
fn picture(text: &mut String, format: &CardFormat, fault: &Fault) {
    let marks = fault.marks();
    if marks.is_empty() {
        return;
    }
    text.push('\n');
    for line in card_lines(format, &fault.strokes, &marks, COLUMNS - 4) {
        let _ = writeln!(text, "    {}", line.trim_end());
    }
    text.push('\n');
}

pub(super) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// Words in lines of [`COLUMNS`]; what goes on is set in further.
fn paragraph(text: &mut String, margin: &str, words: &str) {
    let mut line = margin.to_owned();
    let mut empty = true;
    for word in words.split(' ') {
        if !empty && line.chars().count() + 1 + word.chars().count() > COLUMNS {
            let _ = writeln!(text, "{}", line.replace('\u{a0}', " "));
            line = format!("{margin}  ");
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(text, "{}", line.replace('\u{a0}', " "));
}
