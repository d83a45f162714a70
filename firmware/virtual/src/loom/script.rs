//! What is to be woven, step by step, as the weaver knows it: by the cards.

use std::fmt;
use std::sync::Arc;

/// Most cards turned before one pick.
const MOST_TURNS: i32 = 10_000;

/// One pick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// Cards to be turned before it: on if above 0, back if below, 10,000 at
    /// most; none if the same shed is used again, or for a ground pick.
    pub turns: i32,
    /// Whether the griffe lifts for it. A ground pick's shed is made by treadles.
    pub carded: bool,
}

impl Step {
    /// A pick on the next card.
    pub const NEXT_CARD: Step = Step {
        turns: 1,
        carded: true,
    };

    /// A ground pick.
    pub const GROUND: Step = Step {
        turns: 0,
        carded: false,
    };
}

/// Steps by their number, from 0. Any step can be asked for again, as a weaver
/// who has lost the place may be sent back to it.
#[derive(Clone)]
pub struct Script(Arc<dyn Fn(u64) -> Option<Step> + Send + Sync>);

impl fmt::Debug for Script {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Script")
    }
}

impl Script {
    /// The steps that `step` gives; the script ends where it gives none.
    #[must_use]
    pub fn by(step: impl Fn(u64) -> Option<Step> + Send + Sync + 'static) -> Script {
        Script(Arc::new(step))
    }

    /// These steps, once.
    #[must_use]
    pub fn once(steps: Vec<Step>) -> Script {
        Script::by(move |number| steps.get(usize::try_from(number).ok()?).copied())
    }

    /// These steps, over and over.
    #[must_use]
    pub fn over_and_over(steps: Vec<Step>) -> Script {
        Script::by(move |number| {
            let round = number.checked_rem(steps.len() as u64)?;
            steps.get(usize::try_from(round).ok()?).copied()
        })
    }

    /// Step `number`, if the script has it.
    #[must_use]
    pub fn step(&self, number: u64) -> Option<Step> {
        (self.0)(number).map(|step| Step {
            turns: step.turns.clamp(-MOST_TURNS, MOST_TURNS),
            ..step
        })
    }

    /// Cards to be turned by the steps from `from` up to `to`, `to` left out.
    pub(super) fn turns(&self, from: u64, to: u64) -> i64 {
        (from..to)
            .map_while(|number| self.step(number))
            .map(|step| i64::from(step.turns))
            .sum()
    }
}
