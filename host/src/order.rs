//! From a deck and what the ledger knows to an order for a job.
//!
//! Enters: a deck, which of its cards are wanted, the rig file, the ledger.
//! Leaves: an order; what the ledger knows decides which cards are left alone
//! and whether an earlier run is taken up, so that a program that was killed
//! goes on where it stopped. Refuses: card lists the deck does not have.

mod mend;
mod read;

pub(crate) use read::{MOST_READ, format_order, reading_order};

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::{CardId, CardNumber, JobNumber};

use crate::deck::{CardList, Deck};
use crate::engine::{Clock, Hub};
use crate::job::{Kind, Order, Recut};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{DeckSha, Ending, JobKind, NewDeck, NewJob, OpenAttempt};
use crate::rig::RigFile;
use crate::service::ServiceError;

/// What is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// Cut, verify or mend.
    pub kind: Kind,
    /// The deck.
    pub deck: &'a Arc<Deck>,
    /// Which cards, such as `1-40,57`; none for all of them.
    pub cards: Option<&'a str>,
    /// When spoiled cards are cut again.
    pub recut: Recut,
    /// Whether good cards are cut too, as when damp has destroyed them.
    pub again: bool,
}

/// An order, and what a person is told of it.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// The order; none if every card asked for is good already.
    pub order: Option<Order>,
    /// Cards asked for.
    pub asked: u32,
    /// Of these, cards that are good and are left alone.
    pub already_good: u32,
    /// Whether an earlier run of the job is taken up.
    pub taken_up: bool,
    /// What a person should know beforehand.
    pub notes: Vec<String>,
}

/// Draws the order up from what the ledger knows. A job that has none is begun
/// in the ledger.
///
/// # Errors
/// A card list that the deck does not have, and whatever the ledger says.
pub async fn draw_up(
    wanted: Wanted<'_>,
    rig_file: &RigFile,
    hub: &Hub,
) -> Result<Drawn, ServiceError> {
    let deck = wanted.deck;
    let list = match wanted.cards {
        Some(list) => CardList::parse(list, deck.card_count())?,
        None => CardList::all(deck.card_count()),
    };
    no_gaps(deck, &list)?;
    let past = Past::of(deck, hub).await?;
    let cut = wanted.kind == Kind::Cut;
    let good = |card: &CardNumber| cut && !wanted.again && past.good.contains(card);
    let mut cards: Vec<CardNumber> = list.iter().filter(|card| !good(card)).collect();
    let mut mending = mend::Mending::default();
    if wanted.kind == Kind::Mend {
        let (sha, all) = (deck_sha(deck)?, wanted.cards.is_none());
        mending = mend::mending_of(deck, sha, &list, all, rig_file, hub).await?;
        cards = mending.strokes.keys().copied().collect();
    }
    let mut drawn = Drawn {
        order: None,
        asked: list.count(),
        already_good: list.iter().filter(good).count() as u32,
        taken_up: false,
        notes: doubts(deck, wanted.kind).into_iter().collect(),
    };
    drawn.notes.append(&mut mending.refused);
    if cards.is_empty() {
        if let Some(job) = past
            .job
            .filter(|_| past.good.len() == deck.card_count() as usize)
        {
            // its last card was recorded, and the program killed before its end
            hub.ask(Command::EndJob(job, Ending::Done, Clock::time_of_day()))
                .await?;
        }
        return Ok(drawn);
    }
    drawn.taken_up = cut && past.job.is_some();
    let number = match past.job.filter(|_| drawn.taken_up) {
        Some(job) => job,
        None => begin_job(&wanted, hub).await?,
    };
    let mut open = open_attempts(number, hub).await?;
    open.sort_by_key(|attempt| (attempt.sent, attempt.id.card, attempt.id.attempt));
    let mut settings = rig_file.settings(deck.format());
    if wanted.kind == Kind::Mend {
        // the holes that are there already are none of the unit's mistakes
        settings.gross_holes = MOST_HOLES + 1;
    }
    let others = match wanted.kind {
        Kind::Verify => other_decks(deck, hub).await?,
        _ => Vec::new(),
    };
    drawn.order = Some(Order {
        number,
        kind: wanted.kind,
        deck: Arc::clone(deck),
        others: Arc::new(others),
        mending: mending.strokes,
        until_told: false,
        formats: None,
        first: None,
        settings,
        geometry: RigFile::geometry(deck.format()),
        limits: rig_file.limits(),
        recut: wanted.recut,
        used: used_attempts(number, hub).await?,
        open_elsewhere: open_elsewhere(number, hub).await?,
        open,
        cards,
    });
    Ok(drawn)
}

