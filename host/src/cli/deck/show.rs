//! `cardwright deck show`: what is in a deck, or in one card of it.
//!
//! Enters: a deck. Leaves: lines or JSON objects, and pictures, where they were asked
//! for: all of them or none. Refuses: a card that is not there, an older file in the way.

use super::pictures::{self, Asked};
use super::{DONE, describe, summary};
use crate::deck::{CardNumber, Deck};
use crate::picture;
use crate::words::{counted, one_line};
use anyhow::{Result, bail};
use clap::Args;
use serde_json::json;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Columns of a terminal that does not say how wide it is.
const COLUMNS: usize = 80;

/// Arguments of `deck show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// The deck file
    pub deck: PathBuf,
    /// One card of it
    #[arg(long, value_parser = crate::cli::number)]
    pub card: Option<u32>,
    /// Write the deck, or the card, as a PNG picture to this file
    #[arg(long)]
    pub png: Option<PathBuf>,
    /// Write the card at its true size as SVG to this file; needs --card
    #[arg(long, requires = "card")]
    pub svg: Option<PathBuf>,
    /// Write the design on squared paper as a PNG picture to this file
    #[arg(long)]
    pub design_png: Option<PathBuf>,
    /// Replace files that exist
    #[arg(long)]
    pub force: bool,
}

/// Shows a deck or a card.
pub(super) fn run(args: &ShowArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let asked = [
        (&args.design_png, "png"),
        (&args.svg, "svg"),
        (&args.png, "png"),
    ];
    let asked = asked
        .iter()
        .filter_map(|(file, ending)| Some((file.as_deref()?, *ending)));
    let asked: Vec<Asked<'_>> = asked.collect();
    pictures::may_write(&asked, &[&args.deck], args.force)?;
    let deck = Deck::read(&args.deck)?;
    let mut made: Made<'_> = Vec::new();
    if let Some(file) = &args.design_png {
        made.push((file, picture::design_png(&deck)?));
    }
    match args.card {
        Some(card) => show_card(&deck, CardNumber(card), args, made, as_json, out),
        None => show_deck(&deck, args, made, as_json, out),
    }
}

/// Pictures that are drawn and not yet written.
type Made<'a> = Vec<(&'a Path, Vec<u8>)>;

fn show_card<'a>(
    deck: &Deck,
    number: CardNumber,
    args: &'a ShowArgs,
    mut made: Made<'a>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    let (Some(strokes), Some(rows)) = (deck.strokes(number), deck.card(number)) else {
        bail!(
            "card {} is not in the deck {}, which has cards 1 to {}",
            number.0,
            args.deck.display(),
            deck.card_count()
        );
    };
    let svg = picture::card_svg(&picture::CardDrawing {
        format: deck.format(),
        strokes: &strokes,
        deck: deck.name(),
        number: Some(number),
        marks: &[],
    });
    if let Some(file) = &args.svg {
        made.push((file, svg.as_bytes().to_vec()));
    }
    if let Some(file) = &args.png {
        made.push((file, picture::png_from_svg(&svg, 5.0)?));
    }
    let written = pictures::write(&made, args.force)?;
    let holes: u32 = rows.iter().map(|row| row.count()).sum();
    if as_json {
        for (place, row) in rows.iter().enumerate() {
            let holes: Vec<u8> = row.holes().collect();
            writeln!(out, "{}", json!({"row": place + 1, "holes": holes}))?;
        }
        let mut summary = summary("card", deck);
        summary["card"] = json!(number.0);
        summary["card_holes"] = json!(holes);
        summary["files"] = json!(written);
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    writeln!(
        out,
        "{}, card {} of {}, {}",
        one_line(deck.name()),
        number.0,
        deck.card_count(),
        counted(holes, "hole")
    )?;
    for line in picture::card_lines(deck.format(), &strokes, &[], columns()) {
        writeln!(out, "{}", line.trim_end())?;
    }
    pictures::tell(&written, out)?;
    Ok(DONE)
}

fn show_deck<'a>(
    deck: &Deck,
    args: &'a ShowArgs,
    mut made: Made<'a>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    if let Some(file) = &args.png {
        made.push((file, picture::deck_png(deck)?));
    }
    let written = pictures::write(&made, args.force)?;
    if as_json {
        for (number, rows) in deck.cards() {
            let holes: u32 = rows.iter().map(|row| row.count()).sum();
            writeln!(out, "{}", json!({"card": number.0, "holes": holes}))?;
        }
        let mut summary = summary("deck", deck);
        summary["files"] = json!(written);
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    describe(deck, out)?;
    for line in picture::deck_lines(deck, columns()) {
        writeln!(out, "{}", line.trim_end())?;
    }
    pictures::tell(&written, out)?;
    Ok(DONE)
}

/// How wide the terminal is: as COLUMNS says, wide where nobody looks at it.
fn columns() -> usize {
    let said = std::env::var("COLUMNS")
        .ok()
        .and_then(|columns| columns.parse().ok());
    said.unwrap_or(if std::io::stdout().is_terminal() {
        COLUMNS
    } else {
        2 * COLUMNS
    })
}
