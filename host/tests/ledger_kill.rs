//! The program killed outright while it records: whatever it said was on disk
//! is there, whole, and the file is sound.
//!
//! The child is this test binary itself, running `the_child_that_is_killed`.
//! It says a line after each commit, and only then; the parent kills it
//! (SIGKILL) at a random moment and compares lines and ledger.

use cardwright::ledger::writer::{Answer, Command, LedgerWriter};
use cardwright::ledger::{
    EndedAttempt, FILE, JobKind, Ledger, NewAttempt, NewJob, Readings, UnixMillis, Verdict,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rand::{RngExt as _, SeedableRng as _};
use std::collections::BTreeSet;
use std::error::Error;
use std::hash::{BuildHasher as _, Hasher as _, RandomState};
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command as Process, Stdio};
use std::time::Duration;

type Tested = Result<(), Box<dyn Error>>;

const WHERE: &str = "LEDGER_KILL_TEST_DIR";
const NAME: &str = "killed_at_random_moments_nothing_acknowledged_is_lost";
const KILLS: usize = 50;

/// Levels that follow from the card's identity, so that the parent knows them.
fn readings(id: CardId) -> Readings {
    let mut state = id.job.0.wrapping_mul(7919).wrapping_add(id.card.0) | 1;
    let mut level = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    Readings {
        holes: 8,
        dark: [1; 16],
        open: [250; 16],
        samples: (0..8 * 464).map(|_| level()).collect(),
    }
}

fn ended(id: CardId) -> EndedAttempt {
    EndedAttempt {
        id,
        verdict: Verdict::Good,
        faults: Vec::new(),
        strokes_made: 56,
        lines: 464,
        length_um: 402_600,
        place: Some(id.card.0),
        readings: Some(readings(id)),
        punches: Vec::new(),
        ended: UnixMillis(2),
    }
}

/// The part of the test that is killed: this binary, started again.
fn write_until_killed(dir: &Path) -> Tested {
    let mut ledger = Ledger::open(dir)?;
    let mut out = std::io::stdout();
    let session = ledger.next_session()?;
    writeln!(out, "\nsession {session}")?;
    let settings = serde_json::Value::Null;
    let new = NewJob {
        kind: JobKind::Cut,
        deck: None,
        unit: None,
        settings,
        started: UnixMillis(1),
    };
    let job = ledger.begin_job(&new)?;
    writeln!(out, "job {}", job.0)?;
    out.flush()?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 32)?;
    for first in (1..1_000_000).step_by(4) {
        let ids: Vec<CardId> = (first..first + 4)
            .map(|card| CardId {
                job,
                card: CardNumber(card),
                attempt: Attempt(1),
            })
            .collect();
        let sent = UnixMillis(1);
        let new = ids.iter().map(|id| NewAttempt {
            id: *id,
            strokes: 56,
            crc: id.card.0,
            sent,
        });
        writer.submit(Command::AttemptSent(new.collect()), "sent".to_string())?;
        for id in &ids {
            let token = format!("ended {} {}", job.0, id.card.0);
            writer.submit(Command::AttemptEnded(Box::new(ended(*id))), token)?;
        }
        for _ in 0..=ids.len() {
            let completion = completions.wait_next().ok_or("the writer has gone")?;
            assert_eq!(completion.result?, Answer::Done);
            writeln!(out, "{}", completion.token)?;
            out.flush()?;
        }
    }
    Ok(())
}

/// What a child said before it was killed.
#[derive(Debug, Default)]
struct Said {
    sessions: Vec<u32>,
    jobs: Vec<u32>,
    ended: BTreeSet<(u32, u32)>,
}

