//! `cardwright deck`: make a deck from a picture, look at one, tell two apart.
//!
//! Enters: the arguments of the command line. Leaves: plain lines or JSON
//! objects on `out`, files where they were asked for, and the exit status: 0
//! done and nothing wrong, 1 the two decks differ, 2 the input is wrong.

mod cloth;
mod make;
mod on_rig;
mod paper;
mod pictures;
mod settle;
mod sheet;
mod show;
mod wif;

pub(in crate::cli) use make::deck_of_paper;
pub(in crate::cli) use sheet::SquaresBy;

use crate::cloth::Cloth;
use crate::deck::compare::{CardDifference, Comparison};
use crate::deck::{Deck, FirstPick, compare};
use crate::words::{counted, one_line};
use anyhow::Result;
use clap::{Args, Subcommand};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Done, and nothing wrong.
const DONE: u8 = 0;
/// Done, and the decks differ.
const DIFFERENT: u8 = 1;

/// The deck commands.
#[derive(Debug, Subcommand)]
pub enum DeckArgs {
    /// Make a deck from a picture, one pixel a square of the point paper
    Make(make::MakeArgs),
    /// Show what is in a deck, or one card of it
    Show(show::ShowArgs),
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
    if as_json || matches!(args, DeckArgs::Settle(_)) {
        return command(args, rig_file, as_json, out);
    }
    // names come from files, and may hold what a terminal takes for an order
    let mut said = Vec::new();
    let done = command(args, rig_file, as_json, &mut said);
    out.write_all(super::screen::clean(&String::from_utf8_lossy(&said)).as_bytes())?;
    done
}

fn command(
    args: &DeckArgs,
    rig_file: Option<&Path>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    match args {
        DeckArgs::Make(args) => make::run(args, rig_file, as_json, out),
        DeckArgs::Show(args) => show::run(args, as_json, out),
        DeckArgs::Compare(args) => tell_apart(args, as_json, out),
        DeckArgs::Paper(args) => paper::run(args, as_json, out),
        DeckArgs::Cloth(args) => cloth::run(args, as_json, out),
        DeckArgs::Settle(args) => settle::run(args, as_json, out),
        DeckArgs::Import(args) => wif::import(args, as_json, out),
        DeckArgs::Export(args) => wif::export(args, as_json, out),
    }
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
        let (first, second) = (one_line(&line.first), one_line(&line.second));
        writeln!(out, "{}: {first} | {second}", line.what)?;
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

/// What is said where a deck and a cloth file no longer belong together.
const CLOTH_CHANGED: &str = "the cloth file has changed since the deck was made";

/// Whether the deck was made with another cloth file than this.
fn cloth_changed(deck: &Deck, cloth: &Cloth) -> bool {
    let made = deck.cloth();
    made.is_some_and(|made| made.sha256 != cloth.sha256())
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
        "{}: {}, {}",
        one_line(deck.name()),
        counted(deck.card_count(), "card"),
        one_line(deck.format().title())
    )?;
    let strokes = deck.format().strokes();
    writeln!(
        out,
        "{}; {} a card, {} in all",
        counted(deck.needle_holes(), "hole"),
        counted(strokes, "stroke"),
        u64::from(strokes) * u64::from(deck.card_count())
    )?;
    if let Some(design) = deck.design() {
        let (hooks, picks, pick) = match deck.cloth() {
            Some(_) => ("column", "line", "line"),
            None => ("hook", "pick", "pick"),
        };
        writeln!(
            out,
            "design {}: {}, {}, first {pick} at the {}",
            one_line(&design.file),
            counted(design.hooks, hooks),
            counted(design.picks, picks),
            match design.first_pick {
                FirstPick::Bottom => "bottom",
                FirstPick::Top => "top",
            }
        )?;
    }
    if let Some(cloth) = deck.cloth() {
        writeln!(out, "cloth {}", one_line(&cloth.file))?;
    }
    Ok(())
}
