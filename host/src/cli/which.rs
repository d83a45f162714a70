//! `cardwright deck which`: where a loose card belongs.

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use super::cut::CAUTION;
use super::screen::Screen;
use super::session::{Who, may_move, serve};
use super::{Common, absolute, absolute_if_path};
use crate::service::{Request, WhichAsked};

/// Arguments of `deck which`.
#[derive(Debug, Args)]
pub(super) struct WhichArgs {
    /// The card format: a built-in name or a format file
    #[arg(long, default_value = "400")]
    format: String,
    /// A deck file to look in beside the decks that the ledger knows; may be given
    /// several times
    #[arg(long = "deck", value_name = "FILE")]
    decks: Vec<PathBuf>,
    /// Let a real rig move without asking
    #[arg(long)]
    yes: bool,
}

/// Reads the card and says where it belongs.
pub(super) fn run(args: &WhichArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    if !may_move(rig.is_virtual(), args.yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    let asked = WhichAsked {
        format: absolute_if_path(&args.format),
        decks: args.decks.iter().map(|file| absolute(file)).collect(),
    };
    serve(
        Request::Which { asked, rig },
        &common.data_dir()?,
        &mut Screen::new(common.json),
        Who::Lines,
    )
}
