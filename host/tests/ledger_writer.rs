//! The thread that writes: a burst must not cost a flush of the disk a card, a
//! wrong command must not spoil its neighbours, and nothing that was taken may
//! stay unanswered.

use cardwright::ledger::writer::{Answer, Command, Completion, LedgerWriter, NotTaken};
use cardwright::ledger::{
    BoardId, EventKind, FILE, JobKind, Ledger, LedgerError, NewAttempt, NewEvent, NewJob,
    NewLoomEvent, NewPiece, PieceNumber, UnixMillis, Woven,
};
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rusqlite::Connection;
use std::error::Error;
use std::fs;
use std::path::Path;

type Tested = Result<(), Box<dyn Error>>;

fn new_job() -> NewJob {
    NewJob {
        kind: JobKind::Cut,
        deck: None,
        unit: None,
        settings: serde_json::json!({}),
        started: UnixMillis(1),
    }
}

fn sent(job: JobNumber, card: u32) -> NewAttempt {
    let id = CardId {
        job,
        card: CardNumber(card),
        attempt: Attempt(1),
    };
    NewAttempt {
        id,
        strokes: 56,
        crc: 1,
        sent: UnixMillis(2),
    }
}

fn event(job: JobNumber) -> Command {
    Command::Event(NewEvent {
        at: UnixMillis(3),
        job: Some(job),
        kind: EventKind::Pause,
        detail: serde_json::Value::Null,
    })
}

/// Holds the database, as another program might, so that commands pile up.
fn hold(dir: &Path) -> Result<Connection, rusqlite::Error> {
    let other = Connection::open(dir.join(FILE))?;
    other.execute_batch("BEGIN IMMEDIATE")?;
    Ok(other)
}

/// Commits in the write-ahead log after its first `skip` bytes. SQLite's
/// "Database File Format", section 4.1: a header of 32 bytes with the page
/// size at 8; then frames of 24 bytes and a page each, with the size of the
/// database at 4 in a frame that commits and 0 in others, big-endian.
fn commits(dir: &Path, skip: usize) -> Result<usize, Box<dyn Error>> {
    let log = fs::read(dir.join(format!("{FILE}-wal")))?;
    let word = |at: usize| -> Result<u32, Box<dyn Error>> {
        let bytes = log.get(at..at + 4).ok_or("the log ends within a frame")?;
        Ok(u32::from_be_bytes(bytes.try_into()?))
    };
    let frame = 24 + word(8)? as usize;
    let mut at = skip.max(32);
    let mut count = 0;
    while at < log.len() {
        count += usize::from(word(at + 4)? != 0);
        at += frame;
    }
    Ok(count)
}

const BOARD: BoardId = BoardId([1; 8]);

fn piece(name: &str) -> Command {
    Command::BeginPiece(NewPiece {
        name: name.to_string(),
        plan_sha256: "ab".repeat(32),
        plan: String::new(),
        at: UnixMillis(1),
        place: serde_json::json!({}),
        instead_of: Vec::new(),
    })
}

/// Event `number` of the board's first boot, for a piece.
fn beat(piece: u32, number: u32, unit_us: u64) -> Command {
    let event = NewLoomEvent {
        board: BOARD,
        boot: 1,
        number,
        unit_us,
        at: UnixMillis(4),
        error_us: 250,
        what: "beat",
    };
    Command::Woven(Box::new(Woven {
        piece: PieceNumber(piece),
        events: vec![event],
        records: Vec::new(),
        place: serde_json::json!({}),
        unit: None,
        ended: false,
    }))
}

