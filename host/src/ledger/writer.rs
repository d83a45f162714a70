//! The one thread that writes the ledger. Enters: commands, each with the
//! caller's token, through a bounded queue. Leaves: for every command that was
//! taken, one completion with its token, in the order they were submitted and
//! only after the commit. Refuses: more commands than the bound, and any after
//! the disk has failed.
//!
//! Whatever waits is committed together, so that a burst costs one flush. A
//! command that is itself wrong fails alone; an error of the ledger fails the
//! whole group and stops the writer.

use super::Ledger;
use super::error::LedgerError;
use super::rows::{AttemptRow, JobRow, Upkeep};
use super::types::{
    BoardId, DeckSha, EndedAttempt, NewAttempt, NewCalibration, NewEvent, NewJob, OpenAttempt,
    Readings, SeenUnit, UnixMillis,
};
use super::weaving::{NewPiece, PieceNumber, PieceRow, PlanChanged, Woven};
use super::words::Ending;
use super::write::Batch;
use cardwright_protocol::{Attempt, CardId, CardNumber, JobNumber};
use rusqlite::{Transaction, TransactionBehavior};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::JoinHandle;
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;

/// Most commands committed together.
pub const MOST_A_GROUP: usize = 256;

/// What the writer is asked to do; see the [`Ledger`] method of each name.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Answered by [`Answer::Job`].
    BeginJob(NewJob),
    /// Answered by [`Answer::Done`].
    JobUnit(JobNumber, BoardId),
    /// Answered by [`Answer::Done`].
    EndJob(JobNumber, Ending, UnixMillis),
    /// Answered by [`Answer::Done`].
    AttemptSent(Vec<NewAttempt>),
    /// Answered by [`Answer::Done`].
    AttemptEnded(Box<EndedAttempt>),
    /// Answered by [`Answer::Done`].
    UnitSeen(SeenUnit),
    /// Answered by [`Answer::Done`].
    Event(NewEvent),
    /// Answered by [`Answer::Done`].
    Calibrated(NewCalibration),
    /// Answered by [`Answer::Upkeep`].
    Upkeep(BoardId),
    /// Answered by [`Answer::Session`].
    NextSession,
    /// Answered by [`Answer::Attempt`].
    NextAttempt(JobNumber, CardNumber),
    /// Answered by [`Answer::GoodCards`].
    GoodCards(DeckSha),
    /// Answered by [`Answer::OpenAttempts`].
    OpenAttempts(JobNumber),
    /// Answered by [`Answer::UsedAttempts`].
    UsedAttempts(JobNumber),
    /// Answered by [`Answer::OpenElsewhere`].
    OpenElsewhere(JobNumber),
    /// Answered by [`Answer::Jobs`].
    UnfinishedJobs(DeckSha),
    /// Answered by [`Answer::Readings`].
    RawReadings(CardId),
    /// Answered by [`Answer::Attempts`].
    LastRead(DeckSha),
    /// Answered by [`Answer::Attempts`].
    Attempts(JobNumber),
    /// Answered by [`Answer::Jobs`].
    ReadingJobs,
    /// Answered by [`Answer::DeckTexts`].
    DeckTexts,
    /// Answered by [`Answer::Piece`].
    BeginPiece(NewPiece),
    /// Answered by [`Answer::Done`].
    Woven(Box<Woven>),
    /// Answered by [`Answer::Done`].
    PlanChanged(PlanChanged),
    /// Answered by [`Answer::Pieces`].
    Pieces,
    /// Answered by [`Answer::Boot`].
    NextBoot(BoardId),
    /// Answered by [`Answer::NextEvent`].
    LoomEventsStored(BoardId, u32),
}

