//! The feed: a stepper with a ramp. Enters: a target in steps and the time.
//! Leaves: one step pulse at its moment. Steps only go forward; a card is
//! never drawn back under the punches.

use cardwright_protocol::Micros;
use cardwright_protocol::host_to_unit::Settings;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;

use crate::hardware::{Board, Wiring};

/// Width of a step pulse; common stepper drivers want 1 to 2 microseconds.
const PULSE_NS: u32 = 2_000;

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

    /// Microseconds from a step to the next, `made` steps after standstill and
    /// `left` steps before it: v^2 = v0^2 + 2 a s from either end.
    #[must_use]
    pub fn interval_us(&self, made: u32, left: u32) -> u32 {
        let from_end = self
            .start_squared
            .saturating_add(self.twice_acceleration.saturating_mul(made.min(left)));
        let speed = from_end.min(self.top_squared).isqrt().max(1);
        // rounded, so that a long feed is not systematically fast
        (1_000_000 + speed / 2) / speed
    }
}

/// Where the feed is and where it is going, in steps from the last zero.
#[derive(Debug)]
pub struct Feed {
    ramp: Ramp,
    position: u32,
    target: u32,
    made: u32,
    next_at: Micros,
}

impl Feed {
    /// A feed at rest at zero.
    #[must_use]
    pub fn new(ramp: Ramp) -> Feed {
        Feed {
            ramp,
            position: 0,
            target: 0,
            made: 0,
            next_at: Micros::NEVER,
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

    /// When the next step is due; never, at rest.
    #[must_use]
    pub fn next_at(&self) -> Micros {
        if self.at_rest() {
            Micros::NEVER
        } else {
            self.next_at
        }
    }

    /// Makes the present place the zero. The target moves along.
    pub fn zero_here(&mut self) {
        self.target = self.target.saturating_sub(self.position);
        self.position = 0;
    }

    /// Goes on to `target`; one that is behind is the present place.
    pub fn go_to(&mut self, target: u32, now: Micros) {
        if self.at_rest() && target > self.position {
            self.made = 0;
            self.next_at = now;
        }
        self.target = target.max(self.position);
    }

    /// No further step, from this moment.
    pub fn halt(&mut self) {
        self.target = self.position;
    }

    /// Makes a step if it is due. Whether one was made.
    pub fn poll<B: Board>(&mut self, now: Micros, wiring: &mut Wiring<B>) -> bool {
        if now < self.next_at() {
            return false;
        }
        let Ok(()) = wiring.step.set_high();
        wiring.delay.delay_ns(PULSE_NS);
        let Ok(()) = wiring.step.set_low();
        self.position += 1;
        self.made = self.made.saturating_add(1);
        let interval = u64::from(
            self.ramp
                .interval_us(self.made, self.target - self.position),
        );
        // from now: a late poll must not be made up for by a shorter interval,
        // which the motor may not be able to follow
        self.next_at = now.plus(interval);
        true
    }
}
