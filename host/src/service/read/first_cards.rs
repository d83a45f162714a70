//! The first cards of a stack, by which its format is seen.
//!
//! Each is read in a job of its own with the whole light bar, and its reading is
//! kept: these cards are the first of the pass, and nobody has to lay them in
//! again.

use std::sync::Arc;

use cardwright_protocol::JobNumber;
use tokio::sync::mpsc;

use super::{Reading, attempts, one_pass, raw};
use crate::copy::{Known, Recognised};
use crate::deck::CardFormat;
use crate::deck::format::BUILT_IN;
use crate::engine::Hub;
use crate::job::{News, Person};
use crate::order::{format_order, known_decks};
use crate::rig::RigFile;
use crate::service::{Outcome, RigChoice, ServiceError};

/// Cards that are looked at most: damage may hide the format on one.
const MOST_LOOKED: u32 = 3;

/// What came of it.
pub(super) enum Seen {
    /// The format, and the jobs in which the cards were read.
    Format(Box<CardFormat>, Vec<JobNumber>),
    /// A job did not come to its end.
    Ended(Outcome),
}

/// How the cards are looked at.
pub(super) struct Looking<'a> {
    pub reading: &'a Reading,
    /// Cards in the stack, if that is known.
    pub cards: Option<u32>,
    pub rig: &'a RigChoice,
    pub rig_file: &'a RigFile,
}

impl Looking<'_> {
    /// Reads cards until the format is sure.
    ///
    /// # Errors
    /// Cards that do not tell their format, and whatever the ledger says.
    pub async fn format(
        &self,
        hub: &Hub,
        news: &mpsc::Sender<News>,
        persons: &mut mpsc::Receiver<Person>,
    ) -> Result<Seen, ServiceError> {
        let known = Known::new(&known_formats(hub).await?, self.rig_file).map(Arc::new);
        let known = known.ok_or_else(|| {
            let words = "the rig's light bar is too short for every known format; see \
                         reader.channels in the rig file, or give --format";
            ServiceError::Request(words.to_string())
        })?;
        let (mut jobs, mut readings) = (Vec::new(), Vec::new());
        let most = self.cards.unwrap_or(MOST_LOOKED).min(MOST_LOOKED);
        loop {
            let order = format_order(&known, self.reading.looking(), self.rig_file, hub).await?;
            let (job, samples) = (order.number, order.settings.samples_per_row);
            let stock = self.rig.any_magazine(jobs.len())?;
            let outcome = one_pass(order, 1, stock, self.rig, hub, news, persons).await?;
            if outcome.exit > 1 || !outcome.words.is_empty() {
                return Ok(Seen::Ended(outcome));
            }
            jobs.push(job);
            for card in attempts(job, hub).await? {
                readings.extend(raw(&card, samples, hub).await?);
            }
            match known.recognise(&readings) {
                Ok(found) => {
                    let words = told(&found);
                    let _ = news.send(News::Note { words }).await;
                    return Ok(Seen::Format(Box::new(found.format), jobs));
                }
                Err(refused) if jobs.len() as u32 >= most || persons.is_closed() => {
                    let words = format!("{refused}{}", after(&known, jobs.len()));
                    return Err(ServiceError::Request(words));
                }
                Err(_) => {}
            }
        }
    }
}

fn told(found: &Recognised) -> String {
    format!(
        "the cards are of format {} ({}): {}; if that is wrong, stop, lay the stack in again and \
         give --format",
        found.format.name(),
        found.format.title(),
        found.tells
    )
}

/// What else there is to say when the format was not seen.
fn after(known: &Known, cards: usize) -> String {
    let mut words = match cards {
        1 => " (lay the card that was read back as the first of the stack".to_string(),
        cards => format!(" (lay the {cards} cards that were read back as the first of the stack"),
    };
    let others = known.not_looked_for();
    if !others.is_empty() {
        words.push_str(&format!(
            "; not looked for, as their holes lie elsewhere or the light bar is too short: {}",
            others.join(", ")
        ));
    }
    words.push(')');
    words
}

/// The built-in formats, and those of the decks that the ledger knows.
pub(super) async fn known_formats(hub: &Hub) -> Result<Vec<CardFormat>, ServiceError> {
    let mut known = Vec::new();
    for (name, _) in BUILT_IN {
        known.push(CardFormat::named(name)?);
    }
    for deck in known_decks(hub).await? {
        let format = deck.format();
        if known.iter().all(|other| other.sha256() != format.sha256()) {
            known.push(format.clone());
        }
    }
    Ok(known)
}
