//! An order to read a stack that no deck is known of.
//!
//! Enters: the card format, how many cards there are if that is known, the rig
//! file; or the formats of which a card may be. Leaves: an order over a blank
//! deck, its job begun in the ledger.

use std::collections::BTreeMap;
use std::sync::Arc;

use cardwright_protocol::Row;

use super::open_elsewhere;
use crate::copy::Known;
use crate::deck::{CardFormat, CardNumber, Cutting, Deck};
use crate::engine::{Clock, Hub};
use crate::job::{Kind, Order, Recut};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{JobKind, NewJob};
use crate::rig::RigFile;
use crate::service::ServiceError;

/// Cards that are read at most if nobody says how many there are.
pub(crate) const MOST_READ: u32 = 5_000;

/// The order to read `cards` cards, or as many as there are.
///
/// # Errors
/// Whatever the ledger says.
pub(crate) async fn reading_order(
    format: &CardFormat,
    cards: Option<u32>,
    settings: serde_json::Value,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Order, ServiceError> {
    let count = cards.unwrap_or(MOST_READ);
    let blank = vec![vec![Row(0); usize::from(format.rows())]; count as usize];
    let deck = Deck::new("a stack", format.clone(), None, Cutting::default(), blank)
        .map_err(|fault| ServiceError::Request(fault.to_string()))?;
    let job = NewJob {
        kind: JobKind::Read,
        deck: None,
        unit: None,
        settings,
        started: Clock::time_of_day(),
    };
    let Answer::Job(number) = hub.ask(Command::BeginJob(job)).await? else {
        return Err(super::no_number());
    };
    Ok(Order {
        number,
        kind: Kind::Read,
        deck: Arc::new(deck),
        others: Arc::default(),
        cards: (1..=count).map(CardNumber).collect(),
        mending: BTreeMap::new(),
        until_told: cards.is_none(),
        formats: None,
        first: None,
        recut: Recut::Never,
        settings: rig.settings(format),
        geometry: RigFile::geometry(format),
        limits: rig.limits(),
        open: Vec::new(),
        used: BTreeMap::new(),
        open_elsewhere: open_elsewhere(number, hub).await?,
    })
}

/// The order to read one card by which its format is to be seen.
///
/// # Errors
/// Whatever the ledger says.
pub(crate) async fn format_order(
    known: &Arc<Known>,
    settings: serde_json::Value,
    rig: &RigFile,
    hub: &Hub,
) -> Result<Order, ServiceError> {
    let order = reading_order(known.wide(), Some(1), settings, rig, hub).await?;
    Ok(Order {
        settings: known.settings(rig),
        formats: Some(Arc::clone(known)),
        ..order
    })
}
