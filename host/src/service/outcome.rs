//! How a request ended, and the program's exit status for it: 0 done and
//! nothing wrong, 1 done and faults were found, 2 the input or the command line
//! is wrong, 3 the unit or the link failed.

use serde::{Deserialize, Serialize};

use crate::deck::{CardListError, DeckFileError, FormatError};
use crate::engine::{EngineError, HubError};
use crate::job::End;
use crate::ledger::LedgerError;
use crate::rig::RigFileError;

/// Words that end with this are completed by what the command does then.
const AGAIN: &str = "run the command again";

/// The end of a request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// The exit status.
    pub exit: u8,
    /// What went wrong and what to do; empty if nothing did.
    pub words: String,
}

impl From<End> for Outcome {
    fn from(end: End) -> Outcome {
        let (exit, words) = match end {
            End::Done { faults } => (u8::from(faults), String::new()),
            End::Stopped => (1, format!("stopped before the end; {AGAIN}")),
            End::Failed(words) => (3, words),
            End::Refused(words) => (2, words),
        };
        Outcome { exit, words }
    }
}

/// Why a request could not be carried out.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The deck.
    #[error(transparent)]
    Deck(#[from] DeckFileError),
    /// The card list.
    #[error(transparent)]
    Cards(#[from] CardListError),
    /// The card format.
    #[error(transparent)]
    Format(#[from] FormatError),
    /// The rig file.
    #[error(transparent)]
    Rig(#[from] RigFileError),
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The ledger's writer.
    #[error(transparent)]
    Hub(#[from] HubError),
    /// The line.
    #[error(transparent)]
    Engine(EngineError),
    /// The virtual rig.
    #[error("the virtual rig cannot be started: {0}")]
    Virtual(String),
    /// Something about the request that can be put right.
    #[error("{0}")]
    Request(String),
    /// Another error, and what the command does if it is run again.
    #[error("{error}: {again}")]
    Again {
        /// What went wrong.
        error: Box<ServiceError>,
        /// What it does.
        again: &'static str,
    },
}

/// Tells whoever is asked to run the command again what it does then.
pub(super) fn completed(
    outcome: Result<Outcome, ServiceError>,
    again: &'static str,
) -> Result<Outcome, ServiceError> {
    match outcome {
        Ok(mut outcome) if outcome.words.ends_with(AGAIN) => {
            outcome.words = format!("{}: {again}", outcome.words);
            Ok(outcome)
        }
        Err(error) if error.to_string().ends_with(AGAIN) => Err(ServiceError::Again {
            error: Box::new(error),
            again,
        }),
        outcome => outcome,
    }
}

impl From<EngineError> for ServiceError {
    fn from(error: EngineError) -> ServiceError {
        match error {
            EngineError::Ledger(error) => ServiceError::Hub(error),
            error => ServiceError::Engine(error),
        }
    }
}

impl ServiceError {
    /// The exit status.
    #[must_use]
    pub fn exit(&self) -> u8 {
        match self {
            // a port that is not there is a mistyped name as far as we can know
            ServiceError::Engine(EngineError::Port { .. } | EngineError::NotAllowed { .. }) => 2,
            ServiceError::Engine(_) | ServiceError::Virtual(_) => 3,
            ServiceError::Again { error, .. } => error.exit(),
            _ => 2,
        }
    }
}
