//! `cardwright weave`: follow the loom along a plan. On a terminal a full screen,
//! elsewhere plain lines, or one JSON object a line.

mod big;
mod cloth;
mod colours;
mod draw;
mod facts;
mod keys;
mod lines;
mod panel;
mod plain;
mod prompt;
mod said;
mod screen;
mod text;
mod typed;

#[cfg(test)]
mod tests;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, Result};
use clap::Args;

use super::screen::{complain, err, out};
use super::session::{requested, runtime};
use super::{Common, absolute};
use crate::loom::LoomFile;
use crate::service::{Outcome, Request, WeaveAsked};
use crate::weave::view::View;
use crate::weave::{Plan, Walk};

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
    // a plan or a loom file that is wrong is told of before anything else
    let plan = Plan::read(&args.plan)?;
    LoomFile::read(args.loom.as_deref().or(plan.loom()))?;
    let walk = Walk::new(Arc::new(plan));
    let request = Request::Weave {
        asked: WeaveAsked {
            plan: absolute(&args.plan),
            loom: args.loom.as_deref().map(absolute),
            new: args.new,
            changed: args.changed,
        },
        rig: common.loom_choice()?,
    };
    let data = common.data_dir()?;
    let terminal = std::io::stdout().is_terminal() && std::io::stdin().is_terminal();
    if !common.json {
        err(CAUTION);
    }
    if common.json || args.plain || !terminal {
        return plain::serve(request, &walk, &data, common.json);
    }
    on_screen(request, &walk, data)
}

/// The full screen.
fn on_screen(request: Request, walk: &Walk, data: PathBuf) -> Result<u8> {
    let runtime = runtime()?;
    let again = request.again();
    let (outcome, view) = runtime.block_on(async {
        let screen = screen::OnTerminal::open(walk)
            .context("the terminal gives no full screen; try --plain")?;
        let work = |news, persons| requested(request, data, news, persons);
        anyhow::Ok(screen.attend(again, work).await)
    })?;
    runtime.shutdown_background();
    let outcome = Outcome::of(outcome);
    if !outcome.words.is_empty() {
        complain(&outcome.words, false);
    }
    match view.filter(View::is_done) {
        Some(done) => out(&lines::woven(&done)),
        None if outcome.words.is_empty() => {
            out("left; `cardwright ledger pieces` lists what is on the loom");
        }
        None => {}
    }
    Ok(outcome.exit)
}

pub(super) use plain::Watched;

/// The demo's weaving: nobody types, and not every pick is told of.
pub(super) fn watched(request: Request, data: &Path, json: bool) -> Watched {
    plain::watched(request, data, json)
}
