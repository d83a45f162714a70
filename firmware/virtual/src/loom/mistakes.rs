//! What a weaver can be made to do wrong, or out of turn, and the truth about it.
//!
//! Enters: [`Mistakes`]. Leaves: what happens at a pick. Each kind has a stream
//! of chance of its own and is tried wherever it can happen; if several are hit
//! at one pick, the first in the order of [`MistakeKind`] happens.

use super::{Direction, Step};
use crate::chance::{Chance, Fault};
use cardwright_protocol::Micros;

/// The kinds. The number is the kind's stream of chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum MistakeKind {
    /// Another card is passed over, quickly and without a lift.
    TurnsTwice = 80,
    /// The cylinder is turned the wrong way.
    TurnsWrongWay,
    /// Where the direction changes, it is turned on in the old one.
    ForgetsToTurnBack,
    /// It is not turned: the card before is woven once more.
    ForgetsToTurn,
    /// The pick is beaten with no weft in it.
    ForgetsWeft,
    /// It is lifted and thrown, and the cylinder turned on without a beat.
    SkipsBeat,
    /// It is beaten once more, with no card and no weft.
    BeatsTwice,
    /// Some picks are taken out: card by card back, thrown back, not beaten.
    Unweaves,
    /// The cylinder is turned back a card and on again.
    TurnsBackAndOnAgain,
}

/// Every kind.
pub(super) const KINDS: [MistakeKind; 9] = [
    MistakeKind::TurnsTwice,
    MistakeKind::TurnsWrongWay,
    MistakeKind::ForgetsToTurnBack,
    MistakeKind::ForgetsToTurn,
    MistakeKind::ForgetsWeft,
    MistakeKind::SkipsBeat,
    MistakeKind::BeatsTwice,
    MistakeKind::Unweaves,
    MistakeKind::TurnsBackAndOnAgain,
];

impl MistakeKind {
    /// Whether it can happen at this step, after a turn in direction `last`.
    fn possible(self, step: Step, last: Option<Direction>) -> bool {
        match self {
            MistakeKind::TurnsTwice | MistakeKind::TurnsWrongWay | MistakeKind::ForgetsToTurn => {
                step.turns != 0
            }
            MistakeKind::ForgetsToTurnBack => {
                let now = Direction::of(step.turns);
                now.is_some() && last.is_some() && now != last
            }
            MistakeKind::ForgetsWeft
            | MistakeKind::SkipsBeat
            | MistakeKind::BeatsTwice
            | MistakeKind::Unweaves
            | MistakeKind::TurnsBackAndOnAgain => true,
        }
    }

    /// Whether the cylinder is turned otherwise than it should be for the pick.
    pub(super) fn of_turning(self) -> bool {
        matches!(
            self,
            MistakeKind::TurnsTwice | MistakeKind::TurnsWrongWay | MistakeKind::ForgetsToTurnBack
        )
    }
}

/// Every mistake's rate and seed; a trial is a pick at which it can happen. The
/// default is none of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mistakes([Fault; KINDS.len()]);

impl Mistakes {
    /// This kind alone, at this rate.
    #[must_use]
    pub fn only(kind: MistakeKind, fault: Fault) -> Mistakes {
        Mistakes::default().with(kind, fault)
    }

    /// Every kind at this rate.
    #[must_use]
    pub fn all_at(rate: f64, seed: u64) -> Mistakes {
        Mistakes([Fault::new(rate, seed); KINDS.len()])
    }

    /// The same with this kind at this rate.
    #[must_use]
    pub fn with(mut self, kind: MistakeKind, fault: Fault) -> Mistakes {
        for (place, other) in self.0.iter_mut().zip(KINDS) {
            if other == kind {
                *place = fault;
            }
        }
        self
    }
}

/// How loom and cloth stand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stand {
    /// Where the chain stands, in cards on from where it began.
    pub card: i64,
    /// Picks in the cloth.
    pub picks: u64,
}

/// The truth about a mistake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// What it was.
    pub kind: MistakeKind,
    /// The step at which it happened.
    pub step: u64,
    /// The step that the weaver would weave next.
    pub next: u64,
    /// When the weaver stood still.
    pub at: Micros,
    /// How loom and cloth really stand.
    pub stands: Stand,
    /// How they would if every step before `next` had been woven as it should
    /// be, and nothing else.
    pub should: Stand,
}

/// The streams of chance, one a kind.
#[derive(Clone, Debug)]
pub(super) struct Trials(Vec<(MistakeKind, Chance)>);

impl Trials {
    pub fn new(mistakes: &Mistakes) -> Trials {
        let chance = |(kind, fault): (MistakeKind, &Fault)| {
            let chance = Chance::new(*fault, kind as u64);
            chance.possible().then_some((kind, chance))
        };
        Trials(
            KINDS
                .into_iter()
                .zip(&mistakes.0)
                .filter_map(chance)
                .collect(),
        )
    }

    /// What happens at this step. Every kind that can happen is tried, so that
    /// none disturbs another's chance.
    pub fn hit(&mut self, step: Step, last: Option<Direction>) -> Option<MistakeKind> {
        let mut first = None;
        for (kind, chance) in &mut self.0 {
            if kind.possible(step, last) && chance.hit() {
                first = first.or(Some(*kind));
            }
        }
        first
    }
}
