//! `cardwright weave`: follow the loom along a plan. On a terminal a full screen,
//! elsewhere plain lines, or one JSON object a line.

mod plain;

use std::path::{Path, PathBuf};

use anyhow::Result;
use clap::Args;

use super::{Common, absolute};
use crate::service::{Request, WeaveAsked};

/// What a person has to know before a loom is worked beside a screen.
const CAUTION: &str = "\
CAUTION: a loom pinches and crushes. Keep hands away from batten, griffe and cylinder
while they move, also when the screen says that a card is to be turned. This program
moves nothing and stops nothing; it is no safety device. Leave mains wiring to a
competent, licensed person, by your local codes.";

/// `cardwright weave`
#[derive(Debug, Args)]
pub(super) struct WeaveArgs {
    /// The weave plan.
    plan: PathBuf,
    /// How the loom's sensors are wired (a TOML file; the plan's, or the built-in one,
    /// if not given).
    #[arg(long, value_name = "FILE")]
    loom: Option<PathBuf>,
    /// Begin a new piece although one of this plan is on the loom.
    #[arg(long)]
    new: bool,
    /// Go on with the piece on the loom by the plan as it is now.
    #[arg(long, conflicts_with = "new")]
    changed: bool,
    /// Plain lines, also on a terminal.
    #[arg(long)]
    plain: bool,
}

/// Follows the loom.
pub(super) fn run(args: &WeaveArgs, common: &Common) -> Result<u8> {
    let request = Request::Weave {
        asked: WeaveAsked {
            plan: absolute(&args.plan),
            loom: args.loom.as_deref().map(absolute),
            new: args.new,
            changed: args.changed,
        },
        rig: common.loom_choice()?,
    };
    plain::serve(request, &common.data_dir()?, common.json)
}

/// The demo's weaving: nobody types, and not every pick is told of.
pub(super) fn watched(request: Request, data: &Path, json: bool) -> Result<u8> {
    plain::watched(request, data, json)
}
