//! The first words with a loom unit, before anything is written down: who it is, how
//! far its events have come, and by which settings it is to look, so that it sees the
//! first movement. Refuses a unit that knows nothing of looms.

use std::sync::{Arc, Mutex, PoisonError};

use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::loom::LoomSettings;
use cardwright_protocol::unit_to_host::{BadSetting, Identity, Refusal};
use cardwright_protocol::{HostToUnit, UnitToHost};

use crate::job::{Effect, End, Input, Person, Task, setting_words};
use crate::ledger::{BoardId, UnixMillis};
use crate::weave::{KNOWS_LOOMS, NO_LOOMS};

/// A unit that has answered.
#[derive(Clone, Copy, Debug)]
pub(super) struct Met {
    pub board: BoardId,
    pub boot: u32,
    /// The number that its next event will get.
    pub next: u32,
    /// The first of its events that is stored for no piece.
    pub stored: u32,
}

/// Where the greeting leaves whom it has met.
pub(super) type Answered = Arc<Mutex<Option<Met>>>;

/// Asks, and ends with the answer.
pub(super) struct Greeting {
    settings: LoomSettings,
    /// Whether it was given the settings here.
    given: bool,
    identity: Option<Identity>,
    answered: Answered,
    end: Option<End>,
}

impl Greeting {
    pub fn new(settings: LoomSettings) -> (Greeting, Answered) {
        let answered = Answered::default();
        let greeting = Greeting {
            settings,
            given: false,
            identity: None,
            answered: Arc::clone(&answered),
            end: None,
        };
        (greeting, answered)
    }

    fn message(&mut self, message: &UnitToHost, fx: &mut Vec<Effect>) {
        match message {
            UnitToHost::Identity(identity) => self.identity = Some(identity.clone()),
            UnitToHost::Loom(status) => {
                let Some(identity) = &self.identity else {
                    return;
                };
                let looks = status.settings == Some(self.settings);
                if !looks && !std::mem::replace(&mut self.given, true) {
                    fx.push(Effect::Send(HostToUnit::ConfigureLoom(self.settings)));
                    fx.push(Effect::Send(HostToUnit::Ask(Question::Loom)));
                    return;
                }
                let met = Met {
                    board: BoardId(identity.board),
                    boot: identity.boot,
                    next: status.next,
                    stored: 0,
                };
                let mut answered = self.answered.lock().unwrap_or_else(PoisonError::into_inner);
                *answered = Some(met);
                self.end = Some(End::Done { faults: false });
            }
            UnitToHost::Refused(Refusal::Setting(BadSetting::Loom)) => {
                self.end = Some(End::Refused(setting_words(BadSetting::Loom)));
            }
            _ => {}
        }
    }
}

impl Task for Greeting {
    fn take(&mut self, input: Input, _at: UnixMillis, fx: &mut Vec<Effect>) {
        match input {
            Input::Opened { version, .. } if version < KNOWS_LOOMS => {
                self.end = Some(End::Refused(NO_LOOMS.to_string()));
            }
            Input::Opened { .. } => {
                for question in [Question::Identity, Question::Loom] {
                    fx.push(Effect::Send(HostToUnit::Ask(question)));
                }
            }
            Input::Message(message) => self.message(&message, fx),
            Input::Person(Person::Stop | Person::Interrupt) => self.end = Some(End::Stopped),
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
