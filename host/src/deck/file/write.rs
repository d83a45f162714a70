//! Writing a deck file: one canonical text, put in place whole.

use super::{Cutting, DECK_VERSION, Deck, Design, MadeWith, ReadFrom};
use crate::output::WriteError;
use cardwright_protocol::Row;
use serde::Serialize;
use std::fmt::Write as _;
use std::path::Path;

const OPENING: &str = "\
# A deck of jacquard cards. One line a card under [cards], one group a row from
# the numbered end, hexadecimal: hole 1 counts 1, hole 2 counts 2, hole 3 counts
# 4, and so on; what is counted is cut.
";

#[derive(Serialize)]
struct HeadText<'a> {
    deck: i64,
    name: &'a str,
    format: FormatText<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    design: Option<&'a Design>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cloth: Option<&'a MadeWith>,
    cutting: Cutting,
    #[serde(skip_serializing_if = "Option::is_none")]
    reading: Option<&'a ReadFrom>,
}

#[derive(Serialize)]
struct FormatText<'a> {
    name: &'a str,
    sha256: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<&'a str>,
}

/// Hexadecimal digits in one row's group.
pub(super) fn group_width(holes: u8) -> usize {
    usize::from(holes).div_ceil(4)
}

pub(super) fn to_text(deck: &Deck, format_file: Option<&str>) -> String {
    let head = HeadText {
        deck: DECK_VERSION,
        name: &deck.name,
        format: FormatText {
            name: deck.format.name(),
            sha256: deck.format.sha256(),
            file: format_file,
        },
        design: deck.design.as_ref(),
        cloth: deck.cloth.as_ref(),
        cutting: deck.cutting,
        reading: deck.reading.as_ref(),
    };
    // Strings, numbers and tables of them: TOML can hold all of these.
    let head = toml::to_string(&head).unwrap_or_default();
    let width = group_width(deck.format.holes_per_row());
    let room = deck.cards.len() * (usize::from(deck.format.rows()) * (width + 1) + 12);
    let mut text = String::with_capacity(OPENING.len() + head.len() + room + 16);
    text.push_str(OPENING);
    text.push_str(&head);
    text.push_str("\n[cards]\n");
    for (number, rows) in (1u32..).zip(&deck.cards) {
        let _ = write!(text, "{number} = \"");
        push_rows(&mut text, rows, width);
        text.push_str("\"\n");
    }
    text
}

fn push_rows(text: &mut String, rows: &[Row], width: usize) {
    const DIGITS: [char; 16] = [
        '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
    ];
    for (place, row) in rows.iter().enumerate() {
        if place > 0 {
            text.push(' ');
        }
        for digit in (0..width).rev() {
            text.push(DIGITS[usize::from(row.0 >> (4 * digit) & 15)]);
        }
    }
}

pub(super) fn write(deck: &Deck, file: &Path, overwrite: bool) -> Result<(), WriteError> {
    let folder = crate::output::folder(file);
    let text = to_text(deck, format_file_from(deck, folder).as_deref());
    crate::output::whole(file, text.as_bytes(), overwrite)
}

/// A user's format file as a deck in this folder names it: from the folder if
/// it lies in there, so that both can be moved together; otherwise in full.
fn format_file_from(deck: &Deck, folder: &Path) -> Option<String> {
    let file = deck.format.file()?;
    let whole = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let (file, folder) = (whole(file), whole(folder));
    Some(
        file.strip_prefix(&folder)
            .unwrap_or(&file)
            .display()
            .to_string(),
    )
}
