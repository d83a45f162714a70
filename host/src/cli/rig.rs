//! `cardwright rig`: find, info, calibrate, exercise, settings, virtual, flash,
//! image.

mod calibrate;
mod firmware;
mod info;

pub(super) use info::{board_text, info_text, upkeep_text};

use std::io::Write;
use std::path::PathBuf;

use anyhow::Result;
use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::host_to_unit::Exercise;
use clap::{Args, Subcommand};
use serde_json::json;

use super::Common;
use super::cut::CAUTION;
use super::screen::{Screen, out};
use super::session::{Who, may_move, serve};
use crate::deck::CardFormat;
use crate::loom::LoomFile;
use crate::rig::{RigFile, ports};
use crate::service::{Request, Stock, VirtualChoice, serve_virtual};

/// `cardwright rig`
#[derive(Debug, Subcommand)]
pub(super) enum RigArgs {
    /// List the boards and other serial ports of this computer.
    Find(FindArgs),
    /// Ask a unit what it is, how it stands and what it has counted.
    Info,
    /// Measure light bar, feed and punches by a blank card and a full one.
    Calibrate(calibrate::CalibrateArgs),
    /// Move parts on their own, for a person at the machine to watch.
    Exercise(ExerciseArgs),
    /// Print the built-in rig file, to be copied and fitted to a rig.
    Settings {
        /// The built-in loom file instead.
        #[arg(long)]
        loom: bool,
    },
    /// Serve a virtual rig on a pseudo-terminal, as if it were plugged in.
    Virtual(VirtualArgs),
    /// Put the firmware on a board that is in its bootloader.
    Flash(firmware::FlashArgs),
    /// For developers: make the image to be flashed from a linked program.
    Image(firmware::ImageArgs),
}

/// `cardwright rig find`
#[derive(Debug, Args)]
pub(super) struct FindArgs {
    /// Ask on every port whether a unit answers. Other devices are sent a few
    /// bytes too, and may not like it.
    #[arg(long)]
    ask: bool,
}

/// `cardwright rig exercise`
#[derive(Debug, Args)]
pub(super) struct ExerciseArgs {
    /// For which card format.
    #[arg(long, default_value = "400")]
    format: String,
    /// A part: punch:N, peg, blank, feed:MM, lamp or sensors; may be given
    /// several times (all of them in turn if not given).
    #[arg(long = "part", value_name = "PART", value_parser = part)]
    parts: Vec<Exercise>,
    /// Let a real rig move without asking.
    #[arg(long)]
    yes: bool,
}

/// `cardwright rig virtual`
#[derive(Debug, Args)]
pub(super) struct VirtualArgs {
    /// The card format of the stock in its magazine.
    #[arg(long, default_value = "400")]
    format: String,
    /// A name that always points to its present terminal.
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,
}

fn part(text: &str) -> Result<Exercise, String> {
    let (name, amount) = text.split_once(':').unwrap_or((text, ""));
    let wrong =
        || format!("`{text}` is no part; give punch:N, peg, blank, feed:MM, lamp or sensors");
    match name {
        "punch" => match amount.parse() {
            Ok(hole) if (1..=MOST_HOLES).contains(&hole) => Ok(Exercise::Punch(hole)),
            Ok(hole) => Err(format!("there is no punch {hole}; give 1 to {MOST_HOLES}")),
            Err(_) => Err(wrong()),
        },
        "peg" => Ok(Exercise::Peg),
        "blank" => Ok(Exercise::BlankStroke),
        "feed" => {
            let mm: f64 = amount.parse().map_err(|_| wrong())?;
            if (0.1..=2000.0).contains(&mm) {
                Ok(Exercise::Feed((mm * 1000.0) as u32))
            } else {
                Err(format!(
                    "feed:{amount} is out of reach; give 0.1 to 2000 mm"
                ))
            }
        }
        "lamp" => Ok(Exercise::Lamp),
        "sensors" => Ok(Exercise::Sensors),
        _ => Err(wrong()),
    }
}

