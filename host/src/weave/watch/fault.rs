//! What can be wrong at the loom, how it shows, and how to get right again.

use serde::{Deserialize, Serialize};

use super::place::Stand;
use super::{Seen, Told, Watch, shortest};

/// A fault's number in its piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FaultId(pub u32);

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum FaultKind {
    /// The batten beat again, and no card was turned to since it beat last.
    BeatWithoutCard,
    /// The cylinder went on from a card whose shed was opened and not beaten.
    CardWithoutBeat {
        /// The card.
        card: Stand,
    },
    /// The cylinder turned on twice: a card was passed over.
    TurnedTwice {
        /// The card.
        passed: Stand,
    },
    /// The cylinder turned against the plan.
    TurnedWrongWay {
        /// The card that stands now.
        stands: Stand,
    },
    /// The cylinder turned while the plan weaves ground and no card of its chain follows.
    TurnedOnGround {
        /// The card that stood, and is to stand.
        stood: Stand,
        /// The card that stands now.
        stands: Stand,
    },
    /// The batten beat, and no shuttle had come over.
    NoWeft,
    /// A second shuttle came over before the batten beat.
    WeftWithoutBeat,
    /// Count and plan are apart.
    Apart(Apart),
}

/// How count and plan came apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "apart")]
pub enum Apart {
    /// A pick was beaten with another card than the plan's.
    Beaten {
        /// The card that stood.
        stands: Stand,
        /// The plan's.
        wanted: Stand,
    },
    /// A pick was beaten with a card where the plan weaves ground.
    Ground {
        /// The card that stood.
        stands: Stand,
    },
    /// The cylinder turned on, and the plan's card does not stand.
    Stands {
        /// The card that stands.
        stands: Stand,
        /// The plan's.
        wanted: Stand,
    },
    /// The cylinder turned, and its sensors do not tell which way.
    Unclear,
    /// A pick was beaten, and it is not known which card stands.
    Unknown,
    /// A pick was beaten after the last one of the plan.
    AfterTheLast,
    /// The unit was off: what happened meanwhile was not seen.
    UnitOff,
    /// The unit could not keep all that happened while it was not asked.
    EventsLost {
        /// How many events.
        events: u32,
    },
    /// The unit's own counts differ from what its events add up to.
    Counts {
        /// Turns on less turns back, by the unit.
        unit: i64,
        /// By the events.
        events: i64,
    },
}

/// How to get right again, for hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "do")]
pub enum Remedy {
    /// Take these picks out of the cloth, and say so.
    Unweave {
        /// How many.
        picks: u32,
    },
    /// Turn the cylinder by so many cards, forwards positive.
    Turn {
        /// How many.
        cards: i64,
    },
    /// Throw the weft and beat again.
    Throw,
    /// Beat.
    Beat,
    /// Say which card stands.
    SayCard,
    /// Nothing is to be done, only said.
    Decide,
}

/// What the weaver can decide about a fault instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// It was no pick: only beaten again.
    OnlyBeaten,
    /// It is in the cloth as the plan wants it: the sensor missed it.
    WasWoven,
    /// The card stays left out.
    LeaveOut,
    /// The cloth stays as it is; the plan goes on from the card that stands.
    GoOnFromHere,
    /// It stays as it is: the cylinder, of whose chain no card is woven any more, or the
    /// picks beside the plan.
    StandsSo,
}

/// A fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Its number.
    pub id: FaultId,
    /// What is wrong.
    pub kind: FaultKind,
    /// The pick that was to be woven, from 0.
    pub pick: u64,
    /// When.
    pub at: i64,
    /// The event that showed it, by its number on the unit.
    pub event: u32,
    /// What was seen since the pick before: turns, lifts, arrivals of the shuttle.
    pub evidence: [u32; 3],
}

impl FaultKind {
    /// Whether a turn of the cylinder alone can right it.
    #[must_use]
    pub fn is_of_the_cylinder(self) -> bool {
        matches!(
            self,
            FaultKind::CardWithoutBeat { .. }
                | FaultKind::TurnedTwice { .. }
                | FaultKind::TurnedWrongWay { .. }
                | FaultKind::TurnedOnGround { .. }
                | FaultKind::Apart(Apart::Stands { .. })
        )
    }

    /// Whether it is about where the chain stands on the plan.
    #[must_use]
    pub(super) fn is_of_the_place(self) -> bool {
        self.is_of_the_cylinder() || matches!(self, FaultKind::Apart(_))
    }

    /// Whether it is no more once its pick is woven.
    #[must_use]
    pub(super) fn ends_with_its_pick(self) -> bool {
        matches!(self, FaultKind::NoWeft | FaultKind::WeftWithoutBeat)
    }

