//! Turns of the cylinder: on to the card the plan wants, or not.

use super::fault::{Apart, FaultKind};
use super::place::Stand;
use super::{Direction, PickBy, Seen, Told, Turns, Watch};

/// A turn that comes after less than this share of the usual time is one of two in
/// one go.
const QUICK: f64 = 0.5;

/// How much of the usual time between turns a new one makes.
const LEARNT: f64 = 0.2;

impl Watch {
    pub(super) fn turned(&mut self, way: Direction, seen: Seen, told: &mut Vec<Told>) {
        let quick = self.rhythm(seen.at);
        let lifted = if self.fitted.griffe() || self.fitted.any_box() {
            self.place.since.lifts > 0 || self.place.since.wefts > 0
        } else {
            !quick
        };
        self.place.since.turns += 1;
        self.place.since.lifts = 0;
        let Some(before) = self.place.stands else {
            return;
        };
        // what puts the cylinder right weaves nothing, and neither does a turn against the
        // plan
        let mut open = self.place.open.iter();
        let puts_right = self.place.stray == 0 && open.any(|fault| fault.kind.is_of_the_cylinder());
        let weaves = self.next_turn() == Some(way) && !puts_right;
        let stands = self.neighbour(before, way);
        self.place.stands = Some(stands);
        self.compare(before, stands, way, lifted, seen, told);
        if self.fitted.pick_by() == PickBy::Turn && weaves {
            self.made(seen, told);
        }
    }

    /// Compares the card that stands now with the one the plan wants.
    fn compare(
        &mut self,
        before: Stand,
        stands: Stand,
        way: Direction,
        lifted: bool,
        seen: Seen,
        told: &mut Vec<Told>,
    ) {
        let next = self.place.next;
        let follows = self.walk.next_carded(next);
        let other_chain = follows
            .and_then(|carded| self.stand_of(carded))
            .is_none_or(|target| target.deck != before.deck);
        if other_chain && follows != Some(next) {
            self.turned_on_ground(before, stands, seen, told);
            return;
        }
        let Some(carded) = follows else {
            return;
        };
        let (Some(target), Some(pick)) = (self.stand_of(carded), self.walk.pick(carded)) else {
            return;
        };
        let runs = self.walk.way_at(carded);
        let onward = self.way_on(carded);
        // the other way from the plan's card is a way back to before it, unless its
        // shed was opened and the plan turns there
        let passed = before == target && (way == runs || onward == Some(way) && lifted);
        if self.is_ready() && !passed {
            if self.place.stray == 0 {
                self.right(seen.at, told, |fault| fault.kind.is_of_the_place());
            }
            return;
        }
        if stands == target {
            // the ground picks before it are not beaten
            self.fault(FaultKind::CardWithoutBeat { card: before }, seen, told);
            return;
        }
        // turned by hand to a card that is no neighbour, or a chain is hung
        let free = !matches!(pick.turns, Turns::One(_)) && before != target;
        if free
            || self
                .place
                .open
                .iter()
                .any(|fault| fault.kind.is_of_the_cylinder())
        {
            return;
        }
        let kind = if before == target && (way == runs || onward == Some(way)) {
            if self.lacks_weft_of(next) {
                return;
            }
            if lifted {
                FaultKind::CardWithoutBeat { card: target }
            } else {
                FaultKind::TurnedTwice { passed: target }
            }
        } else if way == runs && before != target {
            // it went the right way and is still not there: it was not where it
            // was thought to be
            FaultKind::Apart(Apart::Stands {
                stands,
                wanted: target,
            })
        } else {
            FaultKind::TurnedWrongWay { stands }
        };
        self.fault(kind, seen, told);
    }

    /// The cylinder turned, and no card of its chain is to come.
    fn turned_on_ground(&mut self, before: Stand, stands: Stand, seen: Seen, told: &mut Vec<Told>) {
        if self.is_finished() {
            return;
        }
        let mut open = self.place.open.iter();
        let stood = open.find_map(|fault| match fault.kind {
            FaultKind::TurnedOnGround { stood, .. } => Some(stood),
            _ => None,
        });
        match stood {
            None => {
                let stood = before;
                self.fault(FaultKind::TurnedOnGround { stood, stands }, seen, told);
            }
            Some(stood) if stood == stands => self.right(seen.at, told, |fault| {
                matches!(fault.kind, FaultKind::TurnedOnGround { .. })
            }),
            Some(_) => {}
        }
    }

    /// A pick whose weft is missing is open, and this turn leaves it behind.
    fn lacks_weft_of(&self, pick: u64) -> bool {
        let open = &self.place.open;
        open.iter()
            .any(|fault| fault.pick == pick && fault.kind == FaultKind::NoWeft)
    }

    /// Without a sensor at the cylinder a lift is all that is seen of a card: each
    /// brings the next one of the plan.
    pub(super) fn lifted_unseen(&mut self, seen: Seen, told: &mut Vec<Told>) {
        let Some(target) = self.stand_of(self.place.next) else {
            return;
        };
        if self.place.since.lifts > 0 {
            self.fault(FaultKind::CardWithoutBeat { card: target }, seen, told);
        }
        self.place.since.turns += 1;
        self.place.stands = Some(target);
    }

    /// Learns how long a turn comes after the one before; whether this one came
    /// quickly.
    fn rhythm(&mut self, at: i64) -> bool {
        let rhythm = &mut self.place.rhythm;
        let passed = rhythm.turned_at.replace(at).map(|before| at - before);
        let (Some(passed), Some(usual)) = (passed, rhythm.turn_ms) else {
            rhythm.turn_ms = rhythm.turn_ms.or(passed);
            return false;
        };
        let quick = (passed as f64) < QUICK * usual as f64;
        // a rest is no rhythm, and two in one go are none either
        if !quick && passed < 3 * usual {
            rhythm.turn_ms = Some(usual + (LEARNT * (passed - usual) as f64) as i64);
        }
        quick
    }
}
