//! `cardwright rig flash` and `cardwright rig image`: the firmware's way onto a
//! board.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context, Result};
use clap::Args;
use serde_json::json;

use crate::cli::screen::{Screen, out};
use crate::firmware::drive::{self, Copied};
use crate::firmware::elf::{self, MOST_FLASH, MOST_RAM, Sizes};
use crate::firmware::{Image, bytes_of, uf2};
use crate::rig::{FoundPort, newcomer, ports};
use crate::service::Outcome;

/// The image that is taken if none is named, beside the program.
const USUAL: &str = "cardwright-rig.uf2";

/// How long a board may take to start and to be found.
const APPEARS_WITHIN: Duration = Duration::from_secs(10);

/// Wall time between two looks for it.
const LOOK: Duration = Duration::from_millis(200);

/// Longest linked program that is read: mostly what debuggers want to know.
const MOST_ELF: u64 = 256 << 20;

const CAUTION: &str = "\
CAUTION: the power to every actuator (punches, feed, lamp) must be off before a
board is given firmware: until it has started, nothing watches what hangs on its
pins. This program and the firmware are no safety device.";

/// `cardwright rig flash`
#[derive(Debug, Args)]
pub(in crate::cli) struct FlashArgs {
    /// The image (cardwright-rig.uf2 beside the program if not given).
    image: Option<PathBuf>,
    /// The drive of the board's bootloader (found by itself if not given).
    #[arg(long, value_name = "DIR")]
    drive: Option<PathBuf>,
}

/// `cardwright rig image`
#[derive(Debug, Args)]
pub(in crate::cli) struct ImageArgs {
    /// The linked program, an ELF file.
    elf: PathBuf,
    /// The image to be written.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

/// Puts an image on a board.
pub(in crate::cli) fn flash(args: &FlashArgs, json: bool) -> Result<u8> {
    let file = match &args.image {
        Some(file) => file.clone(),
        None => usual_image()?,
    };
    let image = Image::read(&file)?;
    let drive = match &args.drive {
        Some(dir) => drive::check(dir).map(|()| dir.clone()),
        None => drive::find(),
    }?;
    let before = ports().unwrap_or_default();
    let mut screen = Screen::new(json);
    tell(&screen, json, "caution", CAUTION);
    let (blocks, bytes) = (image.pages.len(), image.bytes.len());
    screen.note(&format!("{} goes to {}", file.display(), drive.display()));
    screen.extra.extend([
        ("blocks".to_string(), json!(blocks)),
        ("bytes".to_string(), json!(bytes)),
        ("drive".to_string(), json!(drive)),
    ]);
    let outcome = match drive::copy(&image.bytes, &drive) {
        Err(error) => Outcome {
            exit: error.exit(),
            words: error.to_string(),
        },
        Ok(copied) => {
            let written = format!("{blocks} blocks written, {bytes} bytes");
            match args.drive {
                None => await_board(&written, &before, &mut screen),
                Some(_) => Outcome {
                    exit: 0,
                    words: format!("{written}{}", ending(copied)),
                },
            }
        }
    };
    screen.end(&outcome);
    Ok(outcome.exit)
}

fn usual_image() -> Result<PathBuf> {
    let program = std::env::current_exe().context("the program does not know where it lies")?;
    let file = program.with_file_name(USUAL);
    anyhow::ensure!(
        file.is_file(),
        "no image is given and {} is not there; build one (`firmware/pico/build` in the sources) and name it: \
         `cardwright rig flash IMAGE.uf2`",
        file.display()
    );
    Ok(file)
}

fn ending(copied: Copied) -> &'static str {
    match copied {
        Copied::Confirmed => "; the board restarts (`cardwright rig find` shows its port)",
        Copied::DriveGone => {
            "; the drive went away with the last of them, as it does when the board restarts \
             (`cardwright rig find` shows its port)"
        }
    }
}

/// Waits until the board that was flashed is there as a rig.
fn await_board(written: &str, before: &[FoundPort], screen: &mut Screen) -> Outcome {
    screen.note(&format!("{written}; waiting for the board to start"));
    let started = Instant::now();
    while started.elapsed() < APPEARS_WITHIN {
        let now = ports().unwrap_or_default();
        if let Some((port, serial)) = newcomer(before, &now) {
            screen.extra.insert("port".to_string(), json!(port));
            screen.extra.insert("board".to_string(), json!(serial));
            return Outcome {
                exit: 0,
                words: format!("{written}; board {serial} is on {port}"),
            };
        }
        std::thread::sleep(LOOK);
    }
    Outcome {
        exit: 3,
        words: format!(
            "{written}, and no cardwright board has appeared within {} s; unplug it and plug it \
             in again without BOOTSEL (`cardwright rig find` shows it), or flash it once more",
            APPEARS_WITHIN.as_secs()
        ),
    }
}

/// Makes an image of a linked program and says what it takes.
pub(in crate::cli) fn image(args: &ImageArgs, json: bool) -> Result<u8> {
    let name = args.elf.display();
    let file = bytes_of(&args.elf, MOST_ELF)
        .with_context(|| format!("program {name} cannot be read; check its name"))?;
    let program = elf::read(&file).with_context(|| format!("program {name}"))?;
    report(&program.sizes, json);
    program
        .sizes
        .check()
        .with_context(|| format!("program {name}"))?;
    let bytes = uf2::write(&program.pages);
    write(&args.out, &bytes)?;
    let blocks = program.pages.len();
    if json {
        let last = json!({
            "event": "summary", "out": args.out, "blocks": blocks, "bytes": bytes.len(), "exit": 0,
        });
        out(&last.to_string());
    } else {
        let file = args.out.display();
        out(&format!("image        {file}: {blocks} blocks"));
    }
    Ok(0)
}

fn report(sizes: &Sizes, json: bool) {
    let Sizes { flash, ram, stack } = *sizes;
    if json {
        let line = json!({
            "event": "sizes",
            "flash": flash, "most_flash": MOST_FLASH,
            "ram": ram, "stack": stack, "most_ram": MOST_RAM,
        });
        return out(&line.to_string());
    }
    out(&format!("flash        {flash} of {MOST_FLASH} bytes"));
    out(&match stack {
        Some(stack) => {
            let both = ram.saturating_add(stack);
            format!("RAM          {both} of {MOST_RAM} bytes: static {ram}, stack {stack}")
        }
        None => format!(
            "RAM          {ram} of {MOST_RAM} bytes, without the stack: it has no _stack_start and _stack_end"
        ),
    });
}

/// Writes a file whole or not at all.
fn write(path: &Path, bytes: &[u8]) -> Result<()> {
    use std::io::Write as _;
    let dir = match path.parent() {
        Some(dir) if !dir.as_os_str().is_empty() => dir,
        _ => Path::new("."),
    };
    let written = tempfile::NamedTempFile::new_in(dir).and_then(|mut file| {
        file.write_all(bytes)?;
        file.persist(path).map_err(|error| error.error)
    });
    written.with_context(|| format!("{} cannot be written; give another --out", path.display()))?;
    Ok(())
}

fn tell(screen: &Screen, json: bool, event: &str, words: &str) {
    if json {
        out(&json!({ "event": event, "words": words }).to_string());
    } else {
        screen.note(words);
    }
}