/// What came of a command.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// It is on disk.
    Done,
    /// The new job's number.
    Job(JobNumber),
    /// A session number.
    Session(u32),
    /// An attempt number.
    Attempt(Attempt),
    /// Cards that are good.
    GoodCards(BTreeSet<CardNumber>),
    /// Attempts that have not ended.
    OpenAttempts(Vec<OpenAttempt>),
    /// Highest attempt numbers.
    UsedAttempts(BTreeMap<CardNumber, u32>),
    /// Open attempts of other jobs.
    OpenElsewhere(BTreeSet<CardId>),
    /// Jobs.
    Jobs(Vec<JobRow>),
    /// Attempts.
    Attempts(Vec<AttemptRow>),
    /// Texts of deck files.
    DeckTexts(Vec<(DeckSha, String)>),
    /// Raw readings.
    Readings(Option<Readings>),
    /// What is known of reader and punches.
    Upkeep(Vec<Upkeep>),
    /// The new piece's number.
    Piece(PieceNumber),
    /// Pieces.
    Pieces(Vec<PieceRow>),
    /// A boot number.
    Boot(u32),
    /// The number of a loom unit's first event that is not stored.
    NextEvent(u32),
}

/// The end of one command.
#[derive(Clone, Debug)]
pub struct Completion<T> {
    /// The caller's own mark of the command.
    pub token: T,
    /// What came of it. After an error that is not
    /// [`LedgerError::is_of_the_request`] the writer has stopped.
    pub result: Result<Answer, Arc<LedgerError>>,
}

/// Why a command was not taken. It is given back.
#[derive(Debug, thiserror::Error)]
pub enum NotTaken {
    /// As many commands as the bound allows have not been collected yet.
    #[error("the ledger has as much to write as it takes at once; collect completions first")]
    Full(Box<Command>),
    /// The writer has stopped; the completion of an earlier command says why.
    #[error("the ledger is no longer written, because of an earlier error")]
    Stopped(Box<Command>),
}

/// The caller's end of the writer. Dropping it lets the thread write what was
/// taken, waits for that, and lets the data directory's lock go.
#[derive(Debug)]
pub struct LedgerWriter<T> {
    queue: Option<mpsc::Sender<(Command, T)>>,
    /// Commands taken whose completions were not collected yet.
    taken: Arc<AtomicUsize>,
    bound: usize,
    thread: Option<JoinHandle<Result<(), Arc<LedgerError>>>>,
}

/// Where completions are collected, in the order of the commands.
#[derive(Debug)]
pub struct Completions<T> {
    queue: mpsc::Receiver<Completion<T>>,
    taken: Arc<AtomicUsize>,
}

impl<T: Send + 'static> LedgerWriter<T> {
    /// Starts the thread. At most `bound` commands (at least 1) are on their
    /// way at a time, from being submitted to being collected; so neither
    /// queue ever holds more, and neither side ever waits for the other.
    ///
    /// # Errors
    /// [`LedgerError::Disk`] if the system gives no thread.
    pub fn start(
        ledger: Ledger,
        bound: usize,
    ) -> Result<(LedgerWriter<T>, Completions<T>), LedgerError> {
        let bound = bound.clamp(1, 1 << 16);
        let (queue, commands) = mpsc::channel(bound);
        let (answers, completions) = mpsc::channel(bound);
        let dir = ledger.dir.clone();
        let thread = std::thread::Builder::new()
            .name("ledger".to_string())
            .spawn(move || write_all(ledger, commands, &answers))
            .map_err(|error| LedgerError::from_io(&dir, "written", &error))?;
        let taken = Arc::new(AtomicUsize::new(0));
        let completions = Completions {
            queue: completions,
            taken: Arc::clone(&taken),
        };
        Ok((
            LedgerWriter {
                queue: Some(queue),
                taken,
                bound,
                thread: Some(thread),
            },
            completions,
        ))
    }

    /// Hands a command over. Never waits.
    ///
    /// # Errors
    /// [`NotTaken`], with the command.
    pub fn submit(&mut self, command: Command, token: T) -> Result<(), NotTaken> {
        if self.taken.load(Ordering::Acquire) >= self.bound {
            return Err(NotTaken::Full(Box::new(command)));
        }
        let Some(queue) = &self.queue else {
            return Err(NotTaken::Stopped(Box::new(command)));
        };
        // Counted first: the completion may be collected before this returns.
        self.taken.fetch_add(1, Ordering::AcqRel);
        queue.try_send((command, token)).map_err(|error| {
            self.taken.fetch_sub(1, Ordering::AcqRel);
            match error {
                TrySendError::Full((command, _)) => NotTaken::Full(Box::new(command)),
                TrySendError::Closed((command, _)) => NotTaken::Stopped(Box::new(command)),
            }
        })
    }

    /// Lets the thread write what was taken, waits for that, and closes the
    /// ledger. Completions can still be collected afterwards.
    ///
    /// # Errors
    /// The error that stopped the writer, or that of closing.
    pub fn close(mut self) -> Result<(), Arc<LedgerError>> {
        self.join()
    }

    fn join(&mut self) -> Result<(), Arc<LedgerError>> {
        self.queue = None;
        let Some(thread) = self.thread.take() else {
            return Ok(());
        };
        thread.join().unwrap_or_else(|_| {
            let cause = "its thread broke down; this is a fault of the program".to_string();
            Err(Arc::new(LedgerError::WriterStopped(cause)))
        })
    }
}

