//! The ledger: what was cut, found and recut, on disk. It is the only place
//! with SQL.
//!
//! Enters: decks, jobs, attempts with their verdicts and raw readings, units
//! and events, each with the caller's time. Leaves: the same as plain rows,
//! which cards are good, what was left open, and numbers that were never used
//! before. Refuses: a second writer, a database newer than it knows or not a
//! ledger, a card identity used twice, a verdict changed after the fact, and a
//! good card without readings.
//!
//! # Safe at power loss
//! SQLite keeps a write-ahead log with `synchronous=FULL`: a commit returns
//! only after the log is on the disk, at the cost of one flush a commit (a
//! rollback journal needs three to four, and `EXTRA` for the directory as
//! well), and lists can be read while a job writes. See "Write-Ahead Logging"
//! and "PRAGMA synchronous" in SQLite's documentation. After an unclean end
//! the next writer checks the whole file before it trusts it.

mod begun;
mod error;
pub mod export;
mod file;
mod judged;
mod lists;
mod lock;
mod loom_unit;
mod migrations;
mod read;
mod readings;
mod rows;
mod types;
mod upkeep;
mod weaving;
mod words;
mod write;
pub mod writer;

pub use error::{LedgerError, START_AGAIN};
pub use judged::judged;
pub use lock::LOCK_FILE;
pub use migrations::newest_form;
pub use rows::*;
pub use types::*;
pub use weaving::*;
pub use words::{Ending, EventKind, JobKind, Verdict};
pub(crate) use write::spaced;

use cardwright_protocol::JobNumber;
use file::{check, log_length, make_dir, read_form, set_up, sync_dir, unchanging_name};
use lock::Lock;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::cell::Cell;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use write::Batch;

/// Name of the database in the data directory.
pub const FILE: &str = "ledger.sqlite";

/// How long to wait for a program that holds the database.
const BUSY_LIMIT: Duration = Duration::from_secs(5);

/// An open ledger. One that writes holds the data directory's lock.
#[derive(Debug)]
pub struct Ledger {
    // Fields are dropped in this order: the database closes before the lock
    // is let go.
    conn: Connection,
    dir: PathBuf,
    /// The file's own number, if it is written.
    number: Option<(u64, u64)>,
    /// The log's, once there is one.
    log: Cell<Option<(u64, u64)>>,
    _lock: Option<Lock>,
}

impl Ledger {
    /// Whether a file is one of the ledger's own, which nothing else may be written to.
    #[must_use]
    pub fn is_own_file(&self, file: &Path) -> bool {
        file::is_own(&self.dir, file)
    }

    /// Opens the ledger in `dir` to write it, making directory and file if
    /// they are not there and bringing an earlier form up to date.
    ///
    /// # Errors
    /// Another writer, a newer form, another program's database, damage, a
    /// full disk, missing rights; see [`LedgerError`].
    pub fn open(dir: &Path) -> Result<Ledger, LedgerError> {
        make_dir(dir)?;
        let lock = Lock::take(dir)?;
        let unclean = log_length(dir) > 0;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let sql = |error: rusqlite::Error| LedgerError::from_sql(dir, &error);
        let mut conn = Connection::open_with_flags(dir.join(FILE), flags).map_err(sql)?;
        conn.busy_timeout(BUSY_LIMIT).map_err(sql)?;
        // Before anything is changed in a file that may not be ours.
        let found = migrations::form_of(&conn, dir)?;
        if found > newest_form() {
            let known = newest_form();
            return Err(LedgerError::Newer {
                dir: dir.to_path_buf(),
                found,
                known,
            });
        }
        set_up(&conn, dir)?;
        if unclean {
            check(&conn, dir)?;
        }
        migrations::migrate(&mut conn, dir, migrations::STEPS)?;
        if found == 0 {
            sync_dir(dir)?;
        }
        Ok(Ledger {
            conn,
            dir: dir.to_path_buf(),
            number: file::number(&dir.join(FILE)),
            log: Cell::new(None),
            _lock: Some(lock),
        })
    }

    /// What is written to a file that was removed is lost, and nothing says so.
    fn still_there(&self) -> Result<(), LedgerError> {
        let file = self.dir.join(FILE);
        if file::number(&file) != self.number {
            return Err(LedgerError::Gone { file });
        }
        let file = self.dir.join(format!("{FILE}-wal"));
        let (was, is) = (self.log.get(), file::number(&file));
        if was.is_some() && was != is {
            return Err(LedgerError::Gone { file });
        }
        self.log.set(is);
        Ok(())
    }

