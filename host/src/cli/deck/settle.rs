//! `cardwright deck settle`: a person says what the doubtful positions of a copied
//! deck are.
//!
//! Enters: a deck file, answers one a line. Leaves: a picture of every card with
//! a doubtful position, and the deck file with what was settled. A position that
//! is left stays doubtful. Refuses an answer that is none; those given before it
//! hold.

use std::collections::BTreeSet;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use serde_json::json;

use crate::deck::{CardNumber, Deck, Doubt};
use crate::output;
use crate::picture::{doubts_svg, png_from_svg};

/// Cards with doubtful positions on one sheet.
const CARDS_A_SHEET: usize = 12;

/// Fineness of the sheets.
const PIXELS_PER_MM: f32 = 4.0;

const KEYS: &str = "\
Is it a hole? y yes, n no, Enter leave it, q leave all that follow.
● hole   · solid   ? doubtful, and the one that is asked about in [ ]";

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
    let (mut files, mut asked) = (Vec::new(), Ok(()));
    if let Some(dir) = &args.pictures {
        files = draw(&deck, &doubtful, dir)?;
        if !as_json {
            for file in &files {
                writeln!(out, "{}", file.display())?;
            }
        }
    } else {
        if !doubtful.is_empty() {
            output::may_write(&args.deck, true)?;
        }
        let asking = Asking {
            file: &args.deck,
            prompts: !as_json && std::io::stdin().is_terminal(),
        };
        let lines = std::io::stdin().lock().lines();
        asked = asking.ask(&mut deck, &doubtful, lines, out);
    }
    let left = deck.reading().map_or(0, |reading| reading.doubtful.len());
    if left < doubtful.len() {
        deck.write(&args.deck, true)?;
    }
    asked?;
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

/// How the questions are put.
struct Asking<'a> {
    /// The deck's file, written after every answer of a person, who may leave at any
    /// moment.
    file: &'a Path,
    /// Whether a person sees the questions, and can be asked again.
    prompts: bool,
}

impl Asking<'_> {
    /// Settles what the answers settle. An answer that is none is asked for again;
    /// where there is nobody to ask it ends the answers, and those before it hold.
    fn ask(
        &self,
        deck: &mut Deck,
        doubtful: &[Doubt],
        mut lines: impl Iterator<Item = std::io::Result<String>>,
        out: &mut dyn Write,
    ) -> Result<()> {
        if self.prompts && !doubtful.is_empty() {
            writeln!(out, "{KEYS}")?;
        }
        for doubt in doubtful {
            if self.prompts {
                write!(out, "{} ", question(deck, *doubt))?;
                out.flush()?;
            }
            let hole = loop {
                let Some(line) = lines.next() else {
                    return Ok(());
                };
                let line = line.context("the answers cannot be read")?;
                match line.trim().to_lowercase().as_str() {
                    "y" | "yes" => break Some(true),
                    "n" | "no" => break Some(false),
                    "" => break None,
                    "q" => return Ok(()),
                    _ if self.prompts => {
                        write!(out, "`{}` is no answer; y, n, Enter or q? ", line.trim())?;
                        out.flush()?;
                    }
                    _ => bail!(
                        "`{}` is no answer for card {}, row {}, hole {}; give y, n, an empty line \
                         or q (the answers before it were taken; run the command again for the \
                         rest)",
                        line.trim(),
                        doubt.card.0,
                        doubt.row,
                        doubt.hole
                    ),
                }
            };
            if let Some(hole) = hole {
                deck.settle(*doubt, hole);
                if self.prompts {
                    deck.write(self.file, true)?;
                }
            }
        }
        Ok(())
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::{CardFormat, Cutting, ReadFrom, Row};

    fn doubtful_deck() -> (Deck, Vec<Doubt>) {
        let format = CardFormat::named("100").expect("built in");
        let cards = vec![vec![Row(0); usize::from(format.rows())]];
        let doubt = |row| Doubt {
            card: CardNumber(1),
            row,
            hole: 1,
            open_permille: 300,
        };
        let doubtful = vec![doubt(1), doubt(2), doubt(3)];
        let reading = ReadFrom {
            passes: 1,
            gaps: Vec::new(),
            doubtful: doubtful.clone(),
        };
        let deck = Deck::new("copy", format, None, Cutting::default(), cards).expect("a deck");
        (deck.with_reading(reading).expect("there"), doubtful)
    }

    /// Who mistypes at the two hundredth question, or leaves there, must not begin
    /// anew.
    #[test]
    fn a_person_is_asked_again_and_every_answer_is_on_disk_at_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("copy.deck");
        let (mut deck, doubtful) = doubtful_deck();
        let asking = Asking {
            file: &file,
            prompts: true,
        };
        let left_at = |answers: &'static [&'static str]| {
            let on_disk = file.clone();
            // as the third question is put, the answers to two stand in the file
            let lines = answers.iter().map(|line| Ok((*line).to_string()));
            let last = std::iter::once_with(move || {
                let deck = Deck::read(&on_disk).expect("it is there");
                assert_eq!(deck.reading().map(|it| it.doubtful.len()), Some(1));
                Ok("q".to_string())
            });
            lines.chain(last)
        };
        let mut told = Vec::new();
        let lines = left_at(&["Y", "maybe", "NO"]);
        let asked = asking.ask(&mut deck, &doubtful, lines, &mut told);
        asked.expect("every answer in the end");
        let told = String::from_utf8(told).expect("text");
        assert!(told.contains("`maybe` is no answer"), "{told}");
        let rows = deck.card(CardNumber(1)).expect("card 1");
        assert!(rows[0].has(1) && !rows[1].has(1));
    }
}
