//! Cutting and verifying: from a deck file to a job on a rig.

use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::mpsc;

use super::upkeep::{Told, telling};
use super::{Outcome, RigChoice, ServiceError, Stock, drive, or_failed};
use crate::deck::{CardList, CardNumber, Deck, Row, Stroke};
use crate::engine::Hub;
use crate::job::{Account, Job, Kind, News, Order, Person, Recut};
use crate::order::{Wanted, draw_up, job_kind};
use crate::rig::RigFile;

/// What is asked for.
pub(super) struct Ask {
    pub kind: Kind,
    pub deck: PathBuf,
    pub cards: Option<String>,
    pub recut: Recut,
    pub again: bool,
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
        again: ask.again,
    };
    let drawn = draw_up(wanted, &rig_file, hub).await?;
    let refused = ask.kind == Kind::Mend && !drawn.notes.is_empty();
    for words in drawn.notes {
        let _ = news.send(News::Note { words }).await;
    }
    let Some(mut order) = drawn.order else {
        return match ask.kind {
            Kind::Mend => Ok(nothing_to_mend(&deck, refused)),
            _ => nothing_to_do(&deck, drawn.asked, news).await,
        };
    };
    if ask.kind == Kind::Mend {
        let words = format!(
            "lay in these cards and no others, in this order, numbered end first: {}",
            CardList::from_cards(order.cards.iter().copied())
        );
        let _ = news
            .send(News::Note {
                words: words.clone(),
            })
            .await;
        order.first = (!rig.is_virtual()).then_some(words);
    }
    let _ = news
        .send(News::Job {
            job: order.number,
            kind: job_kind(ask.kind).word().to_string(),
            deck: deck.name().to_string(),
            cards: order.cards.len() as u32,
            already_good: drawn.already_good,
            taken_up: drawn.taken_up,
        })
        .await;
    let (job, by_hand) = (order.number, rig_file.loads_by_hand());
    let outcome = work(order, by_hand, rig, hub, news, persons).await;
    let nothing_sent = |outcome: &Result<_, ServiceError>| match outcome {
        Ok(_) => false,
        Err(error) => !drawn.taken_up && error.is_before_the_unit(),
    };
    // a cutting job is taken up by the next run
    if ask.kind == Kind::Cut && !nothing_sent(&outcome) {
        return outcome;
    }
    or_failed(job, hub, outcome).await
}

async fn work(
    order: Order,
    by_hand: bool,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let stock = Stock {
        by_hand,
        ..magazine(&order, rig)?
    };
    let told = Told::Advice {
        holes: order.deck.format().holes_per_row(),
        is_virtual: rig.is_virtual(),
    };
    telling(told, hub, news, |news| async move {
        drive(Job::new(order), rig, stock, hub, &news, persons).await
    })
    .await
}

/// What lies in the virtual rig: for cutting, blank cards; else the stack that is
/// named, or that of the deck itself.
fn magazine(order: &Order, rig: &RigChoice) -> Result<Stock, ServiceError> {
    let format = order.deck.format();
    let cut = |card: &CardNumber| order.deck.strokes(*card);
    let stack = match order.kind {
        Kind::Cut => Vec::new(),
        _ if rig.as_virtual.stack.is_some() => return rig.magazine(format),
        Kind::Verify | Kind::Read => order.cards.iter().filter_map(cut).collect(),
        Kind::Mend => {
            let faulty = |card: &CardNumber| Some(unmended(&cut(card)?, order.mending.get(card)?));
            order.cards.iter().filter_map(faulty).collect()
        }
    };
    Ok(Stock {
        format: Some(format.clone()),
        stack,
        ..Stock::default()
    })
}

/// A card as it is before it is mended.
fn unmended(strokes: &[Stroke], mending: &[Stroke]) -> Vec<Stroke> {
    let one = |(whole, missing): (&Stroke, &Stroke)| {
        let row = Row(whole.punches().0 & !missing.punches().0);
        match whole.peg() && !missing.peg() {
            true => Stroke::NeedlesAndPeg(row),
            false => Stroke::Needles(row),
        }
    };
    strokes.iter().zip(mending).map(one).collect()
}

fn nothing_to_mend(deck: &Deck, refused: bool) -> Outcome {
    let words = if refused {
        format!("no card of {} can be mended", deck.name())
    } else {
        format!(
            "no card of {} was read and found to lack a hole; nothing to mend",
            deck.name()
        )
    };
    Outcome {
        exit: u8::from(refused),
        words,
    }
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
        "every card asked for of {} is already good; nothing to cut (--again cuts those \
         that --cards names once more)",
        deck.name()
    );
    Ok(Outcome { exit: 0, words })
}
