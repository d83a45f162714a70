//! What can go wrong with the ledger. Each error says what happened, where,
//! and what a person can do about it.

use super::types::BoardId;
use cardwright_protocol::{CardId, JobNumber};
use rusqlite::ErrorCode;
use std::io;
use std::path::{Path, PathBuf};

/// What to do once the cause is mended that stopped the ledger's writer.
pub const START_AGAIN: &str = "end `cardwright serve` and start it again";

/// Why the ledger was not opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// There is no ledger to read.
    #[error("there is no ledger in {dir} yet: nothing has been recorded there; cut a deck first or give another --data DIR", dir = .dir.display())]
    Absent {
        /// The data directory.
        dir: PathBuf,
    },
    /// Another process writes it.
    #[error("another cardwright ({process}) is using the ledger in {dir}; stop it or give another --data DIR", dir = .dir.display(), process = .process.map_or_else(|| "process unknown".to_string(), |id| format!("process {id}")))]
    Locked {
        /// The data directory.
        dir: PathBuf,
        /// The other process's number, if it could be read.
        process: Option<u32>,
    },
    /// It was written by a later program.
    #[error("the ledger in {dir} has form {found} and this program knows forms up to {known}; use the newer cardwright that wrote it, or give another --data DIR", dir = .dir.display())]
    Newer {
        /// The data directory.
        dir: PathBuf,
        /// The form found.
        found: i64,
        /// The newest form this program knows.
        known: i64,
    },
    /// It was written by an earlier program and was opened only to be read.
    #[error("the ledger in {dir} has the earlier form {found} and reading alone cannot bring it to form {known}; run a command that writes it, such as a cut, once", dir = .dir.display())]
    Older {
        /// The data directory.
        dir: PathBuf,
        /// The form found.
        found: i64,
        /// The form wanted.
        known: i64,
    },
    /// The file is SQLite's but not a ledger.
    #[error("{file} is a database of another program, not a ledger; move it away or give another --data DIR", file = .file.display())]
    Foreign {
        /// The database file.
        file: PathBuf,
    },
    /// The disk is full.
    #[error("the disk holding {dir} is full; free some space and run the command again; everything recorded so far is kept", dir = .dir.display())]
    DiskFull {
        /// The data directory.
        dir: PathBuf,
    },
    /// The file is damaged.
    #[error("the ledger {file} is damaged ({cause}); move it away together with its -wal file, put the last copy back or begin with a new one, and keep the damaged files: much of them may still be readable", file = .file.display())]
    Corrupt {
        /// The database file.
        file: PathBuf,
        /// What SQLite says.
        cause: String,
    },
    /// It was taken away while it was in use.
    #[error("the ledger {file} was removed or replaced while it was in use, and what happens now cannot be recorded; put it back if you have it, then run the command again", file = .file.display())]
    Gone {
        /// The database file.
        file: PathBuf,
    },
    /// It may not be read or written.
    #[error("{path} may not be {what} ({cause}); give yourself the right to it or give another --data DIR", path = .path.display())]
    Permission {
        /// The file or directory.
        path: PathBuf,
        /// `read` or `written`.
        what: &'static str,
        /// What the system says.
        cause: String,
    },
    /// Any other trouble with the disk.
    #[error("{path} could not be used ({cause}); check the disk, or give another --data DIR; everything recorded so far is kept", path = .path.display())]
    Disk {
        /// The file or directory.
        path: PathBuf,
        /// What the system says.
        cause: String,
    },
    /// A reader or another program holds the database for too long.
    #[error("the ledger {file} stayed busy; close other programs that have it open and run the command again", file = .file.display())]
    Busy {
        /// The database file.
        file: PathBuf,
    },
    /// There is no such piece.
    #[error("there is no piece {piece} in the ledger; `ledger pieces` lists those there are")]
    NoSuchPiece {
        /// Which.
        piece: u32,
    },
    /// A loom unit tells of another event under the number of one that is stored.
    #[error(
        "unit {board} says that it is in boot {boot}, and its event {event} is not the one the ledger has from a boot of that number: its count of boots has begun again, as after new firmware; switch the unit off and on, so that it takes another boot number, then run the command again"
    )]
    BootUsed {
        /// The unit.
        board: BoardId,
        /// The boot.
        boot: u32,
        /// The event.
        event: u32,
    },
    /// The database does not take what one request writes.
    #[error("the ledger {file} does not take this ({cause}); nothing of it was written, and this is a fault of the program", file = .file.display())]
    Misfit {
        /// The database file.
        file: PathBuf,
        /// What SQLite says.
        cause: String,
    },
    /// There is no such job.
    #[error("there is no job {number} in the ledger; `ledger` lists the jobs there are", number = .0.0)]
    NoSuchJob(JobNumber),
    /// The job has ended.
    #[error("job {number} has ended and takes no more cards; begin a new one", number = .0.0)]
    JobEnded(JobNumber),
    /// This identity was used before.
    #[error("{} was sent before and is never sent twice; take the next attempt number", name(.0))]
    AttemptUsed(CardId),
    /// There is no such attempt.
    #[error("{} was never recorded as sent, so its end is not recorded", name(.0))]
    NoSuchAttempt(CardId),
    /// The attempt has ended; its verdict stands.
    #[error("{} has ended already and its verdict stands; cut the card again as a new attempt", name(.0))]
    AttemptEnded(CardId),
    /// The end of an attempt contradicts itself.
    #[error("the end of {} is not recorded: {cause}", name(.id))]
    Contradiction {
        /// Which.
        id: CardId,
        /// What does not fit.
        cause: &'static str,
    },
    /// A number has reached its end.
    #[error("the ledger in {dir} has no {what} numbers left; begin a new one with --data DIR", dir = .dir.display())]
    UsedUp {
        /// The data directory.
        dir: PathBuf,
        /// Which number.
        what: &'static str,
    },
    /// The writer has stopped after an earlier error.
    #[error(
        "the ledger is no longer written, because of an earlier error: {0}; when that is mended, {START_AGAIN}"
    )]
    WriterStopped(String),
}

