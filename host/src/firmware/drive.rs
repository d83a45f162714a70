//! The drive that a board shows while it is in its bootloader. Enters: what is
//! mounted, an image. Leaves: the image on the drive. Refuses: every other
//! directory.
//!
//! Source: RP2040 Datasheet, Raspberry Pi Ltd, 2.8.4: the drive is a FAT file
//! system, holds INFO_UF2.TXT, and the board restarts by itself when the last
//! block has come.

use std::ffi::OsString;
use std::fs::File;
use std::io::{Read as _, Write as _};
use std::os::unix::ffi::OsStringExt as _;
use std::path::{Path, PathBuf};

use rustix::io::Errno;

/// The system's list of what is mounted.
const MOUNTS: &str = "/proc/self/mounts";

/// What the bootloader's drive says of itself, and in which file.
const INFO: &str = "INFO_UF2.TXT";
const BOARD: &str = "Board-ID:";
const THIS_BOARD: &str = "RPI-RP2";

/// Longest such file that is read.
const MOST_INFO: u64 = 4096;

/// The image's name there. It does not stay.
const NAME: &str = "CARDRIG.UF2";

/// Why an image is not on a board.
#[derive(Debug, thiserror::Error)]
pub enum DriveError {
    /// What is mounted is not known.
    #[error("{MOUNTS} cannot be read: {0}; give the drive as --drive DIR")]
    Mounts(std::io::Error),
    /// No board is in its bootloader.
    #[error(
        "no board is in its bootloader; hold its BOOTSEL button down while plugging its cable in, with no other supply on, mount the drive RPI-RP2 if the desktop does not, or give the drive as --drive DIR"
    )]
    None,
    /// Several are.
    #[error("several boards are in their bootloaders: {}; give one as --drive DIR", list(.0))]
    Several(Vec<PathBuf>),
    /// Not that kind of drive.
    #[error(
        "{dir} is not the drive of a board in its bootloader: {why}; hold the board's BOOTSEL button down while plugging its cable in, with no other supply on, then give the drive RPI-RP2"
    )]
    NotADrive {
        /// The directory.
        dir: String,
        /// What it lacks.
        why: String,
    },
    /// It broke off.
    #[error(
        "the image could not be written to {path}: {cause}; the board is still in its bootloader or gets there with BOOTSEL: run the command again"
    )]
    Write {
        /// The file.
        path: String,
        /// What the system says.
        cause: std::io::Error,
    },
}

impl DriveError {
    /// The exit status: 2 if something can be put right in the command or at
    /// the board first, 3 if the board failed.
    #[must_use]
    pub fn exit(&self) -> u8 {
        match self {
            DriveError::Write { .. } => 3,
            _ => 2,
        }
    }
}

fn list(dirs: &[PathBuf]) -> String {
    let dirs = dirs.iter().map(|dir| dir.display().to_string());
    dirs.collect::<Vec<_>>().join(", ")
}

/// How the copying ended, all bytes being written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Copied {
    /// The system has confirmed it.
    Confirmed,
    /// The drive went away first: the board restarted.
    DriveGone,
}

/// The drive of the one board that is in its bootloader.
///
/// # Errors
/// [`DriveError`] if there is none or there are several.
pub fn find() -> Result<PathBuf, DriveError> {
    let mounts = std::fs::read(MOUNTS).map_err(DriveError::Mounts)?;
    one_of(fat_file_systems(&mounts))
}

/// The one among `dirs` that is a bootloader's drive.
///
/// # Errors
/// [`DriveError::None`] or [`DriveError::Several`].
pub fn one_of(dirs: Vec<PathBuf>) -> Result<PathBuf, DriveError> {
    let drives = dirs.into_iter().filter(|dir| check(dir).is_ok());
    match <[_; 1]>::try_from(drives.collect::<Vec<_>>()) {
        Ok([drive]) => Ok(drive),
        Err(drives) if drives.is_empty() => Err(DriveError::None),
        Err(drives) => Err(DriveError::Several(drives)),
    }
}

/// Where FAT file systems are mounted; no other is looked at, for one on a
/// network may not answer. Spaces and the like are written in octal (proc(5),
/// fstab(5)).
#[must_use]
pub fn fat_file_systems(mounts: &[u8]) -> Vec<PathBuf> {
    let mut dirs = Vec::new();
    for line in mounts.split(|byte| *byte == b'\n') {
        let mut fields = line.split(|byte| *byte == b' ').skip(1);
        if let (Some(dir), Some(b"vfat" | b"msdos")) = (fields.next(), fields.next()) {
            dirs.push(PathBuf::from(OsString::from_vec(unescaped(dir))));
        }
    }
    dirs.sort();
    dirs.dedup();
    dirs
}

fn unescaped(field: &[u8]) -> Vec<u8> {
    let mut rest = field;
    let mut plain = Vec::with_capacity(field.len());
    while let [first, after @ ..] = rest {
        rest = after;
        let octal = after.get(..3).filter(|_| *first == b'\\');
        let octal = octal.and_then(|digits| std::str::from_utf8(digits).ok());
        match octal.and_then(|digits| u8::from_str_radix(digits, 8).ok()) {
            Some(byte) => {
                plain.push(byte);
                rest = after.get(3..).unwrap_or_default();
            }
            None => plain.push(*first),
        }
    }
    plain
}

/// Whether `dir` is the drive of a board of this kind.
///
/// # Errors
/// [`DriveError::NotADrive`] with what it lacks.
pub fn check(dir: &Path) -> Result<(), DriveError> {
    let refused = |why: String| DriveError::NotADrive {
        dir: dir.display().to_string(),
        why,
    };
    let text = info(&dir.join(INFO)).map_err(|error| refused(format!("{INFO}: {error}")))?;
    let board = text.lines().find_map(|line| line.strip_prefix(BOARD));
    match board.map(str::trim) {
        Some(THIS_BOARD) => Ok(()),
        Some(other) => Err(refused(format!(
            "its board is `{}`, not {THIS_BOARD}",
            other.escape_default()
        ))),
        None => Err(refused(format!("{INFO} names no board"))),
    }
}

fn info(path: &Path) -> std::io::Result<String> {
    crate::input::plain(path)?;
    let mut bytes = Vec::new();
    File::open(path)?.take(MOST_INFO).read_to_end(&mut bytes)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Copies an image onto the drive and has it written through. A drive that goes
/// away once every byte was taken has done its work: the board restarts.
///
/// # Errors
/// [`DriveError::Write`] if not every byte was taken.
pub fn copy(image: &[u8], drive: &Path) -> Result<Copied, DriveError> {
    let path = drive.join(NAME);
    let failed = |cause| DriveError::Write {
        path: path.display().to_string(),
        cause,
    };
    let mut file = File::create(&path).map_err(failed)?;
    file.write_all(image).map_err(failed)?;
    match file.sync_all() {
        Ok(()) => Ok(Copied::Confirmed),
        Err(cause) if is_gone(&cause) || check(drive).is_err() => Ok(Copied::DriveGone),
        Err(cause) => Err(failed(cause)),
    }
}

/// Whether it is what the system says of a device that is no longer there.
fn is_gone(cause: &std::io::Error) -> bool {
    let code = cause.raw_os_error().map(Errno::from_raw_os_error);
    matches!(code, Some(Errno::IO | Errno::NODEV | Errno::NXIO))
}
