//! The ledger's writer, shared by whatever runs in this process.

use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::mpsc;

use super::Clock;
use crate::job::Mark;
use crate::ledger::writer::{Answer, Command, LedgerWriter, NotTaken};
use crate::ledger::{Ledger, LedgerError};

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
        tokio::spawn(async move {
            while let Some(done) = completions.next().await {
                let Reply { to, mark } = done.token;
                // nobody waits any more: the record is on disk all the same
                let _ = to.send((mark, done.result.map_err(HubError::Ledger)));
            }
        });
        Ok(Hub {
            writer: Arc::new(Mutex::new(writer)),
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
                NotTaken::Full(_) | NotTaken::Stopped(_) => {
                    HubError::NotTaken(not_taken.to_string())
                }
            })
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
            None => Err(HubError::NotTaken(
                "the ledger is no longer written".to_string(),
            )),
        }
    }
}