/// A card's identity in words.
fn name(id: &CardId) -> String {
    format!(
        "attempt {} at card {} of job {}",
        id.attempt.0, id.card.0, id.job.0
    )
}

impl LedgerError {
    /// Whether what failed is the one request, and not the ledger itself.
    #[must_use]
    pub fn is_of_the_request(&self) -> bool {
        matches!(
            self,
            LedgerError::NoSuchJob(_)
                | LedgerError::NoSuchPiece { .. }
                | LedgerError::BootUsed { .. }
                | LedgerError::Misfit { .. }
                | LedgerError::JobEnded(_)
                | LedgerError::AttemptUsed(_)
                | LedgerError::NoSuchAttempt(_)
                | LedgerError::AttemptEnded(_)
                | LedgerError::Contradiction { .. }
        )
    }

    /// From the system's error at `path`.
    pub(super) fn from_io(path: &Path, what: &'static str, error: &io::Error) -> LedgerError {
        let path = path.to_path_buf();
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => LedgerError::DiskFull {
                dir: path.parent().map(Path::to_path_buf).unwrap_or(path),
            },
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                LedgerError::Permission {
                    path,
                    what,
                    cause: error.to_string(),
                }
            }
            _ => LedgerError::Disk {
                path,
                cause: error.to_string(),
            },
        }
    }

    /// From SQLite's error about the database in `dir`.
    pub(super) fn from_sql(dir: &Path, error: &rusqlite::Error) -> LedgerError {
        let file = dir.join(super::FILE);
        let cause = error.to_string();
        let Some(code) = error.sqlite_error() else {
            // A column that does not hold what the program put there.
            return LedgerError::Corrupt { file, cause };
        };
        match code.code {
            ErrorCode::DiskFull => LedgerError::DiskFull {
                dir: dir.to_path_buf(),
            },
            // The index of the write-ahead log could not grow.
            ErrorCode::SystemIoFailure
                if code.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE =>
            {
                LedgerError::DiskFull {
                    dir: dir.to_path_buf(),
                }
            }
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => {
                LedgerError::Corrupt { file, cause }
            }
            ErrorCode::ReadOnly | ErrorCode::PermissionDenied => LedgerError::Permission {
                path: file,
                what: "written",
                cause,
            },
            ErrorCode::CannotOpen => LedgerError::Permission {
                path: file,
                what: "read",
                cause,
            },
            ErrorCode::ConstraintViolation => LedgerError::Misfit { file, cause },
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => LedgerError::Busy { file },
            _ => LedgerError::Disk { path: file, cause },
        }
    }
}
