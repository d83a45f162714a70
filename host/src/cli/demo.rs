//! `cardwright demo`: the invented workshop's towel, from the point paper to a deck
//! in which every card is good, on the virtual rig, the cloth it will weave, and a
//! sample woven on the virtual loom.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Args;

use super::deck::{SquaresBy, deck_of_paper};
use super::screen::{Screen, out as say};
use super::session::{Who, serve};
use super::{Common, absolute, weave};
use crate::cloth::{Cloth, Woven};
use crate::deck::Deck;
use crate::job::{News, Recut};
use crate::judge::{Fit, judge};
use crate::ledger::{AttemptRow, Ledger, Verdict, reading_of};
use crate::picture::{
    CardDrawing, ClothSide, card_svg, cloth_png, deck_png, design_png, marks_of, png_from_svg,
};
use crate::rig::RigFile;
use crate::service::{FaultFile, Request, RigChoice, VIRTUAL, VirtualChoice, WeaveAsked};

const PAPER: &[u8] = include_bytes!("../../../demo-data/curlew-paper.png");
const CLOTH: &[u8] = include_bytes!("../../../demo-data/towel.toml");
const FAULTS: &str = include_str!("../../../demo-data/faults.toml");
const PLAN: &[u8] = include_bytes!("../../../demo-data/sample-plan.toml");

/// The loom of the demo runs this many times as fast as a real one.
const LOOM_SPEED: f64 = 40.0;

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
         one repeat of 400 hooks by 160 picks on a 400 head. The rig, its card stock, the \
         loom and all mishaps are virtual; the protocol, the firmware and the serial path are \
         the real ones.",
    );
    screen
        .extra
        .insert("out".to_string(), serde_json::json!(out));
    let deck_file = make_deck(&out, common.rig_file.as_deref(), &mut screen)?;
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
        again: false,
        rig: rig.clone(),
    };
    let ledger = out.join("ledger");
    screen.goes_on = true;
    let mut exit = serve(request, &ledger, &mut screen, Who::Demo)?;
    if exit <= 1 {
        let woven = sample(&out, rig, &ledger, common.json)?;
        screen.extra.insert("woven".to_string(), woven.summary);
        exit = exit.max(woven.exit);
    }
    if common.json {
        screen.last_line(exit);
    }
    if exit > 1 {
        return Ok(exit);
    }
    let mut report: Box<dyn Write> = match common.json {
        true => Box::new(std::io::sink()),
        false => Box::new(std::io::stdout()),
    };
    super::ledger::report(1, &out.join("woven.svg"), &ledger, &mut report)?;
    let pictures = draw(&deck_file, &ledger, &out, &screen)?;
    if !common.json {
        say(&format!("left in {}:", out.display()));
        for (file, what) in pictures {
            say(&format!("  {file:24} {what}"));
        }
    }
    Ok(exit)
}

/// Weaves a sample with the cards, on the virtual loom.
fn sample(out: &Path, rig: RigChoice, ledger: &Path, json: bool) -> Result<weave::Watched> {
    let plan = out.join("sample-plan.toml");
    std::fs::write(&plan, PLAN)
        .with_context(|| format!("{} cannot be written; give another --out", plan.display()))?;
    let mut rig = rig;
    rig.as_virtual.speed = LOOM_SPEED;
    let request = Request::Weave {
        asked: WeaveAsked {
            plan,
            loom: None,
            new: false,
            changed: false,
        },
        rig,
    };
    Ok(weave::watched(request, ledger, json))
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

fn make_deck(out: &Path, rig_file: Option<&Path>, screen: &mut Screen) -> Result<PathBuf> {
    let rig = RigFile::read(rig_file)?;
    let put = |name: &str, bytes: &[u8]| -> Result<PathBuf> {
        let file = out.join(name);
        std::fs::write(&file, bytes)
            .with_context(|| format!("{} cannot be written; give another --out", file.display()))?;
        Ok(file)
    };
    let paper = put("curlew.png", PAPER)?;
    let cloth = Cloth::read(&put("towel.toml", CLOTH)?)?;
    let (deck, checked) = deck_of_paper(&paper, &cloth, Some(SquaresBy::Pixels), false, &rig)?;
    for line in checked.lines() {
        screen.note(&line);
    }
    let file = out.join("curlew.deck");
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
        ("curlew.png".to_string(), "the painting, one pixel a square"),
        ("towel.toml".to_string(), "the cloth file: how it is woven"),
        ("curlew.deck".to_string(), "the deck, one line a card"),
        ("sample-plan.toml".to_string(), "what was woven with it"),
        (
            "woven.svg".to_string(),
            "how the sample was woven: pace, faults, length",
        ),
        (
            "ledger/".to_string(),
            "what was cut, found, recut and woven",
        ),
    ];
    let mut save = |file: &str, what, bytes: &[u8]| -> Result<()> {
        std::fs::write(out.join(file), bytes)?;
        left.push((file.to_string(), what));
        Ok(())
    };
    let cloth = Cloth::read(&out.join("towel.toml"))?;
    let mounting = cloth.mounting(cloth.columns_of(&deck))?;
    let woven = Woven::new(&deck, &cloth, &mounting)?;
    save("design.png", "what the cards lift", &design_png(&deck)?)?;
    let face = cloth_png(&cloth, &woven, ClothSide::Face)?;
    save("cloth.png", "the cloth that the cards will weave", &face)?;
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
