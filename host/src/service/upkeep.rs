//! What the ledger knows of a unit's reader and punches, told once the unit has
//! said which it is. Enters: the news of some work. Leaves: the same news, with
//! what is known put in. Refuses nothing: an older calibration that cannot be read
//! any more counts as none.

use tokio::sync::mpsc;

use crate::calibrate::{Calibration, FORM, advice};
use crate::engine::{Clock, Hub, HubError};
use crate::job::{News, UpkeepNews};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{BoardId, UnixMillis, Upkeep};
use crate::wear::{punch_states, punch_words};

/// How much is told.
#[derive(Clone, Copy, Debug)]
pub(super) enum Told {
    /// All of it.
    Everything,
    /// Only what is to be seen to before cards of so many holes a row are cut or
    /// read; and that they never were calibrated for, unless the rig is virtual.
    Advice { holes: u8, is_virtual: bool },
}

/// Does `work`, whose news passes through here.
pub(super) async fn telling<W: Future>(
    told: Told,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    work: impl FnOnce(mpsc::Sender<News>) -> W,
) -> W::Output {
    let (to, mut heard) = mpsc::channel(64);
    let pass = async {
        let mut known = false;
        while let Some(item) = heard.recv().await {
            let board = board(&item).filter(|_| !known);
            // whoever listened may be gone; the work goes on
            let _ = news.send(item).await;
            let Some(board) = board else { continue };
            known = true;
            // what cannot be read now is said by the work itself
            for item in of_board(board, told, hub).await.unwrap_or_default() {
                let _ = news.send(item).await;
            }
        }
    };
    let (done, ()) = tokio::join!(work(to), pass);
    done
}

/// The board that has said it is there.
fn board(news: &News) -> Option<BoardId> {
    match news {
        News::Info(info) => Some(BoardId(info.identity.board)),
        News::Unit { board, .. } => {
            let number = u64::from_str_radix(board, 16).ok()?;
            Some(BoardId(number.to_be_bytes()))
        }
        _ => None,
    }
}

async fn of_board(board: BoardId, told: Told, hub: &Hub) -> Result<Vec<News>, HubError> {
    let Answer::Upkeep(known) = hub.ask(Command::Upkeep(board)).await? else {
        return Ok(Vec::new());
    };
    let now = Clock::time_of_day();
    let mut known: Vec<UpkeepNews> = known
        .into_iter()
        .map(|known| upkeep_news(known, now))
        .collect();
    let Told::Advice { holes, is_virtual } = told else {
        if known.is_empty() {
            known.push(upkeep_news(Upkeep::default(), now));
        }
        let all = known.into_iter().map(Box::new).map(News::Upkeep);
        return Ok(all.collect());
    };
    known.retain(|news| news.holes == Some(holes));
    if known.is_empty() {
        known.push(upkeep_news(Upkeep::default(), now));
    }
    let words = known.into_iter().flat_map(|news| {
        let worn = news.punches.iter().any(|state| !state.findings.is_empty());
        let advised = news.calibrated.is_some() || !is_virtual;
        let worn = if worn { news.words } else { Vec::new() };
        let advice = if advised { news.advice } else { Vec::new() };
        worn.into_iter().chain(advice)
    });
    Ok(words.map(|words| News::Advice { words }).collect())
}

/// What is known, judged by now.
#[must_use]
pub fn upkeep_news(known: Upkeep, now: UnixMillis) -> UpkeepNews {
    let made = known.calibration.and_then(|row| {
        let found: Calibration = serde_json::from_value(row.detail).ok()?;
        (found.form == FORM).then_some((found, row.at))
    });
    let made = made.as_ref().map(|(found, at)| (found, *at));
    let mut history = known.punches;
    let mut start = Vec::new();
    if let Some((found, at)) = made.filter(|(found, _)| found.cut) {
        history.retain(|row| row.ended.0 > at.0);
        start.clone_from(&found.punches);
    }
    let punches = punch_states(&history, &start);
    UpkeepNews {
        holes: known.holes,
        calibrated: made.map(|(_, at)| at.to_string()),
        words: punch_words(&punches),
        advice: advice(made, now, known.levels, &punches),
        punches,
    }
}