/// A unit tells of an event until it hears that it is stored; a board whose count of
/// boots has begun again tells of others under the same numbers.
#[test]
fn an_event_is_stored_once_and_no_other_under_its_number() -> Tested {
    let dir = tempfile::tempdir()?;
    let ledger = Ledger::open(dir.path())?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 16)?;
    let all = [
        piece("runner"),
        beat(1, 0, 10),
        beat(1, 0, 10),
        beat(1, 0, 11),
        beat(9, 1, 20),
        beat(1, 1, 20),
        Command::LoomEventsStored(BOARD, 1),
        Command::NextBoot(BOARD),
        Command::NextBoot(BOARD),
    ];
    for (token, command) in (0..).zip(all) {
        writer.submit(command, token)?;
    }
    let mut results = Vec::new();
    for _ in 0..9 {
        results.push(completions.wait_next().ok_or("an answer")?.result);
    }
    let done = |at: usize| matches!(results[at], Ok(Answer::Done));
    assert!(done(1) && done(2) && done(5), "{results:?}");
    let other = results[3].as_ref().expect_err("another event");
    assert!(matches!(
        **other,
        LedgerError::BootUsed {
            boot: 1,
            event: 0,
            ..
        }
    ));
    assert!(
        other.to_string().contains("unit 0101010101010101"),
        "{other}"
    );
    let none = results[4].as_ref().expect_err("no such piece");
    assert!(
        matches!(**none, LedgerError::NoSuchPiece { piece: 9 }),
        "{none}"
    );
    assert_eq!(results[6].as_ref().ok(), Some(&Answer::NextEvent(2)));
    assert_eq!(results[7].as_ref().ok(), Some(&Answer::Boot(2)));
    assert_eq!(results[8].as_ref().ok(), Some(&Answer::Boot(3)));
    writer.close()?;
    let ledger = Ledger::open_read_only(dir.path())?;
    assert_eq!(ledger.loom_events(PieceNumber(1))?.len(), 2);
    Ok(())
}

/// What the database itself does not take is wrong with the one command.
#[test]
fn a_command_that_the_database_refuses_fails_alone() -> Tested {
    let dir = tempfile::tempdir()?;
    let ledger = Ledger::open(dir.path())?;
    Connection::open(dir.path().join(FILE))?.execute_batch(
        "CREATE TRIGGER no BEFORE INSERT ON piece WHEN new.name = 'no'
         BEGIN SELECT raise(ABORT, 'not this one'); END",
    )?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 16)?;
    for (token, name) in (0..).zip(["runner", "no", "towel"]) {
        writer.submit(piece(name), token)?;
    }
    for (name, fits) in [("runner", true), ("no", false), ("towel", true)] {
        let result = completions.wait_next().ok_or("an answer")?.result;
        assert_eq!(result.is_ok(), fits, "{name}: {result:?}");
    }
    writer.submit(piece("sash"), 3)?;
    let later = completions.wait_next().ok_or("an answer")?.result;
    assert!(later.is_ok(), "the writer goes on: {later:?}");
    Ok(writer.close()?)
}

#[test]
fn a_burst_costs_few_commits() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let job = ledger.begin_job(&new_job())?;
    let before = usize::try_from(fs::metadata(dir.path().join(format!("{FILE}-wal")))?.len())?;
    // The count is right where every change is its own commit.
    for card in 1..=5 {
        ledger.attempt_sent(&[sent(job, card)])?;
    }
    assert_eq!(commits(dir.path(), before)?, 5);

    let before = usize::try_from(fs::metadata(dir.path().join(format!("{FILE}-wal")))?.len())?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 256)?;
    let other = hold(dir.path())?;
    for card in 101..=300u32 {
        writer.submit(Command::AttemptSent(vec![sent(job, card)]), card)?;
    }
    assert!(
        completions.try_next().is_none(),
        "answered before it was written"
    );
    other.execute_batch("ROLLBACK")?;
    for card in 101..=300 {
        let Completion { token, result } = completions.wait_next().ok_or("an answer")?;
        assert_eq!((token, result?), (card, Answer::Done));
    }
    // Counted before the ledger closes, which folds the log away. The first
    // group is what the thread found at once, the second all the rest.
    let count = commits(dir.path(), before)?;
    assert!((1..=2).contains(&count), "{count} commits for 200 commands");
    writer.close()?;
    let ledger = Ledger::open_read_only(dir.path())?;
    assert_eq!(ledger.open_attempts(job)?.len(), 205);
    Ok(())
}

