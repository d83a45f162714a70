//! `cardwright cut` and `cardwright verify`.

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use super::screen::Screen;
use super::session::{Who, may_move, serve};
use super::{Common, absolute};
use crate::job::Recut;
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
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// Cuts.
pub(super) fn run_cut(args: &CutArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    let request = Request::Cut {
        deck: absolute(&args.deck),
        cards: args.cards.clone(),
        recut: args.recut,
        rig,
    };
    run(request, args.yes, common)
}

/// Verifies.
pub(super) fn run_verify(args: &VerifyArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    let request = Request::Verify {
        deck: absolute(&args.deck),
        cards: args.cards.clone(),
        rig,
    };
    run(request, args.yes, common)
}

fn run(request: Request, yes: bool, common: &Common) -> Result<u8> {
    if !may_move(request.port().is_none(), yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    let mut screen = Screen::new(common.json);
    serve(request, &common.data_dir()?, &mut screen, Who::Lines)
}
