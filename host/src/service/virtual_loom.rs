//! The virtual loom and its weaver, who reads the screen.
//!
//! Enters: the plan, and what the screen shows. Leaves: movements at the modelled
//! loom, and what a weaver would say. The weaver knows where on the screen to look,
//! and of the loom only what its own hands have done: after a mistake it does what
//! the screen says.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use cardwright_virtual::loom::{
    Act, Direction, LoomOptions, MistakeKind, Script, Step, WeaverSettings,
};
use cardwright_virtual::pty::{Handle, PtyError};

use super::{ServiceError, VirtualChoice};
use crate::job::{News, WeaveNews};
use crate::weave::view::{OpenFault, View};
use crate::weave::watch::{Choice, Decision, FaultKind, Remedy, Since};
use crate::weave::{Says, Turns, Walk, Work, walk};

/// How long a screen shows the same before it is looked at once more.
const UNCHANGED: Duration = Duration::from_millis(60);

/// Whether the weaver may begin: not before the chain lies.
pub(super) type Gate = Arc<AtomicBool>;

/// A loom with a weaver who weaves this plan, as soon as the gate is open.
pub(super) fn options(plan: &Walk, choice: &VirtualChoice) -> (Gate, LoomOptions) {
    let gate = Gate::default();
    let (open, steps) = (Arc::clone(&gate), plan.clone());
    let script = Script::by(move |number| {
        open.load(Ordering::Acquire)
            .then(|| step(&steps, number))
            .flatten()
    });
    let seed = choice.faults.seed;
    let usual = WeaverSettings::default();
    let settings = WeaverSettings {
        picks_a_cm: plan.length_of(1).map_or(usual.picks_a_cm, |mm| 10.0 / mm),
        seed,
        mistakes: choice.faults.mistakes(),
        ..usual
    };
    let options = LoomOptions {
        seed,
        weaver: Some((script, settings)),
        ..LoomOptions::default()
    };
    (gate, options)
}

/// What hands do for a pick.
fn step(plan: &Walk, number: u64) -> Option<Step> {
    let pick = plan.pick(number)?;
    let Work::Card { deck, .. } = pick.work else {
        return Some(Step::GROUND);
    };
    let turns = match pick.turns {
        Turns::None => 0,
        // a new chain is laid so that one turn brings its card
        Turns::One(_) | Turns::Hang { .. } => match plan.way_at(number) {
            walk::Direction::Back => -1,
            walk::Direction::Forward => 1,
        },
        Turns::ByHand { to } => {
            let before = plan.previous_carded(number).and_then(|n| plan.pick(n))?;
            let Work::Card { card: from, .. } = before.work else {
                return None;
            };
            let cards = plan.plan().decks().get(deck.0)?.deck.card_count();
            i32::try_from(walk::shortest(from, to, cards)).ok()?
        }
    };
    Some(Step {
        turns,
        carded: true,
    })
}

/// The weaver's eyes and hands.
pub(super) struct Hands {
    handle: Handle,
    plan: Walk,
    gate: Gate,
    /// What had been done of the next pick where the work stood.
    in_hand: Since,
    /// What the screen shows, and since when.
    shown: Option<(Box<View>, Instant)>,
}

impl Hands {
    pub fn new(handle: Handle, plan: Walk, gate: Gate, in_hand: Since) -> Hands {
        Hands {
            handle,
            plan,
            gate,
            in_hand,
            shown: None,
        }
    }

    /// Looks at the screen. What the weaver says then.
    pub fn look(&mut self, news: &News) -> Result<Vec<Says>, ServiceError> {
        let News::Weave(news) = news else {
            return Ok(Vec::new());
        };
        let WeaveNews::View(view) = &**news else {
            return Ok(Vec::new());
        };
        self.shown = Some((view.clone(), Instant::now()));
        self.act(view)
            .map_err(|error| ServiceError::Virtual(error.to_string()))
    }

    /// Looks once more at a screen that has not changed for a while: a weaver whose
    /// hands were still busy when it did may have stopped since.
    pub fn look_again(&mut self) -> Result<Vec<Says>, ServiceError> {
        let Some((view, since)) = self.shown.take() else {
            return Ok(Vec::new());
        };
        let says = if view.asking.is_none() && since.elapsed() > UNCHANGED {
            self.act(&view)
        } else {
            Ok(Vec::new())
        };
        self.shown = Some((view, since));
        says.map_err(|error| ServiceError::Virtual(error.to_string()))
    }

