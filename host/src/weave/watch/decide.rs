//! What the weaver says. Each decision is written down beside what the sensors
//! counted; none changes what was seen.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::fault::{Apart, Choice, Fault, FaultId, FaultKind};
use super::place::{Since, Stand};
use super::{Told, Turns, Watch, Work};
use crate::words::counted;

/// What a weaver decides.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "decided")]
pub enum Decision {
    /// I took so many picks out.
    Unwove {
        /// How many.
        picks: u32,
    },
    /// The chain lies so that the next turn brings the plan's next card.
    ChainReady,
    /// This card stands: the last turn brought it.
    Stands {
        /// Which.
        card: Stand,
    },
    /// The next pick is this one of the plan, from 0.
    NextIs {
        /// Which.
        pick: u64,
    },
    /// About an open fault.
    Fault {
        /// Which.
        fault: FaultId,
        /// What.
        choice: Choice,
    },
}

/// Why a decision cannot be.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum NotDecided {
    /// None.
    #[error("0 picks are none: say how many picks you took out, at least 1")]
    NoPicks,
    /// More than there is.
    #[error("{}", too_many(*picks, *there))]
    TooMany {
        /// Said.
        picks: u32,
        /// In the cloth.
        there: u64,
    },
    /// No cards at all.
    #[error("the plan has no cards: every pick of it is ground")]
    NoCards,
    /// No such card.
    #[error("the deck has {}", match *cards {
        1 => "one card; give 1".to_string(),
        cards => format!("cards 1 to {cards}; give one of these"),
    })]
    NoSuchCard {
        /// Its cards.
        cards: u32,
    },
    /// No such pick.
    #[error("the plan has picks 1 to {picks}; give one of these")]
    NoSuchPick {
        /// Its picks.
        picks: u64,
    },
    /// No such fault.
    #[error("that fault is no longer open")]
    NoSuchFault,
    /// The plan has no place for it.
    #[error("the card that stands is not woven near here; say which pick is next")]
    NoSuchPlace,
}

fn too_many(picks: u32, there: u64) -> String {
    let picks = counted(u64::from(picks), "pick");
    match there {
        0 => format!("{picks} cannot have been taken out: no pick lies in the cloth"),
        1 => format!("{picks} cannot have been taken out: 1 pick lies in the cloth; give 1"),
        _ => format!(
            "{picks} cannot have been taken out: {there} picks lie in the cloth; give 1 to {there}"
        ),
    }
}

impl Watch {
    /// Picks that lie in the cloth: those that count, and those beside the plan.
    #[must_use]
    pub fn in_the_cloth(&self) -> u64 {
        u64::from(self.place.stray) + u64::try_from(self.place.in_cloth).unwrap_or_default()
    }

    /// Takes a decision at this time.
    ///
    /// # Errors
    /// [`NotDecided`]; then nothing has changed.
    pub fn decide(
        &mut self,
        decision: &Decision,
        at: i64,
        told: &mut Vec<Told>,
    ) -> Result<(), NotDecided> {
        match decision {
            Decision::Unwove { picks } => self.unwove(*picks, at, told),
            Decision::ChainReady => {
                if let Some(pick) = self.walk.next_carded(self.place.next) {
                    self.place.stands = self
                        .stand_of(pick)
                        .map(|target| self.neighbour(target, self.walk.way_at(pick).reversed()));
                    self.place.last = self.place.stands;
                }
                self.stands_known(at, told);
                Ok(())
            }
            Decision::Stands { card } => {
                if self.walk.plan().decks().get(card.deck.0).is_none() {
                    return Err(NotDecided::NoCards);
                }
                let cards = self.cards(*card);
                if card.card.0 == 0 || card.card.0 > cards {
                    return Err(NotDecided::NoSuchCard { cards });
                }
                self.place.stands = Some(*card);
                self.stands_known(at, told);
                Ok(())
            }
            Decision::NextIs { pick } => {
                if *pick >= self.walk.len() {
                    return Err(NotDecided::NoSuchPick {
                        picks: self.walk.len(),
                    });
                }
                // what lies beside the plan stays in the cloth
                self.place.keep_as_said();
                self.right(at, told, |_| true);
                self.go_to(*pick, told);
                Ok(())
            }
            Decision::Fault { fault, choice } => self.choose(*fault, *choice, at, told),
        }
    }

    /// It is known again which card stands.
    fn stands_known(&mut self, at: i64, told: &mut Vec<Told>) {
        self.place.since.turns = 0;
        if self.place.stray == 0 {
            self.right(at, told, |fault| fault.kind.is_of_the_place());
        }
    }

    fn unwove(&mut self, picks: u32, at: i64, told: &mut Vec<Told>) -> Result<(), NotDecided> {
        let there = self.in_the_cloth();
        if picks == 0 {
            return Err(NotDecided::NoPicks);
        }
        if u64::from(picks) > there {
            return Err(NotDecided::TooMany { picks, there });
        }
        let stray = picks.min(self.place.stray);
        self.place.take_beside(stray);
        let planned = u64::from(picks - stray);
        let next = self.place.take_out(planned);
        self.place.last = self
            .walk
            .previous_carded(next)
            .and_then(|pick| self.stand_of(pick))
            .or(self.place.last);
        // of what was seen while the picks came out, nothing is a pick
        self.place.since = Since::default();
        self.place.picks_without_weft = 0;
        if planned > 0 {
            self.go_to(next, told);
        }
        if self.place.stray == 0 {
            let ready = self.is_ready();
            let over = FaultKind::Apart(Apart::AfterTheLast);
            self.right(at, told, |fault| {
                ready || fault.kind == over || !fault.kind.is_of_the_place()
            });
        }
        Ok(())
    }