/// The ledger's word for a kind of job.
#[must_use]
pub fn job_kind(kind: Kind) -> JobKind {
    match kind {
        Kind::Cut => JobKind::Cut,
        Kind::Verify => JobKind::Verify,
        Kind::Read => JobKind::Read,
        Kind::Mend => JobKind::Mend,
    }
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

/// Cards that were never read cannot be cut, and none can be found right.
fn no_gaps(deck: &Deck, list: &CardList) -> Result<(), ServiceError> {
    let gaps = deck.reading().map_or(&[][..], |reading| &reading.gaps);
    let asked: Vec<CardNumber> = gaps
        .iter()
        .copied()
        .filter(|gap| list.contains(*gap))
        .collect();
    if asked.is_empty() {
        return Ok(());
    }
    let rest = list.iter().filter(|card| !asked.contains(card));
    let rest = CardList::from_cards(rest);
    Err(ServiceError::Request(format!(
        "cards {} of {} are gaps: they were never read, and their lines are blank; write their lines \
         and take them off `gaps` in the deck file, or name the others with --cards {rest}",
        CardList::from_cards(asked),
        deck.name()
    )))
}

/// A word on positions that hold a guess.
fn doubts(deck: &Deck, kind: Kind) -> Option<String> {
    let doubtful = deck.reading().map_or(0, |reading| reading.doubtful.len());
    (kind == Kind::Cut && doubtful > 0).then(|| {
        format!(
            "{doubtful} positions of {} are doubtful and hold a guess; `cardwright deck settle` \
             asks about them",
            deck.name()
        )
    })
}

/// The other decks that the ledger knows.
pub(crate) async fn known_decks(hub: &Hub) -> Result<Vec<Deck>, ServiceError> {
    let texts = match hub.ask(Command::DeckTexts).await? {
        Answer::DeckTexts(texts) => texts,
        _ => Vec::new(),
    };
    // one whose own format file is no longer there is not known any more
    let deck = |text: String| Deck::parse(&text, Path::new("a deck of the ledger")).ok();
    Ok(texts
        .into_iter()
        .filter_map(|(_, text)| deck(text))
        .collect())
}

async fn other_decks(deck: &Deck, hub: &Hub) -> Result<Vec<Deck>, ServiceError> {
    let mut known = known_decks(hub).await?;
    known.retain(|other| other.sha256() != deck.sha256());
    Ok(known)
}

fn no_number() -> ServiceError {
    ServiceError::Request("the ledger gave the job no number".to_string())
}

async fn begin_job(wanted: &Wanted<'_>, hub: &Hub) -> Result<JobNumber, ServiceError> {
    let deck = wanted.deck;
    let job = NewJob {
        kind: job_kind(wanted.kind),
        deck: Some(NewDeck {
            sha256: deck_sha(deck)?,
            name: deck.name().to_string(),
            format: deck.format().name().to_string(),
            cards: deck.card_count(),
            text: deck.to_text_elsewhere(),
        }),
        unit: None,
        settings: serde_json::json!({ "cards": wanted.cards, "recut": wanted.recut }),
        started: Clock::time_of_day(),
    };
    match hub.ask(Command::BeginJob(job)).await? {
        Answer::Job(number) => Ok(number),
        _ => Err(no_number()),
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
