//! Reading a stack of old cards into a new deck: as many passes as are wanted,
//! then the deck made of all of them.
//!
//! Every pass is a job of its own, and what it read stands in the ledger before
//! anything is made of it. So a reading that was stopped between two passes can be
//! gone on with, and a deck be made again of more passes.

mod first_cards;

use std::collections::BTreeSet;
use std::path::PathBuf;

use cardwright_protocol::JobNumber;
use first_cards::Seen;
use serde_json::{Value, json};
use tokio::sync::mpsc;

use super::{Outcome, RigChoice, ServiceError, Stock, drive, or_failed};
use crate::copy::{Copied, CopyError, Sight, copied, cropped, lacking_in};
use crate::deck::{CardFormat, CardList, CardNumber, Deck, Row};
use crate::engine::{Clock, Hub};
use crate::job::{End, Job, News, Order, Person};
use crate::judge::{Judge, Look};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{AttemptRow, Ending, JobKind, JobRow, Verdict, reading_of};
use crate::order::{MOST_READ, reading_order};
use crate::output;
use crate::rig::RigFile;

/// What is asked for.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ReadAsked {
    /// The deck file to be written.
    pub out: PathBuf,
    /// The card format: a name or a file. If it is not given, the first cards tell.
    pub format: Option<String>,
    /// Cards in the stack, if that is known.
    pub cards: Option<u32>,
    /// Numbers of cards that are lacking, such as 17,43, or `none`; those that were
    /// said before if nothing is said.
    pub lacking: Option<String>,
    /// Passes to be made now; 0 only makes the deck of those there are.
    pub passes: u8,
    /// Passes join those of the last reading into the same file, which is
    /// written anew.
    pub more: bool,
}

pub(super) async fn serve(
    ask: ReadAsked,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let named = ask.format.as_deref().map(CardFormat::named_or_file);
    let named = named.transpose()?;
    let rig_file = RigFile::read(rig.file.as_deref())?;
    check_out(&ask)?;
    let asked = lacking(&ask)?;
    let name = ask.out.file_stem().unwrap_or_default().to_string_lossy();
    let (named, mut reading) = Reading::begin(&ask, named, hub).await?;
    let (format, looked) = match named {
        Some(format) => (format, Vec::new()),
        None if ask.passes == 0 => {
            return Err(ServiceError::Request(CopyError::Nothing.to_string()));
        }
        None => {
            let looking = first_cards::Looking {
                reading: &reading,
                cards: ask.cards,
                rig,
                rig_file: &rig_file,
            };
            match looking.format(hub, news, persons).await? {
                Seen::Format(format, jobs) => (*format, jobs),
                Seen::Ended(outcome) => return Ok(outcome),
            }
        }
    };
    reading.format = format.sha256();
    let before = reading.passes(hub).await?;
    let earlier = before.len() as u32;
    let mut was = BTreeSet::new();
    let mut cards = ask.cards;
    if ask.more && ask.out.exists() {
        let passes = sights(&before, &format, &rig_file, hub).await?;
        // the same stack has as many cards as it had
        let most = passes.iter().map(|pass| pass.len() as u32).max();
        cards = cards.or(most.filter(|most| *most > 0));
        was = lacking_before(&ask, &name, &format, &passes)?;
    }
    let lacking = asked.unwrap_or_else(|| was.clone());
    if !was.is_subset(&lacking) {
        let words = format!(
            "cards {} were said to be lacking before: those that still are have to be named again",
            CardList::from_cards(was)
        );
        let _ = news.send(News::Note { words }).await;
    }
    for pass in 1..=u32::from(ask.passes) {
        if pass > 1 && persons.is_closed() {
            // whoever asked is gone
            return Ok(Outcome::from(End::Stopped));
        }
        // the cards by which the format was seen are the first of the first pass
        let looked = if pass == 1 { &looked[..] } else { &[] };
        let stack = rig.magazine(&format)?.after(looked.len());
        let settings = reading.settings(earlier + pass, looked);
        let mut order = reading_order(&format, cards, settings, &rig_file, hub).await?;
        order.cards.drain(..looked.len().min(order.cards.len()));
        if order.cards.is_empty() {
            let end = Command::EndJob(order.number, Ending::Done, Clock::time_of_day());
            hub.ask(end).await?;
            continue;
        }
        if pass > 1 && !rig.is_virtual() {
            order.first = Some(format!(
                "pass {pass} of {}: lay the stack in again, in the same order and the same way",
                ask.passes
            ));
        }
        let known = cards.map_or(0, |_| order.cards.len() as u32);
        let outcome = one_pass(order, known, stack, rig, hub, news, persons).await?;
        // a pass that was not read to its end tells why
        if outcome.exit > 1 || !outcome.words.is_empty() {
            return Ok(outcome);
        }
    }
    let passes = sights(&reading.passes(hub).await?, &format, &rig_file, hub).await?;
    let Copied { deck, notes } = copied(&name, &format, &passes, &lacking)
        .map_err(|error| ServiceError::Request(error.to_string()))?;
    deck.write(&ask.out, ask.more)
        .map_err(|error| ServiceError::Request(error.to_string()))?;
    Ok(tell(&ask, &deck, notes, news).await)
}

