//! Follows the loom along the plan: which pick was woven, which comes next, and
//! where cloth and plan have come apart.
//!
//! Enters: the loom's events, a weaver's decisions. Leaves: picks woven, faults
//! with their evidence, what rights them, and words to be said. Refuses to correct a
//! count by itself: what the sensors show moves the place only along the plan, one
//! pick for one beat with the card the plan wants; all else is a fault that stays
//! open until the loom is as it should be again, or the weaver decides.
//!
//! The card *that stands* is the one the last turn brought. It is counted card by
//! card from where a weaver has said that the chain lies.

mod decide;
mod fault;
mod place;
mod turn;

pub use decide::{Decision, NotDecided};
pub use fault::{Apart, Choice, Fault, FaultId, FaultKind, Remedy};
pub use place::{Beside, Laid, Place, Since, Stand};

use cardwright_protocol::loom::{Happening, LoomLine};
use serde::{Deserialize, Serialize};

use super::walk::{Direction, Turns, Walk, Work, shortest};

/// Which of the loom's sensors there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fitted(pub u8);

impl Fitted {
    /// Whether this line has a sensor.
    #[must_use]
    pub const fn has(self, line: LoomLine) -> bool {
        self.0 & line.bit() != 0
    }

    const fn cylinder(self) -> bool {
        self.has(LoomLine::CylinderA) && self.has(LoomLine::CylinderB)
    }

    const fn griffe(self) -> bool {
        self.has(LoomLine::Griffe)
    }

    const fn both_boxes(self) -> bool {
        self.has(LoomLine::BoxLeft) && self.has(LoomLine::BoxRight)
    }

    const fn any_box(self) -> bool {
        self.has(LoomLine::BoxLeft) || self.has(LoomLine::BoxRight)
    }

    /// Whether a pick without a card can be seen: the cylinder alone stands still at it.
    #[must_use]
    pub fn shows_ground(self) -> bool {
        self.pick_by() != PickBy::Turn
    }