/// Runs the child, kills it after `wait`, and reads what it said.
fn run_and_kill(dir: &Path, wait: Duration) -> Result<Said, Box<dyn Error>> {
    let mut child = Process::new(std::env::current_exe()?)
        .args(["--exact", NAME, "--nocapture"])
        .env(WHERE, dir)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()?;
    let (mut out, mut errors) = (
        child.stdout.take().ok_or("stdout")?,
        child.stderr.take().ok_or("stderr")?,
    );
    let reader = std::thread::spawn(move || {
        let mut text = String::new();
        out.read_to_string(&mut text).map(|_| text)
    });
    std::thread::sleep(wait);
    child.kill()?;
    let status = child.wait()?;
    let text = reader
        .join()
        .map_err(|_| "the reading thread broke down")??;
    let mut complaint = String::new();
    errors.read_to_string(&mut complaint)?;
    assert!(
        status.code().is_none(),
        "the child ended by itself: {text} {complaint}"
    );
    let mut said = Said::default();
    // The last line may have been cut off; it then acknowledges nothing.
    for line in text
        .split_inclusive('\n')
        .filter_map(|line| line.strip_suffix('\n'))
    {
        match line.split(' ').collect::<Vec<_>>().as_slice() {
            ["session", number] => said.sessions.push(number.parse()?),
            ["job", number] => said.jobs.push(number.parse()?),
            ["ended", job, card] => {
                said.ended.insert((job.parse()?, card.parse()?));
            }
            _ => {}
        }
    }
    Ok(said)
}

/// Everything said is in the ledger, and everything in it is whole.
fn compare(dir: &Path, said: &Said) -> Tested {
    let ledger = Ledger::open(dir)?;
    let numbers: BTreeSet<u32> = ledger.jobs()?.iter().map(|job| job.job.0).collect();
    assert!(
        said.jobs.iter().all(|job| numbers.contains(job)),
        "a job is lost: {said:?}"
    );
    assert!(
        said.sessions
            .iter()
            .all(|session| *session <= ledger.last_session().unwrap_or(0))
    );
    for job in &said.jobs {
        let mut good = BTreeSet::new();
        for row in ledger.attempts(JobNumber(*job))? {
            let id = CardId {
                job: row.job,
                card: row.card,
                attempt: row.attempt,
            };
            match row.verdict {
                Verdict::Good => {
                    assert_eq!(ledger.raw_readings(id)?, Some(readings(id)), "{id:?}");
                    good.insert((*job, row.card.0));
                }
                other => assert_eq!(other, Verdict::Sent, "{id:?}"),
            }
        }
        let lost: Vec<_> = said
            .ended
            .iter()
            .filter(|card| !good.contains(card))
            .collect();
        assert!(lost.is_empty(), "acknowledged and lost: {lost:?}");
    }
    ledger.close()?;
    let conn = rusqlite::Connection::open(dir.join(FILE))?;
    let word: String = conn.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
    assert_eq!(word, "ok");
    Ok(())
}

#[test]
fn killed_at_random_moments_nothing_acknowledged_is_lost() -> Tested {
    if let Some(dir) = std::env::var_os(WHERE) {
        return write_until_killed(Path::new(&dir));
    }
    let seed = match std::env::var("LEDGER_KILL_SEED") {
        Ok(seed) => seed.parse()?,
        Err(_) => RandomState::new().build_hasher().finish(),
    };
    println!("LEDGER_KILL_SEED={seed}");
    let mut chance = rand::rngs::Xoshiro256PlusPlus::seed_from_u64(seed);
    let dir = tempfile::tempdir()?;
    let (mut sessions, mut jobs, mut ended) = (BTreeSet::new(), BTreeSet::new(), 0);
    for _ in 0..KILLS {
        let wait = Duration::from_micros(chance.random_range(1_000..80_000));
        let said = run_and_kill(dir.path(), wait)?;
        compare(dir.path(), &said)?;
        let new = said.sessions.iter().all(|number| sessions.insert(*number));
        assert!(new, "a session number came twice: {said:?}");
        assert!(
            said.jobs.iter().all(|number| jobs.insert(*number)),
            "a job number came twice"
        );
        ended += said.ended.len();
    }
    println!(
        "{} of {KILLS} children began a job, {ended} cards acknowledged",
        jobs.len()
    );
    assert!(
        ended > KILLS,
        "too little was going on to test anything: {ended} cards"
    );
    Ok(())
}
