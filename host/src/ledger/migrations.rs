//! The forms the ledger has had. Enters: a database of any form this program
//! knows, or an empty one. Leaves: the newest form, or the old one untouched.
//! Refuses: a form newer than it knows, and other programs' databases.
//!
//! The form is SQLite's own `user_version`. All steps are made in one
//! transaction, so that a power cut leaves the old form or the new one.

use super::error::LedgerError;
use rusqlite::{Connection, TransactionBehavior};
use std::path::Path;

/// Step `n` (from 0) brings form `n` to form `n + 1`. It only grows, and a
/// step that was released is never edited.
pub(super) const STEPS: &[&str] = &[
    include_str!("migrations/0001.sql"),
    include_str!("migrations/0002.sql"),
    include_str!("migrations/0003.sql"),
    include_str!("migrations/0004.sql"),
];

/// Marks the file as a ledger: "CWrd" in ASCII.
pub(super) const APPLICATION_ID: i64 = 0x4357_7264;

/// The newest form this program knows.
#[must_use]
pub fn newest_form() -> i64 {
    STEPS.len() as i64
}

/// The form of the database, 0 if it is empty.
pub(super) fn form_of(conn: &Connection, dir: &Path) -> Result<i64, LedgerError> {
    let ask = |sql: &str| conn.query_row(sql, [], |row| row.get::<_, i64>(0));
    let read = || {
        let form = ask("PRAGMA user_version")?;
        let application = ask("PRAGMA application_id")?;
        let things = ask("SELECT count(*) FROM sqlite_schema")?;
        Ok((form, application, things))
    };
    let (form, application, things) = read().map_err(|e| LedgerError::from_sql(dir, &e))?;
    match (application, form, things) {
        (APPLICATION_ID, form, _) if form > 0 => Ok(form),
        (0, 0, 0) => Ok(0),
        _ => Err(LedgerError::Foreign {
            file: dir.join(super::FILE),
        }),
    }
}

/// Brings the database to the form that `steps` lead to.
pub(super) fn migrate(
    conn: &mut Connection,
    dir: &Path,
    steps: &[&str],
) -> Result<(), LedgerError> {
    let known = steps.len() as i64;
    let found = form_of(conn, dir)?;
    if found > known {
        return Err(LedgerError::Newer {
            dir: dir.to_path_buf(),
            found,
            known,
        });
    }
    if found == known {
        return Ok(());
    }
    let done = usize::try_from(found).unwrap_or_default();
    let mut bring = || {
        let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for step in steps.iter().skip(done) {
            tx.execute_batch(step)?;
        }
        tx.pragma_update(None, "application_id", APPLICATION_ID)?;
        tx.pragma_update(None, "user_version", known)?;
        tx.commit()
    };
    bring().map_err(|e| LedgerError::from_sql(dir, &e))
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_A: &str = "CREATE TABLE a (x INTEGER) STRICT; INSERT INTO a VALUES (7);";
    const STEP_B: &str = "ALTER TABLE a ADD COLUMN y INTEGER; UPDATE a SET y = x * 2;";
    const STEP_BAD: &str = "CREATE TABLE b (z INTEGER); SELECT nothing FROM nowhere;";

    #[test]
    fn only_the_steps_that_are_wanting_are_made() -> Result<(), Box<dyn std::error::Error>> {
        let mut conn = Connection::open_in_memory()?;
        let dir = Path::new("there");
        migrate(&mut conn, dir, &[STEP_A])?;
        assert_eq!(form_of(&conn, dir)?, 1);
        migrate(&mut conn, dir, &[STEP_A, STEP_B])?;
        migrate(&mut conn, dir, &[STEP_A, STEP_B])?;
        assert_eq!(form_of(&conn, dir)?, 2);
        let rows: (i64, i64) = conn.query_row("SELECT count(*), sum(y) FROM a", [], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })?;
        assert_eq!(rows, (1, 14));
        Ok(())
    }

    #[test]
    fn a_step_that_fails_leaves_the_old_form() -> Result<(), Box<dyn std::error::Error>> {
        let mut conn = Connection::open_in_memory()?;
        let dir = Path::new("there");
        migrate(&mut conn, dir, &[STEP_A])?;
        assert!(migrate(&mut conn, dir, &[STEP_A, STEP_B, STEP_BAD]).is_err());
        assert_eq!(form_of(&conn, dir)?, 1);
        let columns: i64 =
            conn.query_row("SELECT count(*) FROM pragma_table_info('a')", [], |r| {
                r.get(0)
            })?;
        assert_eq!(
            columns, 1,
            "step B was taken back with the step that failed"
        );
        Ok(())
    }

    #[test]
    fn a_newer_form_is_refused() -> Result<(), Box<dyn std::error::Error>> {
        let mut conn = Connection::open_in_memory()?;
        let dir = Path::new("there");
        migrate(&mut conn, dir, &[STEP_A, STEP_B])?;
        let error = migrate(&mut conn, dir, &[STEP_A]);
        assert!(
            matches!(
                error,
                Err(LedgerError::Newer {
                    found: 2,
                    known: 1,
                    ..
                })
            ),
            "{error:?}"
        );
        Ok(())
    }
}
