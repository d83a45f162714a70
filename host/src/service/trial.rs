//! Asking a unit what it is, and moving its parts on their own.

use std::collections::VecDeque;

use cardwright_protocol::host_to_unit::{Exercise, Question, Settings};
use cardwright_protocol::link::Versions;
use cardwright_protocol::unit_to_host::{ExerciseReport, Identity, Refusal, Status};
use cardwright_protocol::{HostToUnit, UnitToHost};

use crate::job::{Effect, End, Input, News, Person, Task, UnitInfo, stop_words, unsafe_words};
use crate::ledger::UnixMillis;

/// What is left to be done with the unit.
pub(super) struct Trial {
    /// For exercises: what the unit is told first.
    settings: Option<Settings>,
    parts: VecDeque<Exercise>,
    identity: Option<Identity>,
    status: Option<Status>,
    version: u16,
    faults: bool,
    end: Option<End>,
}

impl Trial {
    /// Only asks.
    pub fn info() -> Trial {
        Trial {
            settings: None,
            parts: VecDeque::new(),
            identity: None,
            status: None,
            version: 0,
            faults: false,
            end: None,
        }
    }

    /// Moves `parts` in order; all of them if there are none.
    pub fn exercise(settings: Settings, parts: Vec<Exercise>) -> Trial {
        let parts = if parts.is_empty() {
            every_part(&settings)
        } else {
            parts
        };
        Trial {
            settings: Some(settings),
            parts: parts.into(),
            ..Trial::info()
        }
    }

    fn opened(&mut self, version: u16, fx: &mut Vec<Effect>) {
        self.version = version;
        for question in [Question::Identity, Question::Status, Question::Counters] {
            fx.push(Effect::Send(HostToUnit::Ask(question)));
        }
    }

    fn message(&mut self, message: UnitToHost, fx: &mut Vec<Effect>) {
        match message {
            UnitToHost::Identity(identity) => self.identity = Some(identity),
            UnitToHost::Status(status) => self.status = Some(status),
            UnitToHost::Counters(counters) => {
                let (Some(identity), Some(status)) = (self.identity.take(), self.status.take())
                else {
                    return;
                };
                let ours = Versions::CURRENT;
                fx.push(Effect::Tell(News::Info(Box::new(UnitInfo {
                    identity,
                    status,
                    counters,
                    protocol: self.version,
                    program_speaks: (ours.lowest, ours.highest),
                }))));
                self.begin(fx);
            }
            UnitToHost::Exercised { exercise, report } => {
                self.exercised(exercise, report, fx);
                self.next(fx);
            }
            UnitToHost::Stopped(stop) if self.end.is_none() && self.settings.is_some() => {
                let words = format!("the unit stopped: {}", stop_words(stop.reason));
                self.end = Some(End::Failed(words));
            }
            UnitToHost::Refused(refusal) if self.end.is_none() => {
                let words = match refusal {
                    Refusal::Unsafe(reason) => unsafe_words(reason),
                    Refusal::NoSuchPart => {
                        "this unit has no such part, or the feed is to run farther than two cards; \
                         `cardwright rig info` says what it has"
                            .to_string()
                    }
                    other => format!("the unit refuses: {other:?}"),
                };
                self.end = Some(End::Refused(words));
            }
            _ => {}
        }
    }

    fn begin(&mut self, fx: &mut Vec<Effect>) {
        let Some(settings) = self.settings else {
            self.end = Some(End::Done { faults: false });
            return;
        };
        fx.push(Effect::Send(HostToUnit::Configure(settings)));
        fx.push(Effect::Send(HostToUnit::Reset));
        self.next(fx);
    }

    fn next(&mut self, fx: &mut Vec<Effect>) {
        match self.parts.pop_front() {
            Some(part) => fx.push(Effect::Send(HostToUnit::Exercise(part))),
            None => {
                fx.push(Effect::Send(HostToUnit::Stop));
                self.end.get_or_insert(End::Done {
                    faults: self.faults,
                });
            }
        }
    }

