//! Writing what a person names. Enters: a path and what the file is to hold.
//! Leaves: the file, whole or not at all. Refuses: to write over a file unasked,
//! or over one that its owner has protected.

use std::io::{Error, ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Why a file was not written. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
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
    #[error("cannot write {}: {cause}; nothing was changed; check the folder, the permissions and the room on the disk", file.display())]
    Unwritable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: Error,
    },
}

/// The folder that a file lies in.
pub fn folder(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Whether a file could be written now: before somebody's work is asked for.
///
/// # Errors
/// As [`whole`].
pub fn may_write(file: &Path, overwrite: bool) -> Result<(), WriteError> {
    check_place(file, overwrite)?;
    let tried = part_file(folder(file));
    tried.map(drop).map_err(|cause| unwritable(file, cause))
}

/// Puts a file in its place, over an older one only if `overwrite`.
///
/// # Errors
/// Something is in the way, or what the system says; nothing is changed then.
pub fn whole(file: &Path, content: &[u8], overwrite: bool) -> Result<(), WriteError> {
    all(&[(file, content)], overwrite)
}

/// Puts several files in their places as [`whole`] does, none before all are written.
///
/// # Errors
/// As [`whole`].
pub fn all(files: &[(&Path, impl AsRef<[u8]>)], overwrite: bool) -> Result<(), WriteError> {
    let mut parts = Vec::with_capacity(files.len());
    for (file, content) in files {
        check_place(file, overwrite)?;
        let part = written(folder(file), content.as_ref()).map_err(|cause| refused(file, cause))?;
        parts.push((file, part));
    }
    for (file, part) in parts {
        keep(part, file, overwrite).map_err(|cause| refused(file, cause))?;
    }
    Ok(())
}

fn refused(file: &Path, cause: Error) -> WriteError {
    match cause.kind() {
        ErrorKind::AlreadyExists => WriteError::Exists(file.to_owned()),
        _ => unwritable(file, cause),
    }
}

fn unwritable(file: &Path, cause: Error) -> WriteError {
    // what the system said, without the name of the temporary file
    let said = cause.to_string();
    let said = said.split(" at path ").next().unwrap_or_default();
    WriteError::Unwritable {
        file: file.to_owned(),
        cause: Error::new(cause.kind(), said),
    }
}

/// A temporary file beside it, and then a rename, so that a full disk or a power cut
/// never leaves half a file under its name.
fn written(folder: &Path, content: &[u8]) -> std::io::Result<NamedTempFile> {
    let mut part = part_file(folder)?;
    part.write_all(content)?;
    part.as_file().sync_all()?;
    Ok(part)
}

fn keep(part: NamedTempFile, file: &Path, overwrite: bool) -> std::io::Result<()> {
    let kept = if overwrite {
        part.persist(file)
    } else {
        part.persist_noclobber(file)
    };
    kept.map(drop).map_err(|error| error.error)
}

/// What stands in the way under this name. A file takes another's place whatever
/// the other's permissions are, so these have to be looked at.
fn check_place(file: &Path, overwrite: bool) -> Result<(), WriteError> {
    let owned = file.to_owned();
    let Ok(found) = std::fs::metadata(file) else {
        return match std::fs::read_link(file) {
            Ok(to) => Err(WriteError::DeadLink { file: owned, to }),
            Err(_) => Ok(()),
        };
    };
    if !overwrite {
        return Err(WriteError::Exists(owned));
    }
    // the system lets root write anything
    let denied = rustix::fs::access(file, rustix::fs::Access::WRITE_OK).is_err();
    if denied || found.permissions().readonly() {
        return Err(WriteError::Protected(owned));
    }
    Ok(())
}

/// A temporary file with the permissions of an ordinary new file.
fn part_file(folder: &Path) -> std::io::Result<NamedTempFile> {
    let mut part = tempfile::Builder::new();
    #[cfg(unix)]
    let ordinary = std::os::unix::fs::PermissionsExt::from_mode(0o666);
    #[cfg(unix)]
    part.permissions(ordinary);
    part.prefix(".part-").tempfile_in(folder)
}
