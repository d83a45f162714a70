//! Moving one part alone, for a person at the machine to watch. Interlocks and
//! limits hold as they do for a card.

use cardwright_protocol::Micros;
use cardwright_protocol::UnitToHost;
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::host_to_unit::Exercise;
use cardwright_protocol::unit_to_host::{ExerciseReport, Levels, Refusal, StopReason};
use embedded_hal::digital::{InputPin, OutputPin};

use crate::hardware::Board;
use crate::limits::LAMP_SETTLE_US;
use crate::machine::{Machine, Phase};
use crate::punch::Progress;

/// An exercise in hand.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trial {
    exercise: Exercise,
    part: Part,
}

#[derive(Clone, Copy, Debug)]
enum Part {
    /// The block goes to the top before the stroke.
    Raise(Stroke),
    Stroke,
    /// From a new zero.
    Feed,
    LampOn {
        from: Micros,
    },
    LampOff {
        from: Micros,
        on: Levels,
    },
}

impl<B: Board> Machine<B> {
    pub(crate) fn begin_exercise(
        &mut self,
        exercise: Exercise,
        now: Micros,
    ) -> Result<(), Refusal> {
        if exercise == Exercise::Sensors {
            let report = ExerciseReport::Inputs(self.inputs());
            self.notice(UnitToHost::Exercised { exercise, report });
            return Ok(());
        }
        let plan = self.may_move(now)?;
        let part = match exercise {
            Exercise::Punch(hole) if hole == 0 || hole > plan.settings.holes => {
                return Err(Refusal::NoSuchPart);
            }
            Exercise::Punch(hole) => Part::Raise(Stroke::Needles(Row::from_holes([hole]))),
            Exercise::Peg => Part::Raise(Stroke::Peg),
            Exercise::BlankStroke => Part::Raise(Stroke::Blank),
            Exercise::Feed(um) if um > plan.settings.card_length_um.saturating_mul(2) => {
                return Err(Refusal::NoSuchPart);
            }
            Exercise::Feed(um) => {
                let Ok(up) = self.w.block_up.is_high();
                if !up {
                    // punches may stand in a card
                    return Err(Refusal::Unsafe(StopReason::StrokeNotUp));
                }
                self.feed.zero_here();
                self.feed.go_to(plan.steps(u64::from(um)));
                self.in_rig = true;
                Part::Feed
            }
            Exercise::Lamp | Exercise::Sensors => {
                let Ok(()) = self.w.lamp.set_high();
                Part::LampOn {
                    from: now.plus(LAMP_SETTLE_US),
                }
            }
        };
        if matches!(part, Part::Raise(_)) {
            self.punch.begin_raise(now);
        }
        self.power_up();
        self.phase = Phase::Exercise(Trial { exercise, part });
        Ok(())
    }

    pub(crate) fn run_exercise(&mut self, trial: Trial, now: Micros) -> Result<(), StopReason> {
        let go_on = |part| Phase::Exercise(Trial { part, ..trial });
        match trial.part {
            Part::Raise(stroke) => match self.punch.poll(now, &mut self.w) {
                Progress::Failed(reason) => return Err(reason),
                Progress::Done { .. } => {
                    self.punch.begin(stroke, now);
                    self.phase = go_on(Part::Stroke);
                }
                _ => {}
            },
            Part::Stroke => match self.punch.poll(now, &mut self.w) {
                Progress::Failed(reason) => return Err(reason),
                Progress::Done { down_us, up_us } => {
                    self.tally.strokes = self.tally.strokes.wrapping_add(1);
                    self.report(trial, ExerciseReport::Stroke { down_us, up_us });
                }
                _ => {}
            },
            Part::Feed if self.feed.at_rest() => {
                let Ok(edge_covered) = self.w.edge.is_high();
                let steps = self.feed.position();
                self.report(
                    trial,
                    ExerciseReport::Fed {
                        steps,
                        edge_covered,
                    },
                );
            }
            Part::LampOn { from } if now >= from => {
                if let Some(on) = self.scan(now) {
                    let Ok(()) = self.w.lamp.set_low();
                    self.phase = go_on(Part::LampOff {
                        from: now.plus(LAMP_SETTLE_US),
                        on,
                    });
                }
            }
            Part::LampOff { from, on } if now >= from => {
                if let Some(off) = self.scan(now) {
                    self.report(trial, ExerciseReport::Light { on, off });
                }
            }
            Part::Feed | Part::LampOn { .. } | Part::LampOff { .. } => {}
        }
        Ok(())
    }

    fn report(&mut self, trial: Trial, report: ExerciseReport) {
        self.notice(UnitToHost::Exercised {
            exercise: trial.exercise,
            report,
        });
        let Ok(()) = self.w.feed_on.set_low();
        let Ok(()) = self.w.status.set_low();
        self.phase = Phase::Ready;
    }
}
