//! Calibrating: a blank card and a full one, from the order to the ledger.

mod session;
mod task;

use cardwright_protocol::JobNumber;
use serde_json::json;
use tokio::sync::mpsc;

use super::{Outcome, RigChoice, ServiceError, Stock, drive, or_failed};
use crate::calibrate::Cards;
use crate::deck::CardFormat;
use crate::engine::{Clock, Hub};
use crate::job::{News, Person};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{JobKind, NewJob};
use crate::rig::RigFile;
use task::{Calibrate, Order};

/// Calibrates a rig for cards of this format; with `cut` it cuts the full card,
/// else that is laid in under the blank one.
pub(super) async fn serve(
    format: &str,
    cut: bool,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let format = CardFormat::named_or_file(format)?;
    let rig_file = RigFile::read(rig.file.as_deref())?;
    let mut settings = rig_file.settings(&format);
    // every hole is wanted, right or wrong: the cards are looked at when whole
    settings.gross_holes = settings.holes + 1;
    let cards = Cards::new(
        format.clone(),
        RigFile::geometry(&format),
        rig_file.limits(),
        settings.samples_per_row,
        cut,
    );
    // a card to be read lies in the virtual rig's magazine, as cut
    let stack = if cut {
        Vec::new()
    } else {
        vec![cards.blank_strokes(), cards.full_strokes()]
    };
    let stock = Stock {
        stack,
        by_hand: rig_file.loads_by_hand(),
        format: Some(format.clone()),
        ..Stock::default()
    };
    let number = begin(&format, cut, hub).await?;
    let open_elsewhere = match hub.ask(Command::OpenElsewhere(number)).await? {
        Answer::OpenElsewhere(open) => open,
        _ => Default::default(),
    };
    let task = Calibrate::new(Order {
        number,
        cut,
        settings,
        cards,
        open_elsewhere,
    });
    let outcome = drive(task, rig, stock, hub, news, persons).await;
    or_failed(number, hub, outcome).await
}

async fn begin(format: &CardFormat, cut: bool, hub: &Hub) -> Result<JobNumber, ServiceError> {
    let job = NewJob {
        kind: JobKind::Calibrate,
        deck: None,
        unit: None,
        settings: json!({ "format": format.name(), "cut": cut }),
        started: Clock::time_of_day(),
    };
    match hub.ask(Command::BeginJob(job)).await? {
        Answer::Job(number) => Ok(number),
        _ => Err(ServiceError::Request(
            "the ledger gave the job no number".to_string(),
        )),
    }
}
