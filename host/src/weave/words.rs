//! What the watch has to tell, in words for a person at the loom.

use super::plan::{Length, Plan};
use super::walk::{Walk, Work};
use super::watch::{Apart, Choice, Fault, FaultKind, Remedy, Stand};
use crate::words::counted;

/// A card, with its deck where the plan has several.
#[must_use]
pub fn card(plan: &Plan, stand: Stand) -> String {
    let name = plan
        .decks()
        .get(stand.deck.0)
        .filter(|_| plan.decks().len() > 1)
        .map(|deck| format!(" of {}", deck.name));
    format!("card {}{}", stand.card.0, name.unwrap_or_default())
}

/// What is wrong, in a few words.
#[must_use]
pub fn fault(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::BeatWithoutCard => "beat without a card",
        FaultKind::CardWithoutBeat { .. } => "card without a beat",
        FaultKind::TurnedTwice { .. } => "card turned twice",
        FaultKind::TurnedWrongWay { .. } => "cylinder turned the wrong way",
        FaultKind::TurnedOnGround { .. } => "cylinder turned on ground",
        FaultKind::NoWeft => "no weft",
        FaultKind::WeftWithoutBeat => "weft without a beat",
        FaultKind::Apart(_) => "count and plan apart",
    }
}

/// How it shows: what was seen.
#[must_use]
pub fn evidence(walk: &Walk, fault: &Fault) -> String {
    let plan = walk.plan();
    let [_, lifts, wefts] = fault.evidence;
    let pick = fault.pick + 1;
    let is_ground = |pick| {
        walk.pick(pick)
            .is_some_and(|pick| pick.work == Work::Ground)
    };
    match fault.kind {
        FaultKind::BeatWithoutCard => format!(
            "the batten beat again before pick {pick}, and the cylinder had not turned since the last \
             beat{}",
            if wefts > 0 { "; a weft was thrown" } else { "" }
        ),
        FaultKind::CardWithoutBeat { card: stand } if is_ground(fault.pick) => format!(
            "the cylinder went on from {}, and pick {pick}, which is ground, was not beaten",
            card(plan, stand)
        ),
        FaultKind::CardWithoutBeat { card: stand } => format!(
            "the cylinder went on from {}, and pick {pick} was not beaten ({} since it was turned to)",
            card(plan, stand),
            if wefts > 0 || lifts > 0 {
                "its shed was opened"
            } else {
                "a whole pick's time"
            }
        ),
        FaultKind::TurnedTwice { passed } => format!(
            "{} was passed over: the cylinder turned on from it, with no lift between",
            card(plan, passed)
        ),
        FaultKind::TurnedWrongWay { stands } => format!(
            "the cylinder turned against the plan, to {}; pick {pick} is next",
            card(plan, stands)
        ),
        FaultKind::TurnedOnGround { stands, .. } => format!(
            "the cylinder turned to {}; pick {pick} is ground, at which it stays",
            card(plan, stands)
        ),
        FaultKind::NoWeft => format!("pick {pick} was beaten, and no shuttle had come over"),
        FaultKind::WeftWithoutBeat => {
            format!("a shuttle came over again, and pick {pick} was not beaten")
        }
        FaultKind::Apart(apart) => self::apart(plan, apart, pick),
    }
}

fn apart(plan: &Plan, apart: Apart, pick: u64) -> String {
    match apart {
        Apart::Beaten { stands, wanted } => format!(
            "a pick was beaten with {}; the plan's pick {pick} wants {}",
            card(plan, stands),
            card(plan, wanted)
        ),
        Apart::Ground { stands } => format!(
            "a pick was beaten with {}; the plan's pick {pick} has no card",
            card(plan, stands)
        ),
        Apart::Stands { stands, wanted } => format!(
            "the cylinder turned to {}; the plan's pick {pick} wants {}",
            card(plan, stands),
            card(plan, wanted)
        ),
        Apart::Unclear => "the cylinder turned, and its sensors do not tell which way".to_string(),
        Apart::Unknown => "a pick was beaten, and it is not known which card stands".to_string(),
        Apart::AfterTheLast => "a pick was beaten after the last one of the plan".to_string(),
        Apart::UnitOff => {
            "the loom unit was off or restarted: what happened meanwhile was not seen".to_string()
        }
        Apart::EventsLost { events } => format!(
            "{} of the loom unit cannot be had any more: it could not keep all that happened while nobody asked, or another ledger took them",
            counted(events, "event")
        ),
        Apart::Counts { unit, events } => format!(
            "the unit has counted {}, and its events add up to {}",
            turned(unit),
            turned(events)
        ),
    }
}

