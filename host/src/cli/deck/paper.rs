//! `cardwright deck paper`: the point paper a deck was made of, one pixel a
//! square in the paints of the cloth file.
//!
//! Enters: a deck and its cloth file. Leaves: a PNG file that makes the same
//! cards. Refuses: cards the cloth does not make, an older file in the way.

use super::{CLOTH_CHANGED, DONE, cloth_changed};
use crate::cloth::{Cloth, Squares};
use crate::deck::Deck;
use crate::output;
use crate::words::{counted, one_line};
use anyhow::{Context, Result, bail};
use clap::Args;
use serde_json::json;
use std::io::{Cursor, Write};
use std::path::PathBuf;

/// Arguments of `deck paper`.
#[derive(Debug, Args)]
pub struct PaperArgs {
    /// The deck file
    pub deck: PathBuf,
    /// The cloth file it was made with
    #[arg(long, value_name = "FILE")]
    pub cloth: PathBuf,
    /// The PNG file to write, one pixel a square
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Replace a file that exists
    #[arg(long)]
    pub force: bool,
}

/// Paints the paper again.
pub(super) fn run(args: &PaperArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    if args.out.extension().is_none_or(|ending| ending != "png") {
        bail!(
            "the paper is written as PNG, and {} does not end in .png; write --out {}",
            args.out.display(),
            args.out.with_extension("png").display()
        );
    }
    let deck = Deck::read(&args.deck)?;
    let cloth = Cloth::read(&args.cloth)?;
    let columns = cloth.columns_of(&deck);
    let named = || args.deck.display().to_string();
    let found = cloth.unmake(&deck, columns).with_context(named)?;
    let picture = picture(&found.squares, &cloth)?;
    output::whole(&args.out, &picture, args.force)?;
    let changed = cloth_changed(&deck, &cloth);
    let file = args.out.display().to_string();
    if as_json {
        let summary = json!({
            "summary": "paper",
            "paper": file,
            "columns": found.squares.columns(),
            "lines": found.squares.lines(),
            "either": found.either,
            "cloth_changed": changed,
        });
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    writeln!(out, "{}", one_line(&file))?;
    writeln!(
        out,
        "{}, {}; it makes the same cards",
        counted(found.squares.columns(), "column"),
        counted(found.squares.lines(), "line")
    )?;
    if found.either > 0 {
        let (fit, painted) = match found.either {
            1 => ("square fits", "is painted like what is beside it"),
            _ => ("squares fit", "are painted like what is beside them"),
        };
        let either = found.either;
        writeln!(
            out,
            "{either} {fit} more than one colour and {painted}; look there"
        )?;
    }
    if changed {
        writeln!(out, "{CLOTH_CHANGED}")?;
    }
    Ok(DONE)
}

fn picture(squares: &Squares, cloth: &Cloth) -> Result<Vec<u8>> {
    let paints: Vec<u8> = squares.paints(cloth).flatten().collect();
    let picture = image::RgbImage::from_raw(squares.columns(), squares.lines(), paints)
        .context("the paper is too large for a picture")?;
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png)?;
    Ok(bytes.into_inner())
}
