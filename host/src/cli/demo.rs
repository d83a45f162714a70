//! `cardwright demo`: the invented workshop's towel, from the picture to a deck
//! in which every card is good, on the virtual rig.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Args;

use super::screen::{Screen, out as say};
use super::session::{Who, serve};
use super::{Common, absolute};
use crate::deck::{CardFormat, Deck, paper};
use crate::job::{News, Recut};
use crate::judge::{Fit, judge};
use crate::ledger::{AttemptRow, Ledger, Verdict, reading_of};
use crate::picture::{CardDrawing, card_svg, deck_png, design_png, marks_of, png_from_svg};
use crate::rig::RigFile;
use crate::service::{FaultFile, Request, RigChoice, VIRTUAL, VirtualChoice};

const TOWEL: &[u8] = include_bytes!("../../../demo-data/curlew-towel.png");
const FAULTS: &str = include_str!("../../../demo-data/faults.toml");

/// Fineness of the faulty card's picture.
const PIXELS_PER_MM: f32 = 4.0;

/// `cardwright demo`
#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// Where deck, ledger and pictures go (a new directory among the temporary
    /// files if not given).
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Runs the demo.
pub(super) fn run(args: &DemoArgs, common: &Common) -> Result<u8> {
    anyhow::ensure!(
        common.data.is_none(),
        "the demo keeps a ledger of its own; give --out DIR instead of --data to say where"
    );
    let out = match &args.out {
        Some(dir) => dir.clone(),
        None => new_directory()?,
    };
    std::fs::create_dir_all(&out)
        .with_context(|| format!("{} cannot be made; give another --out", out.display()))?;
    let mut screen = Screen::new(common.json);
    screen.note(
        "A two-person linen workshop weaves a damask hand towel: a curlew standing in sedge, \
         one repeat of 400 hooks by 160 picks on a 400 head. The rig, its card stock and its \
         mishaps are virtual; the protocol, the firmware and the serial path are the real ones.",
    );
    screen
        .extra
        .insert("out".to_string(), serde_json::json!(out));
    let deck_file = make_deck(&out)?;
    let faults = match &common.faults {
        Some(file) => FaultFile::read(file)?,
        None => FaultFile::parse(FAULTS, "demo-data/faults.toml")?,
    };
    let rig = RigChoice {
        port: VIRTUAL.to_string(),
        board: None,
        file: common.rig_file.as_deref().map(absolute),
        as_virtual: VirtualChoice {
            faults,
            ..common.virtual_choice()?
        },
        patience_s: common.patience,
    };
    let request = Request::Cut {
        deck: deck_file.clone(),
        cards: None,
        recut: Recut::End,
        rig,
    };
    let ledger = out.join("ledger");
    let exit = serve(request, &ledger, &mut screen, Who::Demo)?;
    let pictures = draw(&deck_file, &ledger, &out, &screen)?;
    if !common.json {
        say(&format!("left in {}:", out.display()));
        for (file, what) in pictures {
            say(&format!("  {file:24} {what}"));
        }
    }
    Ok(exit)
}

fn new_directory() -> Result<PathBuf> {
    let base = std::env::temp_dir();
    let free = (1..10_000)
        .map(|number| base.join(format!("cardwright-demo-{number}")))
        .find(|dir| std::fs::create_dir(dir).is_ok());
    free.with_context(|| {
        format!(
            "no directory can be made in {}; give one with --out",
            base.display()
        )
    })
}

fn make_deck(out: &Path) -> Result<PathBuf> {
    let picture = out.join("curlew-towel.png");
    std::fs::write(&picture, TOWEL).with_context(|| {
        format!(
            "{} cannot be written; give another --out",
            picture.display()
        )
    })?;
    let settings = paper::PaperSettings::usual(CardFormat::named("400")?);
    let deck = paper::deck_from_picture(&picture, &settings)?;
    let file = out.join("curlew-towel.deck");
    deck.write(&file, true)?;
    Ok(file)
}

/// The pictures: design, deck, and one faulty card with its verdict.
fn draw(
    deck_file: &Path,
    ledger: &Path,
    out: &Path,
    screen: &Screen,
) -> Result<Vec<(String, &'static str)>> {
    let deck = Deck::read(deck_file)?;
    let mut left = vec![
        ("curlew-towel.deck".to_string(), "the deck, one line a card"),
        ("ledger/".to_string(), "what was cut, found and recut"),
    ];
    let mut save = |file: &str, what, bytes: &[u8]| -> Result<()> {
        std::fs::write(out.join(file), bytes)?;
        left.push((file.to_string(), what));
        Ok(())
    };
    save("design.png", "the point paper", &design_png(&deck)?)?;
    save("deck.png", "the deck, one line a card", &deck_png(&deck)?)?;
    if let Some(svg) = faulty_card(&deck, ledger, screen)? {
        save(
            "faulty-card.svg",
            "one faulty card, true size, with every hole's verdict",
            svg.as_bytes(),
        )?;
        save(
            "faulty-card.png",
            "the same",
            &png_from_svg(&svg, PIXELS_PER_MM)?,
        )?;
    }
    Ok(left)
}

/// A faulty card of the last job, judged anew from its raw readings in the
/// ledger.
fn faulty_card(deck: &Deck, ledger: &Path, screen: &Screen) -> Result<Option<String>> {
    if !screen
        .faulty
        .iter()
        .any(|news| matches!(news, News::Card { place: Some(_), .. }))
    {
        return Ok(None);
    }
    let ledger = Ledger::open_read_only(ledger)?;
    let attempts = ledger.all_attempts()?;
    let telling = |attempt: &&AttemptRow| {
        let kinds = [
            Verdict::Mixed,
            Verdict::Extra,
            Verdict::Missing,
            Verdict::OutOfRegister,
        ];
        let rank = kinds
            .iter()
            .position(|kind| *kind == attempt.verdict)
            .unwrap_or(kinds.len());
        (rank, usize::MAX - attempt.faults.len())
    };
    let faulty = |attempt: &&AttemptRow| attempt.readings && attempt.verdict != Verdict::Good;
    let Some(attempt) = attempts.iter().filter(faulty).min_by_key(telling) else {
        return Ok(None);
    };
    let rig = RigFile::read(None)?;
    let Some(raw) = ledger.raw_readings(attempt.id())? else {
        return Ok(None);
    };
    let samples = rig.settings(deck.format()).samples_per_row;
    let reading = reading_of(attempt, raw, samples);
    let strokes = deck.strokes(attempt.card).unwrap_or_default();
    let geometry = RigFile::geometry(deck.format());
    let report = judge(&strokes, &geometry, &reading, &rig.limits(), Fit::None);
    let marks = marks_of(&report);
    Ok(Some(card_svg(&CardDrawing {
        format: deck.format(),
        strokes: &strokes,
        deck: deck.name(),
        number: Some(attempt.card),
        marks: &marks,
    })))
}