/// How to get right again, by hand.
#[must_use]
pub fn remedy(plan: &Plan, remedy: Remedy, wanted: Option<Stand>) -> String {
    let target = wanted.map_or_else(|| "the plan's card".to_string(), |stand| card(plan, stand));
    match remedy {
        Remedy::Unweave { picks: 1 } => "take the last pick out, and say so".to_string(),
        Remedy::Unweave { picks } => format!("take the last {picks} picks out, and say so"),
        Remedy::Turn { cards: 0 } => format!("{target} stands: weave on"),
        Remedy::Turn { cards: many } if many > 0 => format!(
            "turn the cylinder {} on, until {target} stands; then weave on",
            cards(many)
        ),
        Remedy::Turn { cards: many } => format!(
            "turn the cylinder {} back, until {target} stands; then weave on",
            cards(-many)
        ),
        Remedy::Throw if wanted.is_none() => {
            "throw the shuttle through the ground shed and beat again".to_string()
        }
        Remedy::Throw => format!("throw the weft into the shed of {target} and beat again"),
        Remedy::Beat => {
            "beat; if both wefts lie in sheds of their own, say that the first was woven"
                .to_string()
        }
        Remedy::SayCard => "look which card stands, and say so".to_string(),
        Remedy::Decide => {
            "if it was only beaten again, say so; if a weft went in with it, take it \
                           out and say so"
                .to_string()
        }
    }
}

fn cards(cards: i64) -> String {
    match cards {
        1 => "one card".to_string(),
        _ => format!("{cards} cards"),
    }
}

/// A length: in centimetres below a metre.
#[must_use]
pub fn length(mm: f64) -> String {
    if mm.abs() < 1_000.0 {
        format!("{:.1} cm", mm / 10.0)
    } else {
        format!("{:.2} m", mm / 1_000.0)
    }
}

/// What the plan weaves, if that is not the wanted length; less than a pick is nothing.
#[must_use]
pub fn plan_weaves(walk: &Walk) -> Option<String> {
    let (weaves, off, more) = match walk.plan().length()? {
        Length::Picks(wanted) => {
            let (all, off) = (walk.len(), walk.len().abs_diff(wanted));
            (off > 0).then(|| (counted(all, "pick"), counted(off, "pick"), all > wanted))?
        }
        Length::Millimetres(wanted) => {
            let (all, pick) = (walk.length_of(walk.len())?, walk.length_of(1)?);
            let off = (all - wanted).abs();
            (off >= pick).then(|| (length(all), length(off), all > wanted))?
        }
    };
    let more = if more { "more" } else { "less" };
    Some(format!(
        "the plan weaves {weaves}, {off} {more} than wanted"
    ))
}

/// How far the cylinder was turned in all, forwards positive.
#[must_use]
pub fn turned(cards: i64) -> String {
    let many = counted(cards.unsigned_abs(), "card");
    match cards {
        ..0 => format!("{many} turned back"),
        0 => "no card turned".to_string(),
        _ => format!("{many} turned on"),
    }
}

/// What can be decided instead.
#[must_use]
pub fn choice(choice: Choice) -> &'static str {
    match choice {
        Choice::OnlyBeaten => "it was only beaten again",
        Choice::WasWoven => "it was woven: the sensor missed it",
        Choice::LeaveOut => "leave that pick out of the cloth",
        Choice::StandsSo => "let it stand as it is",
        Choice::GoOnFromHere => "leave the cloth as it is and go on from the card that stands",
    }
}
