//! `cardwright deck make`: a deck of a black-and-white picture, or of a point
//! paper in colours and the cloth file that says how each is woven.
//!
//! Enters: the picture, the settings. Leaves: the deck's file, what it is, and
//! with a cloth file what a designer would check. Refuses: a picture that does
//! not fit, before anything is written.

use super::on_rig::OnRig;
use super::sheet::{SquaresBy, read_paper, refuse_doubtful, ruling_json, ruling_line};
use super::{DONE, describe, summary};
use crate::cloth::Cloth;
use crate::cloth::checks::Checks;
use crate::deck::paper::{PaperError, PaperSettings, deck_from_picture};
use crate::deck::{CardFormat, Cut, Deck, FirstPick, SpareRow};
use crate::paper::Ruling;
use crate::rig::RigFile;
use crate::words::{counted, one_line};
use anyhow::{Context, Result, bail};
use clap::Args;
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// What a cloth file says itself. Each option that needs one names these too: clap lets
/// what needs a cloth file pass where something given forbids one.
const IN_CLOTH_FILE: [&str; 4] = ["format", "cut", "first_pick", "spare_row"];

/// Arguments of `deck make`.
#[derive(Debug, Args)]
pub struct MakeArgs {
    /// The picture: PNG, BMP, GIF, TIFF or PBM; pure black and white, or with
    /// --cloth in the colours of the cloth file
    pub picture: PathBuf,
    /// The cloth file: sett, card, tie, wefts, and how each colour is woven
    #[arg(long, value_name = "FILE", conflicts_with_all = IN_CLOTH_FILE)]
    pub cloth: Option<PathBuf>,
    /// Only check the design against the cloth file; write no deck
    #[arg(long, requires = "cloth", conflicts_with_all = ["out", "force"],
        conflicts_with_all = IN_CLOTH_FILE)]
    pub check: bool,
    /// Card format: 100, 200, 200-half, 300, 300-half, 300-eight, 400, 500, 600
    /// or the path of a format file
    #[arg(long, default_value = "400")]
    pub format: String,
    /// The deck file to write; the picture's name with .deck if left out
    #[arg(long)]
    pub out: Option<PathBuf>,
    /// Which squares are cut
    #[arg(long, value_enum, default_value_t)]
    pub cut: Cut,
    /// Which line of the picture is woven first
    #[arg(long, value_enum, default_value_t)]
    pub first_pick: FirstPick,
    /// What becomes of the card's spare row
    #[arg(long, value_enum, default_value_t)]
    pub spare_row: SpareRow,
    /// How the squares are told from the pixels; if left out, a picture in the
    /// cloth file's colours that is not too wide for its hooks has one pixel a
    /// square, and any other is looked at for its ruling
    #[arg(long, value_enum, requires = "cloth", conflicts_with_all = IN_CLOTH_FILE)]
    pub squares: Option<SquaresBy>,
    /// Take each doubtful square of a ruled sheet for the paint nearest to what was read
    #[arg(long, requires = "cloth", conflicts_with_all = IN_CLOTH_FILE)]
    pub take_doubtful: bool,
    /// Replace a deck file that exists
    #[arg(long)]
    pub force: bool,
}

/// Makes a deck.
pub(super) fn run(
    args: &MakeArgs,
    rig_file: Option<&Path>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    let file = args
        .out
        .clone()
        .unwrap_or_else(|| args.picture.with_extension("deck"));
    if !args.check && file.extension().is_none_or(|ending| ending != "deck") {
        bail!(
            "a deck file's name ends in .deck, and {} does not; write --out {}",
            file.display(),
            file.with_extension("deck").display()
        );
    }
    let file = (!args.check).then_some(file);
    if let Some(cloth) = &args.cloth {
        let cloth = Cloth::read(cloth)?;
        let rig = RigFile::read(rig_file)?;
        let (deck, checked) = deck_of_paper(
            &args.picture,
            &cloth,
            args.squares,
            args.take_doubtful,
            &rig,
        )?;
        let made = Made {
            deck,
            checked: Some(checked),
        };
        return tell(&made, file.as_deref(), args.force, as_json, out);
    }
    if let Some(rig) = rig_file {
        bail!(
            "the time on a rig is told with a cloth file only, so {} would not be used; give \
             --cloth FILE or leave --rig-file out",
            rig.display()
        );
    }
    let settings = PaperSettings {
        format: CardFormat::named_or_file(&args.format)?,
        cut: args.cut,
        first_pick: args.first_pick,
        spare_row: args.spare_row,
    };
    let made = Made {
        deck: deck_from_picture(&args.picture, &settings)?,
        checked: None,
    };
    tell(&made, file.as_deref(), args.force, as_json, out)
}

