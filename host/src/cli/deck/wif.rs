//! `cardwright deck import` and `deck export`: a deck of a weaving draft in the
//! open form WIF 1.1, and a draft of a deck.
//!
//! Enters: the arguments of the command line. Leaves: a deck file or a draft, whole
//! or not at all, and a few lines on what became of it. Refuses: to write over a
//! file unasked, or under a name of another kind of file.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use serde_json::json;

use super::{DONE, describe, summary};
use crate::deck::{CardFormat, Deck, SpareRow};
use crate::output;
use crate::wif::{self, Draft, Hooks, Laying, MOST_BYTES, ShedFrom};
use crate::words::one_line;

/// Arguments of `deck import`.
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// The draft, a WIF file
    draft: PathBuf,
    /// Card format: 100, 200, 200-half, 300, 300-half, 300-eight, 400, 500, 600
    /// or the path of a format file
    #[arg(long, default_value = "400")]
    format: String,
    /// The deck file to write; the draft's name with .deck if left out
    #[arg(long)]
    out: Option<PathBuf>,
    /// What one hook works: one shaft, or one end
    #[arg(long, value_enum, default_value_t)]
    hooks: Hooks,
    /// What becomes of the card's spare row
    #[arg(long, value_enum, default_value_t)]
    spare_row: SpareRow,
    /// Replace a deck file that exists
    #[arg(long)]
    force: bool,
}

/// Arguments of `deck export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// The deck file
    deck: PathBuf,
    /// The draft to write, a WIF file
    #[arg(long, value_name = "FILE")]
    wif: PathBuf,
    /// Replace a draft that exists
    #[arg(long)]
    force: bool,
}

/// Makes a deck of a draft.
pub(in crate::cli) fn import(args: &ImportArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let laying = Laying {
        format: CardFormat::named_or_file(&args.format)?,
        hooks: args.hooks,
        spare_row: args.spare_row,
    };
    let beside = || args.draft.with_extension("deck");
    let file = args.out.clone().unwrap_or_else(beside);
    named(&file, "deck file", "deck", "--out")?;
    let draft = Draft::parse(&bytes(&args.draft)?, &args.draft)?;
    let deck = draft.deck(&laying)?;
    deck.write(&file, args.force)?;
    let hooks = deck.design().map_or(0, |design| design.hooks);
    let from = match draft.shed_from() {
        ShedFrom::Liftplan => "liftplan",
        ShedFrom::TieUp => "tie-up and treadling",
    };
    if as_json {
        let mut summary = summary("imported", &deck);
        summary["deck"] = json!(file.display().to_string());
        summary["hooks"] = json!(hooks);
        summary["from"] = json!(from);
        summary["rising_shed"] = json!(draft.rising());
        summary["last_named"] = json!(draft.last_named());
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    writeln!(out, "{}", one_line(&file.display().to_string()))?;
    describe(&deck, out)?;
    writeln!(
        out,
        "by its {from}, {}; hook 1 is {} 1",
        if draft.rising() {
            "a rising shed: what it names is cut"
        } else {
            "a sinking shed: what it does not name is cut"
        },
        match args.hooks {
            Hooks::Shafts => "shaft",
            Hooks::Ends => "end",
        }
    )?;
    let named = draft.last_named().unwrap_or_default();
    if named < draft.picks() {
        let last = match draft.picks() - named {
            1 => format!("pick {}, the last, names", draft.picks()),
            _ => format!("picks {} to {}, the last, name", named + 1, draft.picks()),
        };
        writeln!(
            out,
            "{last} nothing; if the file was cut short, save the draft again"
        )?;
    }
    Ok(DONE)
}

/// Writes a deck as a draft.
pub(in crate::cli) fn export(args: &ExportArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let file = &args.wif;
    named(file, "draft", "wif", "--wif")?;
    let deck = Deck::read(&args.deck)?;
    let written = wif::write(&deck).with_context(|| args.deck.display().to_string())?;
    output::whole(file, written.text.as_bytes(), args.force)?;
    let used = written.spare_row == SpareRow::Used && deck.format().spare_row().is_some();
    if as_json {
        let mut summary = summary("exported", &deck);
        summary["draft"] = json!(file.display().to_string());
        summary["shafts"] = json!(written.shafts);
        summary["picks"] = json!(written.picks);
        summary["spare_row_used"] = json!(used);
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    writeln!(out, "{}", one_line(&file.display().to_string()))?;
    writeln!(
        out,
        "{}: {} shafts, one a hook, straight threading; {} picks",
        one_line(deck.name()),
        written.shafts,
        written.picks
    )?;
    if used {
        writeln!(
            out,
            "the spare row is among the shafts; deck import needs --spare-row used"
        )?;
    }
    Ok(DONE)
}

/// Refuses a name of another kind of file, such as that of the deck itself.
fn named(file: &Path, what: &str, ending: &str, option: &str) -> Result<()> {
    let found = file.extension().unwrap_or_default();
    if !found.eq_ignore_ascii_case(ending) {
        bail!(
            "a {what}'s name ends in .{ending}, and {} does not; write {option} {}",
            file.display(),
            file.with_extension(ending).display()
        );
    }
    Ok(())
}

/// The bytes of a draft, unless there are far too many.
fn bytes(file: &Path) -> Result<Vec<u8>> {
    let long = std::fs::metadata(file).map_or(0, |data| data.len());
    if long > MOST_BYTES {
        return Err(wif::DraftError {
            file: file.to_owned(),
            line: None,
            fault: wif::DraftFault::TooLong(long),
        }
        .into());
    }
    crate::input::bytes(file).map_err(|cause| {
        anyhow::anyhow!(
            "cannot read the draft {}: {cause}; check the path and the permissions",
            file.display()
        )
    })
}