    fn exercised(&mut self, exercise: Exercise, report: ExerciseReport, fx: &mut Vec<Effect>) {
        let (words, fault) = report_words(exercise, report, self.settings.map_or(0, |s| s.holes));
        self.faults |= fault;
        let report = Box::new(UnitToHost::Exercised { exercise, report });
        fx.push(Effect::Tell(News::Exercised { words, report }));
    }
}

impl Task for Trial {
    fn take(&mut self, input: Input, _at: UnixMillis, fx: &mut Vec<Effect>) {
        match input {
            Input::Opened { version, .. } => self.opened(version, fx),
            Input::Message(message) => self.message(*message, fx),
            Input::Silent | Input::UnitRestarted if self.settings.is_some() => {
                self.end = Some(End::Failed("the unit is no longer heard".to_string()));
            }
            Input::Person(Person::Stop | Person::Interrupt) => {
                fx.push(Effect::Send(HostToUnit::Stop));
                self.end = Some(End::Stopped);
            }
            _ => {}
        }
    }

    fn waits_for_unit(&self) -> bool {
        true
    }

    fn end(&self) -> Option<&End> {
        self.end.as_ref()
    }
}

/// Everything that can be moved or read on its own.
fn every_part(settings: &Settings) -> Vec<Exercise> {
    let mut parts = vec![Exercise::Sensors, Exercise::Lamp, Exercise::Feed(50_000)];
    parts.push(Exercise::BlankStroke);
    parts.extend((1..=settings.holes).map(Exercise::Punch));
    parts.push(Exercise::Peg);
    parts
}

/// What an exercise showed, in words, and whether it is a fault.
fn report_words(exercise: Exercise, report: ExerciseReport, holes: u8) -> (String, bool) {
    let part = match exercise {
        Exercise::Punch(hole) => format!("punch {hole}"),
        Exercise::Peg => "peg punch".to_string(),
        Exercise::BlankStroke => "blank stroke".to_string(),
        Exercise::Feed(um) => format!("feed {:.1} mm", f64::from(um) / 1000.0),
        Exercise::Lamp => "lamp and light bar".to_string(),
        Exercise::Sensors => "switches and supply".to_string(),
    };
    match report {
        ExerciseReport::Stroke { down_us, up_us } => {
            let ms = |us: u32| f64::from(us) / 1000.0;
            (
                format!(
                    "{part}: down in {:.1} ms, up in {:.1} ms",
                    ms(down_us),
                    ms(up_us)
                ),
                false,
            )
        }
        ExerciseReport::Fed {
            steps,
            edge_covered,
        } => {
            let edge = if edge_covered {
                "a card covers"
            } else {
                "no card at"
            };
            (
                format!("{part}: {steps} steps, {edge} the edge sensor"),
                false,
            )
        }
        ExerciseReport::Light { on, off } => {
            let channels = on.iter().zip(&off).take(usize::from(holes));
            let weak: Vec<usize> = channels
                .enumerate()
                .filter(|(_, (on, off))| on.saturating_sub(**off) < 40)
                .map(|(at, _)| at + 1)
                .collect();
            let levels = &on[..usize::from(holes).min(on.len())];
            let verdict = if weak.is_empty() {
                "every channel sees the lamp".to_string()
            } else {
                format!("channels {weak:?} do not see the lamp: clean them or check the lamp")
            };
            (
                format!("{part}: levels {levels:?}; {verdict}"),
                !weak.is_empty(),
            )
        }
        ExerciseReport::Inputs(inputs) => {
            let yes = |on: bool, yes: &'static str, no: &'static str| if on { yes } else { no };
            let words = format!(
                "{part}: guard {}, stop button {}, edge sensor {}, block {}, supply {:.1} V",
                yes(inputs.guard_shut, "shut", "OPEN"),
                yes(inputs.stop_out, "out", "PRESSED"),
                yes(inputs.edge_covered, "covered", "free"),
                match (inputs.block_up, inputs.block_down) {
                    (true, false) => "up",
                    (false, true) => "down",
                    (false, false) => "between",
                    (true, true) => "up AND down: check its sensors",
                },
                f64::from(inputs.supply_mv) / 1000.0
            );
            (words, inputs.block_up && inputs.block_down)
        }
    }
}