    fn act(&mut self, view: &View) -> Result<Vec<Says>, PtyError> {
        if !view.begun {
            // what is to be answered first is not asked yet
            return Ok(Vec::new());
        }
        let decided = |decision| vec![Says::Decided { decision }];
        if let Some(asking) = &view.asking {
            return Ok(vec![asking.yes()]);
        }
        let next = view.next.as_ref().map_or(0, |next| next.number - 1);
        if view
            .open
            .last()
            .is_some_and(|open| open.hands == Remedy::SayCard)
        {
            // as of every chain that is asked for; where there is no card, none can lie
            let cards = self.plan.next_carded(next).into_iter();
            return Ok(cards.flat_map(|_| decided(Decision::ChainReady)).collect());
        }
        if !self.gate.swap(true, Ordering::AcqRel) {
            return self.begin(view, next);
        }
        let Some(mistake) = self.handle.weaver_waits()? else {
            return Ok(Vec::new());
        };
        if mistake.kind == MistakeKind::Unweaves {
            // whoever takes picks out knows how many
            let picks = (mistake.step + 1).saturating_sub(mistake.next);
            let picks = u32::try_from(picks).unwrap_or_default();
            self.handle
                .tell_weaver(Vec::new(), next.saturating_sub(picks.into()))?;
            return Ok(decided(Decision::Unwove { picks }));
        }
        let Some(fault) = view.open.last() else {
            return Ok(Vec::new());
        };
        self.put_right(fault, view, next)
    }

    /// Begins where the work stands: what is wrong there is put right, and a pick that
    /// was begun is woven to its end, before the next one.
    fn begin(&self, view: &View, next: u64) -> Result<Vec<Says>, PtyError> {
        let weft_lies = self.in_hand.wefts > 0;
        let open = view.open.last();
        if let Some(fault) = open.filter(|open| open.hands != Remedy::Throw || !weft_lies) {
            return self.put_right(fault, view, next);
        }
        if self.in_hand == Since::default() {
            self.handle.tell_weaver(Vec::new(), next)?;
            return Ok(Vec::new());
        }
        let carded = step(&self.plan, next).is_some_and(|step| step.carded);
        let shed = |act| Some(act).filter(|_| carded);
        let weft = Some(Act::Throw).filter(|_| !weft_lies);
        let mut acts = turns(view.turns_wanted.unwrap_or(0));
        acts.extend(
            [shed(Act::Lift), weft, Some(Act::Beat), shed(Act::Lower)]
                .into_iter()
                .flatten(),
        );
        self.handle.tell_weaver(acts, next + 1)?;
        Ok(Vec::new())
    }

    /// Does what the screen says about a fault, and goes on.
    fn put_right(&self, open: &OpenFault, view: &View, next: u64) -> Result<Vec<Says>, PtyError> {
        // a step begins with its own turn: the hands turn less by that
        let of_step = step(&self.plan, next).map_or(0, |step| i64::from(step.turns));
        let before = |cards: i64| turns(cards - of_step);
        match open.hands {
            Remedy::Turn { cards }
                if matches!(open.fault.kind, FaultKind::CardWithoutBeat { .. }) =>
            {
                let mut acts = turns(cards);
                acts.extend([Act::Lift, Act::Beat, Act::Lower]);
                self.handle.tell_weaver(acts, next + 1)?;
            }
            Remedy::Turn { cards } => {
                self.handle.tell_weaver(before(cards), next)?;
            }
            Remedy::Throw => {
                let acts = vec![Act::Lift, Act::Throw, Act::Beat, Act::Lower];
                self.handle.tell_weaver(acts, next + 1)?;
            }
            Remedy::Beat => {
                self.handle.tell_weaver(vec![Act::Beat], next + 1)?;
            }
            Remedy::Unweave { picks } => {
                let out = [Act::Lift, Act::ThrowBack, Act::Lower];
                let mut acts = out.repeat(picks as usize);
                acts.extend(before(view.turns_wanted.unwrap_or(of_step)));
                self.handle.tell_weaver(acts, next)?;
                return Ok(vec![Says::Decided {
                    decision: Decision::Unwove { picks },
                }]);
            }
            Remedy::Decide => {
                self.handle.tell_weaver(Vec::new(), next)?;
                return Ok(vec![Says::Decided {
                    decision: Decision::Fault {
                        fault: open.fault.id,
                        choice: Choice::OnlyBeaten,
                    },
                }]);
            }
            Remedy::SayCard => {}
        }
        Ok(Vec::new())
    }
}

/// So many turns, on if positive.
fn turns(cards: i64) -> Vec<Act> {
    let way = if cards > 0 {
        Direction::Forwards
    } else {
        Direction::Back
    };
    vec![Act::Turn(way); usize::try_from(cards.abs()).unwrap_or(0).min(10_000)]
}
