//! One writer a data directory. Enters: the directory. Leaves: a lock that
//! lasts as long as its value. Refuses: a second one, naming the first.
//!
//! The lock is the system's lock on an open file, so it goes with the process
//! however that ends; the file itself stays, for removing it would let two
//! processes hold locks on two files of one name.

use super::error::LedgerError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::Path;

/// Name of the lock file in the data directory.
pub const LOCK_FILE: &str = "ledger.lock";

/// The lock. Let go when dropped.
#[derive(Debug)]
pub(super) struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of `dir`, or says who has it.
    pub fn take(dir: &Path) -> Result<Lock, LedgerError> {
        let path = dir.join(LOCK_FILE);
        let fail = |error: &std::io::Error| LedgerError::from_io(&path, "written", error);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|error| fail(&error))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(LedgerError::Locked {
                    dir: dir.to_path_buf(),
                    process: holder(&mut file),
                });
            }
            Err(TryLockError::Error(error)) => return Err(fail(&error)),
        }
        let written = file
            .set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| writeln!(file, "{}", std::process::id()));
        written.map_err(|error| fail(&error))?;
        Ok(Lock { _file: file })
    }
}

/// The process number in the lock file, if there is one.
fn holder(file: &mut File) -> Option<u32> {
    let mut text = String::new();
    file.take(32).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}
