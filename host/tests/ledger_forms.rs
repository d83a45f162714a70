//! What becomes of a user's ledger when the program is newer or older than it,
//! when the file is damaged, or when two programs want to write it.

use cardwright::ledger::{
    DeckSha, FILE, JobKind, LOCK_FILE, Ledger, LedgerError, NewJob, UnixMillis, Verdict,
    newest_form,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rusqlite::Connection;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

type Tested = Result<(), Box<dyn Error>>;

fn id(job: u32, card: u32, attempt: u32) -> CardId {
    CardId {
        job: JobNumber(job),
        card: CardNumber(card),
        attempt: Attempt(attempt),
    }
}

fn new_job() -> NewJob {
    let settings = serde_json::json!({});
    NewJob {
        kind: JobKind::Cut,
        deck: None,
        unit: None,
        settings,
        started: UnixMillis(1),
    }
}

/// A ledger as an earlier program left it.
fn ledger_of_form(form: i64, dir: &Path) -> Tested {
    let name = format!("tests/ledger_form_{form}.sql");
    let dump = Path::new(env!("CARGO_MANIFEST_DIR")).join(&name);
    let text = fs::read_to_string(&dump)
        .map_err(|error| format!("form {form} has no frozen ledger in {name}: {error}"))?;
    Connection::open(dir.join(FILE))?.execute_batch(&text)?;
    Ok(())
}

fn tables(file: &Path) -> Result<Vec<(String, String)>, Box<dyn Error>> {
    let conn = Connection::open(file)?;
    let mut statement =
        conn.prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

#[test]
fn an_empty_directory_becomes_a_ledger_of_the_newest_form() -> Tested {
    let dir = tempfile::tempdir()?;
    let data = dir.path().join("deep").join("down");
    let mut ledger = Ledger::open(&data)?;
    assert_eq!(ledger.begin_job(&new_job())?, JobNumber(1));
    ledger.close()?;
    let conn = Connection::open(data.join(FILE))?;
    let form: i64 = conn.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    assert_eq!(form, newest_form());
    let mode: String = conn.query_row("PRAGMA journal_mode", [], |row| row.get(0))?;
    assert_eq!(mode, "wal");
    Ok(())
}

#[test]
fn every_earlier_form_opens_with_all_it_held() -> Tested {
    let fresh = tempfile::tempdir()?;
    Ledger::open(fresh.path())?.close()?;
    for form in 1..=newest_form() {
        let dir = tempfile::tempdir()?;
        ledger_of_form(form, dir.path())?;
        let ledger = Ledger::open(dir.path())?;
        let deck = DeckSha([0xab; 32]);
        assert_eq!(ledger.last_session()?, 41);
        assert_eq!(
            ledger.good_cards(deck)?.into_iter().collect::<Vec<_>>(),
            [CardNumber(1)]
        );
        let open = ledger.unfinished_jobs(deck)?;
        assert_eq!(open.iter().map(|job| job.job.0).collect::<Vec<_>>(), [2]);
        assert_eq!(
            ledger.open_attempts(JobNumber(2))?.first().map(|a| a.id),
            Some(id(2, 2, 1))
        );
        let attempts = ledger.attempts(JobNumber(1))?;
        let verdicts: Vec<_> = attempts
            .iter()
            .map(|a| (a.verdict, a.faults.len()))
            .collect();
        assert_eq!(verdicts, [(Verdict::Good, 0), (Verdict::Missing, 1)]);
        let readings = ledger.raw_readings(id(1, 1, 1))?.ok_or("readings")?;
        // Pressed by CPython's zlib when the form was frozen.
        let samples: Vec<u8> = (0..128u32).map(|n| (n * 7 % 256) as u8).collect();
        assert_eq!((readings.holes, readings.lines()), (8, 16));
        assert_eq!(readings.samples, samples);
        assert_eq!(
            (readings.dark[7], readings.open[7], readings.open[8]),
            (3, 221, 0)
        );
        assert_eq!(ledger.deck_texts()?, []);
        assert_eq!(ledger.units()?.first().map(|unit| unit.boot), Some(6));
        assert_eq!(ledger.events(Some(JobNumber(1)))?.len(), 1);
        pieces_of_form(form, &ledger)?;
        ledger.close()?;
        let same = tables(&dir.path().join(FILE))? == tables(&fresh.path().join(FILE))?;
        assert!(same, "form {form} and a fresh ledger have other tables");
    }
    Ok(())
}

/// Pieces on the loom there are from form 4 on.
fn pieces_of_form(form: i64, ledger: &Ledger) -> Tested {
    let pieces = ledger.pieces()?;
    assert_eq!(pieces.len(), usize::from(form >= 4));
    let Some(piece) = pieces.first() else {
        return Ok(());
    };
    let unit = piece.unit.map(|unit| (unit.boot, unit.next));
    assert_eq!((piece.name.as_str(), unit), ("reed runner", Some((2, 3))));
    let records = ledger.weaving(piece.piece)?;
    let kinds: Vec<_> = records.iter().map(|row| row.record.kind.name()).collect();
    assert_eq!(kinds, ["began", "pick"]);
    let events = ledger.loom_events(piece.piece)?;
    let what: Vec<_> = events.iter().map(|event| event.what.as_str()).collect();
    assert_eq!(what, ["card forward", "lift", "beat"]);
    Ok(())
}

#[test]
fn a_newer_form_is_refused_and_left_alone() -> Tested {
    let dir = tempfile::tempdir()?;
    Ledger::open(dir.path())?.close()?;
    let file = dir.path().join(FILE);
    Connection::open(&file)?.pragma_update(None, "user_version", newest_form() + 1)?;
    let before = fs::read(&file)?;
    for opened in [Ledger::open(dir.path()), Ledger::open_read_only(dir.path())] {
        let error = opened.err().ok_or("it was opened")?;
        assert!(matches!(error, LedgerError::Newer { .. }), "{error:?}");
        let text = error.to_string();
        assert!(text.contains(&dir.path().display().to_string()), "{text}");
        assert!(text.contains("use the newer cardwright"), "{text}");
    }
    assert_eq!(fs::read(&file)?, before);
    Ok(())
}

#[test]
fn another_programs_database_is_refused_and_left_alone() -> Tested {
    let dir = tempfile::tempdir()?;
    let file = dir.path().join(FILE);
    Connection::open(&file)?.execute_batch("CREATE TABLE recipes (name TEXT)")?;
    let before = fs::read(&file)?;
    for opened in [Ledger::open(dir.path()), Ledger::open_read_only(dir.path())] {
        let error = opened.err().ok_or("it was opened")?;
        assert!(matches!(error, LedgerError::Foreign { .. }), "{error:?}");
    }
    assert_eq!(fs::read(&file)?, before);
    Ok(())
}

#[test]
fn a_second_writer_is_told_who_the_first_is() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut first = Ledger::open(dir.path())?;
    first.begin_job(&new_job())?;
    let error = Ledger::open(dir.path()).err().ok_or("two writers")?;
    let process = std::process::id();
    assert_eq!(
        error.to_string(),
        format!(
            "another cardwright (process {process}) is using the ledger in {}; stop it or give \
             another --data DIR",
            dir.path().display()
        )
    );
    // A list can be read meanwhile, and sees what was committed.
    let reader = Ledger::open_read_only(dir.path())?;
    assert_eq!(reader.jobs()?.len(), 1);
    first.begin_job(&new_job())?;
    assert_eq!(reader.jobs()?.len(), 2);
    drop(first);
    assert_eq!(Ledger::open(dir.path())?.jobs()?.len(), 2);
    Ok(())
}

#[test]
fn a_lock_file_left_behind_stops_nobody() -> Tested {
    let dir = tempfile::tempdir()?;
    fs::write(dir.path().join(LOCK_FILE), "4000000\nmore than a number\n")?;
    Ledger::open(dir.path())?.close()?;
    let text = fs::read_to_string(dir.path().join(LOCK_FILE))?;
    assert_eq!(text, format!("{}\n", std::process::id()));
    Ok(())
}

#[test]
fn a_directory_without_a_ledger_is_named() -> Tested {
    let dir = tempfile::tempdir()?;
    let missing = dir.path().join("nothing here");
    let error = Ledger::open_read_only(&missing)
        .err()
        .ok_or("it was opened")?;
    assert!(
        error.to_string().contains("there is no ledger in"),
        "{error}"
    );
    assert!(error.to_string().contains("nothing here"), "{error}");
    assert!(!missing.exists(), "looking made a directory");
    Ok(())
}

#[test]
fn a_file_in_the_directorys_place_is_named() -> Tested {
    let dir = tempfile::tempdir()?;
    let file = dir.path().join("a file");
    fs::write(&file, "text")?;
    for opened in [Ledger::open(&file), Ledger::open_read_only(&file)] {
        let error = opened.err().ok_or("it was opened")?.to_string();
        assert!(
            error.contains("a file") && error.contains("--data DIR"),
            "{error}"
        );
    }
    Ok(())
}

fn filled(dir: &Path) -> Result<PathBuf, Box<dyn Error>> {
    ledger_of_form(1, dir)?;
    Ledger::open(dir)?.close()?;
    Ok(dir.join(FILE))
}

#[test]
fn damage_is_called_damage() -> Tested {
    let dir = tempfile::tempdir()?;
    let file = filled(dir.path())?;
    let sound = fs::read(&file)?;

    // Not a database at all.
    fs::write(&file, "this is a note, not a database\n".repeat(64))?;
    for opened in [Ledger::open(dir.path()), Ledger::open_read_only(dir.path())] {
        let error = opened.err().ok_or("it was opened")?;
        assert!(matches!(error, LedgerError::Corrupt { .. }), "{error:?}");
        assert!(error.to_string().contains("is damaged"), "{error}");
        assert!(
            error.to_string().contains("keep the damaged files"),
            "{error}"
        );
    }

    // Every page but the first overwritten: some read must say so, none panics.
    let mut bad = sound.clone();
    bad.iter_mut().skip(4096).for_each(|byte| *byte = 0x5a);
    fs::write(&file, bad)?;
    let opened = Ledger::open(dir.path()).and_then(|ledger| ledger.jobs());
    assert!(
        matches!(opened, Err(LedgerError::Corrupt { .. })),
        "{opened:?}"
    );

    // Cut short.
    fs::write(&file, sound.get(..sound.len() / 2).ok_or("half")?)?;
    let opened = Ledger::open(dir.path()).and_then(|ledger| ledger.all_attempts());
    assert!(
        matches!(opened, Err(LedgerError::Corrupt { .. })),
        "{opened:?}"
    );
    Ok(())
}

#[test]
fn damaged_readings_are_not_given_out() -> Tested {
    for change in [
        "UPDATE readings SET samples = zeroblob(length(samples))",
        "UPDATE readings SET samples = substr(samples, 1, length(samples) - 3)",
        "UPDATE readings SET lines = lines + 1",
        "UPDATE readings SET lines = 4294967295",
        "UPDATE readings SET lines = -1",
        "UPDATE readings SET dark = X'00'",
    ] {
        let dir = tempfile::tempdir()?;
        let file = filled(dir.path())?;
        Connection::open(&file)?.execute_batch(change)?;
        let read = Ledger::open_read_only(dir.path())?.raw_readings(id(1, 1, 1));
        assert!(
            matches!(read, Err(LedgerError::Corrupt { .. })),
            "{change}: {read:?}"
        );
    }
    Ok(())
}

#[test]
fn words_and_numbers_nobody_wrote_are_damage() -> Tested {
    for change in [
        "UPDATE attempt SET verdict = 'splendid' WHERE card = 1",
        "UPDATE attempt SET strokes = 70000 WHERE card = 1",
        "UPDATE attempt SET faults = '[{' WHERE card = 1",
        "UPDATE attempt SET card = -1 WHERE card = 1",
    ] {
        let dir = tempfile::tempdir()?;
        let file = filled(dir.path())?;
        let conn = Connection::open(&file)?;
        conn.pragma_update(None, "foreign_keys", false)?;
        conn.execute_batch(change)?;
        drop(conn);
        let read = Ledger::open_read_only(dir.path())?.all_attempts();
        assert!(
            matches!(read, Err(LedgerError::Corrupt { .. })),
            "{change}: {read:?}"
        );
    }
    Ok(())
}

#[test]
fn whatever_part_of_the_log_reached_the_disk_opens_clean() -> Tested {
    // A power cut may leave any beginning of the write-ahead log, and behind it
    // anything. What opens must be the first so many commits, whole.
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    for _ in 0..20 {
        ledger.begin_job(&new_job())?;
    }
    let wal = format!("{FILE}-wal");
    let (file, log) = (
        fs::read(dir.path().join(FILE))?,
        fs::read(dir.path().join(&wal))?,
    );
    drop(ledger);
    assert!(
        log.len() > 20 * 4096,
        "the log holds the jobs: {}",
        log.len()
    );
    let mut seen = std::collections::BTreeSet::new();
    for (number, length) in (0..=log.len()).step_by(1031).chain([log.len()]).enumerate() {
        let after = tempfile::tempdir()?;
        fs::write(after.path().join(FILE), &file)?;
        let mut kept = log.get(..length).ok_or("length")?.to_vec();
        if number % 2 == 1 {
            kept.resize(log.len(), 0xa5);
        }
        fs::write(after.path().join(&wal), kept)?;
        let ledger = match Ledger::open(after.path()) {
            Ok(ledger) => ledger,
            Err(error) => return Err(format!("log cut at {length}: {error}").into()),
        };
        let jobs: Vec<u32> = ledger.jobs()?.iter().map(|job| job.job.0).collect();
        assert_eq!(
            jobs,
            (1..=jobs.len() as u32).collect::<Vec<_>>(),
            "log cut at {length}"
        );
        seen.insert(jobs.len());
        ledger.close()?;
        let conn = Connection::open(after.path().join(FILE))?;
        let word: String = conn.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
        assert_eq!(word, "ok", "log cut at {length}");
    }
    assert_eq!((seen.first(), seen.last()), (Some(&0), Some(&20)));
    Ok(())
}
