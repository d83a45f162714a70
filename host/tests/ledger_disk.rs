//! A disk that is full, and one that may not be written: the error says so,
//! and what was recorded before is still there.
//!
//! A real small tmpfs is mounted in a mount namespace of the test's own, so
//! that nothing outside sees it and nothing is left behind: each test runs
//! itself again under `unshare`, as root or as root of a user namespace.

use cardwright::ledger::writer::{Command, Completions, LedgerWriter, NotTaken};
use cardwright::ledger::{
    EndedAttempt, FILE, JobKind, Ledger, LedgerError, NewAttempt, NewJob, Readings, UnixMillis,
    Verdict,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rand::{RngExt as _, SeedableRng as _};
use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::Command as Process;

type Tested = Result<(), Box<dyn Error>>;

const WHERE: &str = "LEDGER_DISK_TEST_DIR";

/// Runs `inside` in a mount namespace, with a directory to mount on: this binary
/// is started again for its test `name`, which then finds the directory named.
fn in_a_namespace(name: &str, inside: fn() -> Tested) -> Tested {
    if std::env::var_os(WHERE).is_some() {
        return inside();
    }
    let dir = tempfile::tempdir()?;
    let way = ["-m", "-rm"].into_iter().find(|way| {
        let mut trial = Process::new("unshare");
        trial
            .args([way, "mount", "-t", "tmpfs", "none"])
            .arg(dir.path());
        trial.output().is_ok_and(|out| out.status.success())
    });
    let way = way.ok_or(
        "no small disk could be made: this test needs `unshare` and `mount` (util-linux), and \
         either root or user namespaces (on some systems \
         `sysctl kernel.unprivileged_userns_clone=1` allows them)",
    )?;
    let out = Process::new("unshare")
        .arg(way)
        .arg(std::env::current_exe()?)
        .args(["--exact", name, "--nocapture"])
        .env(WHERE, dir.path())
        .output()?;
    let text = String::from_utf8_lossy(&out.stdout);
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(
        out.status.success() && text.contains("1 passed"),
        "{text}{errors}"
    );
    Ok(())
}

/// Mounts a tmpfs on the test's directory, or mounts it again.
fn mount(options: &str) -> Result<PathBuf, Box<dyn Error>> {
    let dir = std::env::var_os(WHERE).ok_or("run by the test of the same name")?;
    let out = Process::new("mount")
        .args(["-t", "tmpfs", "-o", options, "none"])
        .arg(&dir)
        .output()?;
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    Ok(PathBuf::from(dir))
}

fn id(job: JobNumber, card: u32) -> CardId {
    CardId {
        job,
        card: CardNumber(card),
        attempt: Attempt(1),
    }
}

fn begin(ledger: &mut Ledger) -> Result<JobNumber, LedgerError> {
    let settings = serde_json::Value::Null;
    let kind = JobKind::Cut;
    ledger.begin_job(&NewJob {
        kind,
        deck: None,
        unit: None,
        settings,
        started: UnixMillis(1),
    })
}

fn new(id: CardId) -> NewAttempt {
    NewAttempt {
        id,
        strokes: 56,
        crc: 0,
        sent: UnixMillis(1),
    }
}

/// A card's end whose readings cannot be pressed.
fn end(id: CardId) -> EndedAttempt {
    let mut chance = rand::rngs::Xoshiro256PlusPlus::seed_from_u64(u64::from(id.card.0));
    let samples = (0..8 * 464).map(|_| chance.random()).collect();
    EndedAttempt {
        id,
        verdict: Verdict::Good,
        faults: Vec::new(),
        strokes_made: 56,
        lines: 464,
        length_um: 402_600,
        place: None,
        readings: Some(Readings {
            holes: 8,
            dark: [0; 16],
            open: [255; 16],
            samples,
        }),
        punches: Vec::new(),
        ended: UnixMillis(2),
    }
}

/// The first `count` cards of the job are there with their readings, and
/// nothing else that was not acknowledged.
fn all_there(ledger: &Ledger, job: JobNumber, count: u32) -> Tested {
    let good: Vec<u32> = ledger
        .attempts(job)?
        .iter()
        .filter(|row| row.verdict == Verdict::Good)
        .map(|row| row.card.0)
        .collect();
    assert_eq!(good, (1..=count).collect::<Vec<_>>());
    for card in 1..=count {
        let id = id(job, card);
        assert_eq!(ledger.raw_readings(id)?, end(id).readings, "card {card}");
    }
    Ok(())
}

fn sound(dir: &Path) -> Tested {
    let conn = rusqlite::Connection::open(dir.join(FILE))?;
    let word: String = conn.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
    assert_eq!(word, "ok");
    Ok(())
}

#[test]
fn a_full_disk_is_said_to_be_full_and_loses_nothing() -> Tested {
    in_a_namespace(
        "a_full_disk_is_said_to_be_full_and_loses_nothing",
        fill_the_disk,
    )
}

fn fill_the_disk() -> Tested {
    let dir = mount("size=2m")?;
    let mut ledger = Ledger::open(&dir)?;
    let job = begin(&mut ledger)?;
    let mut recorded = 0;
    let error = loop {
        let card = id(job, recorded + 1);
        match ledger
            .attempt_sent(&[new(card)])
            .and_then(|()| ledger.attempt_ended(&end(card)))
        {
            Ok(()) => recorded += 1,
            Err(error) => break error,
        }
        assert!(recorded < 2000, "2 MB hold {recorded} cards");
    };
    assert!(recorded > 20, "{recorded}");
    assert!(matches!(error, LedgerError::DiskFull { .. }), "{error:?}");
    assert_eq!(
        error.to_string(),
        format!(
            "the disk holding {} is full; free some space and run the command again; everything \
             recorded so far is kept",
            dir.display()
        )
    );
    // The same ledger, the next program on the full disk, and one that reads.
    all_there(&ledger, job, recorded)?;
    drop(ledger);
    all_there(&Ledger::open_read_only(&dir)?, job, recorded)?;
    // With room again the job goes on where it was.
    mount("remount,size=4m")?;
    let mut ledger = Ledger::open(&dir)?;
    all_there(&ledger, job, recorded)?;
    let card = id(job, recorded + 1);
    if ledger.next_attempt(job, card.card)? == Attempt(1) {
        ledger.attempt_sent(&[new(card)])?;
    }
    ledger.attempt_ended(&end(card))?;
    all_there(&ledger, job, recorded + 1)?;
    ledger.close()?;
    sound(&dir)
}

#[test]
fn a_disk_with_no_room_at_all_is_said_to_be_full() -> Tested {
    in_a_namespace("a_disk_with_no_room_at_all_is_said_to_be_full", no_room)
}

fn no_room() -> Tested {
    let dir = mount("size=64k")?;
    // From room for nothing to room for nearly a ledger.
    for kept in (0..=15).map(|pages| pages * 4096) {
        let fill = dir.join("fill");
        let data = dir.join("data");
        let full = std::fs::write(&fill, vec![0; (64 << 10) - kept]);
        match Ledger::open(&data).and_then(|mut ledger| begin(&mut ledger)) {
            Ok(_) => assert!(kept > 4096, "a ledger in {kept} bytes"),
            Err(LedgerError::DiskFull { .. }) => {}
            Err(other) => return Err(format!("with {kept} bytes left: {other:?}").into()),
        }
        drop(full);
        // What was begun must not be in the way once there is room.
        std::fs::remove_file(&fill)?;
        mount("remount,size=1m")?;
        let mut ledger = Ledger::open(&data)?;
        begin(&mut ledger)?;
        ledger.close()?;
        sound(&data)?;
        std::fs::remove_dir_all(&data)?;
        mount("remount,size=64k")?;
    }
    Ok(())
}

#[test]
fn the_writer_stops_on_a_full_disk_and_acknowledges_nothing_more() -> Tested {
    in_a_namespace(
        "the_writer_stops_on_a_full_disk_and_acknowledges_nothing_more",
        writer_fills_the_disk,
    )
}

/// Collects what is there and counts the cards that were acknowledged.
fn collect(completions: &mut Completions<u32>, acknowledged: &mut u32, errors: &mut Vec<String>) {
    while let Some(completion) = completions.try_next() {
        match completion.result {
            Ok(_) if errors.is_empty() => *acknowledged = completion.token.max(*acknowledged),
            Ok(_) => errors.push("something was acknowledged after an error".to_string()),
            Err(error) => errors.push(format!("{error:?}")),
        }
    }
}

fn writer_fills_the_disk() -> Tested {
    let dir = mount("size=2m")?;
    let mut ledger = Ledger::open(&dir)?;
    let job = begin(&mut ledger)?;
    let cards: Vec<NewAttempt> = (1..=2000).map(|card| new(id(job, card))).collect();
    ledger.attempt_sent(&cards)?;
    let (mut writer, mut completions) = LedgerWriter::<u32>::start(ledger, 16)?;
    let (mut acknowledged, mut errors) = (0, Vec::new());
    let mut card = 1;
    while card < 2000 {
        let command = Command::AttemptEnded(Box::new(end(id(job, card))));
        match writer.submit(command, card) {
            Ok(()) => card += 1,
            Err(NotTaken::Full(_)) => {
                collect(&mut completions, &mut acknowledged, &mut errors);
                std::thread::yield_now();
            }
            Err(NotTaken::Stopped(_)) => break,
        }
    }
    assert!(card < 2000, "2 MB hold {card} cards");
    let stopped = writer.close().err().ok_or("the writer did not stop")?;
    assert!(
        matches!(*stopped, LedgerError::DiskFull { .. }),
        "{stopped:?}"
    );
    collect(&mut completions, &mut acknowledged, &mut errors);
    assert!(
        errors
            .iter()
            .all(|e| e.contains("DiskFull") || e.contains("WriterStopped")),
        "{errors:?}"
    );
    assert!(errors.iter().any(|e| e.contains("DiskFull")), "{errors:?}");
    assert!(acknowledged > 50, "{acknowledged}");
    all_there(&Ledger::open_read_only(&dir)?, job, acknowledged)?;
    sound(&dir)
}

#[test]
fn a_disk_that_may_not_be_written_can_be_listed() -> Tested {
    in_a_namespace("a_disk_that_may_not_be_written_can_be_listed", read_only)
}

fn read_only() -> Tested {
    let top = mount("size=2m")?;
    // A name that would mean something in an address.
    let dir = top.join("50% of #1?");
    let mut ledger = Ledger::open(&dir)?;
    let job = begin(&mut ledger)?;
    ledger.attempt_sent(&[new(id(job, 1))])?;
    ledger.attempt_ended(&end(id(job, 1)))?;
    ledger.close()?;
    mount("remount,ro")?;
    let refused = Ledger::open(&dir).err().ok_or("it was opened to write")?;
    assert!(
        matches!(refused, LedgerError::Permission { .. }),
        "{refused:?}"
    );
    assert!(
        refused.to_string().contains("give another --data DIR"),
        "{refused}"
    );
    all_there(&Ledger::open_read_only(&dir)?, job, 1)
}
