//! How a request ended, and the program's exit status for it: 0 done and
//! nothing wrong, 1 done and faults were found that are left, 2 the input or the
//! command line is wrong, 3 the unit or the link failed.

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

impl Outcome {
    /// How a request ended, with an error as one more way to end.
    #[must_use]
    pub fn of(result: Result<Outcome, ServiceError>) -> Outcome {
        result.unwrap_or_else(|error| Outcome {
            exit: error.exit(),
            words: error.to_string(),
        })
    }
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

    /// Whether the unit was not reached: it was sent no card.
    pub(super) fn is_before_the_unit(&self) -> bool {
        !matches!(
            self,
            ServiceError::Engine(EngineError::Away { .. } | EngineError::Mute { .. })
                | ServiceError::Hub(_)
                | ServiceError::Ledger(_)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words that promise to go on where a stack is read anew cost a person the stack.
    #[test]
    fn what_is_done_again_is_said_of_the_command_at_hand() {
        let away = || EngineError::Away {
            path: "PORT".to_string(),
            seconds: 9,
        };
        let again = "it reads the stack from its first card";
        let stopped = completed(Ok(Outcome::from(End::Stopped)), again).expect("an outcome");
        let words = "stopped before the end; run the command again: ";
        assert_eq!(stopped.words, format!("{words}{again}"));
        let error = completed(Err(away().into()), again).expect_err("it is away");
        assert!(
            error
                .to_string()
                .ends_with(&format!("run the command again: {again}"))
        );
        assert_eq!(error.exit(), 3);
        let done = Outcome::from(End::Done { faults: true });
        assert_eq!(
            completed(Ok(done.clone()), again).expect("an outcome"),
            done
        );
    }
}
