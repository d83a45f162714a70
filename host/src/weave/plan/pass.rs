//! What a section weaves: one pass, and how often.
//!
//! Enters: a section as it was read. Leaves: what each step of its pass is and with
//! which weft. Refuses nothing: beyond the pass there is no step.

use super::runs::Runs;
use super::{DeckIndex, WeftIndex};
use crate::weave::walk::Direction;
use cardwright_protocol::CardNumber;

/// A part of the cloth that is woven in one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    pub(super) name: String,
    pub(super) work: SectionWork,
    pub(super) repeats: u64,
    pub(super) to_length: bool,
    pub(super) wefts: Vec<WeftIndex>,
    pub(super) marks: Vec<Mark>,
}

/// What one pass of a section is.
#[derive(Clone, Debug, PartialEq)]
pub enum SectionWork {
    /// So many picks without a card.
    Ground(u64),
    /// Cards.
    Cards(Cards),
}

/// One pass of a section with cards.
#[derive(Clone, Debug, PartialEq)]
pub struct Cards {
    /// The deck they are of.
    pub deck: DeckIndex,
    /// Which, in what order.
    pub runs: Runs,
    /// Ground picks between them.
    pub between: Option<Between>,
    /// Wefts of single cards: rising ranges that do not overlap.
    pub(super) wefts: Vec<(CardNumber, CardNumber, WeftIndex)>,
}

/// Ground picks between cards. The count begins anew with each pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Between {
    /// After every so many cards.
    pub every: u64,
    /// So many picks.
    pub picks: u64,
    /// Their wefts, in turn.
    pub(super) wefts: Vec<WeftIndex>,
}

/// Words for the weaver at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Where.
    pub place: MarkPlace,
    /// What is said.
    pub say: String,
}

/// Where a mark stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkPlace {
    /// At a card, each time it is woven, or each time its run goes this way.
    Card(Side, CardNumber, Option<Direction>),
    /// At a pick of each pass, from 0.
    Step(Side, u64),
    /// After every so many picks of the section, over all its passes.
    Every(u64),
}

/// Before a pick or after it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Before it is woven.
    Before,
    /// When it is woven.
    After,
}

/// What a step of a section's pass is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The how-manieth ground pick of the pass, from 0.
    Ground(u64),
    /// The how-manieth card of the pass, from 0, and which it is.
    Card(u64, CardNumber, Direction),
}

impl Section {
    /// What it is called; others may be called the same.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What one pass is.
    #[must_use]
    pub fn work(&self) -> &SectionWork {
        &self.work
    }

    /// Its cards, if it has any.
    #[must_use]
    pub fn cards(&self) -> Option<&Cards> {
        match &self.work {
            SectionWork::Ground(_) => None,
            SectionWork::Cards(cards) => Some(cards),
        }
    }

    /// How many passes are woven, at least 1.
    #[must_use]
    pub fn repeats(&self) -> u64 {
        self.repeats
    }

    /// Whether there are as many as the wanted length needs.
    #[must_use]
    pub fn to_length(&self) -> bool {
        self.to_length
    }

    /// Words for the weaver.
    #[must_use]
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// Picks of one pass, at least 1.
    #[must_use]
    pub fn pass(&self) -> u64 {
        match &self.work {
            SectionWork::Ground(picks) => *picks,
            SectionWork::Cards(cards) => cards.steps_before(cards.runs.cards()),
        }
    }

    /// Whether any of its picks has no card.
    #[must_use]
    pub fn has_ground(&self) -> bool {
        self.carded() < self.pass()
    }

    /// Carded picks of one pass.
    #[must_use]
    pub fn carded(&self) -> u64 {
        self.cards().map_or(0, |cards| cards.runs.cards())
    }

    /// Picks in all.
    #[must_use]
    pub fn picks(&self) -> u64 {
        self.pass().saturating_mul(self.repeats)
    }

    /// What this step of a pass is.
    #[must_use]
    pub fn step(&self, step: u64) -> Option<Step> {
        match &self.work {
            SectionWork::Ground(picks) => (step < *picks).then_some(Step::Ground(step)),
            SectionWork::Cards(cards) => cards.step(step),
        }
    }

    /// The weft of this step, if the plan says. Each list of wefts begins anew with
    /// each pass; a card with a weft of its own has its turn in the list too.
    #[must_use]
    pub fn weft(&self, step: Step) -> Option<WeftIndex> {
        let in_turn = |wefts: &[WeftIndex], place: u64| {
            let count = u64::try_from(wefts.len()).ok()?;
            let place = usize::try_from(place.checked_rem(count)?).ok()?;
            wefts.get(place).copied()
        };
        match (step, self.cards()) {
            (Step::Ground(place), Some(cards)) => match &cards.between {
                Some(between) if !between.wefts.is_empty() => in_turn(&between.wefts, place),
                _ => in_turn(&self.wefts, place),
            },
            (Step::Card(place, card, _), Some(cards)) => {
                cards.weft(card).or_else(|| in_turn(&self.wefts, place))
            }
            (Step::Ground(place) | Step::Card(place, ..), None) => in_turn(&self.wefts, place),
        }
    }
}

impl Cards {
    /// Steps of a pass before its card at `place`, from 0: each card before it, and
    /// the ground picks after each full count.
    #[must_use]
    pub fn steps_before(&self, place: u64) -> u64 {
        match &self.between {
            None => place,
            Some(between) => {
                place.saturating_add(between.picks.saturating_mul(place / between.every))
            }
        }
    }

    /// Cards of a pass before this step.
    #[must_use]
    pub fn cards_before(&self, step: u64) -> u64 {
        match &self.between {
            None => step,
            Some(between) => {
                let group = between.every + between.picks;
                step / group * between.every + (step % group).min(between.every)
            }
        }
    }

    fn step(&self, step: u64) -> Option<Step> {
        let place = self.cards_before(step);
        // a ground pick has as many cards before it as the step after it
        if self.steps_before(place) == step {
            let (card, direction) = self.runs.at(place)?;
            return Some(Step::Card(place, card, direction));
        }
        let ground = step - place;
        (step < self.steps_before(self.runs.cards())).then_some(Step::Ground(ground))
    }

    fn weft(&self, card: CardNumber) -> Option<WeftIndex> {
        let at = self.wefts.partition_point(|(first, ..)| *first <= card);
        let (_, last, weft) = self.wefts.get(at.checked_sub(1)?)?;
        (card <= *last).then_some(*weft)
    }
}
