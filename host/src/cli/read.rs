//! `cardwright read`: copy a stack of old cards into a deck.

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use super::cut::CAUTION;
use super::screen::Screen;
use super::session::{Who, may_move, serve};
use super::{Common, absolute, absolute_if_path};
use crate::service::{ReadAsked, Request};

/// `cardwright read`
#[derive(Debug, Args)]
pub(super) struct ReadArgs {
    /// The deck file to write.
    out: PathBuf,
    /// The card format: a built-in name or a format file (seen by the first cards,
    /// if not given).
    #[arg(long)]
    format: Option<String>,
    /// How many cards lie in the stack (until a person says s, if not given; with --more
    /// as many as before).
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=5000))]
    cards: Option<u32>,
    /// Numbers of cards that are lacking, such as 17,43: they become gaps. Of two
    /// cards that were fed at once the second is one. With --more, all that are
    /// lacking, or none; those that were named before if not given.
    #[arg(long, value_name = "LIST")]
    lacking: Option<String>,
    /// How often the stack is read; what dust hid once is seen another time.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(0..=20))]
    passes: u8,
    /// Read the same stack again and make the deck anew of all passes.
    #[arg(long)]
    more: bool,
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// Reads.
pub(super) fn run(args: &ReadArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    if !may_move(rig.is_virtual(), args.yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    let asked = ReadAsked {
        out: absolute(&args.out),
        format: args.format.as_deref().map(absolute_if_path),
        cards: args.cards,
        lacking: args.lacking.clone(),
        passes: args.passes,
        more: args.more,
    };
    serve(
        Request::Read { asked, rig },
        &common.data_dir()?,
        &mut Screen::new(common.json),
        Who::Lines,
    )
}
