//! The weaver at the loom.
//!
//! Enters: the script, a rhythm, the chances of mistakes, time. Leaves: one act
//! after the other at the loom. After a mistake the weaver stands still and
//! waits to be told how to go on; without one, the script is woven to its end. It
//! refuses to be told anything while weaving.

mod pick;

use super::mistakes::Trials;
use super::rhythm::Rhythm;
use super::{Act, Direction, Loom, Mistake, MistakeKind, Mistakes, Script, Stand};
use crate::chance::{Chance, Fault};
use cardwright_protocol::Micros;
use std::collections::VecDeque;

const NEVER: u64 = u64::MAX;

/// Streams of chance beside those of rhythm and mistakes.
const STREAM_LIGHT: u64 = 98;
const STREAM_HALF: u64 = 99;
const STREAM_HABITS: u64 = 100;

/// How many steps back the last turn before a step is looked for.
const LOOK_BACK: usize = 1_000;

/// How far a weaver can be sent forwards or back in the script, in picks.
const FURTHEST: u64 = 10_000_000;

/// What a weaver is like.
#[derive(Clone, Debug, PartialEq)]
pub struct WeaverSettings {
    /// Beats in a minute, breaks and winding-on left out. A loom with shorter
    /// times is needed above 200.
    pub picks_a_minute: f64,
    /// Spread of a pick's time (standard deviation of its logarithm).
    pub spread: f64,
    /// Drift of the pace from pick to pick (the same).
    pub drift: f64,
    /// Chance of a break at a pick.
    pub breaks: f64,
    /// How long a break is, in picks.
    pub break_picks: (f64, f64),
    /// Whether the griffe is lowered before the beat; drawn by chance if not set.
    pub lowers_first: Option<bool>,
    /// Picks after which the cloth is wound on; 0 for never.
    pub winds_on_every: u32,
    /// Picks in a centimetre of cloth.
    pub picks_a_cm: f64,
    /// Chance of a light beat.
    pub light_beats: f64,
    /// Chance that the cylinder falls back before it turns.
    pub half_turns: f64,
    /// Most picks taken out at once.
    pub unweaves_most: u32,
    /// Picks finished after a mistake before the weaver stands still.
    pub weaves_on: u32,
    /// Seed of what is no mistake.
    pub seed: u64,
    /// What goes wrong.
    pub mistakes: Mistakes,
}

impl Default for WeaverSettings {
    /// A weaver at a hand loom who makes no mistake (20 to 60 picks a minute: from
    /// memory).
    fn default() -> WeaverSettings {
        WeaverSettings {
            picks_a_minute: 40.0,
            spread: 0.15,
            drift: 0.01,
            breaks: 0.002,
            break_picks: (5.0, 60.0),
            lowers_first: None,
            winds_on_every: 10,
            picks_a_cm: 20.0,
            light_beats: 0.0,
            half_turns: 0.0,
            unweaves_most: 6,
            weaves_on: 0,
            seed: 3,
            mistakes: Mistakes::default(),
        }
    }
}

/// An act to come, and the pause before it.
#[derive(Clone, Copy, Debug)]
struct Planned {
    act: Act,
    pause_us: u64,
}

/// A mistake that the weaver has not seen yet.
#[derive(Clone, Copy, Debug)]
struct Slip {
    kind: MistakeKind,
    step: u64,
    /// Picks until it is seen.
    left: u32,
}

/// A weaver at work.
#[derive(Clone, Debug)]
pub struct Weaver {
    settings: WeaverSettings,
    script: Script,
    step: u64,
    /// How loom and cloth stood when the weaver came.
    came: Option<Stand>,
    /// Cards turned by the steps before this one.
    turned: i64,
    last_turn: Option<Direction>,
    plan: VecDeque<Planned>,
    due: u64,
    lowers_first: bool,
    rhythm: Rhythm,
    trials: Trials,
    light: Chance,
    half: Chance,
    habits: Chance,
    /// Picks at the fell that will not be wound on yet when what is planned is done.
    unwound: i64,
    wound: u64,
    slip: Option<Slip>,
    standing: Option<Mistake>,
    finished: bool,
    made: u64,
}

impl Weaver {
    /// A weaver who begins with the script's first step.
    #[must_use]
    pub fn new(script: Script, settings: WeaverSettings) -> Weaver {
        let seeded = |rate, stream| Chance::new(Fault::new(rate, settings.seed), stream);
        let mut habits = seeded(0.0, STREAM_HABITS);
        let by_chance = habits.below(2) == 0;
        Weaver {
            lowers_first: settings.lowers_first.unwrap_or(by_chance),
            rhythm: Rhythm::new(&settings),
            trials: Trials::new(&settings.mistakes),
            light: seeded(settings.light_beats, STREAM_LIGHT),
            half: seeded(settings.half_turns, STREAM_HALF),
            habits,
            settings,
            script,
            step: 0,
            came: None,
            turned: 0,
            last_turn: None,
            plan: VecDeque::new(),
            due: 0,
            unwound: 0,
            wound: 0,
            slip: None,
            standing: None,
            finished: false,
            made: 0,
        }
    }

    /// The number of the next step.
    #[must_use]
    pub fn step(&self) -> u64 {
        self.step
    }

    /// When the weaver moves next.
    #[must_use]
    pub fn next_move(&self) -> Micros {
        Micros(self.due)
    }

    /// The mistake after which the weaver stands and waits.
    #[must_use]
    pub fn waiting(&self) -> Option<Mistake> {
        self.standing
    }