    /// What the weaver may be able to decide instead of righting it at the loom.
    #[must_use]
    pub(crate) fn choices(self) -> &'static [Choice] {
        match self {
            FaultKind::BeatWithoutCard => &[Choice::OnlyBeaten, Choice::GoOnFromHere],
            FaultKind::CardWithoutBeat { .. } => &[Choice::WasWoven, Choice::LeaveOut],
            FaultKind::TurnedTwice { .. } => &[Choice::LeaveOut],
            FaultKind::TurnedOnGround { .. } => &[Choice::StandsSo],
            FaultKind::NoWeft | FaultKind::WeftWithoutBeat => &[Choice::WasWoven],
            FaultKind::TurnedWrongWay { .. } | FaultKind::Apart(_) => &[Choice::GoOnFromHere],
        }
    }
}

impl Watch {
    /// Opens a fault; one that is open and says the same is not said twice.
    pub(super) fn fault(&mut self, kind: FaultKind, seen: Seen, told: &mut Vec<Told>) {
        let same = |open: &Fault| match (open.kind, kind) {
            (FaultKind::Apart(a), FaultKind::Apart(b)) => {
                std::mem::discriminant(&a) == std::mem::discriminant(&b)
            }
            (FaultKind::BeatWithoutCard | FaultKind::NoWeft, _) => false,
            (a, b) => a == b,
        };
        if self.place.open.iter().any(same) {
            return;
        }
        let since = &self.place.since;
        let fault = Fault {
            id: FaultId(self.place.next_fault),
            kind,
            pick: self.place.next,
            at: seen.at,
            event: seen.number,
            evidence: [since.turns, since.lifts, since.wefts],
        };
        self.place.next_fault += 1;
        self.place.open.push(fault.clone());
        told.push(Told::Fault(fault));
    }

    /// Closes those open faults that `which` says are no more.
    pub(super) fn right(&mut self, at: i64, told: &mut Vec<Told>, which: impl Fn(&Fault) -> bool) {
        self.place.open.retain(|fault| {
            let righted = which(fault);
            if righted {
                told.push(Told::Righted {
                    fault: fault.id,
                    kind: fault.kind,
                    pick: fault.pick,
                    at,
                });
            }
            !righted
        });
    }

    fn remedy_on_ground(&self, kind: FaultKind) -> Remedy {
        match (self.place.stray, kind) {
            (0, FaultKind::WeftWithoutBeat) => Remedy::Beat,
            (0, _) => match self.turns_wanted() {
                Some(cards) if cards != 0 && self.place.since.turns > 0 => Remedy::Turn { cards },
                _ => Remedy::Throw,
            },
            (picks, _) => Remedy::Unweave { picks },
        }
    }

    /// The card that a remedy is about: the one that is to stand while the next pick
    /// is woven, but a weft goes into the shed of its own pick, and on ground that is
    /// no card's.
    #[must_use]
    pub fn card_of(&self, fault: &Fault, remedy: Remedy) -> Option<Stand> {
        match (remedy, fault.kind) {
            (Remedy::Turn { .. }, FaultKind::TurnedOnGround { stood, .. }) => Some(stood),
            (Remedy::Throw, _) => self.stand_of(self.place.next),
            _ => self.home(),
        }
    }

    /// What hands are to do about a fault that is open, as the loom stands now.
    #[must_use]
    pub fn remedy(&self, fault: &Fault) -> Remedy {
        let turn = match self.turns_wanted() {
            Some(cards) => Remedy::Turn { cards },
            None => Remedy::SayCard,
        };
        let picks = self.place.stray;
        // a ground pick has no card to be looked for
        let of_ground = matches!(fault.kind, FaultKind::NoWeft | FaultKind::WeftWithoutBeat)
            && self.stand_of(fault.pick).is_none();
        match fault.kind {
            FaultKind::Apart(Apart::AfterTheLast) => Remedy::Unweave { picks },
            _ if of_ground => self.remedy_on_ground(fault.kind),
            _ if self.place.stands.is_none() && self.fitted.cylinder() => Remedy::SayCard,
            _ if picks > 0 => Remedy::Unweave { picks },
            FaultKind::TurnedOnGround { stood, .. } => match self.place.stands {
                Some(stands) => Remedy::Turn {
                    cards: shortest(stands.card, stood.card, self.cards(stood)),
                },
                None => Remedy::SayCard,
            },
            FaultKind::BeatWithoutCard => Remedy::Decide,
            FaultKind::WeftWithoutBeat => Remedy::Beat,
            FaultKind::NoWeft => match self.turns_wanted() {
                Some(cards) if cards != 0 && self.place.since.turns > 0 => Remedy::Turn { cards },
                _ => Remedy::Throw,
            },
            FaultKind::CardWithoutBeat { .. }
            | FaultKind::TurnedTwice { .. }
            | FaultKind::TurnedWrongWay { .. }
            | FaultKind::Apart(_) => turn,
        }
    }
}
