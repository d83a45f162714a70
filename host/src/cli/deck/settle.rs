//! `cardwright deck settle`: a person says what the doubtful positions of a copied
//! deck are.
//!
//! Enters: a deck file, answers one a line. Leaves: a picture of every card with
//! a doubtful position, and the deck file with what was settled. A position that
//! is left stays doubtful.

use std::collections::BTreeSet;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use serde_json::json;

use crate::deck::{CardNumber, Deck, Doubt};
use crate::picture::{doubts_svg, png_from_svg};

/// Cards with doubtful positions on one sheet.
const CARDS_A_SHEET: usize = 12;

/// Fineness of the sheets.
const PIXELS_PER_MM: f32 = 4.0;

/// Arguments of `deck settle`.
#[derive(Debug, Args)]
pub struct SettleArgs {
    /// The deck file
    deck: PathBuf,
    /// Draw every card with a doubtful position into this folder, and ask nothing
    #[arg(long, value_name = "DIR")]
    pictures: Option<PathBuf>,
}

/// Draws, or asks.
pub(in crate::cli) fn run(args: &SettleArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let mut deck = Deck::read(&args.deck)?;
    let doubtful = match deck.reading() {
        Some(reading) => reading.doubtful.clone(),
        None => bail!(
            "{} was not read from a stack of cards, so nothing in it is doubtful",
            args.deck.display()
        ),
    };
    let mut files = Vec::new();
    if let Some(dir) = &args.pictures {
        files = draw(&deck, &doubtful, dir)?;
        if !as_json {
            for file in &files {
                writeln!(out, "{}", file.display())?;
            }
        }
    } else {
        ask(&mut deck, &doubtful, as_json, out)?;
    }
    let left = deck.reading().map_or(0, |reading| reading.doubtful.len());
    if left < doubtful.len() {
        deck.write(&args.deck, true)?;
    }
    if as_json {
        let files: Vec<String> = files
            .iter()
            .map(|file| file.display().to_string())
            .collect();
        let last = json!({
            "event": "summary", "exit": u8::from(left > 0), "settled": doubtful.len() - left,
            "doubtful": left, "pictures": files,
        });
        writeln!(out, "{last}")?;
    } else {
        writeln!(
            out,
            "{} settled, {left} still doubtful",
            doubtful.len() - left
        )?;
    }
    Ok(u8::from(left > 0))
}

/// Sheets with the cards that have doubtful positions.
fn draw(deck: &Deck, doubtful: &[Doubt], dir: &Path) -> Result<Vec<PathBuf>> {
    std::fs::create_dir_all(dir)
        .with_context(|| format!("{} cannot be made; give another folder", dir.display()))?;
    let cards: BTreeSet<CardNumber> = doubtful.iter().map(|doubt| doubt.card).collect();
    let cards: Vec<CardNumber> = cards.into_iter().collect();
    let mut files = Vec::new();
    for (sheet, cards) in (1..).zip(cards.chunks(CARDS_A_SHEET)) {
        let svg = doubts_svg(deck, cards, doubtful);
        let file = dir.join(format!("doubtful-{sheet}.png"));
        std::fs::write(&file, png_from_svg(&svg, PIXELS_PER_MM)?)
            .with_context(|| format!("{} cannot be written", file.display()))?;
        files.push(file);
    }
    Ok(files)
}

fn ask(deck: &mut Deck, doubtful: &[Doubt], as_json: bool, out: &mut dyn Write) -> Result<()> {
    let mut lines = std::io::stdin().lock().lines();
    let prompts = !as_json && std::io::stdin().is_terminal();
    if prompts && !doubtful.is_empty() {
        writeln!(
            out,
            "Is it a hole? y yes, n no, Enter leave it, q leave all that follow.\n\
             ● hole   · solid   ? doubtful, and the one that is asked about in [ ]"
        )?;
    }
    for doubt in doubtful {
        if prompts {
            write!(out, "{} ", question(deck, *doubt))?;
            out.flush()?;
        }
        let Some(answer) = lines.next() else { break };
        match answer?.trim() {
            "y" | "yes" => deck.settle(*doubt, true),
            "n" | "no" => deck.settle(*doubt, false),
            "" => {}
            "q" => break,
            other => bail!(
                "`{other}` is no answer for card {}, row {}, hole {}; give y, n, an empty line or q \
                 (nothing was written)",
                doubt.card.0,
                doubt.row,
                doubt.hole
            ),
        }
    }
    Ok(())
}

/// The position with the row it stands in and the rows beside it.
fn question(deck: &Deck, doubt: Doubt) -> String {
    let mut text = format!(
        "card {}, row {}, hole {}: {} % of a hole's light, taken for {}\n",
        doubt.card.0,
        doubt.row,
        doubt.hole,
        doubt.open_permille / 10,
        if is_hole(deck, doubt.card, doubt.row, doubt.hole) {
            "a hole"
        } else {
            "solid"
        }
    );
    let doubts = deck.reading().map_or(&[][..], |reading| &reading.doubtful);
    let rows = deck.format().rows();
    for row in doubt.row.saturating_sub(2).max(1)..=(doubt.row + 2).min(rows) {
        text.push_str(&format!("  row {row:>3} "));
        for hole in 1..=deck.format().holes_per_row() {
            let asked = (row, hole) == (doubt.row, doubt.hole);
            let also = doubts
                .iter()
                .any(|other| (other.card, other.row, other.hole) == (doubt.card, row, hole));
            let mark = match (also, is_hole(deck, doubt.card, row, hole)) {
                (true, _) => '?',
                (false, true) => '●',
                (false, false) => '·',
            };
            text.push_str(&if asked {
                format!("[{mark}]")
            } else {
                format!(" {mark} ")
            });
        }
        text.push('\n');
    }
    text.push_str("  hole?");
    text
}

fn is_hole(deck: &Deck, card: CardNumber, row: u16, hole: u8) -> bool {
    let rows = deck.card(card).unwrap_or_default();
    rows.get(usize::from(row) - 1)
        .is_some_and(|row| row.has(hole))
}
