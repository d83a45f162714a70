//! `cardwright rig calibrate`: a blank card and a full one.

use anyhow::Result;
use clap::Args;

use crate::cli::cut::CAUTION;
use crate::cli::screen::Screen;
use crate::cli::session::{Who, may_move, serve};
use crate::cli::{Common, absolute_if_path};
use crate::service::Request;

/// `cardwright rig calibrate`
#[derive(Debug, Args)]
pub(in crate::cli) struct CalibrateArgs {
    /// For which card format.
    #[arg(long, default_value = "400")]
    format: String,
    /// Cut the full card (every needle, lace and peg hole), so that the punches'
    /// history begins with it; without this it lies in the feed under the blank one.
    #[arg(long)]
    cut: bool,
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// Calibrates.
pub(super) fn run(args: &CalibrateArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    if !may_move(rig.is_virtual(), args.yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    let request = Request::Calibrate {
        format: absolute_if_path(&args.format),
        cut: args.cut,
        rig,
    };
    let mut screen = Screen::new(common.json);
    screen.note(if args.cut {
        "two blank cards are wanted: one is read, the next is cut full and read"
    } else {
        "two cards are wanted: a blank one, then one with every hole cut"
    });
    serve(request, &common.data_dir()?, &mut screen, Who::Lines)
}