/// The cards that are said to be lacking now; none if nothing is said of it.
fn lacking(ask: &ReadAsked) -> Result<Option<BTreeSet<CardNumber>>, ServiceError> {
    Ok(match ask.lacking.as_deref() {
        None => None,
        Some("none") => Some(BTreeSet::new()),
        Some(list) => Some(CardList::parse(list, MOST_READ)?.iter().collect()),
    })
}

/// The cards that were said to be lacking when the deck was made of these passes. It
/// must be as it was made: what a person has settled in it is not undone.
fn lacking_before(
    ask: &ReadAsked,
    name: &str,
    format: &CardFormat,
    passes: &[Vec<Option<Sight>>],
) -> Result<BTreeSet<CardNumber>, ServiceError> {
    let deck = Deck::read(&ask.out)?;
    let was = lacking_in(&deck, passes);
    let made = copied(name, format, passes, &was).map(|copied| copied.deck);
    if made.is_ok_and(|made| made == deck) {
        return Ok(was);
    }
    Err(ServiceError::Request(format!(
        "{} is not as it was read: it was settled or written in since; read the stack into another \
         file",
        ask.out.display()
    )))
}

fn check_out(ask: &ReadAsked) -> Result<(), ServiceError> {
    let out = ask.out.display();
    let words = if ask.out.extension().is_none_or(|ending| ending != "deck") {
        format!("a deck file's name ends in .deck, and {out} does not; give it another name")
    } else if ask.out.exists() && !ask.more {
        format!(
            "{out} is there already and was left as it is; give another name, or --more to read \
             its stack once more and write it anew"
        )
    } else if !ask
        .out
        .parent()
        .is_none_or(|dir| dir.as_os_str().is_empty() || dir.is_dir())
    {
        format!("the folder of {out} is not there; make it first")
    } else {
        // before a machine moves for it
        return output::may_write(&ask.out, ask.more)
            .map_err(|error| ServiceError::Request(error.to_string()));
    };
    Err(ServiceError::Request(words))
}

/// One reading of one stack: the jobs that were its passes.
struct Reading {
    /// What marks its jobs.
    mark: i64,
    out: String,
    format: String,
}

impl Reading {
    /// A new reading, or the last into this file, with its format, if `more` of it
    /// is wanted.
    async fn begin(
        ask: &ReadAsked,
        mut named: Option<CardFormat>,
        hub: &Hub,
    ) -> Result<(Option<CardFormat>, Reading), ServiceError> {
        let mut reading = Reading {
            mark: Clock::time_of_day().0,
            out: ask.out.display().to_string(),
            format: String::new(),
        };
        let jobs = jobs(hub).await?;
        let into = |job: &&JobRow| job.settings["out"] == *reading.out;
        for job in jobs.iter().filter(into).filter(|job| job.ended.is_none()) {
            // a pass that was cut off is made again
            let end = Command::EndJob(job.job, Ending::Failed, Clock::time_of_day());
            hub.ask(end).await?;
        }
        if ask.more {
            let last = jobs.iter().rev().filter(into).find(is_pass);
            if let (None, Some(last)) = (&named, last) {
                let known = first_cards::known_formats(hub).await?;
                let same = |format: &CardFormat| last.settings["format"] == *format.sha256();
                named = known.into_iter().find(same);
            }
            let format = named.as_ref().map(CardFormat::sha256).unwrap_or_default();
            let last = last.filter(|job| job.settings["format"] == *format);
            let mark = last.and_then(|job| job.settings["reading"].as_i64());
            reading.mark = mark.ok_or_else(|| {
                let of = named.as_ref().map_or(String::new(), |format| {
                    format!(" of cards of format {}", format.name())
                });
                ServiceError::Request(format!(
                    "the ledger has no earlier reading{of} into {}; leave --more away, or see that \
                     --format and --data are those of that reading",
                    reading.out
                ))
            })?;
            reading.format = format;
        }
        Ok((named, reading))
    }

