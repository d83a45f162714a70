//! The ledger's writer, shared by whatever runs in this process.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::mpsc;

use super::Clock;
use crate::job::Mark;
use crate::ledger::writer::{Answer, Command, LedgerWriter, NotTaken};
use crate::ledger::{Ledger, LedgerError, PieceNumber};

/// Commands under way at a time.
const BOUND: usize = 1024;

/// Where an answer goes: to whom, under which mark.
struct Reply {
    to: mpsc::UnboundedSender<(Mark, Result<Answer, HubError>)>,
    mark: Mark,
}

/// Why the ledger did not take or keep something.
#[derive(Clone, Debug, thiserror::Error)]
pub enum HubError {
    /// The ledger says why.
    #[error(transparent)]
    Ledger(Arc<LedgerError>),
    /// It takes no more.
    #[error("{0}")]
    NotTaken(String),
}

/// A handle on the one writer.
#[derive(Clone)]
pub struct Hub {
    writer: Arc<Mutex<LedgerWriter<Reply>>>,
    /// The error that stopped the writer, in words.
    broken: Arc<Mutex<Option<String>>>,
    looms: Arc<Looms>,
}

/// The pieces that are being woven.
#[derive(Default)]
struct Looms {
    pieces: Mutex<BTreeSet<PieceNumber>>,
    /// Held while it is found out which piece is woven next.
    choosing: tokio::sync::Mutex<()>,
}

/// A piece that nobody else weaves while this lives.
pub struct PieceHeld {
    piece: PieceNumber,
    looms: Arc<Looms>,
}

impl Drop for PieceHeld {
    fn drop(&mut self) {
        let pieces = &self.looms.pieces;
        pieces
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .remove(&self.piece);
    }
}

impl Hub {
    /// Starts the writer of this ledger, in which a killed program's jobs are ended
    /// first. Must be called within a runtime.
    ///
    /// # Errors
    /// As [`LedgerWriter::start`], and for the disk.
    pub fn start(mut ledger: Ledger) -> Result<Hub, LedgerError> {
        ledger.end_abandoned(Clock::time_of_day())?;
        let (writer, mut completions) = LedgerWriter::<Reply>::start(ledger, BOUND)?;
        let broken = Arc::new(Mutex::new(None));
        let cause = Arc::clone(&broken);
        tokio::spawn(async move {
            while let Some(done) = completions.next().await {
                let Reply { to, mark } = done.token;
                if let Err(error) = &done.result
                    && !error.is_of_the_request()
                {
                    let mut cause = cause.lock().unwrap_or_else(PoisonError::into_inner);
                    cause.get_or_insert_with(|| error.to_string());
                }
                // nobody waits any more: the record is on disk all the same
                let _ = to.send((mark, done.result.map_err(HubError::Ledger)));
            }
        });
        Ok(Hub {
            writer: Arc::new(Mutex::new(writer)),
            broken,
            looms: Arc::default(),
        })
    }

    /// Hands a command over; the answer goes to `to` under `mark`.
    pub fn submit(
        &self,
        command: Command,
        mark: Mark,
        to: &mpsc::UnboundedSender<(Mark, Result<Answer, HubError>)>,
    ) -> Result<(), HubError> {
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        writer
            .submit(
                command,
                Reply {
                    to: to.clone(),
                    mark,
                },
            )
            .map_err(|not_taken| match not_taken {
                NotTaken::Full(_) => HubError::NotTaken(not_taken.to_string()),
                NotTaken::Stopped(_) => self.stopped(),
            })
    }

    /// Whether an error of the ledger itself has stopped its writer.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        let broken = self.broken.lock().unwrap_or_else(PoisonError::into_inner);
        broken.is_some()
    }

    fn stopped(&self) -> HubError {
        let broken = self.broken.lock().unwrap_or_else(PoisonError::into_inner);
        let cause = broken.as_deref().unwrap_or("its writer has ended");
        let words = LedgerError::WriterStopped(cause.to_string()).to_string();
        HubError::NotTaken(words)
    }

    /// Holds a piece for one who weaves it; none if another does already.
    #[must_use]
    pub fn hold(&self, piece: PieceNumber) -> Option<PieceHeld> {
        let pieces = &self.looms.pieces;
        let mut pieces = pieces.lock().unwrap_or_else(PoisonError::into_inner);
        pieces.insert(piece).then(|| PieceHeld {
            piece,
            looms: Arc::clone(&self.looms),
        })
    }

    /// Waits until nobody else is finding out which piece to weave.
    pub async fn choosing(&self) -> tokio::sync::MutexGuard<'_, ()> {
        self.looms.choosing.lock().await
    }

    /// Asks and waits for the answer.
    ///
    /// # Errors
    /// As [`HubError`] says.
    pub async fn ask(&self, command: Command) -> Result<Answer, HubError> {
        let (to, mut answer) = mpsc::unbounded_channel();
        self.submit(command, Mark(0), &to)?;
        drop(to);
        match answer.recv().await {
            Some((_, result)) => result,
            None => Err(self.stopped()),
        }
    }
}
