//! Cutting and verifying: from a deck file to a job on a rig.

use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::mpsc;

use super::{Outcome, RigChoice, ServiceError, Stock, drive};
use crate::deck::Deck;
use crate::engine::Hub;
use crate::job::{Account, Job, Kind, News, Person, Recut};
use crate::order::{Wanted, draw_up, job_kind};
use crate::rig::RigFile;

/// What is asked for.
pub(super) struct Ask {
    pub kind: Kind,
    pub deck: PathBuf,
    pub cards: Option<String>,
    pub recut: Recut,
}

pub(super) async fn serve(
    ask: Ask,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let deck = Arc::new(Deck::read(&ask.deck)?);
    let rig_file = RigFile::read(rig.file.as_deref())?;
    let wanted = Wanted {
        kind: ask.kind,
        deck: &deck,
        cards: ask.cards.as_deref(),
        recut: ask.recut,
    };
    let drawn = draw_up(wanted, &rig_file, hub).await?;
    let Some(order) = drawn.order else {
        return nothing_to_do(&deck, drawn.asked, news).await;
    };
    let cards = order.cards.clone();
    let _ = news
        .send(News::Job {
            job: order.number,
            kind: job_kind(ask.kind).word().to_string(),
            deck: deck.name().to_string(),
            cards: cards.len() as u32,
            already_good: drawn.already_good,
            taken_up: drawn.taken_up,
        })
        .await;
    // a stack to be verified lies in the virtual rig's magazine, as cut
    let stock = Stock {
        format: Some(deck.format().clone()),
        stack: match ask.kind {
            Kind::Cut => Vec::new(),
            Kind::Verify => cards
                .iter()
                .filter_map(|card| deck.strokes(*card))
                .collect(),
        },
        by_hand: rig_file.loads_by_hand(),
    };
    drive(Job::new(order), rig, stock, hub, news, persons).await
}

async fn nothing_to_do(
    deck: &Deck,
    cards: u32,
    news: &mpsc::Sender<News>,
) -> Result<Outcome, ServiceError> {
    let account = Account {
        cards,
        good: cards,
        ..Account::default()
    };
    let _ = news.send(News::Summary(Box::new(account))).await;
    let words = format!(
        "every card asked for of {} is already good; nothing to cut",
        deck.name()
    );
    Ok(Outcome { exit: 0, words })
}