    /// Its passes so far, whole ones only.
    async fn passes(&self, hub: &Hub) -> Result<Vec<JobRow>, ServiceError> {
        let mut jobs = jobs(hub).await?;
        jobs.retain(|job| {
            let done = job.ending == Some(Ending::Done);
            job.settings["reading"] == self.mark && done && is_pass(&job)
        });
        Ok(jobs)
    }

    /// What is noted of a pass that begins with the cards that were looked at by
    /// these jobs.
    fn settings(&self, pass: u32, looked: &[JobNumber]) -> Value {
        json!({
            "out": self.out, "format": self.format, "reading": self.mark, "pass": pass,
            "looked": looked,
        })
    }

    /// What is noted of a card that is looked at for its format.
    fn looking(&self) -> Value {
        json!({ "out": self.out, "reading": self.mark })
    }
}

/// Whether it is a pass, and not a card looked at for its format.
fn is_pass(job: &&JobRow) -> bool {
    job.settings["pass"].is_u64()
}

async fn jobs(hub: &Hub) -> Result<Vec<JobRow>, ServiceError> {
    match hub.ask(Command::ReadingJobs).await? {
        Answer::Jobs(jobs) => Ok(jobs),
        _ => Ok(Vec::new()),
    }
}

async fn one_pass(
    order: Order,
    cards: u32,
    stock: Stock,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let item = News::Job {
        job: order.number,
        kind: JobKind::Read.word().to_string(),
        deck: match order.formats {
            Some(_) => "a card, to see the format".to_string(),
            None => "the stack".to_string(),
        },
        cards,
        already_good: 0,
        taken_up: false,
    };
    let _ = news.send(item).await;
    let job = order.number;
    let outcome = drive(Job::new(order), rig, stock, hub, news, persons).await;
    or_failed(job, hub, outcome).await
}

/// What was seen in each pass, card after card.
pub(super) async fn sights(
    passes: &[JobRow],
    format: &CardFormat,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Vec<Vec<Option<Sight>>>, ServiceError> {
    let mut all = Vec::with_capacity(passes.len());
    for pass in passes {
        let looked = pass.settings["looked"].clone();
        let looked: Vec<JobNumber> = serde_json::from_value(looked).unwrap_or_default();
        let mut cards = Vec::new();
        for job in looked.into_iter().chain([pass.job]) {
            cards.extend(attempts(job, hub).await?);
        }
        let mut pass = Vec::with_capacity(cards.len());
        for card in cards
            .iter()
            .filter(|card| card.verdict != Verdict::NotBegun)
        {
            let look = look(card, format, rig, hub).await?;
            pass.push(look.and_then(|look| Sight::of(&look, format)));
        }
        all.push(pass);
    }
    Ok(all)
}

async fn attempts(job: JobNumber, hub: &Hub) -> Result<Vec<AttemptRow>, ServiceError> {
    match hub.ask(Command::Attempts(job)).await? {
        Answer::Attempts(cards) => Ok(cards),
        _ => Ok(Vec::new()),
    }
}

/// The kept reading of a card.
async fn raw(
    card: &AttemptRow,
    samples: u8,
    hub: &Hub,
) -> Result<Option<crate::judge::Reading>, ServiceError> {
    match hub.ask(Command::RawReadings(card.id())).await? {
        Answer::Readings(Some(raw)) => Ok(Some(reading_of(card, raw, samples))),
        _ => Ok(None),
    }
}

/// What is seen in the kept reading of a card, if it can be measured.
pub(super) async fn look(
    card: &AttemptRow,
    format: &CardFormat,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Option<Look>, ServiceError> {
    let samples = rig.settings(format).samples_per_row;
    let Some(reading) = raw(card, samples, hub).await? else {
        return Ok(None);
    };
    let judge = Judge::new(&RigFile::geometry(format), &rig.limits(), samples);
    let blank = format.programme(&vec![Row(0); usize::from(format.rows())]);
    Ok(judge.look(&blank, &cropped(reading, format)).ok())
}

async fn tell(
    ask: &ReadAsked,
    deck: &Deck,
    notes: Vec<String>,
    news: &mpsc::Sender<News>,
) -> Outcome {
    let reading = deck.reading().cloned().unwrap_or_default();
    let sure = reading.gaps.is_empty() && reading.doubtful.is_empty() && notes.is_empty();
    for words in notes {
        let _ = news.send(News::Note { words }).await;
    }
    let item = News::Copied {
        deck: ask.out.clone(),
        cards: deck.card_count(),
        passes: reading.passes,
        gaps: reading.gaps,
        doubtful: reading.doubtful.len() as u32,
    };
    let _ = news.send(item).await;
    Outcome {
        exit: u8::from(!sure),
        words: String::new(),
    }
}
