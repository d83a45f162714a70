//! Cutting and verifying: from a deck file to an order for a job. What the
//! ledger knows decides which cards are left alone and whether an earlier run
//! is taken up.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use cardwright_protocol::{CardId, CardNumber, JobNumber};
use tokio::sync::mpsc;

use super::{Outcome, RigChoice, ServiceError, drive};
use crate::deck::{CardList, Deck};
use crate::engine::{Clock, Hub};
use crate::job::{Account, Job, Kind, News, Order, Person, Recut};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{DeckSha, Ending, JobKind, NewDeck, NewJob, OpenAttempt};
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
    let list = match &ask.cards {
        Some(list) => CardList::parse(list, deck.card_count())?,
        None => CardList::all(deck.card_count()),
    };
    let rig_file = RigFile::read(rig.file.as_deref())?;
    let past = Past::of(&deck, hub).await?;
    let good = if ask.kind == Kind::Cut {
        past.good.clone()
    } else {
        BTreeSet::new()
    };
    let cards: Vec<CardNumber> = list.iter().filter(|card| !good.contains(card)).collect();
    let already_good = list.count() - cards.len() as u32;
    if cards.is_empty() {
        return nothing_to_do(&deck, list.count(), news).await;
    }
    let taken_up = ask.kind == Kind::Cut && past.job.is_some();
    let number = match past.job.filter(|_| taken_up) {
        Some(job) => job,
        None => begin_job(&ask, &deck, hub).await?,
    };
    let mut open = open_attempts(number, hub).await?;
    open.sort_by_key(|attempt| (attempt.sent, attempt.id.card, attempt.id.attempt));
    let order = Order {
        number,
        kind: ask.kind,
        deck: Arc::clone(&deck),
        settings: rig_file.settings(deck.format()),
        geometry: RigFile::geometry(deck.format()),
        limits: rig_file.limits(),
        recut: ask.recut,
        used: used_attempts(number, hub).await?,
        open_elsewhere: open_elsewhere(number, hub).await?,
        open,
        cards: cards.clone(),
    };
    let _ = news
        .send(News::Job {
            job: number,
            kind: kind_word(ask.kind).to_string(),
            deck: deck.name().to_string(),
            cards: cards.len() as u32,
            already_good,
            taken_up,
        })
        .await;
    // a stack to be verified lies in the virtual rig's magazine, as cut
    let stack = match ask.kind {
        Kind::Cut => Vec::new(),
        Kind::Verify => cards
            .iter()
            .filter_map(|card| deck.strokes(*card))
            .collect(),
    };
    drive(
        Job::new(order),
        rig,
        Some((deck.format(), stack)),
        hub,
        news,
        persons,
    )
    .await
}

fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Cut => JobKind::Cut.word(),
        Kind::Verify => JobKind::Verify.word(),
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
        "every card asked for of {} is already good; nothing to cut",
        deck.name()
    );
    Ok(Outcome { exit: 0, words })
}

/// What the ledger knows of this deck.
struct Past {
    good: BTreeSet<CardNumber>,
    /// The newest cutting job of this deck that has not ended.
    job: Option<JobNumber>,
}

impl Past {
    async fn of(deck: &Deck, hub: &Hub) -> Result<Past, ServiceError> {
        let sha = deck_sha(deck)?;
        let good = match hub.ask(Command::GoodCards(sha)).await? {
            Answer::GoodCards(good) => good,
            _ => BTreeSet::new(),
        };
        let jobs = match hub.ask(Command::UnfinishedJobs(sha)).await? {
            Answer::Jobs(jobs) => jobs,
            _ => Vec::new(),
        };
        let (cutting, other): (Vec<_>, Vec<_>) =
            jobs.into_iter().partition(|job| job.kind == JobKind::Cut);
        // a verifying run that was cut off has nothing to be taken up
        for job in other {
            hub.ask(Command::EndJob(
                job.job,
                Ending::Failed,
                Clock::time_of_day(),
            ))
            .await?;
        }
        Ok(Past {
            good,
            job: cutting.last().map(|job| job.job),
        })
    }
}

fn deck_sha(deck: &Deck) -> Result<DeckSha, ServiceError> {
    let text = deck.sha256();
    let byte = |at: usize| {
        text.get(2 * at..2 * at + 2)
            .and_then(|s| u8::from_str_radix(s, 16).ok())
    };
    let mut sha = [0; 32];
    for (at, place) in sha.iter_mut().enumerate() {
        *place = byte(at)
            .ok_or_else(|| ServiceError::Request("the deck has no checksum".to_string()))?;
    }
    Ok(DeckSha(sha))
}

async fn begin_job(ask: &Ask, deck: &Deck, hub: &Hub) -> Result<JobNumber, ServiceError> {
    let job = NewJob {
        kind: match ask.kind {
            Kind::Cut => JobKind::Cut,
            Kind::Verify => JobKind::Verify,
        },
        deck: Some(NewDeck {
            sha256: deck_sha(deck)?,
            name: deck.name().to_string(),
            format: deck.format().name().to_string(),
            cards: deck.card_count(),
        }),
        unit: None,
        settings: serde_json::json!({ "cards": ask.cards, "recut": ask.recut }),
        started: Clock::time_of_day(),
    };
    match hub.ask(Command::BeginJob(job)).await? {
        Answer::Job(number) => Ok(number),
        _ => Err(ServiceError::Request(
            "the ledger gave the job no number".to_string(),
        )),
    }
}

async fn open_attempts(job: JobNumber, hub: &Hub) -> Result<Vec<OpenAttempt>, ServiceError> {
    match hub.ask(Command::OpenAttempts(job)).await? {
        Answer::OpenAttempts(open) => Ok(open),
        _ => Ok(Vec::new()),
    }
}

async fn used_attempts(
    job: JobNumber,
    hub: &Hub,
) -> Result<BTreeMap<CardNumber, u32>, ServiceError> {
    match hub.ask(Command::UsedAttempts(job)).await? {
        Answer::UsedAttempts(used) => Ok(used),
        _ => Ok(BTreeMap::new()),
    }
}

async fn open_elsewhere(job: JobNumber, hub: &Hub) -> Result<BTreeSet<CardId>, ServiceError> {
    match hub.ask(Command::OpenElsewhere(job)).await? {
        Answer::OpenElsewhere(open) => Ok(open),
        _ => Ok(BTreeSet::new()),
    }
}
