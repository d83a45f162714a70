//! A plan that was changed while its piece is on the loom.
//!
//! Enters: the plan as it was, the plan as it is now, where the piece stands. Leaves:
//! whether the picks up to there are the same in both, else which pick of the changed
//! plan may be next, in words of both plans. Refuses a plan that has fewer picks than
//! are behind the weaver.

use thiserror::Error;

use super::plan::DeckIndex;
use super::walk::{Pick, Walk, Work};
use super::watch::{Place, Stand};
use super::words;
use crate::words::counted;

/// A changed plan by which a piece is to be gone on with.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// SHA-256 of the plan as it is now.
    pub plan_sha256: String,
    /// Its text.
    pub plan: String,
    /// Where the piece stands, if the picks up to there are no longer the same.
    pub moved: Option<Moved>,
}

/// The place of a piece in two plans.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// What was next by the plan as it was.
    pub was: String,
    /// What the pick of that number is now.
    pub same_number: String,
    /// The pick of the changed plan that may be next, from 0.
    pub next: u64,
    /// What that is.
    pub proposed: String,
}

/// The changed plan is shorter than the piece.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error(
    "the plan was changed and has {picks} now, and {behind} of it lie behind the piece ({was}); put \
     back what was taken out of the plan, or give --new to begin a new piece"
)]
pub struct TooShort {
    picks: String,
    behind: u64,
    was: String,
}

impl Change {
    /// What it means for a piece at this place that it is woven by `now` and no longer
    /// by `was`, which is none if it cannot be read any more. The cards of the place
    /// are those of the changed plan then.
    ///
    /// # Errors
    /// [`TooShort`].
    pub fn of(was: Option<&Walk>, now: &Walk, place: &mut Place) -> Result<Change, TooShort> {
        let next = place.next;
        let stood = was.map_or_else(|| format!("pick {}", next + 1), |was| pick_at(was, next));
        if now.len() < next {
            return Err(TooShort {
                picks: counted(now.len(), "pick"),
                behind: next,
                was: format!("next was {stood}"),
            });
        }
        let same =
            next == 0 || was.is_some_and(|was| (0..next).all(|number| same_pick(was, now, number)));
        if !same {
            place.cloth.clear();
        }
        let moved = (!same).then(|| {
            let proposed = was.and_then(|was| like(was, now, next));
            let proposed = proposed.unwrap_or(next).min(now.len() - 1);
            Moved {
                was: stood,
                same_number: pick_at(now, next),
                next: proposed,
                proposed: pick_at(now, proposed),
            }
        });
        place.stands = place.stands.and_then(|stand| carried(was?, now, stand));
        place.last = place.last.and_then(|stand| carried(was?, now, stand));
        Ok(Change {
            plan_sha256: now.plan().sha256().to_string(),
            plan: now.plan().text().to_string(),
            moved,
        })
    }
}

/// The card in the changed plan, which may count its decks in another order.
fn carried(was: &Walk, now: &Walk, stand: Stand) -> Option<Stand> {
    let name = &was.plan().decks().get(stand.deck.0)?.name;
    let deck = now.plan().decks().iter().position(|d| d.name == *name)?;
    let cards = now.plan().decks().get(deck)?.deck.card_count();
    let deck = DeckIndex(deck);
    (stand.card.0 <= cards).then_some(Stand { deck, ..stand })
}

fn deck<'a>(walk: &'a Walk, pick: &Pick<'_>) -> Option<(&'a str, u32)> {
    match pick.work {
        Work::Ground => None,
        Work::Card { deck, card } => {
            let deck = walk.plan().decks().get(deck.0)?;
            Some((deck.name.as_str(), card.0))
        }
    }
}

fn weft<'a>(walk: &'a Walk, pick: &Pick<'_>) -> Option<&'a str> {
    let weft = walk.plan().wefts().get(pick.weft?.0)?;
    Some(weft.name.as_str())
}

/// Whether a pick is woven by the same card with the same weft, as far as both plans
/// say one.
fn same_pick(was: &Walk, now: &Walk, number: u64) -> bool {
    let (Some(before), Some(after)) = (was.pick(number), now.pick(number)) else {
        return false;
    };
    let wefts = weft(was, &before).zip(weft(now, &after));
    deck(was, &before) == deck(now, &after) && wefts.is_none_or(|(before, after)| before == after)
}

/// The pick of the changed plan that has the place of this one in its section, if
/// there is such a section still.
fn like(was: &Walk, now: &Walk, number: u64) -> Option<u64> {
    let before = was.pick(number)?;
    let mut first = 0;
    for section in now.plan().sections() {
        let inside = (before.repeat - 1) * section.pass() + before.step;
        if section.name() == before.section_name
            && before.step < section.pass()
            && inside < section.picks()
        {
            return Some(first + inside);
        }
        first += section.picks();
    }
    None
}

/// A pick in words: its number, what it is woven by, and where in the plan it is.
fn pick_at(walk: &Walk, number: u64) -> String {
    let Some(pick) = walk.pick(number) else {
        return format!("nothing after its {}", counted(walk.len(), "pick"));
    };
    let by = match pick.work {
        Work::Ground => "ground".to_string(),
        Work::Card { deck, card } => words::card(walk.plan(), Stand { deck, card }),
    };
    let with = weft(walk, &pick).map(|weft| format!(" with {weft}"));
    let repeat = match pick.repeats {
        1 => String::new(),
        all => format!(", repeat {} of {all}", pick.repeat),
    };
    let (number, section) = (number + 1, pick.section_name);
    let with = with.unwrap_or_default();
    format!("pick {number} ({by}{with}, {section}{repeat})")
}
