//! `cardwright deck cloth`: the cloth as the cards and the tie will weave it, drawn.
//!
//! Enters: a deck, made here or read from old cards, and a cloth file. Leaves: PNG
//! files of the face, the back, and the point paper with its ruling and its weaves.
//! Refuses: another card format, other wefts than the deck was made with, an older file
//! in the way.

use super::make::bytes_of;
use super::pictures::{self, Asked};
use super::sheet::{SquaresBy, read_paper};
use super::{CLOTH_CHANGED, DONE, cloth_changed};
use crate::cloth::{Cloth, Made, Squares, Woven};
use crate::deck::{CardList, Deck};
use crate::picture::{self, ClothSide};
use crate::words::counted;
use anyhow::{Context, Result, bail};
use clap::{ArgGroup, Args};
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `deck cloth`.
#[derive(Debug, Args)]
#[command(group(
    ArgGroup::new("pictures")
        .args(["face", "back", "paper"])
        .required(true)
        .multiple(true)
))]
pub struct ClothArgs {
    /// The deck file
    pub deck: PathBuf,
    /// The cloth file it was made with, or that says how it is woven
    #[arg(long, value_name = "FILE")]
    pub cloth: PathBuf,
    /// Draw the face of the cloth, in the colours of its yarns, as a PNG picture
    #[arg(long, value_name = "FILE")]
    pub face: Option<PathBuf>,
    /// Draw the back of the cloth
    #[arg(long, value_name = "FILE")]
    pub back: Option<PathBuf>,
    /// Draw the point paper, ruled, a dot where a card lifts the hook; found from the
    /// cards unless --painting is given
    #[arg(long, value_name = "FILE")]
    pub paper: Option<PathBuf>,
    /// The painting that the deck was made of
    #[arg(long, value_name = "FILE", requires = "paper")]
    pub painting: Option<PathBuf>,
    /// Replace files that exist
    #[arg(long)]
    pub force: bool,
}

/// Draws what was asked for.
pub(super) fn run(args: &ClothArgs, as_json: bool, out: &mut dyn Write) -> Result<u8> {
    let files = [&args.face, &args.back, &args.paper];
    let asked: Vec<Asked<'_>> = files
        .into_iter()
        .filter_map(|file| Some((file.as_deref()?, "png")))
        .collect();
    let mut read: Vec<&Path> = vec![&args.deck, &args.cloth];
    read.extend(args.painting.as_deref());
    pictures::may_write(&asked, &read, args.force)?;
    let deck = Deck::read(&args.deck)?;
    let cloth = Cloth::read(&args.cloth)?;
    let named = || args.deck.display().to_string();
    let columns = cloth.columns_of(&deck);
    let mounting = cloth.mounting(columns).with_context(named)?;
    let woven = Woven::new(&deck, &cloth, &mounting).with_context(named)?;
    cloth.as_its_paper(&deck).with_context(named)?;
    let mut made: Vec<(&Path, Vec<u8>)> = Vec::new();
    let sides = [(&args.face, ClothSide::Face), (&args.back, ClothSide::Back)];
    for (file, side) in sides {
        if let Some(file) = file {
            made.push((file, picture::cloth_png(&cloth, &woven, side)?));
        }
    }
    if let Some(file) = &args.paper {
        let squares = match &args.painting {
            Some(painting) => painted(painting, &cloth, &deck)?,
            None => cloth.unmake(&deck, columns).with_context(named)?.squares,
        };
        let png = picture::paper_png(&cloth, &squares, Some((&deck, &mounting)))?;
        made.push((file, png));
    }
    let files = pictures::write(&made, args.force)?;
    let gaps = deck.reading().map_or(&[][..], |reading| &reading.gaps);
    if as_json {
        let summary = json!({
            "summary": "cloth",
            "gaps": gaps,
            "ends": woven.ends(),
            "picks": woven.picks(),
            "files": files,
            "cloth_changed": cloth_changed(&deck, &cloth),
        });
        writeln!(out, "{summary}")?;
        return Ok(DONE);
    }
    let (ends, picks) = (counted(woven.ends(), "end"), counted(woven.picks(), "pick"));
    writeln!(out, "{ends}, {picks}")?;
    pictures::tell(&files, out)?;
    if !gaps.is_empty() {
        let gaps = CardList::from_cards(gaps.iter().copied());
        writeln!(out, "gaps, drawn as blank cards: {gaps}")?;
    }
    if cloth_changed(&deck, &cloth) {
        writeln!(out, "{CLOTH_CHANGED}")?;
    }
    Ok(DONE)
}

/// The squares of the painting, if they make these very cards; the cards also tell
/// whether its pixels are the squares or its ruling is around them.
fn painted(painting: &Path, cloth: &Cloth, deck: &Deck) -> Result<Squares> {
    let named = || painting.display().to_string();
    let bytes = bytes_of(painting)?;
    let mut refused = true;
    for by in [SquaresBy::Pixels, SquaresBy::Ruled] {
        let read = read_paper(&bytes, cloth, Some(by));
        match read.and_then(|read| Ok((cloth.make(&read.squares)?, read.squares))) {
            Ok((made, squares)) if same_cards(&made, deck) => return Ok(squares),
            Ok(_) => refused = false,
            Err(_) => {}
        }
    }
    if refused {
        // told as where a deck is made of it
        let read = read_paper(&bytes, cloth, None).with_context(named)?;
        cloth.make(&read.squares).with_context(named)?;
    }
    bail!(
        "{} makes other cards than the deck {} has; give the painting and the cloth file it \
         was made with",
        painting.display(),
        deck.name()
    )
}

fn same_cards(made: &Made, deck: &Deck) -> bool {
    let cards = made.cards.iter().map(Vec::as_slice);
    cards.eq(deck.cards().map(|(_, rows)| rows))
}
