//! The file under the ledger. Enters: the data directory. Leaves: a connection
//! with the settings that make a commit safe. Refuses: a disk that cannot keep
//! a write-ahead log, and a damaged file.

use super::error::LedgerError;
use super::{BUSY_LIMIT, FILE, LOCK_FILE, migrations};
use rusqlite::{Connection, OpenFlags};
use std::fs::{self, File};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// What makes a file this one and no other of its name: its disk and its number there.
pub(super) fn number(path: &Path) -> Option<(u64, u64)> {
    let of = fs::metadata(path).ok()?;
    Some((of.dev(), of.ino()))
}

/// Whether this is one of the ledger's own files in `dir`, by whatever name or link, or
/// stands where one of them is to be.
pub(super) fn is_own(dir: &Path, file: &Path) -> bool {
    let names = [
        FILE.to_string(),
        format!("{FILE}-wal"),
        format!("{FILE}-shm"),
        LOCK_FILE.to_string(),
    ];
    let there = number(file);
    if there.is_some() && names.iter().any(|name| number(&dir.join(name)) == there) {
        return true;
    }
    let folder = file
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = number(folder.unwrap_or(Path::new(".")));
    let name = file.file_name().and_then(|name| name.to_str());
    folder.is_some() && folder == number(dir) && names.iter().any(|own| Some(own.as_str()) == name)
}

/// Settings of the connection that writes.
pub(super) fn set_up(conn: &Connection, dir: &Path) -> Result<(), LedgerError> {
    let set = || {
        let mode: String =
            conn.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
        conn.pragma_update(None, "synchronous", "FULL")?;
        conn.pragma_update(None, "foreign_keys", true)?;
        Ok(mode)
    };
    match set().map_err(|error| LedgerError::from_sql(dir, &error))? {
        mode if mode == "wal" => Ok(()),
        _ => Err(LedgerError::Disk {
            path: dir.join(FILE),
            cause: "this disk cannot keep a write-ahead log, as some network disks cannot"
                .to_string(),
        }),
    }
}

/// Looks through the whole file.
pub(super) fn check(conn: &Connection, dir: &Path) -> Result<(), LedgerError> {
    let word: String = conn
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|error| LedgerError::from_sql(dir, &error))?;
    if word == "ok" {
        Ok(())
    } else {
        Err(LedgerError::Corrupt {
            file: dir.join(FILE),
            cause: word,
        })
    }
}

pub(super) fn read_form(
    file: &Path,
    dir: &Path,
    flags: OpenFlags,
) -> Result<(Connection, i64), LedgerError> {
    let open = || {
        let conn = Connection::open_with_flags(file, flags)?;
        conn.busy_timeout(BUSY_LIMIT)?;
        Ok(conn)
    };
    let conn = open().map_err(|error| LedgerError::from_sql(dir, &error))?;
    let found = migrations::form_of(&conn, dir)?;
    Ok((conn, found))
}

/// SQLite's name for a file that nobody changes meanwhile ("URI Filenames" in
/// its documentation).
pub(super) fn unchanging_name(file: &Path) -> Option<String> {
    let file = std::path::absolute(file).ok()?;
    let name = file
        .to_str()?
        .replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23");
    Some(format!("file:{name}?immutable=1"))
}

/// Bytes in the write-ahead log; more than none after an unclean end or while
/// a writer is at work.
pub(super) fn log_length(dir: &Path) -> u64 {
    fs::metadata(dir.join(format!("{FILE}-wal"))).map_or(0, |meta| meta.len())
}

/// Makes the directory, on disk, if it is not there.
pub(super) fn make_dir(dir: &Path) -> Result<(), LedgerError> {
    if dir.is_dir() {
        return Ok(());
    }
    fs::create_dir_all(dir).map_err(|error| LedgerError::from_io(dir, "written", &error))?;
    dir.parent()
        .filter(|above| !above.as_os_str().is_empty())
        .map_or(Ok(()), sync_dir)
}

/// Writes a directory's list of names to the disk, where the system lets it.
pub(super) fn sync_dir(dir: &Path) -> Result<(), LedgerError> {
    if cfg!(unix) {
        let synced = File::open(dir).and_then(|open| open.sync_all());
        synced.map_err(|error| LedgerError::from_io(dir, "written", &error))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use crate::ledger::Ledger;

    /// The values of `PRAGMA synchronous` are those of SQLite's documentation:
    /// 0 off, 1 normal, 2 full, 3 extra.
    #[test]
    fn the_writing_connection_is_safe_at_power_loss() -> Result<(), Box<dyn std::error::Error>> {
        let dir = tempfile::tempdir()?;
        for opened in ["new", "found"] {
            let ledger = Ledger::open(dir.path())?;
            let ask = |what| ledger.conn.pragma_query_value(None, what, |row| row.get(0));
            let synchronous: i64 = ask("synchronous")?;
            assert_eq!(synchronous, 2, "{opened}");
            let foreign_keys: i64 = ask("foreign_keys")?;
            assert_eq!(foreign_keys, 1, "{opened}");
            let mode: String = ledger
                .conn
                .pragma_query_value(None, "journal_mode", |row| row.get(0))?;
            assert_eq!(mode, "wal", "{opened}");
        }
        Ok(())
    }
}