    /// What makes a pick, of the sensors there are: the last of its movements that
    /// can be seen.
    const fn pick_by(self) -> PickBy {
        if self.has(LoomLine::Batten) {
            PickBy::Beat
        } else if self.both_boxes() {
            // the shuttle comes over after the lift
            PickBy::Weft
        } else if self.griffe() {
            PickBy::Lift
        } else if self.any_box() {
            PickBy::Weft
        } else {
            PickBy::Turn
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PickBy {
    Beat,
    Lift,
    Weft,
    Turn,
}

/// Something that has happened at the loom.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// Its number on the unit.
    pub number: u32,
    /// The time of day, in milliseconds since 1970.
    pub at: i64,
    /// What.
    pub what: Happening,
}

/// What the watch has to tell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "told")]
pub enum Told {
    /// A pick of the plan lies in the cloth.
    Woven {
        /// Its number in the plan, from 0.
        pick: u64,
        /// When.
        at: i64,
    },
    /// Something is wrong.
    Fault(Fault),
    /// A fault is no more.
    Righted {
        /// Which.
        fault: FaultId,
        /// What it was.
        kind: FaultKind,
        /// The pick that was to be woven then, from 0.
        pick: u64,
        /// When.
        at: i64,
    },
    /// Words of the plan at this place.
    Mark {
        /// The words.
        words: String,
    },
    /// The chain of another deck is wanted, or it is not known how the chain lies.
    WantsChain,
    /// The last pick of the plan is woven.
    Finished,
}

/// The watch.
#[derive(Clone, Debug)]
pub struct Watch {
    walk: Walk,
    fitted: Fitted,
    place: Place,
}

impl Watch {
    /// Begins where the work stood.
    #[must_use]
    pub fn new(walk: Walk, fitted: Fitted, place: Place) -> Watch {
        Watch {
            walk,
            fitted,
            place,
        }
    }

    /// Where the work stands.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// The walk along the plan.
    #[must_use]
    pub fn walk(&self) -> &Walk {
        &self.walk
    }

    /// Whether every pick of the plan is woven.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        self.place.next >= self.walk.len()
    }

    /// The card that the next carded pick wants.
    #[must_use]
    pub fn target(&self) -> Option<Stand> {
        self.stand_of(self.walk.next_carded(self.place.next)?)
    }

    fn stand_of(&self, pick: u64) -> Option<Stand> {
        match self.walk.pick(pick)?.work {
            Work::Card { deck, card } => Some(Stand { deck, card }),
            Work::Ground => None,
        }
    }

    /// The way of the next turn, which brings the card that the next carded pick
    /// wants.
    #[must_use]
    pub fn next_turn(&self) -> Option<Direction> {
        Some(self.walk.way_at(self.walk.next_carded(self.place.next)?))
    }

    /// The turn that brings this carded pick, if it is one turn.
    fn way_to(&self, pick: u64) -> Option<Direction> {
        match self.walk.pick(pick)?.turns {
            Turns::One(way) => Some(way),
            _ => None,
        }
    }

    /// The turn by which the plan goes on from this carded pick, if it is one turn.
    fn way_on(&self, pick: u64) -> Option<Direction> {
        self.way_to(self.walk.next_carded(pick + 1)?)
    }

    /// The neighbour of a card on its chain.
    fn neighbour(&self, stand: Stand, way: Direction) -> Stand {
        let cards = self.cards(stand);
        let card = match way {
            Direction::Forward => stand.card.0 % cards + 1,
            Direction::Back => (stand.card.0 + cards - 2) % cards + 1,
        };
        Stand {
            card: cardwright_protocol::CardNumber(card),
            ..stand
        }
    }

    /// Cards of the chain that this card is of; at least 1.
    fn cards(&self, stand: Stand) -> u32 {
        let decks = self.walk.plan().decks();
        decks
            .get(stand.deck.0)
            .map_or(1, |deck| deck.deck.card_count().max(1))
    }

    /// The card that stands while the next pick is woven: the plan's, or for a ground
    /// pick the one before the card that follows.
    #[must_use]
    pub fn home(&self) -> Option<Stand> {
        let carded = self.walk.next_carded(self.place.next)?;
        let target = self.stand_of(carded)?;
        let way = match self.walk.pick(carded)?.turns {
            // a chain that is laid before its time lies a turn before its card
            Turns::Hang { .. } => Some(self.walk.way_at(carded)),
            _ => self.way_to(carded),
        };
        // where a turn is all that is seen of a pick, it is still to come
        let by_turn = self.fitted.pick_by() == PickBy::Turn;
        let way = way.filter(|_| by_turn || carded != self.place.next);
        Some(way.map_or(target, |way| self.neighbour(target, way.reversed())))
    }

    /// How far the cylinder must be turned from the card that stands to the one that
    /// is to stand while the next pick is woven: cards, forwards positive, the shorter
    /// way; none if it is not known or another chain must be hung.
    #[must_use]
    pub fn turns_wanted(&self) -> Option<i64> {
        let (stands, target) = (self.place.stands?, self.home()?);
        if stands.deck != target.deck {
            return None;
        }
        Some(shortest(stands.card, target.card, self.cards(target)))
    }

    /// Takes an event. What it has to tell is appended to `told`.
    pub fn see(&mut self, seen: Seen, told: &mut Vec<Told>) {
        let by = self.fitted.pick_by();
        match seen.what {
            Happening::CardForward => self.turned(Direction::Forward, seen, told),
            Happening::CardBack => self.turned(Direction::Back, seen, told),
            Happening::CylinderUnclear if self.is_finished() => self.place.stands = None,
            Happening::CylinderUnclear => {
                self.place.stands = None;
                self.fault(FaultKind::Apart(Apart::Unclear), seen, told);
                told.push(Told::WantsChain);
            }
            Happening::Lift => {
                if !self.fitted.cylinder() {
                    self.lifted_unseen(seen, told);
                }
                self.place.since.lifts += 1;
                if by == PickBy::Lift {
                    self.made(seen, told);
                }
            }
            Happening::ShuttleLeft | Happening::ShuttleRight => {
                if by == PickBy::Beat && self.place.since.wefts == 1 && !self.is_finished() {
                    self.fault(FaultKind::WeftWithoutBeat, seen, told);
                }
                self.place.since.wefts += 1;
                if by == PickBy::Weft {
                    self.made(seen, told);
                }
            }
            Happening::Beat => self.made(seen, told),
            Happening::TakenUp => self.place.take_up += 1,
            Happening::LetOff => self.place.take_up -= 1,
        }
    }

    /// Whether the weft of the pick in hand was seen to be missing.
    fn lacks_weft(&self) -> bool {
        if self.fitted.pick_by() != PickBy::Beat {
            return false;
        }
        let since = &self.place.since;
        if self.fitted.both_boxes() {
            since.wefts == 0
        } else {
            // a shuttle comes back to one box every other pick
            self.fitted.any_box() && since.wefts == 0 && self.place.picks_without_weft > 0
        }
    }

    /// The movement that makes a pick has been made.
    fn made(&mut self, seen: Seen, told: &mut Vec<Told>) {
        if self.is_finished() {
            self.made_after_the_last(seen, told);
            return;
        }
        let pick = self.place.next;
        let ground = self.stand_of(pick).is_none();
        if !self.fitted.cylinder() && !self.fitted.griffe() && !ground {
            // nothing is seen of the cards: each pick is taken to have its own
            self.place.stands = self.target();
        }
        let wrong = if ground {
            self.wrong_ground()
        } else {
            self.wrong_card()
        };
        match wrong {
            Some(FaultKind::BeatWithoutCard) => {
                // with a weft before it, it was a pick into the shed of the last one
                if self.place.since.wefts > 0 {
                    self.lies_beside();
                }
                self.fault(FaultKind::BeatWithoutCard, seen, told);
            }
            Some(kind) => {
                self.lies_beside();
                self.fault(kind, seen, told);
                if kind == FaultKind::Apart(Apart::Unknown) {
                    told.push(Told::WantsChain);
                }
            }
            None if self.place.stray > 0 => self.lies_beside(),
            None if self.lacks_weft() => self.fault(FaultKind::NoWeft, seen, told),
            None => self.woven(seen.at, told),
        }
        let since = std::mem::take(&mut self.place.since);
        self.place.picks_without_weft = match since.wefts {
            0 => self.place.picks_without_weft.saturating_add(1),
            _ => 0,
        };
    }

    /// The pick that was made is none of the plan's.
    fn lies_beside(&mut self) {
        self.place.lay_beside(Beside {
            stands: self.place.stands,
            turned: self.place.since.turns > 0,
            whole: !self.lacks_weft(),
        });
    }

    /// The plan is woven, and the loom goes on: what lies in the cloth is beside it.
    fn made_after_the_last(&mut self, seen: Seen, told: &mut Vec<Told>) {
        let only_beaten = self.fitted.both_boxes() && self.place.since.wefts == 0;
        if !only_beaten {
            self.lies_beside();
            self.fault(FaultKind::Apart(Apart::AfterTheLast), seen, told);
        }
        self.place.since = Since::default();
    }

    /// What is wrong with the card of a pick that wants one.
    fn wrong_card(&self) -> Option<FaultKind> {
        let wanted = self.target()?;
        let since = &self.place.since;
        match self.place.stands {
            Some(stands) if stands == wanted => None,
            Some(stands) if since.turns == 0 && self.place.last == Some(stands) => {
                Some(FaultKind::BeatWithoutCard)
            }
            Some(stands) => Some(FaultKind::Apart(Apart::Beaten { stands, wanted })),
            None if self.fitted.cylinder() => Some(FaultKind::Apart(Apart::Unknown)),
            // without a sensor at the cylinder the griffe's lift brings the card
            None => Some(FaultKind::BeatWithoutCard),
        }
    }

    /// The card after ground picks was woven before them.
    fn wrong_ground(&self) -> Option<FaultKind> {
        let stands = self.place.stands.filter(|_| self.place.since.turns > 0)?;
        let early = self.target() == Some(stands);
        early.then_some(FaultKind::Apart(Apart::Ground { stands }))
    }

    /// The next pick of the plan lies in the cloth.
    fn woven(&mut self, at: i64, told: &mut Vec<Told>) {
        let pick = self.place.next;
        told.push(Told::Woven { pick, at });
        self.place.lay(pick);
        if let Some(stand) = self.stand_of(pick) {
            self.place.last = Some(stand);
        }
        self.right(at, told, |fault| {
            fault.pick == pick && fault.kind.ends_with_its_pick()
        });
        self.go_to(pick + 1, told);
    }

    /// The next pick is this one.
    fn go_to(&mut self, next: u64, told: &mut Vec<Told>) {
        self.place.next = next;
        if self.is_finished() {
            told.push(Told::Finished);
        }
        let mut say = |words: &str| {
            told.push(Told::Mark {
                words: words.to_string(),
            });
        };
        if let Some(done) = next.checked_sub(1).and_then(|done| self.walk.pick(done)) {
            done.after.iter().for_each(|words| say(words));
        }
        if let Some(pick) = self.walk.pick(next) {
            pick.before.iter().for_each(|words| say(words));
        }
        self.want_chain(told);
    }

    /// Count and plan have come apart, by something that is not an event.
    pub fn apart(&mut self, apart: Apart, seen: Seen, told: &mut Vec<Told>) {
        // where nothing is to be woven any more, there is no place to be lost
        if self.is_finished() {
            return;
        }
        self.fault(FaultKind::Apart(apart), seen, told);
        self.forget_stand(told);
    }

    /// It is not known any more which card stands.
    pub fn forget_stand(&mut self, told: &mut Vec<Told>) {
        self.place.stands = None;
        self.want_chain(told);
    }

    /// Asks how the chain lies, if that is not known and the next pick needs it.
    pub fn want_chain(&mut self, told: &mut Vec<Told>) {
        if !self.fitted.cylinder() {
            return;
        }
        let Some(Work::Card { deck, .. }) = self.walk.pick(self.place.next).map(|pick| pick.work)
        else {
            return;
        };
        if self.place.stands.is_none_or(|stands| stands.deck != deck) {
            self.place.stands = None;
            told.push(Told::WantsChain);
        }
    }
}