/// A deck, and what is told of it.
struct Made {
    deck: Deck,
    checked: Option<Checked>,
}

/// What is told of a deck that was made with a cloth file.
pub(in crate::cli) struct Checked {
    checks: Checks,
    on_rig: OnRig,
    /// Squares that were not exactly of a paint.
    near: u64,
    /// By what ruling the squares were found.
    ruling: Option<Ruling>,
    /// Squares that were taken although they are doubtful.
    doubtful: usize,
    /// How large the paper is.
    size: String,
}

impl Checked {
    /// The checks in words, and the time on the rig.
    pub(in crate::cli) fn lines(&self) -> Vec<String> {
        let lines = self.checks.lines().into_iter();
        let lines = lines.chain([self.on_rig.line()]);
        lines.map(|line| one_line(&line)).collect()
    }
}

fn tell(
    made: &Made,
    file: Option<&Path>,
    force: bool,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<u8> {
    if let Some(file) = file {
        made.deck.write(file, force)?;
    }
    if as_json {
        let kind = if file.is_some() { "made" } else { "checked" };
        let mut summary = summary(kind, &made.deck);
        if let Some(file) = file {
            summary["deck"] = json!(file.display().to_string());
        }
        if let Some(checked) = &made.checked {
            summary["near"] = json!(checked.near);
            summary["doubtful"] = json!(checked.doubtful);
            if let Some(ruling) = &checked.ruling {
                summary["ruling"] = ruling_json(ruling);
            }
            summary["checks"] = serde_json::to_value(&checked.checks)?;
            summary["on_rig"] = checked.on_rig.json();
        }
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    if let Some(file) = file {
        writeln!(out, "{}", one_line(&file.display().to_string()))?;
    }
    describe(&made.deck, out)?;
    if let Some(checked) = &made.checked {
        if let Some(ruling) = &checked.ruling {
            writeln!(out, "{}", ruling_line(ruling))?;
        }
        if checked.doubtful > 0 {
            writeln!(
                out,
                "{} taken for the paint nearest to what was read, on a sheet of {}",
                were(checked.doubtful as u64, "doubtful square"),
                checked.size
            )?;
        }
        if checked.near > 0 {
            writeln!(
                out,
                "{} near a paint of the cloth file and taken for it",
                were(checked.near, "square")
            )?;
        }
        for line in checked.lines() {
            writeln!(out, "{line}")?;
        }
    }
    Ok(DONE)
}

/// So many of them `was` or `were` something.
fn were(count: u64, one: &str) -> String {
    let verb = if count == 1 { "was" } else { "were" };
    format!("{} {verb}", counted(count, one))
}

/// The bytes of a painting's file.
pub(super) fn bytes_of(picture: &Path) -> Result<Vec<u8>, PaperError> {
    crate::input::bytes(picture).map_err(|cause| PaperError::Unreadable {
        file: picture.to_owned(),
        cause,
    })
}

/// The deck of a point paper, with what a designer would check and the time it takes
/// on this rig. Doubtful squares are
/// refused unless they are to be taken.
pub(in crate::cli) fn deck_of_paper(
    picture: &Path,
    cloth: &Cloth,
    by: Option<SquaresBy>,
    take_doubtful: bool,
    rig: &RigFile,
) -> Result<(Deck, Checked)> {
    let bytes = bytes_of(picture)?;
    let named = || picture.display().to_string();
    let read = read_paper(&bytes, cloth, by).with_context(named)?;
    if !take_doubtful {
        refuse_doubtful(&read).with_context(named)?;
    }
    let squares = &read.squares;
    let (deck, mounting) = cloth.deck(picture, &bytes, squares).with_context(named)?;
    let checked = Checked {
        checks: cloth.check(&deck, &mounting, Some(squares))?,
        on_rig: OnRig::new(rig, &deck),
        near: read.near,
        ruling: read.ruling,
        doubtful: read.doubtful.len(),
        size: read.size(),
    };
    Ok((deck, checked))
}
