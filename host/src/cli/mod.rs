//! The command line: one file a command. Every command takes `--json`,
//! `--data` and `--rig`; every error says what, where and what to do; the exit
//! status is 0 done and nothing wrong, 1 done and faults were found that are left,
//! 2 the input or the command line is wrong, 3 the unit or the link failed.

mod cut;
pub mod deck;
mod demo;
mod ledger;
mod read;
mod rig;
mod screen;
mod serve;
mod session;
mod weave;
mod which;

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result};
use clap::{Args, Parser, Subcommand};

use crate::rig::{BoardRole, Chosen, FoundPort, RigAsked, choose, ports};
use crate::service::{FaultFile, RigChoice, VIRTUAL, VirtualChoice};

/// Cuts, checks and records jacquard card decks through a rig, and follows the loom.
#[derive(Debug, Parser)]
#[command(name = "cardwright", version, propagate_version = true)]
struct Command {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    what: What,
}

/// What every command takes.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Options of every command")]
struct Common {
    /// One JSON object a line on standard output; the last is the summary.
    #[arg(long, global = true)]
    json: bool,
    /// Where the ledger lies (the platform's data directory if not given).
    #[arg(long, global = true, value_name = "DIR")]
    data: Option<PathBuf>,
    /// The rig, for `weave` the loom unit: a serial port, `usb` for the one board attached, `usb:SERIAL`
    /// for that board, or `virtual` (the one board attached if not given, and
    /// the virtual rig if there is none).
    #[arg(
        long,
        global = true,
        value_name = "PORT|usb|virtual",
        env = "CARDWRIGHT_RIG"
    )]
    rig: Option<RigAsked>,
    /// How the rig is built (a TOML file; the built-in bench rig if not given).
    #[arg(long, global = true, value_name = "FILE")]
    rig_file: Option<PathBuf>,
    /// How many times as fast as real the virtual rig or loom runs (20; as fast as a
    /// real one for `rig virtual`, as other programs speak to that).
    #[arg(long, global = true, value_name = "N", allow_negative_numbers = true)]
    speed: Option<f64>,
    /// What lies in the virtual rig's magazine where it only reads: a deck file
    /// and, after a colon, which of its cards in the order in which they lie, such as
    /// old.deck:1-46,48,47 (one named twice lies there twice).
    #[arg(long, global = true, value_name = "DECK[:CARDS]")]
    stack: Option<String>,
    /// What goes wrong in the virtual rig (a TOML file of rates; nothing if not
    /// given).
    #[arg(long, global = true, value_name = "FILE")]
    faults: Option<PathBuf>,
    /// How long a unit may be away before the job gives up, in seconds.
    #[arg(long, global = true, value_name = "S", default_value_t = 120)]
    patience: u64,
}

/// The virtual rig runs this many times as fast as a real one, unless told.
const FASTER: f64 = 20.0;

#[derive(Debug, Subcommand)]
enum What {
    /// The whole job on the virtual rig, start to end.
    Demo(demo::DemoArgs),
    /// Make a deck from a picture, look at one, tell two apart, find a card's deck.
    #[command(subcommand)]
    Deck(Deck),
    /// Find, ask and exercise rigs.
    #[command(subcommand)]
    Rig(rig::RigArgs),
    /// Cut what is not yet good, reading every card back.
    Cut(cut::CutArgs),
    /// Run a cut stack through the reader before lacing.
    Verify(cut::VerifyArgs),
    /// Read a stack of old cards into a new deck.
    Read(read::ReadArgs),
    /// Follow the loom along a plan: which card, which pick, what next.
    Weave(weave::WeaveArgs),
    /// The daemon: owns the ledger and works for other commands.
    Serve,
    /// What was cut, found, recut and woven.
    Ledger(ledger::LedgerArgs),
}

#[derive(Debug, Subcommand)]
enum Deck {
    #[command(flatten)]
    File(deck::DeckArgs),
    /// Tell which card of which known deck a loose card in the rig is; exit status 1
    /// if it is of none
    Which(which::WhichArgs),
}

impl Common {
    /// The data directory.
    fn data_dir(&self) -> Result<PathBuf> {
        match &self.data {
            Some(dir) => Ok(dir.clone()),
            None => directories::ProjectDirs::from("", "", "cardwright")
                .map(|dirs| dirs.data_dir().to_path_buf())
                .context("this computer names no data directory; give one with --data DIR"),
        }
    }

    /// How the virtual rig is to be.
    fn virtual_choice(&self) -> Result<VirtualChoice> {
        let faults = match &self.faults {
            Some(file) => FaultFile::read(file)?,
            None => FaultFile::default(),
        };
        let as_virtual = VirtualChoice {
            speed: self.speed.unwrap_or(FASTER),
            stack: self.stack.as_deref().map(absolute_if_path),
            faults,
        };
        as_virtual.check()?;
        Ok(as_virtual)
    }

    /// The rig asked for, or the one that is there: here and nowhere else it
    /// becomes a port. Says which one works, unless a person has named it.
    fn rig_choice(&self) -> Result<RigChoice> {
        self.unit_choice(|ports| ports.retain(|port| port.role != Some(BoardRole::Loom)))
    }

