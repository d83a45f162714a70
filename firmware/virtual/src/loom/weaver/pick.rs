//! Which acts make a pick, and what a mistake makes of them.

use super::super::{Act, Direction, MistakeKind, Step};
use super::{Slip, Weaver};

impl Weaver {
    /// The acts of one pick, and of what goes wrong at it.
    pub(super) fn acts_of(&mut self, step: Step) -> Vec<Act> {
        let kind = match &mut self.slip {
            Some(slip) => {
                slip.left -= 1;
                None
            }
            None => self.trials.hit(step, self.last_turn),
        };
        let here = self.step;
        let mut left = self.settings.weaves_on;
        let mut acts = Vec::with_capacity(8);
        self.turn(&mut acts, turns(step, kind));
        if kind.is_some_and(MistakeKind::of_turning) {
            if left == 0 {
                self.slip_up(kind, here, 0);
                return acts;
            }
            left -= 1;
        }
        self.weave(&mut acts, step, kind);
        self.step += 1;
        self.turned += i64::from(step.turns);
        self.last_turn = Direction::of(step.turns).or(self.last_turn);
        match kind {
            Some(MistakeKind::BeatsTwice) => acts.push(Act::Beat),
            Some(MistakeKind::SkipsBeat) if left == 0 => {
                let next = self.script.step(self.step).map_or(0, |step| step.turns);
                self.turn(&mut acts, next);
            }
            Some(MistakeKind::Unweaves) => {
                self.unweave(&mut acts);
                left = 0;
            }
            Some(MistakeKind::TurnsBackAndOnAgain) => {
                let on = self.last_turn.unwrap_or(Direction::Forwards);
                acts.extend([Act::Turn(on.other()), Act::Turn(on)]);
            }
            _ => {}
        }
        self.slip_up(kind, here, left);
        acts
    }

    fn slip_up(&mut self, kind: Option<MistakeKind>, step: u64, left: u32) {
        if let Some(kind) = kind {
            self.made += 1;
            self.slip = Some(Slip { kind, step, left });
        }
    }

    /// Turns so many cards. Now and then the cylinder does not catch at once.
    fn turn(&mut self, acts: &mut Vec<Act>, cards: i32) {
        let Some(direction) = Direction::of(cards) else {
            return;
        };
        for _ in 0..cards.unsigned_abs() {
            if self.half.hit() {
                acts.push(Act::TurnHalfAndBack(direction));
            }
            acts.push(Act::Turn(direction));
        }
    }

    /// Shed, weft and beat; and the cloth is wound on when it is time.
    fn weave(&mut self, acts: &mut Vec<Act>, step: Step, kind: Option<MistakeKind>) {
        if step.carded {
            acts.push(Act::Lift);
        }
        if kind != Some(MistakeKind::ForgetsWeft) {
            acts.push(Act::Throw);
            self.unwound += 1;
        }
        let light = self.light.hit();
        let beat = if light { Act::BeatLightly } else { Act::Beat };
        let beat = (kind != Some(MistakeKind::SkipsBeat)).then_some(beat);
        let lower = step.carded.then_some(Act::Lower);
        if self.lowers_first {
            acts.extend(lower.into_iter().chain(beat));
        } else {
            acts.extend(beat.into_iter().chain(lower));
        }
        let every = i64::from(self.settings.winds_on_every);
        if every > 0 && self.unwound >= every {
            self.unwound -= every;
            self.wound += 1;
            acts.push(Act::TakeUp(self.winding_mm()));
        }
    }

    /// Takes some picks out, the last first; cloth is let off if the fell would go
    /// too far back.
    fn unweave(&mut self, acts: &mut Vec<Act>) {
        let most = u64::from(self.settings.unweaves_most.max(1)).min(self.step);
        for _ in 0..=self.habits.below(most) {
            self.step -= 1;
            let Some(step) = self.script.step(self.step) else {
                return;
            };
            acts.extend(step.carded.then_some(Act::Lift));
            acts.push(Act::ThrowBack);
            acts.extend(step.carded.then_some(Act::Lower));
            self.turn(acts, -step.turns);
            self.turned -= i64::from(step.turns);
            self.unwound -= 1;
            if self.unwound < 0 && self.wound > 0 {
                self.unwound += i64::from(self.settings.winds_on_every);
                self.wound -= 1;
                acts.push(Act::LetOff(self.winding_mm()));
            }
        }
    }

    fn winding_mm(&self) -> f64 {
        f64::from(self.settings.winds_on_every) * 10.0 / self.settings.picks_a_cm.max(0.1)
    }
}

/// Cards really turned before a pick.
fn turns(step: Step, kind: Option<MistakeKind>) -> i32 {
    match kind {
        Some(MistakeKind::TurnsTwice) => step.turns + step.turns.signum(),
        Some(MistakeKind::TurnsWrongWay | MistakeKind::ForgetsToTurnBack) => -step.turns,
        Some(MistakeKind::ForgetsToTurn) => 0,
        _ => step.turns,
    }
}
