//! Writing a deck file: one canonical text, put in place whole.

use super::{Cutting, DECK_VERSION, Deck, Design, ReadFrom};
use cardwright_protocol::Row;
use serde::Serialize;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Why a deck file was not written.
#[derive(Debug, thiserror::Error)]
pub enum DeckWriteError {
    /// An older file is in the way.
    #[error("{} exists already and was left as it is; choose another name, or give --force to replace it", .0.display())]
    Exists(PathBuf),
    /// An older file that its owner has protected.
    #[error("{} is write-protected and was left as it is; allow writing it (chmod u+w, as its owner), then run the command again", .0.display())]
    Protected(PathBuf),
    /// A link to nothing is in the way.
    #[error("{} is a symbolic link to {}, which is not there; remove the link, or choose another name", file.display(), to.display())]
    DeadLink {
        /// The link.
        file: PathBuf,
        /// Where it leads.
        to: PathBuf,
    },
    /// The system would not have it.
    #[error("cannot write the deck file {}: {cause}; nothing was changed; check the folder, the permissions and the room on the disk", file.display())]
    Unwritable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
}

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

/// Whether a deck's file could be written now: before somebody's work is asked for.
pub(super) fn may_write(file: &Path, overwrite: bool) -> Result<(), DeckWriteError> {
    check_place(file, overwrite)?;
    let tried = part_file(folder_of(file));
    tried.map(drop).map_err(|cause| DeckWriteError::Unwritable {
        file: file.to_owned(),
        cause,
    })
}

fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// What stands in the way under this name. A file takes another's place whatever
/// the other's permissions are, so these have to be looked at.
fn check_place(file: &Path, overwrite: bool) -> Result<(), DeckWriteError> {
    let owned = file.to_owned();
    let Ok(found) = std::fs::metadata(file) else {
        return match std::fs::read_link(file) {
            Ok(to) => Err(DeckWriteError::DeadLink { file: owned, to }),
            Err(_) => Ok(()),
        };
    };
    if !overwrite {
        return Err(DeckWriteError::Exists(owned));
    }
    // the system lets root write anything
    let denied = rustix::fs::access(file, rustix::fs::Access::WRITE_OK).is_err();
    if denied || found.permissions().readonly() {
        return Err(DeckWriteError::Protected(owned));
    }
    Ok(())
}

pub(super) fn write(deck: &Deck, file: &Path, overwrite: bool) -> Result<(), DeckWriteError> {
    check_place(file, overwrite)?;
    let folder = folder_of(file);
    let text = to_text(deck, format_file_from(deck, folder).as_deref());
    let unwritable = |cause| DeckWriteError::Unwritable {
        file: file.to_owned(),
        cause,
    };
    // A temporary file beside it and a rename, so that a full disk or a power
    // cut never leaves half a deck under its name.
    let mut part = part_file(folder).map_err(unwritable)?;
    part.write_all(text.as_bytes()).map_err(unwritable)?;
    part.as_file().sync_all().map_err(unwritable)?;
    let kept = if overwrite {
        part.persist(file)
    } else {
        part.persist_noclobber(file)
    };
    match kept {
        Ok(_) => Ok(()),
        Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {
            Err(DeckWriteError::Exists(file.to_owned()))
        }
        Err(error) => Err(unwritable(error.error)),
    }
}

/// A temporary file with the permissions of an ordinary new file.
fn part_file(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut part = tempfile::Builder::new();
    #[cfg(unix)]
    let ordinary = std::os::unix::fs::PermissionsExt::from_mode(0o666);
    #[cfg(unix)]
    part.permissions(ordinary);
    part.prefix(".deck-").tempfile_in(folder)
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