impl<T> Drop for LedgerWriter<T> {
    fn drop(&mut self) {
        self.queue = None;
        if let Some(thread) = self.thread.take() {
            // What went wrong stands in the completions.
            drop(thread.join());
        }
    }
}

impl<T> Completions<T> {
    /// The next completion; none when the writer is gone and all are collected.
    pub async fn next(&mut self) -> Option<Completion<T>> {
        let completion = self.queue.recv().await;
        self.collected(completion)
    }

    /// The next completion if there is one already.
    pub fn try_next(&mut self) -> Option<Completion<T>> {
        let completion = self.queue.try_recv().ok();
        self.collected(completion)
    }

    /// The next completion, for a thread that is not a task. Waits for as long
    /// as the disk takes; none when the writer is gone and all are collected.
    ///
    /// # Panics
    /// Within an asynchronous task, where nothing may wait like this.
    pub fn wait_next(&mut self) -> Option<Completion<T>> {
        let completion = self.queue.blocking_recv();
        self.collected(completion)
    }

    fn collected(&self, completion: Option<Completion<T>>) -> Option<Completion<T>> {
        if completion.is_some() {
            self.taken.fetch_sub(1, Ordering::AcqRel);
        }
        completion
    }
}

/// The thread's work: groups of commands until the other end is dropped or the
/// ledger fails.
fn write_all<T>(
    ledger: Ledger,
    mut commands: mpsc::Receiver<(Command, T)>,
    answers: &mpsc::Sender<Completion<T>>,
) -> Result<(), Arc<LedgerError>> {
    // A full queue of answers cannot be: no more commands are taken than it
    // holds. A dropped one only means that nobody wants to know.
    let answer = |token, result| drop(answers.try_send(Completion { token, result }));
    let mut group = Vec::new();
    while commands.blocking_recv_many(&mut group, MOST_A_GROUP) > 0 {
        match write_group(&ledger, &group) {
            Ok(results) => {
                for ((_, token), result) in group.drain(..).zip(results) {
                    answer(token, result);
                }
            }
            Err(error) => {
                let error = Arc::new(error);
                for (_, token) in group.drain(..) {
                    answer(token, Err(Arc::clone(&error)));
                }
                let later = Arc::new(LedgerError::WriterStopped(error.to_string()));
                // Closed first, so that nothing is taken and never answered.
                commands.close();
                while let Some((_, token)) = commands.blocking_recv() {
                    answer(token, Err(Arc::clone(&later)));
                }
                return Err(error);
            }
        }
    }
    ledger.close().map_err(Arc::new)
}

