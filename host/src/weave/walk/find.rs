//! Where a card is woven.
//!
//! Enters: a walk, a card and a place. Leaves: the nearest picks with this card, to
//! find the place again by the card on the cylinder. Refuses nothing: a card that is
//! not woven has no pick.

use super::Walk;
use crate::weave::plan::DeckIndex;
use cardwright_protocol::CardNumber;

/// The picks nearest to a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Nearest {
    /// The last one before it.
    pub before: Option<u64>,
    /// The first one at it or after it.
    pub from: Option<u64>,
}

impl Walk {
    /// The picks nearest to pick `near` at which this card is woven. It looks at each
    /// run of cards in the plan once at most.
    #[must_use]
    pub fn find(&self, deck: DeckIndex, card: CardNumber, near: u64) -> Nearest {
        let sections = self.plan.sections();
        let last_at = self.starts.partition_point(|(start, _)| *start <= near) - 1;
        let steps = |section: usize| -> Vec<u64> {
            let cards = sections[section].cards();
            let cards = cards.filter(|cards| cards.deck == deck);
            cards.map_or_else(Vec::new, |cards| {
                let places = cards.runs.places_of(card);
                places.map(|place| cards.steps_before(place)).collect()
            })
        };
        let before = (0..=last_at).rev().find_map(|section| {
            let start = self.starts[section].0;
            let inside = (near - start).min(sections[section].picks());
            Some(start + last_before(&steps(section), sections[section].pass(), inside)?)
        });
        let from = (last_at..sections.len()).find_map(|section| {
            let start = self.starts[section].0;
            let inside = near.saturating_sub(start);
            let found = first_from(&steps(section), sections[section].pass(), inside)?;
            (found < sections[section].picks()).then_some(start + found)
        });
        Nearest { before, from }
    }
}

/// The last pick before `inside` at one of these steps of every pass.
fn last_before(steps: &[u64], pass: u64, inside: u64) -> Option<u64> {
    let (repeat, step) = (inside / pass, inside % pass);
    match steps.partition_point(|place| *place < step).checked_sub(1) {
        Some(at) => Some(repeat * pass + steps[at]),
        None => Some(repeat.checked_sub(1)? * pass + steps.last()?),
    }
}

/// The first pick at `inside` or after it at one of these steps of every pass.
fn first_from(steps: &[u64], pass: u64, inside: u64) -> Option<u64> {
    let (repeat, step) = (inside / pass, inside % pass);
    match steps.get(steps.partition_point(|place| *place < step)) {
        Some(place) => Some(repeat * pass + place),
        None => Some((repeat + 1) * pass + steps.first()?),
    }
}