    /// Whether the card that stands is the plan's next one, or the next turn brings
    /// it.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        if !self.fitted.cylinder() {
            return true;
        }
        let (Some(stands), Some(carded)) =
            (self.place.stands, self.walk.next_carded(self.place.next))
        else {
            return self.walk.next_carded(self.place.next).is_none();
        };
        let Some(target) = self.stand_of(carded) else {
            return false;
        };
        let by_hand = self
            .walk
            .pick(carded)
            .is_some_and(|pick| matches!(pick.turns, Turns::ByHand { .. }));
        by_hand
            || stands == target && carded == self.place.next
            || self.neighbour(target, self.walk.way_at(carded).reversed()) == stands
    }

    fn choose(
        &mut self,
        id: FaultId,
        choice: Choice,
        at: i64,
        told: &mut Vec<Told>,
    ) -> Result<(), NotDecided> {
        let open = &self.place.open;
        let fault = open
            .iter()
            .find(|fault| fault.id == id && self.choices(fault).contains(&choice))
            .ok_or(NotDecided::NoSuchFault)?
            .clone();
        match choice {
            Choice::OnlyBeaten => {
                if fault.evidence[2] > 0 {
                    self.place.was_no_pick();
                }
            }
            Choice::WasWoven => {
                self.woven(at, told);
                self.take_up_what_follows(at, told);
            }
            Choice::LeaveOut => {
                let left_out = self.place.next;
                self.go_to(left_out + 1, told);
                self.right(at, told, |fault| {
                    fault.pick == left_out && fault.kind.ends_with_its_pick()
                });
                self.take_up_what_follows(at, told);
            }
            Choice::GoOnFromHere => self.go_on_from_here(told)?,
            Choice::StandsSo => {
                if !matches!(fault.kind, FaultKind::TurnedOnGround { .. }) {
                    self.place.keep_stray(None);
                }
            }
        }
        self.right(at, told, |fault| fault.id == id);
        let ready = self.is_ready() && self.place.stray == 0;
        self.right(at, told, |fault| ready && fault.kind.is_of_the_place());
        Ok(())
    }

    /// What can be decided about this fault as the work stands now: nothing about a pick
    /// that is not the next one any more, and no way on from a card that has none.
    #[must_use]
    pub fn choices(&self, fault: &Fault) -> Vec<Choice> {
        let choices = fault.kind.choices().iter();
        let possible = choices.filter_map(|choice| match choice {
            Choice::WasWoven | Choice::LeaveOut => {
                (fault.pick == self.place.next).then_some(*choice)
            }
            Choice::GoOnFromHere if self.is_finished() || self.goes_on().is_none() => {
                (self.place.stray > 0).then_some(Choice::StandsSo)
            }
            Choice::GoOnFromHere | Choice::OnlyBeaten | Choice::StandsSo => Some(*choice),
        });
        possible.collect()
    }

    /// The pick that is next once the weaver has said that the one in hand was woven, or
    /// is left out.
    #[must_use]
    pub fn goes_on_after(&self) -> u64 {
        let after = self.place.next + 1;
        after + u64::from(self.picks_that_follow(after))
    }

    /// How many of the picks beside the plan, from the first, are those of the plan from
    /// this one on: made with its cards, turned to as it turns, with their wefts.
    fn picks_that_follow(&self, first: u64) -> u32 {
        let follow = (first..)
            .zip(&self.place.beside)
            .take_while(|(at, beside)| {
                self.walk.pick(*at).is_some_and(|pick| {
                    let turns = pick.turns != Turns::None;
                    let card = pick.work == Work::Ground || self.stand_of(*at) == beside.stands;
                    beside.whole && beside.turned == turns && card
                })
            });
        u32::try_from(follow.count()).unwrap_or(u32::MAX)
    }

    /// What lies beside the plan, and is the plan's from where the work stands now.
    fn take_up_what_follows(&mut self, at: i64, told: &mut Vec<Told>) {
        let follow = self.picks_that_follow(self.place.next);
        self.place.take_up_beside(follow);
        (0..follow).for_each(|_| self.woven(at, told));
    }

    /// The pick of the plan with the card that stands that is nearest to where the work
    /// stands; none if there is none.
    fn nearest(&self) -> Option<u64> {
        let stands = self.place.stands?;
        let nearest = self.walk.find(stands.deck, stands.card, self.place.next);
        let found = [nearest.from, nearest.before].into_iter().flatten();
        found.min_by_key(|pick| pick.abs_diff(self.place.next))
    }

    /// The pick that is next once the weaver has said that the cloth stays as it is; none
    /// if the card that stands is not woven near here.
    #[must_use]
    pub fn goes_on(&self) -> Option<u64> {
        Some(self.nearest()? + u64::from(self.place.stray > 0))
    }

    /// The picks beyond the plan stay in the cloth, and the plan goes on after the
    /// card that stands.
    fn go_on_from_here(&mut self, told: &mut Vec<Told>) -> Result<(), NotDecided> {
        let stands = self.place.stands.ok_or(NotDecided::NoSuchPlace)?;
        let pick = self.nearest().ok_or(NotDecided::NoSuchPlace)?;
        let beaten = self.place.stray > 0;
        // one more of the pick before is none of the plan's
        let last = (beaten && pick + 1 != self.place.next).then_some(pick);
        self.place.keep_stray(last);
        if beaten {
            self.place.last = Some(stands);
        }
        self.place.since.turns = u32::from(!beaten);
        self.go_to(pick + u64::from(beaten), told);
        Ok(())
    }
}