#[test]
fn a_wrong_command_fails_alone_and_leaves_nothing() -> Tested {
    let dir = tempfile::tempdir()?;
    let mut ledger = Ledger::open(dir.path())?;
    let job = ledger.begin_job(&new_job())?;
    let before = usize::try_from(fs::metadata(dir.path().join(format!("{FILE}-wal")))?.len())?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 16)?;
    let other = hold(dir.path())?;
    let all = [
        Command::AttemptSent(vec![sent(job, 1)]),
        // Card 2 is new, card 1 is not: neither is taken.
        Command::AttemptSent(vec![sent(job, 2), sent(job, 1)]),
        event(job),
        event(JobNumber(77)),
        Command::AttemptSent(vec![sent(job, 2)]),
        Command::NextSession,
    ];
    for (token, command) in (0..).zip(all) {
        writer.submit(command, token)?;
    }
    other.execute_batch("ROLLBACK")?;
    let mut results = Vec::new();
    for token in 0..6 {
        let completion = completions.wait_next().ok_or("an answer")?;
        assert_eq!(completion.token, token);
        results.push(completion.result);
    }
    assert!(commits(dir.path(), before)? <= 2, "they were not one group");
    assert!(
        matches!(
            results.as_slice(),
            [
                Ok(Answer::Done),
                Err(used),
                Ok(Answer::Done),
                Err(nowhere),
                Ok(Answer::Done),
                Ok(Answer::Session(_)),
            ] if matches!(**used, LedgerError::AttemptUsed(_))
                && matches!(**nowhere, LedgerError::NoSuchJob(JobNumber(77)))
        ),
        "{results:?}"
    );
    writer.close()?;
    let ledger = Ledger::open_read_only(dir.path())?;
    let cards: Vec<u32> = ledger.attempts(job)?.iter().map(|row| row.card.0).collect();
    assert_eq!(cards, [1, 2]);
    assert_eq!(ledger.events(None)?.len(), 1);
    Ok(())
}

#[test]
fn a_full_queue_gives_the_command_back() -> Tested {
    let dir = tempfile::tempdir()?;
    let ledger = Ledger::open(dir.path())?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 2)?;
    writer.submit(Command::NextSession, 1)?;
    writer.submit(Command::NextSession, 2)?;
    // Full until completions are collected, even when both are written.
    let begin = Command::BeginJob(new_job());
    let refused = writer
        .submit(begin.clone(), 3)
        .err()
        .ok_or("it was taken")?;
    let NotTaken::Full(given_back) = refused else {
        return Err(format!("{refused:?}").into());
    };
    assert_eq!(*given_back, begin);
    assert_eq!(completions.wait_next().ok_or("an answer")?.token, 1);
    writer.submit(*given_back, 3)?;
    assert_eq!(completions.wait_next().ok_or("an answer")?.token, 2);
    let third = completions.wait_next().ok_or("an answer")?;
    assert_eq!((third.token, third.result?), (3, Answer::Job(JobNumber(1))));
    writer.close()?;
    assert!(completions.wait_next().is_none());
    Ok(())
}

#[test]
fn a_task_can_await_what_was_written() -> Tested {
    let dir = tempfile::tempdir()?;
    let ledger = Ledger::open(dir.path())?;
    let runtime = tokio::runtime::Builder::new_current_thread().build()?;
    let sessions: Vec<u32> = runtime.block_on(async {
        let (mut writer, mut completions) = LedgerWriter::start(ledger, 4)?;
        let mut sessions = Vec::new();
        for token in 0..3 {
            writer.submit(Command::NextSession, token)?;
            let completion = completions.next().await.ok_or("an answer")?;
            assert_eq!(completion.token, token);
            if let Answer::Session(number) = completion.result? {
                sessions.push(number);
            }
        }
        drop(writer);
        assert!(completions.next().await.is_none());
        Ok::<_, Box<dyn Error>>(sessions)
    })?;
    assert!(sessions.windows(2).all(|two| two[1] == two[0] + 1));
    Ok(())
}

/// The database stays held for longer than the ledger waits: the writer stops,
/// every command taken is answered, and none is taken afterwards.
#[test]
fn when_the_ledger_fails_everything_taken_is_answered() -> Tested {
    let dir = tempfile::tempdir()?;
    let ledger = Ledger::open(dir.path())?;
    let (mut writer, mut completions) = LedgerWriter::start(ledger, 300)?;
    let other = hold(dir.path())?;
    for token in 0..300 {
        writer.submit(Command::NextSession, token)?;
    }
    let mut busy = 0;
    for token in 0..300 {
        let completion = completions.wait_next().ok_or("an answer")?;
        assert_eq!(completion.token, token);
        match completion.result.map_err(|error| error.to_string()) {
            Err(error) if error.contains("stayed busy") => busy += 1,
            other => return Err(format!("{other:?}").into()),
        }
    }
    assert_eq!(busy, 300);
    assert!(completions.wait_next().is_none());
    let refused = writer.submit(Command::NextSession, 300);
    assert!(
        matches!(&refused, Err(NotTaken::Stopped(back)) if **back == Command::NextSession),
        "{refused:?}"
    );
    let error = writer
        .close()
        .err()
        .ok_or("it closed as if all were well")?;
    assert!(matches!(*error, LedgerError::Busy { .. }), "{error}");
    other.execute_batch("ROLLBACK")?;
    assert_eq!(Ledger::open_read_only(dir.path())?.last_session()?, 0);
    Ok(())
}