/// Runs `cardwright rig`.
pub(super) fn run(args: &RigArgs, common: &Common) -> Result<u8> {
    match args {
        RigArgs::Find(args) if args.ask => {
            let data = common.data_dir()?;
            serve(
                Request::Find,
                &data,
                &mut Screen::new(common.json),
                Who::Lines,
            )
        }
        RigArgs::Find(_) => find(common.json),
        RigArgs::Info => {
            if let Some(file) = &common.rig_file {
                anyhow::bail!(
                    "rig info asks the unit what it is and sends it no settings, so {} would not \
                     be used; leave --rig-file out",
                    file.display()
                );
            }
            let request = Request::Info {
                rig: common.rig_choice()?,
            };
            serve(
                request,
                &common.data_dir()?,
                &mut Screen::new(common.json),
                Who::Lines,
            )
        }
        RigArgs::Calibrate(args) => calibrate::run(args, common),
        RigArgs::Exercise(args) => exercise(args, common),
        RigArgs::Settings { loom } => {
            let (key, text) = match loom {
                true => ("loom_file", LoomFile::BENCH),
                false => ("rig_file", RigFile::BENCH),
            };
            let mut out = std::io::stdout();
            if common.json {
                let last = json!({ "event": "summary", key: text, "exit": 0 });
                writeln!(out, "{last}")?;
            } else {
                out.write_all(text.as_bytes())?;
            }
            Ok(0)
        }
        RigArgs::Virtual(args) => serve_on_terminal(args, common),
        RigArgs::Flash(args) => firmware::flash(args, common.json),
        RigArgs::Image(args) => firmware::image(args, common.json),
    }
}

fn find(json: bool) -> Result<u8> {
    let found = ports().map_err(anyhow::Error::msg)?;
    let mut out = std::io::stdout().lock();
    for port in &found {
        if json {
            writeln!(out, "{}", serde_json::to_string(port)?)?;
        } else {
            writeln!(out, "{}  {}", port.port, port.words())?;
        }
    }
    if json {
        let boards = found.iter().filter(|port| port.board.is_some()).count();
        let last = json!({ "event": "summary", "ports": found.len(), "boards": boards, "exit": 0 });
        writeln!(out, "{last}")?;
    } else if found.is_empty() {
        writeln!(
            out,
            "no serial port found; plug the rig in, or work with --rig virtual"
        )?;
    } else if found.iter().any(|port| port.board.is_none()) {
        writeln!(
            out,
            "`cardwright rig find --ask` asks each whether a unit is there"
        )?;
    }
    Ok(0)
}

fn exercise(args: &ExerciseArgs, common: &Common) -> Result<u8> {
    let rig = common.rig_choice()?;
    if !may_move(rig.is_virtual(), args.yes, CAUTION)? {
        anyhow::bail!("nothing has been moved");
    }
    let request = Request::Exercise {
        format: super::absolute_if_path(&args.format),
        parts: args.parts.clone(),
        rig,
    };
    serve(
        request,
        &common.data_dir()?,
        &mut Screen::new(common.json),
        Who::Lines,
    )
}

fn serve_on_terminal(args: &VirtualArgs, common: &Common) -> Result<u8> {
    let format = CardFormat::named_or_file(&args.format)?;
    let choice = VirtualChoice {
        speed: common.speed.unwrap_or(1.0),
        ..common.virtual_choice()?
    };
    choice.check()?;
    let by_hand = RigFile::read(common.rig_file.as_deref())?.loads_by_hand();
    let stock = Stock {
        format: Some(format),
        by_hand,
        ..Stock::default()
    };
    let handle = serve_virtual(&choice, &stock, args.link.clone())?;
    let path = handle.path();
    if common.json {
        out(&json!({ "event": "ready", "port": path }).to_string());
    } else {
        out(&format!(
            "virtual rig on {}; interrupt to stop",
            path.display()
        ));
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    // the link goes with the handle, so the end must come in order
    runtime.block_on(super::serve::interrupted());
    Ok(0)
}