    /// Whether the script is woven and the weaver has nothing more to do.
    #[must_use]
    pub fn finished(&self) -> bool {
        self.finished && self.plan.is_empty()
    }

    /// How many mistakes were made.
    #[must_use]
    pub fn mistakes(&self) -> u64 {
        self.made
    }

    /// Whether this weaver lowers the griffe before the beat.
    #[must_use]
    pub fn lowers_first(&self) -> bool {
        self.lowers_first
    }

    /// Tells a weaver who waits, or has finished, to do these acts. False if
    /// neither is so: then nothing is done.
    #[must_use]
    pub fn remedy(&mut self, acts: Vec<Act>) -> bool {
        if self.standing.is_none() && !self.finished {
            return false;
        }
        self.schedule(acts.into());
        self.due = 0;
        true
    }

    /// Tells a weaver who waits, or has finished, to weave on with step `from`, as
    /// soon as every remedy is done. False if neither is so, or if that step is
    /// further away than ten million picks: then nothing is done.
    #[must_use]
    pub fn go_on(&mut self, from: u64) -> bool {
        let far = from.abs_diff(self.step) > FURTHEST;
        if far || (self.standing.is_none() && !self.finished) {
            return false;
        }
        self.standing = None;
        self.finished = false;
        self.turned += if from < self.step {
            -self.script.turns(from, self.step)
        } else {
            self.script.turns(self.step, from)
        };
        self.step = from;
        self.last_turn = (0..from).rev().take(LOOK_BACK).find_map(|number| {
            let step = self.script.step(number)?;
            Direction::of(step.turns)
        });
        self.due = 0;
        true
    }

    /// Does what is due at the loom by `now`.
    pub fn look(&mut self, loom: &mut Loom, now: Micros) {
        loom.advance(now);
        self.came.get_or_insert_with(|| stand(loom));
        while self.due <= now.0 {
            let Some(next) = self.plan.pop_front() else {
                self.due = if self.plan_on(loom, now) {
                    now.0.saturating_add(self.pause_us())
                } else {
                    NEVER
                };
                continue;
            };
            self.due = match loom.begin(next.act, now) {
                Some(done) => done.0.saturating_add(self.pause_us()),
                None => {
                    self.plan.push_front(next);
                    loom.busy_until().0
                }
            };
        }
    }

    /// The pause before the next act.
    fn pause_us(&self) -> u64 {
        self.plan.front().map_or(0, |planned| planned.pause_us)
    }

    /// Plans what comes next. False if the weaver stands, or has finished.
    fn plan_on(&mut self, loom: &Loom, now: Micros) -> bool {
        if self.standing.is_some() || self.finished {
            return false;
        }
        if let Some(slip) = self.slip.take_if(|slip| slip.left == 0) {
            self.standing = Some(Mistake {
                kind: slip.kind,
                step: slip.step,
                next: self.step,
                at: now,
                stands: stand(loom),
                should: self.should(),
            });
            return false;
        }
        let Some(step) = self.script.step(self.step) else {
            // A mistake not seen yet is seen at the end.
            match &mut self.slip {
                Some(slip) => slip.left = 0,
                None => self.finished = true,
            }
            return self.slip.is_some();
        };
        let woven = loom.cloth().count() as i64 - self.came.unwrap_or_default().picks as i64;
        self.unwound = woven - self.wound as i64 * i64::from(self.settings.winds_on_every);
        let acts = self.acts_of(step);
        self.pace(loom, acts);
        true
    }

    fn should(&self) -> Stand {
        let came = self.came.unwrap_or_default();
        Stand {
            card: came.card + self.turned,
            picks: came.picks + self.step,
        }
    }

    /// Puts a pick's acts into the plan, spread over its time.
    fn pace(&mut self, loom: &Loom, acts: Vec<Act>) {
        let pick = acts.iter().filter(|act| act.wound_mm() == 0.0);
        let moving: u64 = pick.map(|act| loom.settings().time_us(*act)).sum();
        let still = (self.rhythm.pick_us() - moving as f64).max(0.0);
        let pause_us = (still / acts.len().max(1) as f64) as u64;
        let mut plan: VecDeque<Planned> = acts
            .into_iter()
            .map(|act| Planned { act, pause_us })
            .collect();
        hurry_on(&mut plan);
        let at = self.habits.below(plan.len() as u64) as usize;
        if let (Some(us), Some(planned)) = (self.rhythm.break_us(), plan.get_mut(at)) {
            planned.pause_us += us as u64;
        }
        self.plan.append(&mut plan);
    }

    /// Puts acts into the plan that the weaver was told to do.
    fn schedule(&mut self, acts: VecDeque<Act>) {
        let pause_us = (6e6 / self.settings.picks_a_minute.max(1.0)) as u64;
        self.plan
            .extend(acts.into_iter().map(|act| Planned { act, pause_us }));
    }
}

fn stand(loom: &Loom) -> Stand {
    Stand {
        card: loom.card(),
        picks: loom.cloth().count(),
    }
}

/// Cards turned one after the other are turned without a pause; what that saves
/// is waited before the first of them.
fn hurry_on(plan: &mut VecDeque<Planned>) {
    let mut saved = 0;
    for at in (1..plan.len()).rev() {
        plan[at].pause_us += std::mem::take(&mut saved);
        if matches!(
            (plan[at - 1].act, plan[at].act),
            (Act::Turn(_), Act::Turn(_))
        ) {
            saved = std::mem::take(&mut plan[at].pause_us);
        }
    }
    if let Some(first) = plan.front_mut() {
        first.pause_us += saved;
    }
}
