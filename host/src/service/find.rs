//! Asks on every serial port whether a unit answers.

use std::path::PathBuf;
use std::time::Duration;

use tokio::sync::mpsc;

use super::trial::Trial;
use super::{BAUD, Outcome, ServiceError};
use crate::engine::{Clock, Engine, EngineError, Hub, PortOptions, run};
use crate::job::{News, Person};
use crate::rig::ports;

/// How long a port is given to answer: several tries of the opening.
const ANSWER: Duration = Duration::from_millis(1500);

pub(super) async fn serve(
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let found = ports().map_err(ServiceError::Request)?;
    for found in &found {
        let options = PortOptions {
            path: PathBuf::from(&found.port),
            board: None,
            baud: BAUD,
            first_answer: ANSWER,
            patience: ANSWER,
        };
        let (to, mut heard) = mpsc::channel(64);
        let asked = run(
            Engine::new(Trial::info()),
            &options,
            hub,
            Clock::new(1.0),
            &to,
            persons,
        );
        // whatever else went wrong, no unit answers there
        if let Err(EngineError::Ledger(error)) = asked.await {
            return Err(error.into());
        }
        drop(to);
        let mut unit = None;
        while let Some(item) = heard.recv().await {
            if let News::Info(info) = item {
                unit = Some(info);
            }
        }
        let item = News::Port {
            port: found.port.clone(),
            board: found.board.clone(),
            what: found.what.clone(),
            unit,
        };
        let _ = news.send(item).await;
    }
    let words = if found.is_empty() {
        "no serial port found; plug the rig in, or work with --rig virtual".to_string()
    } else {
        String::new()
    };
    Ok(Outcome { exit: 0, words })
}
