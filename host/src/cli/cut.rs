//! `cardwright cut` and `cardwright verify`.

use std::path::PathBuf;

use anyhow::{Context, Result};
use cardwright_protocol::CardNumber;
use clap::Args;

use super::screen::{Screen, out};
use super::session::{Who, may_move, serve};
use super::{Common, absolute};
use crate::deck::Deck;
use crate::job::{FaultPlace, News, Recut};
use crate::judge::likely_another;
use crate::lacing::{Card, Cylinders, Fault, Lacing, OrderFinding, Place, Sheet};
use crate::service::Request;

/// What a person has to see to before a rig moves.
pub(super) const CAUTION: &str = "\
CAUTION: punches, rollers and coils move and heat without warning. They pinch,
crush and burn. Shut the guard, keep hands, hair and sleeves out, and have the
emergency stop within reach. This program and its firmware are no safety
device: the stop that cuts the power must work without them. Follow your local
codes, and leave mains wiring and guarding to a competent, licensed person.";

/// `cardwright cut`
#[derive(Debug, Args)]
pub(super) struct CutArgs {
    /// The deck file.
    deck: PathBuf,
    /// Which cards, such as 1-40,57 (all that are not yet good if not given).
    #[arg(long, value_name = "LIST")]
    cards: Option<String>,
    /// When spoiled cards are cut again.
    #[arg(long, value_enum, default_value_t)]
    recut: Recut,
    /// Cut the cards that --cards names again though they are good: lost ones, or such
    /// as damp or wear have destroyed.
    #[arg(long, requires = "cards", conflicts_with = "mend")]
    again: bool,
    /// Cut only what is missing into cards that were cut and read before: lay in
    /// those it names.
    #[arg(long, conflicts_with = "recut")]
    mend: bool,
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// `cardwright verify`
#[derive(Debug, Args)]
pub(super) struct VerifyArgs {
    /// The deck file.
    deck: PathBuf,
    /// Which cards lie in the stack, such as 1-40,57 (all if not given).
    #[arg(long, value_name = "LIST")]
    cards: Option<String>,
    /// Write the lacing sheet to this PDF file; it must not be there yet.
    #[arg(long, value_name = "FILE")]
    sheet: Option<PathBuf>,
    /// Cylinders of the machine that the cards are laced for.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    cylinders: u8,
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// Cuts.
pub(super) fn run_cut(args: &CutArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    let (deck, cards) = (absolute(&args.deck), args.cards.clone());
    let request = if args.mend {
        Request::Mend { deck, cards, rig }
    } else {
        Request::Cut {
            deck,
            cards,
            recut: args.recut,
            again: args.again,
            rig,
        }
    };
    run(request, args.yes, common, &mut Screen::new(common.json))
}

/// Verifies.
pub(super) fn run_verify(args: &VerifyArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    let request = Request::Verify {
        deck: absolute(&args.deck),
        cards: args.cards.clone(),
        rig,
    };
    if let Some(file) = args.sheet.as_ref().filter(|file| file.exists()) {
        anyhow::bail!(
            "{} is there already; give the lacing sheet another name",
            file.display()
        );
    }
    let mut screen = Screen::new(common.json);
    screen.part = args.cards.is_some();
    let exit = run(request, args.yes, common, &mut screen)?;
    if exit <= 1 {
        lacing_sheet(args, common, &screen)?;
    }
    Ok(exit)
}

/// The lacing sheet on the terminal, and as a PDF if it is wanted.
fn lacing_sheet(args: &VerifyArgs, common: &Common, screen: &Screen) -> Result<()> {
    let deck = Deck::read(&args.deck)?;
    let lacing = Lacing::plan(sheet(&deck, args.cylinders, screen))?;
    if let Some(file) = &args.sheet {
        let pdf = lacing.pdf()?;
        std::fs::write(file, pdf).with_context(|| {
            format!(
                "the lacing sheet could not be written to {}",
                file.display()
            )
        })?;
    }
    if !common.json {
        out(&lacing.text());
    }
    Ok(())
}

/// What the stack's reading says of every card.
fn sheet(deck: &Deck, cylinders: u8, screen: &Screen) -> Sheet {
    let format = deck.format();
    let positions = usize::from(format.strokes()) * usize::from(format.holes_per_row());
    let faulty = |number, verdict: &str, summary: &str, faults: &[FaultPlace]| {
        let places = |extra: bool| {
            let kind = faults
                .iter()
                .filter(|fault| (fault.kind == "extra") == extra);
            kind.map(|fault| Place {
                stroke: fault.stroke.saturating_sub(1),
                hole: fault.hole,
            })
            .collect()
        };
        Card::Faulty(Fault {
            strokes: deck.strokes(number).unwrap_or_default(),
            missing: places(false),
            extra: places(true),
            words: summary.to_owned(),
            cut_again: verdict == "out of register",
        })
    };
    let card = |number: CardNumber| {
        if screen.goods.contains(&number) {
            return Card::Good;
        }
        if screen
            .stack
            .iter()
            .any(|found| found.missing.contains(&number))
        {
            return Card::Owed;
        }
        // what was told of it last, and before all where it lay at another one's place
        let here = |news: &&News| match news {
            News::Card { card, .. } | News::Elsewhere { card, .. } => *card == number,
            _ => false,
        };
        let told = screen.faulty.iter().chain(&screen.elsewhere);
        match told.rev().find(here) {
            Some(
                News::Card {
                    verdict,
                    summary,
                    faults,
                    ..
                }
                | News::Elsewhere {
                    verdict,
                    summary,
                    faults,
                    ..
                },
            ) => match verdict.as_str() {
                "unread" | "out of order" => Card::Unjudged,
                // likely another card: nothing is known of this one
                _ if likely_another(faults.len(), positions) => Card::Unjudged,
                verdict => faulty(number, verdict, summary, faults),
            },
            // of a part of the deck nothing is known of the others
            _ if screen.part => Card::Unjudged,
            _ => Card::Owed,
        }
    };
    Sheet {
        deck: deck.name().to_string(),
        sha: deck.sha256().chars().take(12).collect(),
        date: jiff::Timestamp::now()
            .to_string()
            .chars()
            .take(10)
            .collect(),
        format: deck.format().clone(),
        cylinders: if cylinders == 2 {
            Cylinders::Two
        } else {
            Cylinders::One
        },
        cards: deck.cards().map(|(number, _)| card(number)).collect(),
        order: screen
            .stack
            .iter()
            .map(|found| OrderFinding {
                finding: found.finding.clone(),
                remedy: found.remedy.clone(),
            })
            .collect(),
    }
}

fn run(request: Request, yes: bool, common: &Common, screen: &mut Screen) -> Result<u8> {
    if !may_move(request.port().is_none(), yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    serve(request, &common.data_dir()?, screen, Who::Lines)
}
