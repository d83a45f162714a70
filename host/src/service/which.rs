//! Which card of which deck a loose card is.
//!
//! The card is read, and looked for in the decks that the ledger knows and those
//! that are named, in all four ways in which it can lie.

use std::path::PathBuf;

use serde_json::json;
use tokio::sync::mpsc;

use super::read::look;
use super::{Outcome, RigChoice, ServiceError, drive, or_failed};
use crate::deck::{CardFormat, Deck};
use crate::engine::Hub;
use crate::job::{Job, News, Person};
use crate::ledger::writer::{Answer, Command};
use crate::order::{known_decks, reading_order};
use crate::rig::RigFile;
use crate::stack::{Pattern, whereabouts};

/// What is asked for.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct WhichAsked {
    /// The card format: a name or a file.
    pub format: String,
    /// Deck files to be looked in beside those the ledger knows.
    pub decks: Vec<PathBuf>,
}

pub(super) async fn serve(
    ask: WhichAsked,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let format = CardFormat::named_or_file(&ask.format)?;
    let rig_file = RigFile::read(rig.file.as_deref())?;
    let decks = decks(&ask.decks, hub).await?;
    let stock = rig.magazine(&format)?;
    let order = reading_order(&format, Some(1), json!({ "which": true }), &rig_file, hub).await?;
    let job = order.number;
    let outcome = drive(Job::new(order), rig, stock, hub, news, persons).await;
    let outcome = or_failed(job, hub, outcome).await?;
    if outcome.exit > 0 {
        return Ok(outcome);
    }
    let Answer::Attempts(cards) = hub.ask(Command::Attempts(job)).await? else {
        return Ok(outcome);
    };
    let mut seen = None;
    for card in &cards {
        seen = look(card, &format, &rig_file, hub).await?.or(seen);
    }
    let seen = seen.and_then(|look| Pattern::of_look(&look).ok());
    let Some(seen) = seen else {
        let words = "the card could not be read; clean the reader, see how it lies, and try again";
        return Err(ServiceError::Request(words.to_string()));
    };
    let found = whereabouts(&seen, &decks);
    let known = u8::from(found.is_empty());
    let _ = news
        .send(News::Which {
            found,
            decks: decks.len() as u32,
        })
        .await;
    Ok(Outcome {
        exit: known,
        words: String::new(),
    })
}

async fn decks(files: &[PathBuf], hub: &Hub) -> Result<Vec<Deck>, ServiceError> {
    let mut decks = Vec::new();
    for file in files {
        decks.push(Deck::read(file)?);
    }
    for known in known_decks(hub).await? {
        if decks.iter().all(|deck| deck.sha256() != known.sha256()) {
            decks.push(known);
        }
    }
    if decks.is_empty() {
        let words = "no deck is known yet: the ledger has none of those it cut or verified; name \
                     deck files with --deck";
        return Err(ServiceError::Request(words.to_string()));
    }
    Ok(decks)
}
