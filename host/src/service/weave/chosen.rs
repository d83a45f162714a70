//! Which piece is woven. Enters: the plan, what is asked for, the ledger's pieces.
//! Leaves: one piece that nobody else weaves, and words about those before it. Refuses a
//! plan or a deck that was changed under a piece, unless that is said, a piece that is
//! being woven, and going on with a changed plan where no piece is.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::WeaveAsked;
use crate::deck::Deck;
use crate::engine::{Clock, Hub, PieceHeld};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{NewPiece, PieceNumber, PieceRow};
use crate::service::ServiceError;
use crate::weave::plan::PlanDeck;
use crate::weave::{Change, Plan, Stored, Walk};

/// A piece to be woven.
pub(super) struct Chosen {
    pub piece: PieceRow,
    pub held: PieceHeld,
    /// What the weaver is to know of the pieces before it.
    pub greets: Vec<String>,
}

/// What it means for a piece that its plan or a deck of it is another now, if one is.
pub(super) fn changed(
    piece: &PieceRow,
    walk: &Walk,
    stored: &mut Stored,
) -> Result<Option<Change>, ServiceError> {
    let plan = walk.plan();
    let deck = other_deck(&stored.decks, plan);
    if piece.plan_sha256 == plan.sha256() && deck.is_none() {
        return Ok(None);
    }
    let file = plan.file();
    // the cards as they were are gone with a deck that was made anew
    let was = Plan::parse(&piece.plan, file, &mut Deck::read).ok();
    let was = was.filter(|_| deck.is_none());
    let was = was.map(|was| Walk::new(Arc::new(was)));
    Change::of(was.as_ref(), walk, &mut stored.place)
        .map(Some)
        .map_err(|short| ServiceError::Request(format!("{}: {short}", file.display())))
}

/// A deck of the plan that is no longer the one that was written down.
fn other_deck<'a>(decks: &BTreeMap<String, String>, plan: &'a Plan) -> Option<&'a PlanDeck> {
    let other = |deck: &&PlanDeck| {
        let was = decks.get(&deck.name);
        was.is_some_and(|was| *was != deck.deck.sha256())
    };
    plan.decks().iter().find(other)
}

/// The piece to be woven, which nobody else weaves.
pub(super) async fn chosen(
    asked: &WeaveAsked,
    plan: &Plan,
    hub: &Hub,
) -> Result<Chosen, ServiceError> {
    let _alone = hub.choosing().await;
    let (piece, greets) = match on_the_loom(asked, plan, hub).await? {
        Some(piece) => (piece, Vec::new()),
        None => begun(plan, hub).await?,
    };
    let held = held(piece.piece, hub)?;
    Ok(Chosen {
        piece,
        held,
        greets,
    })
}

pub(super) fn held(piece: PieceNumber, hub: &Hub) -> Result<PieceHeld, ServiceError> {
    hub.hold(piece).ok_or_else(|| {
        ServiceError::Request(format!(
            "piece {} is being woven; leave it there first (another loom needs a plan with a name \
             of its own)",
            piece.0
        ))
    })
}

/// The pieces of this plan, in the order they were begun.
async fn pieces_of(plan: &Plan, hub: &Hub) -> Result<Vec<PieceRow>, ServiceError> {
    let Answer::Pieces(mut pieces) = hub.ask(Command::Pieces).await? else {
        return Ok(Vec::new());
    };
    pieces.retain(|piece| piece.name == plan.name());
    Ok(pieces)
}

/// The piece of this plan that is on the loom, if there is one that is to be gone on
/// with.
pub(super) async fn on_the_loom(
    asked: &WeaveAsked,
    plan: &Plan,
    hub: &Hub,
) -> Result<Option<PieceRow>, ServiceError> {
    if asked.new {
        return Ok(None);
    }
    let pieces = pieces_of(plan, hub).await?;
    let Some(piece) = pieces.into_iter().rfind(|piece| piece.ended.is_none()) else {
        return match asked.changed {
            true => Err(ServiceError::Request(format!(
                "no piece of {} is on the loom that could be gone on with; leave --changed out to \
                 begin one",
                asked.plan.display()
            ))),
            false => Ok(None),
        };
    };
    if asked.changed {
        return Ok(Some(piece));
    }
    let what = if piece.plan_sha256 == plan.sha256() {
        let decks = piece.place.get("decks").cloned().unwrap_or_default();
        let decks = serde_json::from_value(decks).unwrap_or_default();
        match other_deck(&decks, plan) {
            None => return Ok(Some(piece)),
            Some(deck) => deck.file.clone(),
        }
    } else {
        asked.plan.clone()
    };
    Err(ServiceError::Request(format!(
        "{} has changed since piece {} was begun by it; give --changed to go on with that piece by \
         the plan as it is now, or --new to begin a new piece",
        what.display(),
        piece.piece.0
    )))
}

/// A new piece. Those of the plan that are on the loom are ended by it; while one of them
/// is woven there is none.
async fn begun(plan: &Plan, hub: &Hub) -> Result<(PieceRow, Vec<String>), ServiceError> {
    let before = pieces_of(plan, hub).await?;
    let on_loom = before.iter().filter(|piece| piece.ended.is_none());
    let left: Vec<PieceNumber> = on_loom.map(|piece| piece.piece).collect();
    // nobody takes one up before it is ended
    let _held = left
        .iter()
        .map(|piece| held(*piece, hub))
        .collect::<Result<Vec<_>, _>>()?;
    let stored = Stored {
        decks: plan.deck_sha256s(),
        ..Stored::default()
    };
    let new = NewPiece {
        name: plan.name().to_string(),
        plan_sha256: plan.sha256().to_string(),
        plan: plan.text().to_string(),
        at: Clock::time_of_day(),
        place: serde_json::to_value(stored).map_err(super::request)?,
        instead_of: left.clone(),
    };
    let row = PieceRow {
        piece: PieceNumber(0),
        name: new.name.clone(),
        plan_sha256: new.plan_sha256.clone(),
        plan: new.plan.clone(),
        began: new.at,
        ended: None,
        place: new.place.clone(),
        unit: None,
    };
    let Answer::Piece(piece) = hub.ask(Command::BeginPiece(new)).await? else {
        return Err(super::no_number());
    };
    let begins = |older: PieceNumber, how: &str| {
        let (older, piece) = (older.0, piece.0);
        format!("piece {older} of this plan is {how}; piece {piece} begins")
    };
    let mut greets: Vec<String> = left
        .iter()
        .map(|older| begins(*older, "ended here, left unfinished"))
        .collect();
    if let Some(last) = before.last().filter(|last| last.ended.is_some()) {
        let how = match last.is_left() {
            true => "left unfinished",
            false => "finished",
        };
        greets.push(begins(last.piece, how));
    }
    Ok((PieceRow { piece, ..row }, greets))
}