/// Carries a group out in one transaction. An error means that none of it was
/// written.
fn write_group<T>(
    ledger: &Ledger,
    group: &[(Command, T)],
) -> Result<Vec<Result<Answer, Arc<LedgerError>>>, LedgerError> {
    let sql = |error: rusqlite::Error| LedgerError::from_sql(&ledger.dir, &error);
    ledger.still_there()?;
    let tx =
        Transaction::new_unchecked(&ledger.conn, TransactionBehavior::Immediate).map_err(sql)?;
    let mut results = Vec::with_capacity(group.len());
    for (command, _) in group {
        tx.execute_batch("SAVEPOINT one").map_err(sql)?;
        let result = carry_out(ledger, command);
        match &result {
            Ok(_) => {}
            Err(error) if error.is_of_the_request() => {
                tx.execute_batch("ROLLBACK TO one").map_err(sql)?;
            }
            Err(_) => return result.map(|_| Vec::new()),
        }
        tx.execute_batch("RELEASE one").map_err(sql)?;
        results.push(result.map_err(Arc::new));
    }
    tx.commit().map_err(sql)?;
    Ok(results)
}

fn carry_out(ledger: &Ledger, command: &Command) -> Result<Answer, LedgerError> {
    let batch = Batch {
        conn: &ledger.conn,
        dir: &ledger.dir,
    };
    let done = |()| Answer::Done;
    match command {
        Command::BeginJob(job) => batch.begin_job(job).map(Answer::Job),
        Command::JobUnit(job, unit) => batch.job_unit(*job, *unit).map(done),
        Command::EndJob(job, ending, at) => batch.end_job(*job, *ending, *at).map(done),
        Command::AttemptSent(attempts) => batch.attempt_sent(attempts).map(done),
        Command::AttemptEnded(end) => batch.attempt_ended(end).map(done),
        Command::UnitSeen(unit) => batch.unit_seen(unit).map(done),
        Command::Event(event) => batch.event(event).map(done),
        Command::Calibrated(found) => batch.calibrated(found).map(done),
        Command::Upkeep(board) => ledger.upkeep(*board).map(Answer::Upkeep),
        Command::NextSession => batch.next_session().map(Answer::Session),
        Command::NextAttempt(job, card) => ledger.next_attempt(*job, *card).map(Answer::Attempt),
        Command::GoodCards(deck) => ledger.good_cards(*deck).map(Answer::GoodCards),
        Command::OpenAttempts(job) => ledger.open_attempts(*job).map(Answer::OpenAttempts),
        Command::UsedAttempts(job) => ledger.used_attempts(*job).map(Answer::UsedAttempts),
        Command::OpenElsewhere(job) => ledger.open_elsewhere(*job).map(Answer::OpenElsewhere),
        Command::UnfinishedJobs(deck) => ledger.unfinished_jobs(*deck).map(Answer::Jobs),
        Command::RawReadings(id) => ledger.raw_readings(*id).map(Answer::Readings),
        Command::LastRead(deck) => ledger.last_read(*deck).map(Answer::Attempts),
        Command::Attempts(job) => ledger.attempts(*job).map(Answer::Attempts),
        Command::ReadingJobs => ledger.reading_jobs().map(Answer::Jobs),
        Command::DeckTexts => ledger.deck_texts().map(Answer::DeckTexts),
        Command::BeginPiece(piece) => batch.begin_piece(piece).map(Answer::Piece),
        Command::Woven(woven) => batch.woven(woven).map(done),
        Command::PlanChanged(changed) => batch.plan_changed(changed).map(done),
        Command::Pieces => ledger.pieces().map(Answer::Pieces),
        Command::NextBoot(board) => batch.next_boot(*board).map(Answer::Boot),
        Command::LoomEventsStored(board, boot) => ledger
            .loom_events_stored(*board, *boot)
            .map(Answer::NextEvent),
    }
}
