//! Reading a deck file, strictly: every complaint names the file and the line.

use super::write::group_width;
use super::{CardFault, Cutting, DECK_VERSION, Deck, Design, MOST_CARDS, MadeWith, ReadFrom};
use crate::deck::format::{CardFormat, FormatError};
use crate::deck::line_at;
use cardwright_protocol::{CardNumber, Row};
use serde::Deserialize;
use serde::de::{Deserializer, MapAccess, Visitor};
use std::fmt;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Why a deck file was refused.
#[derive(Debug, thiserror::Error)]
pub enum DeckFileError {
    /// It is no text.
    #[error("{} is not a deck file: a deck is a text file; give the deck, or make one from a picture with `cardwright deck make`", file.display())]
    NotText {
        /// The file.
        file: PathBuf,
    },
    /// The file cannot be read.
    #[error("cannot read the deck file {}: {cause}; check the path and the permissions", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Not TOML, a key missing, unknown or of the wrong kind.
    #[error("{}, line {line}: {cause}; mend the line, or make the deck again from its design", file.display())]
    Toml {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong there.
        cause: String,
    },
    /// Written by another version.
    #[error("{}, line {line}: this is a deck file of version {found}, and version {DECK_VERSION} can be read; use the program that wrote it, or make the deck again from its design", file.display())]
    Version {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// The version it names.
        found: i64,
    },
    /// The card format is unknown or refused.
    #[error("{}, line {line}: {cause}", file.display())]
    Format {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong with the format.
        cause: FormatError,
    },
    /// The card format is not what it was.
    #[error("{}, line {line}: the card format {format} has changed since this deck was made, so its holes may lie elsewhere; bring the old format back, or make the deck again from its design", file.display())]
    FormatChanged {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// The format's name.
        format: String,
    },
    /// A card is wrong.
    #[error("{}, line {line}: {fault}", file.display())]
    Card {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1.
        line: usize,
        /// What is wrong with it.
        fault: CardFault,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DeckText {
    deck: Spanned<i64>,
    name: String,
    format: FormatText,
    design: Option<Design>,
    cloth: Option<MadeWith>,
    cutting: Cutting,
    reading: Option<Spanned<ReadFrom>>,
    cards: Spanned<CardLines>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FormatText {
    name: Spanned<String>,
    sha256: Spanned<String>,
    file: Option<Spanned<String>>,
}

/// Only the version, to tell a file of another version from a damaged one.
#[derive(Deserialize)]
struct VersionText {
    deck: Spanned<i64>,
}

/// The lines of the `[cards]` table, in whatever order the parser has them.
struct CardLines(Vec<(Spanned<String>, Spanned<String>)>);

impl<'de> Deserialize<'de> for CardLines {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Lines;
        impl<'de> Visitor<'de> for Lines {
            type Value = CardLines;
            fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
                to.write_str("a table of cards")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<CardLines, A::Error> {
                let mut lines = Vec::new();
                while let Some(line) = map.next_entry()? {
                    lines.push(line);
                }
                Ok(CardLines(lines))
            }
        }
        from.deserialize_map(Lines)
    }
}

pub(super) fn read(file: &Path) -> Result<Deck, DeckFileError> {
    let text = crate::input::text(file).map_err(|cause| match cause.kind() {
        std::io::ErrorKind::InvalidData => DeckFileError::NotText {
            file: file.to_owned(),
        },
        _ => DeckFileError::Unreadable {
            file: file.to_owned(),
            cause,
        },
    })?;
    parse(&text, file)
}

pub(super) fn parse(text: &str, file: &Path) -> Result<Deck, DeckFileError> {
    let written: DeckText =
        toml::from_str(text).map_err(|error| not_readable(text, file, &error))?;
    let line = |place: std::ops::Range<usize>| line_at(text, &place);
    let found = *written.deck.get_ref();
    if found != DECK_VERSION {
        let line = line(written.deck.span());
        return Err(DeckFileError::Version {
            file: file.to_owned(),
            line,
            found,
        });
    }
    let format = format(text, file, &written.format)?;
    let at = written.cards.span();
    let head = (written.design.as_ref(), written.cloth.is_some());
    let cards = cards(&format, head, written.cards.into_inner()).map_err(|found| {
        let line = line(found.at.unwrap_or(at));
        DeckFileError::Card {
            file: file.to_owned(),
            line,
            fault: found.fault,
        }
    })?;
    let reading = reading(&format, cards.len(), written.reading).map_err(|found| {
        let line = line(found.at.unwrap_or_default());
        DeckFileError::Card {
            file: file.to_owned(),
            line,
            fault: found.fault,
        }
    })?;
    Ok(Deck {
        name: written.name,
        format,
        format_file: written.format.file.map(Spanned::into_inner),
        design: written.design,
        cloth: written.cloth,
        cutting: written.cutting,
        reading,
        cards,
    })
}

fn not_readable(text: &str, file: &Path, error: &toml::de::Error) -> DeckFileError {
    let (line, cause) = crate::input::wrong_toml(text, error);
    let file = file.to_owned();
    if let Ok(version) = toml::from_str::<VersionText>(text)
        && *version.deck.get_ref() != DECK_VERSION
    {
        let line = line_at(text, &version.deck.span());
        return DeckFileError::Version {
            file,
            line,
            found: *version.deck.get_ref(),
        };
    }
    if let Some(fault) = duplicate_card(text, line) {
        return DeckFileError::Card { file, line, fault };
    }
    DeckFileError::Toml { file, line, cause }
}

/// Whether the key on this line is a card number that stands on an earlier one.
fn duplicate_card(text: &str, line: usize) -> Option<CardFault> {
    let key = |line: &str| Some(line.split_once('=')?.0.trim().to_owned());
    let card = key(text.lines().nth(line.checked_sub(1)?)?)?;
    if card.is_empty() || !card.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let first = text
        .lines()
        .take(line - 1)
        .position(|line| key(line).as_ref() == Some(&card))?;
    Some(CardFault::Duplicate {
        card,
        first_line: first + 1,
    })
}

fn format(text: &str, file: &Path, written: &FormatText) -> Result<CardFormat, DeckFileError> {
    let refused = |at: std::ops::Range<usize>| {
        move |cause| DeckFileError::Format {
            file: file.to_owned(),
            line: line_at(text, &at),
            cause,
        }
    };
    let format = match &written.file {
        Some(path) => {
            let folder = file.parent().unwrap_or(Path::new(""));
            CardFormat::read(&folder.join(path.get_ref())).map_err(refused(path.span()))?
        }
        None => CardFormat::named(written.name.get_ref()).map_err(refused(written.name.span()))?,
    };
    if format.name() != written.name.get_ref() || format.sha256() != *written.sha256.get_ref() {
        return Err(DeckFileError::FormatChanged {
            file: file.to_owned(),
            line: line_at(text, &written.sha256.span()),
            format: written.name.get_ref().clone(),
        });
    }
    Ok(format)
}

/// A fault, and where it was found unless it is the whole table's.
struct Found {
    at: Option<std::ops::Range<usize>>,
    fault: CardFault,
}

/// The cards, as many as the head's design has; whether it was made with a cloth file
/// stands beside it.
fn cards(
    format: &CardFormat,
    (design, cloth): (Option<&Design>, bool),
    lines: CardLines,
) -> Result<Vec<Vec<Row>>, Found> {
    let mut lines = lines.0;
    count_cards(lines.len()).map_err(|fault| Found { at: None, fault })?;
    lines.sort_by_key(|(key, _)| key.span().start);
    let mut cards = Vec::with_capacity(lines.len());
    for (wanted, (key, value)) in (1u32..).zip(&lines) {
        let refuse = |at, fault| {
            Err(Found {
                at: Some(at),
                fault,
            })
        };
        let number = match number(key.get_ref()) {
            Ok(number) => number,
            Err(fault) => return refuse(key.span(), fault),
        };
        if number != wanted {
            return refuse(
                key.span(),
                CardFault::Gap {
                    wanted,
                    found: number,
                },
            );
        }
        match rows(format, CardNumber(number), value.get_ref()) {
            Ok(rows) => cards.push(rows),
            Err(fault) => return refuse(value.span(), fault),
        }
    }
    match design.and_then(|design| CardFault::other_count(cards.len(), design.picks, cloth)) {
        Some(fault) => Err(Found {
            at: lines.last().map(|(key, _)| key.span()),
            fault,
        }),
        None => Ok(cards),
    }
}

fn reading(
    format: &CardFormat,
    cards: usize,
    written: Option<Spanned<ReadFrom>>,
) -> Result<Option<ReadFrom>, Found> {
    let Some(written) = written else {
        return Ok(None);
    };
    match written.get_ref().fault(format, cards) {
        None => Ok(Some(written.into_inner())),
        Some(fault) => Err(Found {
            at: Some(written.span()),
            fault: CardFault::Reading(fault),
        }),
    }
}

fn number(key: &str) -> Result<u32, CardFault> {
    let plain = key.bytes().all(|byte| byte.is_ascii_digit()) && !key.starts_with('0');
    match key.parse() {
        Ok(number) if plain => Ok(number),
        _ => Err(CardFault::NotANumber(key.to_owned())),
    }
}

fn rows(format: &CardFormat, card: CardNumber, text: &str) -> Result<Vec<Row>, CardFault> {
    let holes = format.holes_per_row();
    let wanted = group_width(holes);
    let mut rows = Vec::with_capacity(usize::from(format.rows()));
    for (place, group) in text.split_ascii_whitespace().enumerate() {
        let (card, row) = (card.0, place + 1);
        if !group.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return Err(CardFault::NotHexadecimal {
                card,
                row,
                group: group.to_owned(),
            });
        }
        match u16::from_str_radix(group, 16) {
            Ok(bits) if group.len() == wanted => rows.push(Row(bits)),
            _ => {
                let group = group.to_owned();
                return Err(CardFault::GroupWidth {
                    card,
                    row,
                    group,
                    wanted,
                    holes,
                });
            }
        }
    }
    check_rows(format, card, &rows)?;
    Ok(rows)
}

/// Whether there are as many cards as a deck can have.
pub(super) fn count_cards(found: usize) -> Result<(), CardFault> {
    match u32::try_from(found) {
        Ok(0) => Err(CardFault::NoCards),
        Ok(1..=MOST_CARDS) => Ok(()),
        _ => Err(CardFault::TooManyCards(found)),
    }
}

/// Whether a card has the rows of its format, and no hole beyond them.
pub(super) fn check_rows(
    format: &CardFormat,
    card: CardNumber,
    rows: &[Row],
) -> Result<(), CardFault> {
    let (card, holes) = (card.0, format.holes_per_row());
    if rows.len() != usize::from(format.rows()) {
        let format_name = format.name().to_owned();
        return Err(CardFault::Rows {
            card,
            found: rows.len(),
            wanted: format.rows(),
            format: format_name,
        });
    }
    for (place, row) in rows.iter().enumerate() {
        if let Some(hole) = row.holes().find(|hole| *hole > holes) {
            return Err(CardFault::HoleBeyond {
                card,
                row: place + 1,
                hole,
                holes,
            });
        }
    }
    Ok(())
}
