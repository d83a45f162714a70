//! `cardwright deck`: make a deck from a picture, look at one, tell two apart.
//!
//! Enters: the arguments of the command line. Leaves: plain lines or JSON
//! objects on `out`, files where they were asked for, and the exit status: 0
//! done and nothing wrong, 1 the two decks differ, 2 the input is wrong.

mod cloth;
mod make;
mod on_rig;
mod paper;
mod settle;
mod sheet;
mod wif;

pub(in crate::cli) use make::deck_of_paper;
pub(in crate::cli) use sheet::SquaresBy;

use crate::deck::compare::{CardDifference, Comparison};
use crate::deck::{CardNumber, Deck, FirstPick, compare};
use crate::picture;
use anyhow::{Context, Result, bail};
use clap::{Args, Subcommand};
use serde_json::{Value, json};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Done, and nothing wrong.
const DONE: u8 = 0;
/// Done, and the decks differ.
const DIFFERENT: u8 = 1;

/// Columns of a terminal that does not say how wide it is.
const COLUMNS: usize = 80;

/// The deck commands.
#[derive(Debug, Subcommand)]
pub enum DeckArgs {
    /// Make a deck from a picture, one pixel a square of the point paper
    Make(make::MakeArgs),
    /// Show what is in a deck, or one card of it
    Show(ShowArgs),
    /// Tell two decks apart; exit status 1 if they differ
    Compare(CompareArgs),
    /// Paint the point paper again that a deck was made of with a cloth file
    Paper(paper::PaperArgs),
    /// Draw the cloth as the cards will weave it, face and back, and the ruled paper
    Cloth(cloth::ClothArgs),
    /// Say what the doubtful positions of a copied deck are; exit status 1 while any
    /// is left
    Settle(settle::SettleArgs),
    /// Make a deck of a weaving draft (WIF 1.1)
    Import(wif::ImportArgs),
    /// Write a deck as a weaving draft (WIF 1.1)
    Export(wif::ExportArgs),
}

/// Arguments of `deck show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// The deck file
    pub deck: PathBuf,
    /// One card of it
    #[arg(long, value_parser = super::number)]
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
}

/// Arguments of `deck compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// The first deck file
    pub first: PathBuf,
    /// The second deck file
    pub second: PathBuf,
}

/// Runs a deck command and says with what status the program should end. `rig_file`
/// says how the rig is built on which the time is told; the built-in one if not given.
///
/// # Errors
/// The input is wrong: exit status 2.
pub fn run(
    args: &DeckArgs,
    rig_file: Option<&Path>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    match args {
        DeckArgs::Make(args) => make::run(args, rig_file, as_json, out),
        DeckArgs::Show(args) => show(args, as_json, out),
        DeckArgs::Compare(args) => tell_apart(args, as_json, out),
        DeckArgs::Paper(args) => paper::run(args, as_json, out),
        DeckArgs::Cloth(args) => cloth::run(args, as_json, out),
        DeckArgs::Settle(args) => settle::run(args, as_json, out),
        DeckArgs::Import(args) => wif::import(args, as_json, out),
        DeckArgs::Export(args) => wif::export(args, as_json, out),
    }
}

fn show(args: &ShowArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let deck = Deck::read(&args.deck)?;
    let mut written = Vec::new();
    if let Some(file) = &args.design_png {
        save(file, &picture::design_png(&deck)?, &mut written)?;
    }
    match args.card {
        Some(card) => show_card(&deck, CardNumber(card), args, written, as_json, out),
        None => show_deck(&deck, args, written, as_json, out),
    }
}

fn show_card(
    deck: &Deck,
    number: CardNumber,
    args: &ShowArgs,
    mut written: Vec<String>,
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
        save(file, svg.as_bytes(), &mut written)?;
    }
    if let Some(file) = &args.png {
        save(file, &picture::png_from_svg(&svg, 5.0)?, &mut written)?;
    }
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
        "{}, card {} of {}, {holes} holes",
        deck.name(),
        number.0,
        deck.card_count()
    )?;
    for line in picture::card_lines(deck.format(), &strokes, &[], columns()) {
        writeln!(out, "{}", line.trim_end())?;
    }
    say_written(&written, out)
}

fn show_deck(
    deck: &Deck,
    args: &ShowArgs,
    mut written: Vec<String>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    if let Some(file) = &args.png {
        save(file, &picture::deck_png(deck)?, &mut written)?;
    }
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
    say_written(&written, out)
}

fn tell_apart(args: &CompareArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let comparison = compare(&Deck::read(&args.first)?, &Deck::read(&args.second)?);
    if as_json {
        json_differences(&comparison, out)?;
    } else {
        plain_differences(&comparison, out)?;
    }
    Ok(if comparison.is_empty() {
        DONE
    } else {
        DIFFERENT
    })
}

