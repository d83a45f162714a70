//! The feed: a stepper with a ramp. Enters: a target in steps, and the pulses
//! made. Leaves: the intervals of the next pulses, given ahead to the board's
//! pulse generator. Steps only go forward; a card is never drawn back under the
//! punches.

use cardwright_protocol::host_to_unit::Settings;

use crate::hardware::{STEPS_AHEAD, Stepper};

/// Speeds of the ramp, in steps.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ramp {
    start_squared: u32,
    top_squared: u32,
    twice_acceleration: u32,
}

impl Ramp {
    /// The ramp of checked settings.
    #[must_use]
    pub fn new(s: &Settings) -> Ramp {
        let steps = |mm: u32| {
            u32::try_from(u64::from(mm) * u64::from(s.steps_per_metre) / 1000).unwrap_or(u32::MAX)
        };
        let square = |speed: u32| speed.saturating_mul(speed);
        Ramp {
            start_squared: square(steps(u32::from(s.start_speed_mm_s))),
            top_squared: square(steps(u32::from(s.top_speed_mm_s))),
            twice_acceleration: steps(s.acceleration_mm_s2).saturating_mul(2),
        }
    }

    /// Microseconds from a step to the next on this rung of the ramp, which is
    /// so many steps from standstill: v^2 = v0^2 + 2 a s.
    #[must_use]
    pub fn interval_us(&self, rung: u32) -> u32 {
        let squared = self
            .start_squared
            .saturating_add(self.twice_acceleration.saturating_mul(rung));
        let speed = squared.min(self.top_squared).isqrt().max(1);
        // rounded, so that a long feed is not systematically fast
        (1_000_000 + speed / 2) / speed
    }
}

/// Where the feed is and where it is going, in steps from the last zero.
#[derive(Debug)]
pub struct Feed {
    ramp: Ramp,
    /// Pulses made.
    position: u32,
    /// Pulses made or given to the generator.
    given: u32,
    target: u32,
    /// Where on the ramp the pulse given last is: one rung up a step, and never
    /// higher than it is steps to the target, so that a target moved on while
    /// slowing down is gone for no faster than the motor can.
    rung: Option<u32>,
}

impl Feed {
    /// A feed at rest at zero.
    #[must_use]
    pub fn new(ramp: Ramp) -> Feed {
        Feed {
            ramp,
            position: 0,
            given: 0,
            target: 0,
            rung: None,
        }
    }

    /// Steps made since zero.
    #[must_use]
    pub fn position(&self) -> u32 {
        self.position
    }

    /// Whether the target is reached.
    #[must_use]
    pub fn at_rest(&self) -> bool {
        self.position >= self.target
    }

    /// Whether a pulse can be given now.
    #[must_use]
    pub fn wants_to_give(&self) -> bool {
        self.given < self.target && self.given - self.position < STEPS_AHEAD
    }

    /// Makes the present place the zero. The target moves along.
    pub fn zero_here(&mut self) {
        self.target -= self.position;
        self.given -= self.position;
        self.position = 0;
    }

    /// Goes on to `target`. What is given already will be made, so a target
    /// nearer than that is the place after it.
    pub fn go_to(&mut self, target: u32) {
        self.target = target.max(self.given);
    }

    /// No further step, from this moment.
    pub fn halt(&mut self, step: &mut impl Stepper) {
        step.halt();
        self.count(step);
        self.given = self.position;
        self.target = self.position;
        self.rung = None;
    }

    /// Counts the pulses made. Whether there were any.
    pub fn count(&mut self, step: &mut impl Stepper) -> bool {
        // the generator makes no pulse that it was not given
        let made = step.made().min(self.given - self.position);
        self.position += made;
        if self.given == self.position {
            // at the target; or the unit was late and the motor has stopped, to
            // be brought up to speed anew
            self.rung = self.rung.filter(|_| self.given < self.target).map(|_| 0);
        }
        made > 0
    }

    /// Gives the generator what it has room for.
    pub fn give(&mut self, step: &mut impl Stepper) {
        while self.wants_to_give() {
            let rung = self
                .rung
                .map_or(0, |rung| (rung + 1).min(self.target - self.given));
            // the first comes at once
            let us = match self.rung.replace(rung) {
                None => 0,
                Some(_) => self.ramp.interval_us(rung),
            };
            step.give(us);
            self.given += 1;
        }
    }
}
