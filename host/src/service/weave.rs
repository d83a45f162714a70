//! Weaving: from a plan to a piece in the ledger, and the task that follows the loom.

mod chosen;
mod greeting;

use std::path::PathBuf;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use cardwright_protocol::loom::{LoomCounts, LoomSettings};
use cardwright_virtual::Nameplate;
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc;

use self::chosen::{changed, chosen, held, on_the_loom};
use self::greeting::{Greeting, Met};
use super::virtual_loom::Hands;
use super::{Outcome, RigChoice, ServiceError, Started, Stock};
use crate::engine::{Engine, Hub, run};
use crate::job::{News, Person};
use crate::ledger::writer::{Answer, Command};
use crate::ledger::{BoardId, LedgerError, UnitStored};
use crate::loom::LoomFile;
use crate::weave::plan::Section;
use crate::weave::{Plan, Stored, Walk, Weave, WeaveOrder};

/// How often the virtual weaver looks at a screen that does not change.
const LOOK_AGAIN: Duration = Duration::from_millis(20);

/// What is asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WeaveAsked {
    /// The plan file.
    pub plan: PathBuf,
    /// The loom file; the plan's, or the built-in one, if none is given.
    pub loom: Option<PathBuf>,
    /// Begin a new piece although one of this plan is on the loom.
    pub new: bool,
    /// Go on although the plan has changed since the piece was begun.
    pub changed: bool,
}