    /// The same for the loom: a board that is at a loom and nothing else, if there is
    /// one.
    fn loom_choice(&self) -> Result<RigChoice> {
        self.unit_choice(|ports| {
            let at_loom = |port: &FoundPort| port.role == Some(BoardRole::Loom);
            if ports.iter().any(at_loom) {
                ports.retain(at_loom);
            }
        })
    }

    fn unit_choice(&self, fit: impl Fn(&mut Vec<FoundPort>)) -> Result<RigChoice> {
        let as_virtual = self.virtual_choice()?;
        let mut listed = match &self.rig {
            Some(RigAsked::Port(_) | RigAsked::Virtual) => Vec::new(),
            None | Some(RigAsked::Usb | RigAsked::Board(_)) => {
                ports().map_err(anyhow::Error::msg)?
            }
        };
        if !matches!(self.rig, Some(RigAsked::Board(_))) {
            fit(&mut listed);
        }
        let chosen = choose(self.rig.as_ref(), &listed)?;
        screen::tell_rig(&chosen, self.json);
        let (port, board) = match chosen {
            Chosen::Virtual | Chosen::NoBoard => (VIRTUAL.to_string(), None),
            Chosen::Port(port) => (absolute_if_path(&port), None),
            Chosen::Board { port, serial } => (port, Some(serial)),
        };
        Ok(RigChoice {
            port,
            board,
            file: self.rig_file.as_deref().map(absolute),
            as_virtual,
            patience_s: self.patience,
        })
    }
}

/// A number from 1 on, such as a job's or a card's.
fn number(text: &str) -> Result<u32, String> {
    match text.parse() {
        Ok(number) if number > 0 => Ok(number),
        _ => Err("give a whole number from 1 on".to_string()),
    }
}

/// A name as it is, a path as one that a daemon with another working directory
/// finds too.
fn absolute_if_path(text: &str) -> String {
    let path = std::path::Path::new(text);
    if text.contains('/') || path.is_file() {
        absolute(path).to_string_lossy().into_owned()
    } else {
        text.to_string()
    }
}

/// A path that a daemon with another working directory finds too.
fn absolute(path: &std::path::Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf())
}

/// Runs the program with these arguments. Its exit status.
#[must_use]
pub fn run(args: impl IntoIterator<Item = std::ffi::OsString>) -> u8 {
    let args: Vec<std::ffi::OsString> = args.into_iter().collect();
    let wants_json = args.iter().any(|arg| arg == "--json");
    let command = match Command::try_parse_from(args) {
        Ok(command) => command,
        Err(error) => {
            let _ = error.print();
            if error.use_stderr() && wants_json {
                screen::complain_in_json(&error.to_string());
            }
            return if error.use_stderr() { 2 } else { 0 };
        }
    };
    let log = tracing_subscriber::EnvFilter::try_from_env("CARDWRIGHT_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn"));
    tracing_subscriber::fmt()
        .with_env_filter(log)
        .with_writer(std::io::stderr)
        .init();
    let json = command.common.json;
    match dispatch(&command) {
        Ok(exit) => screen::exit_with_output(exit),
        Err(error) => match kind_of_io(&error) {
            // whoever read our output has seen enough
            Some(std::io::ErrorKind::BrokenPipe) => 0,
            // what is said of a file has the file's name before it
            Some(_) if error.chain().len() == 1 => {
                screen::complain(&screen::output_lost(&error), json);
                2
            }
            _ => {
                screen::complain(&format!("{error:#}"), json);
                2
            }
        },
    }
}

/// What the system says, if it is the system that says it.
fn kind_of_io(error: &anyhow::Error) -> Option<std::io::ErrorKind> {
    error.chain().find_map(|cause| {
        let io = cause
            .downcast_ref::<std::io::Error>()
            .map(std::io::Error::kind);
        let json = cause.downcast_ref::<serde_json::Error>();
        let csv = match cause.downcast_ref::<csv::Error>().map(csv::Error::kind) {
            Some(csv::ErrorKind::Io(error)) => Some(error.kind()),
            _ => None,
        };
        io.or(json.and_then(serde_json::Error::io_error_kind))
            .or(csv)
    })
}

fn dispatch(command: &Command) -> Result<u8> {
    let common = &command.common;
    let mut out = std::io::stdout().lock();
    match &command.what {
        What::Deck(Deck::File(args)) => {
            deck::run(args, common.rig_file.as_deref(), common.json, &mut out)
        }
        What::Deck(Deck::Which(args)) => {
            drop(out);
            which::run(args, common)
        }
        What::Ledger(args) => ledger::run(args, &common.data_dir()?, common.json, &mut out),
        What::Demo(args) => {
            drop(out);
            demo::run(args, common)
        }
        What::Rig(args) => {
            drop(out);
            rig::run(args, common)
        }
        What::Cut(args) => {
            drop(out);
            cut::run_cut(args, common)
        }
        What::Verify(args) => {
            drop(out);
            cut::run_verify(args, common)
        }
        What::Read(args) => {
            drop(out);
            read::run(args, common)
        }
        What::Weave(args) => {
            drop(out);
            weave::run(args, common)
        }
        What::Serve => {
            out.flush()?;
            drop(out);
            serve::run(common)
        }
    }
}