fn plain_differences(comparison: &Comparison, out: &mut dyn Write) -> Result<()> {
    if comparison.is_empty() {
        writeln!(out, "the decks are the same")?;
    }
    if comparison.cards.is_empty() && !comparison.head.is_empty() {
        writeln!(out, "the cards are alike; the heads of the files differ:")?;
    }
    for line in &comparison.head {
        writeln!(out, "{}: {} | {}", line.what, line.first, line.second)?;
    }
    for card in &comparison.cards {
        match card {
            CardDifference::Missing(card) => writeln!(out, "card {}: only in the first", card.0)?,
            CardDifference::Added(card) => writeln!(out, "card {}: only in the second", card.0)?,
            CardDifference::Moved { from, to, count: 1 } => {
                writeln!(out, "card {}: now card {}", from.0, to.0)?;
            }
            CardDifference::Moved { from, to, count } => {
                let last = count - 1;
                writeln!(
                    out,
                    "cards {}-{}: now cards {}-{}",
                    from.0,
                    from.0 + last,
                    to.0,
                    to.0 + last
                )?;
            }
            CardDifference::Holes {
                first,
                second,
                holes,
            } => {
                let now = if first == second {
                    String::new()
                } else {
                    format!(" (now {})", second.0)
                };
                for hole in holes {
                    let only = if hole.in_first { "first" } else { "second" };
                    writeln!(
                        out,
                        "card {}{now}, row {}, hole {}: only in the {only}",
                        first.0, hole.row, hole.hole
                    )?;
                }
            }
        }
    }
    Ok(())
}

fn json_differences(comparison: &Comparison, out: &mut dyn Write) -> Result<()> {
    for line in &comparison.head {
        writeln!(
            out,
            "{}",
            json!({"head": line.what, "first": line.first, "second": line.second})
        )?;
    }
    for card in &comparison.cards {
        let line = match card {
            CardDifference::Missing(card) => json!({"missing": card.0}),
            CardDifference::Added(card) => json!({"added": card.0}),
            CardDifference::Moved { from, to, count } => {
                json!({"moved": from.0, "to": to.0, "count": count})
            }
            CardDifference::Holes {
                first,
                second,
                holes,
            } => {
                let hole = |hole: &crate::deck::compare::HoleDifference| json!({"row": hole.row, "hole": hole.hole, "in_first": hole.in_first});
                json!({"card": first.0, "second_card": second.0, "holes": holes.iter().map(hole).collect::<Vec<_>>()})
            }
        };
        writeln!(out, "{line}")?;
    }
    let summary = json!({
        "summary": "compare",
        "same": comparison.is_empty(),
        "head": comparison.head.len(),
        "cards": comparison.cards.len(),
    });
    writeln!(out, "{summary}")?;
    Ok(())
}

/// The last line of JSON output.
fn summary(kind: &str, deck: &Deck) -> Value {
    let strokes = u64::from(deck.format().strokes()) * u64::from(deck.card_count());
    json!({
        "summary": kind,
        "name": deck.name(),
        "format": deck.format().name(),
        "cards": deck.card_count(),
        "strokes": strokes,
        "holes": deck.needle_holes(),
        "sha256": deck.sha256(),
    })
}

fn describe(deck: &Deck, out: &mut dyn Write) -> Result<()> {
    writeln!(
        out,
        "{}: {} cards, {}",
        deck.name(),
        deck.card_count(),
        deck.format().title()
    )?;
    let strokes = deck.format().strokes();
    writeln!(
        out,
        "{} holes; {strokes} strokes a card, {} in all",
        deck.needle_holes(),
        u64::from(strokes) * u64::from(deck.card_count())
    )?;
    if let Some(design) = deck.design() {
        let (hooks, picks, pick) = match deck.cloth() {
            Some(_) => ("columns", "lines", "line"),
            None => ("hooks", "picks", "pick"),
        };
        writeln!(
            out,
            "design {}: {} {hooks}, {} {picks}, first {pick} at the {}",
            design.file,
            design.hooks,
            design.picks,
            match design.first_pick {
                FirstPick::Bottom => "bottom",
                FirstPick::Top => "top",
            }
        )?;
    }
    if let Some(cloth) = deck.cloth() {
        writeln!(out, "cloth {}", cloth.file)?;
    }
    Ok(())
}

fn save(file: &Path, bytes: &[u8], written: &mut Vec<String>) -> Result<()> {
    std::fs::write(file, bytes).with_context(|| {
        format!(
            "cannot write {}; check the folder, the permissions and the room on the disk",
            file.display()
        )
    })?;
    written.push(file.display().to_string());
    Ok(())
}

fn say_written(written: &[String], out: &mut dyn Write) -> Result<u8> {
    for file in written {
        writeln!(out, "wrote {file}")?;
    }
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