pub(super) async fn serve(
    asked: WeaveAsked,
    rig: &RigChoice,
    hub: &Hub,
    news: &mpsc::Sender<News>,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Outcome, ServiceError> {
    let plan = Plan::read(&asked.plan).map_err(request)?;
    let loom = asked.loom.as_deref().or(plan.loom());
    let loom = LoomFile::read(loom).map_err(request)?;
    let walk = Walk::new(Arc::new(plan));
    let ground = walk.plan().sections().iter().any(Section::has_ground);
    if ground && !loom.fitted().shows_ground() {
        return Err(ServiceError::Request(format!(
            "{}: the plan has picks without a card, and the loom file has a sensor at the cylinder \
             alone, which shows none of them; fit one at the batten, or weave a plan of cards only",
            asked.plan.display()
        )));
    }
    // what is refused without a unit is refused before one is spoken to
    if let Some(piece) = on_the_loom(&asked, walk.plan(), hub).await? {
        held(piece.piece, hub)?;
    }
    let (gate, options) = super::virtual_loom::options(&walk, &rig.as_virtual);
    let mut stock = Stock::default();
    if rig.is_virtual() {
        stock.boots = boots_before(hub).await?;
        stock.loom = Some(options);
    }
    let mut started = Started::new(rig, &stock)?;
    let met = match greeted(loom.settings(), &started, hub, persons).await? {
        Greeted::Goes(met) => met,
        Greeted::Ends(end) => return Ok(end),
    };
    let chosen = chosen(&asked, walk.plan(), hub).await?;
    let (piece, _held) = (chosen.piece, chosen.held);
    let mut stored: Stored = serde_json::from_value(piece.place.clone()).map_err(|error| {
        ServiceError::Request(format!(
            "where piece {} stands cannot be read from the ledger ({error}); begin a new piece with \
             --new",
            piece.piece.0
        ))
    })?;
    let change = changed(&piece, &walk, &mut stored)?;
    let mut unit = piece.unit;
    let another = unit.as_mut().is_some_and(|unit| goes_past(unit, &met));
    if rig.is_virtual() {
        // made for this session: all that it has seen is seen from its first event on
        stored.counts = LoomCounts::default();
        unit = Some(UnitStored {
            board: BoardId(Nameplate::default().board),
            boot: stock.boots.saturating_add(1),
            next: 0,
        });
    }
    let in_hand = stored.place.since;
    let order = WeaveOrder {
        piece: piece.piece,
        walk: walk.clone(),
        settings: loom.settings(),
        take_up_mm: loom.take_up_mm(),
        stored,
        unit,
        speed: rig.speed(),
    };
    let mut weave = Weave::new(order).changed(change).greeting(chosen.greets);
    if another {
        weave = weave.after_another();
    }
    let engine = Engine::new(weave);
    let Some(handle) = started.handle.take() else {
        let end = run(engine, &started.port, hub, started.clock, news, persons).await?;
        return Ok(Outcome::from(end));
    };
    // the virtual weaver sees what the screen shows, and speaks as a person does
    let (news_in, mut news_out) = mpsc::channel(64);
    let (person_in, mut person_out) = mpsc::channel(16);
    let mut hands = Hands::new(handle, walk, gate, in_hand);
    let work = run(
        engine,
        &started.port,
        hub,
        started.clock,
        &news_in,
        &mut person_out,
    );
    tokio::pin!(work);
    let mut again = tokio::time::interval(LOOK_AGAIN);
    let end = loop {
        tokio::select! {
            end = &mut work => break end,
            Some(item) = news_out.recv() => {
                for says in hands.look(&item)? {
                    let _ = person_in.try_send(Person::Weave(Box::new(says)));
                }
                let _ = news.send(item).await;
            }
            _ = again.tick() => {
                for says in hands.look_again()? {
                    let _ = person_in.try_send(Person::Weave(Box::new(says)));
                }
            }
            // taken only once there is room for it: nothing a person says is lost
            true = pass_on(persons, &person_in) => {}
        }
    };
    while let Ok(item) = news_out.try_recv() {
        let _ = news.send(item).await;
    }
    Ok(Outcome::from(end?))
}

/// Passes on what a person says next; whether it did.
async fn pass_on(persons: &mut mpsc::Receiver<Person>, to: &mpsc::Sender<Person>) -> bool {
    let Ok(room) = to.reserve().await else {
        return false;
    };
    let Some(order) = persons.recv().await else {
        return false;
    };
    room.send(order);
    true
}

/// How many boots a virtual loom's board has behind it, so that this one's number is
/// new in the ledger: every virtual loom is the same board.
async fn boots_before(hub: &Hub) -> Result<u32, ServiceError> {
    let board = BoardId(Nameplate::default().board);
    match hub.ask(Command::NextBoot(board)).await? {
        Answer::Boot(boot) => Ok(boot.saturating_sub(1)),
        _ => Err(no_number()),
    }
}

fn no_number() -> ServiceError {
    ServiceError::Request("the ledger gave no number".to_string())
}

/// Goes past what is stored of this boot of the unit for other pieces; whether there is
/// such.
fn goes_past(unit: &mut UnitStored, met: &Met) -> bool {
    let same = unit.board == met.board && unit.boot == met.boot;
    let past = same && unit.next < met.stored;
    if past {
        unit.next = met.stored;
    }
    past
}

enum Greeted {
    /// The unit is there.
    Goes(Met),
    /// There will be no weaving.
    Ends(Outcome),
}

/// Waits until the unit has answered. An end if there will be no weaving: it knows
/// nothing of looms, or the person has left.
async fn greeted(
    settings: LoomSettings,
    started: &Started,
    hub: &Hub,
    persons: &mut mpsc::Receiver<Person>,
) -> Result<Greeted, ServiceError> {
    let (greeting, answered) = Greeting::new(settings);
    // of a unit that answers the weaving itself tells
    let (news, _) = mpsc::channel(1);
    let (port, clock) = (&started.port, started.clock);
    let end = run(Engine::new(greeting), port, hub, clock, &news, persons).await?;
    let met = *answered.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(mut met) = met else {
        return Ok(Greeted::Ends(Outcome::from(end)));
    };
    let stored = Command::LoomEventsStored(met.board, met.boot);
    match hub.ask(stored).await? {
        // a boot that goes on has seen at least what it was known to have seen
        Answer::NextEvent(stored) if stored > met.next => Err(LedgerError::BootUsed {
            board: met.board,
            boot: met.boot,
            event: met.next,
        }
        .into()),
        Answer::NextEvent(stored) => {
            met.stored = stored;
            Ok(Greeted::Goes(met))
        }
        _ => Ok(Greeted::Goes(met)),
    }
}

fn request(error: impl std::fmt::Display) -> ServiceError {
    ServiceError::Request(error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_stored_for_other_pieces_is_gone_past() {
        let unit = |boot, next| UnitStored {
            board: BoardId(*b"the loom"),
            boot,
            next,
        };
        let met = Met {
            board: BoardId(*b"the loom"),
            boot: 3,
            next: 30,
            stored: 24,
        };
        for (was, goes, next) in [
            (unit(3, 12), true, 24),
            (unit(3, 24), false, 24),
            (unit(2, 12), false, 12),
        ] {
            let mut now = was;
            assert_eq!(goes_past(&mut now, &met), goes);
            assert_eq!(now, unit(was.boot, next));
        }
    }
}