    /// Opens the ledger in `dir` only to read it, without the lock; a writer
    /// may be at work meanwhile.
    ///
    /// # Errors
    /// [`LedgerError::Absent`], an earlier or newer form, another program's
    /// database, damage, missing rights; see [`LedgerError`].
    pub fn open_read_only(dir: &Path) -> Result<Ledger, LedgerError> {
        let file = dir.join(FILE);
        match fs::metadata(&file) {
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Err(LedgerError::Absent {
                    dir: dir.to_path_buf(),
                });
            }
            Err(error) => return Err(LedgerError::from_io(&file, "read", &error)),
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let (conn, found) = match read_form(&file, dir, flags) {
            // The log's index cannot be made beside a file that may not be
            // written. With no log there is nothing in it to miss.
            Err(LedgerError::Permission { .. }) if log_length(dir) == 0 => {
                let name = unchanging_name(&file).ok_or_else(|| LedgerError::Absent {
                    dir: dir.to_path_buf(),
                })?;
                read_form(Path::new(&name), dir, flags | OpenFlags::SQLITE_OPEN_URI)?
            }
            other => other?,
        };
        let (dir, known) = (dir.to_path_buf(), newest_form());
        match found {
            // A writer has made the file and not yet its tables.
            0 => Err(LedgerError::Absent { dir }),
            _ if found < known => Err(LedgerError::Older { dir, found, known }),
            _ if found > known => Err(LedgerError::Newer { dir, found, known }),
            _ => Ok(Ledger {
                conn,
                dir,
                number: None,
                log: Cell::new(None),
                _lock: None,
            }),
        }
    }

    /// The data directory.
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Closes the ledger, folds its log into the file and lets the lock go.
    /// Dropping it does the same without saying what went wrong.
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk; what was committed stays so.
    pub fn close(self) -> Result<(), LedgerError> {
        let Ledger {
            conn, dir, _lock, ..
        } = self;
        conn.close()
            .map_err(|(_, error)| LedgerError::from_sql(&dir, &error))
    }

    /// Reads several things as they stand at one moment, whatever a writer does
    /// meanwhile.
    ///
    /// # Errors
    /// Those of `read`, and as [`LedgerError`] says for damage and disk.
    pub fn at_one_moment<T, E: From<LedgerError>>(
        &self,
        read: impl FnOnce() -> Result<T, E>,
    ) -> Result<T, E> {
        let tx = Transaction::new_unchecked(&self.conn, TransactionBehavior::Deferred)
            .map_err(|error| LedgerError::from_sql(&self.dir, &error))?;
        let value = read();
        drop(tx);
        value
    }

    /// Does `work` in one transaction: all of it is on disk when this returns
    /// `Ok`, and none of it otherwise.
    fn in_one<T>(
        &mut self,
        work: impl FnOnce(&Batch<'_>) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        self.still_there()?;
        let sql = |error: rusqlite::Error| LedgerError::from_sql(&self.dir, &error);
        let tx = self
            .conn
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sql)?;
        let value = work(&Batch {
            conn: &tx,
            dir: &self.dir,
        })?;
        tx.commit().map_err(sql)?;
        Ok(value)
    }

    /// Writes down a job that begins, and its deck. Its number was never used
    /// before.
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk.
    pub fn begin_job(&mut self, job: &NewJob) -> Result<JobNumber, LedgerError> {
        self.in_one(|batch| batch.begin_job(job))
    }

    /// Writes down which unit does the job, once that is known.
    ///
    /// # Errors
    /// No such job, a job that has ended, and for the disk.
    pub fn job_unit(&mut self, job: JobNumber, unit: BoardId) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.job_unit(job, unit))
    }

    /// Writes down how a job ended. Its open attempts stay open: only what is
    /// known about them ends them.
    ///
    /// # Errors
    /// No such job, a job that has ended, and for the disk.
    pub fn end_job(
        &mut self,
        job: JobNumber,
        ending: Ending,
        at: UnixMillis,
    ) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.end_job(job, ending, at))
    }

    /// Ends as failed the jobs that a program left open which was killed. Only for
    /// whoever has just taken the lock: no job is at work then. Those that cut stay
    /// open, as a later run takes them up.
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk.
    pub fn end_abandoned(&mut self, at: UnixMillis) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.end_abandoned(at))
    }

    /// Writes down cards that are about to be sent, all or none.
    ///
    /// # Errors
    /// An identity used before, no such job, a job that has ended, the disk.
    pub fn attempt_sent(&mut self, attempts: &[NewAttempt]) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.attempt_sent(attempts))
    }

    /// Writes down the end of an attempt, with its readings. It cannot be
    /// changed afterwards.
    ///
    /// # Errors
    /// No such attempt, one that has ended, an end that contradicts itself,
    /// and for the disk.
    pub fn attempt_ended(&mut self, end: &EndedAttempt) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.attempt_ended(end))
    }

    /// Writes down a unit that has said what it is.
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk.
    pub fn unit_seen(&mut self, unit: &SeenUnit) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.unit_seen(unit))
    }

    /// Writes down what a unit was found to be like.
    ///
    /// # Errors
    /// As [`LedgerError`] says for the disk.
    pub fn calibrated(&mut self, found: &NewCalibration) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.calibrated(found))
    }

    /// Writes down something that happened.
    ///
    /// # Errors
    /// No such job, and for the disk.
    pub fn event(&mut self, event: &NewEvent) -> Result<(), LedgerError> {
        self.in_one(|batch| batch.event(event))
    }

    /// A link session number that was never used before with this ledger, from
    /// 1. It is on disk before it is given out.
    ///
    /// # Errors
    /// No numbers left, and for the disk.
    pub fn next_session(&mut self) -> Result<u32, LedgerError> {
        self.in_one(|batch| batch.next_session())
    }
}
