//! A loom's unit that goes on whatever becomes of the program. Enters: movements, answers,
//! the program's ends. Leaves: what is on disk, what was said, what the screen shows.

use cardwright::job::{Effect, End, Input, News, Person, Task, WeaveNews};
use cardwright::ledger::writer::Command;
use cardwright::ledger::{NewWeaving, PieceNumber, UnitStored, UnixMillis, WeavingKind};
use cardwright::loom::LoomFile;
use cardwright::weave::view::{Asking, View};
use cardwright::weave::{Change, Says, Stored, Walk, Weave, WeaveOrder};
use cardwright_protocol::loom::{Happening, LoomCounts, LoomEvent, LoomEvents, LoomStatus};
use cardwright_protocol::unit_to_host::{Identity, Limits, Role, StopReason};
use cardwright_protocol::{HostToUnit, UnitToHost};

/// A unit that goes on, what is on disk, and a program that may be ended at any time.
pub struct Bench {
    pub walk: Walk,
    pub changed: Option<Change>,
    /// Another piece was woven on the loom since.
    pub another: bool,
    pub boot: u32,
    /// The first event the unit still has, and all it ever had.
    pub first: u32,
    pub events: Vec<LoomEvent>,
    pub counts: LoomCounts,
    pub now: i64,
    pub weave: Option<Weave>,
    /// Events up to here were sent.
    pub sent: usize,
    pub stored: Stored,
    pub unit: Option<UnitStored>,
    pub records: Vec<NewWeaving>,
    pub said: Vec<String>,
    pub view: View,
}

impl Bench {
    pub fn new(walk: Walk) -> Bench {
        Bench {
            walk,
            changed: None,
            another: false,
            boot: 1,
            first: 0,
            events: Vec::new(),
            counts: LoomCounts::default(),
            now: 1_700_000_000_000,
            weave: None,
            sent: 0,
            stored: Stored::default(),
            unit: None,
            records: Vec::new(),
            said: Vec::new(),
            view: View::default(),
        }
    }

    pub fn start(&mut self) {
        let order = WeaveOrder {
            piece: PieceNumber(1),
            walk: self.walk.clone(),
            settings: LoomFile::bench().expect("the built-in loom").settings(),
            take_up_mm: Some(1.0),
            stored: self.stored.clone(),
            unit: self.unit,
            speed: 1.0,
        };
        let weave = Weave::new(order).changed(self.changed.clone());
        self.weave = Some(match std::mem::take(&mut self.another) {
            true => weave.after_another(),
            false => weave,
        });
        let boot = self.boot;
        self.take(Input::Opened { boot, version: 2 });
        self.take(Input::Message(Box::new(UnitToHost::Identity(Identity {
            role: Role::Loom,
            board: *b"the loom",
            firmware: heapless::String::new(),
            boot,
            channels: 0,
            stroke_room: 0,
            card_room: 0,
            last_stop: StopReason::PowerOn,
            limits: Limits {
                coil_on_us: 0,
                coil_duty_permille: 0,
                coils_at_once: 0,
                stroke_us: 0,
                host_silent_us: 0,
            },
        }))));
        self.sent = usize::MAX;
        self.status();
        self.send();
    }

    /// The unit tells how it stands.
    pub fn status(&mut self) {
        let status = UnitToHost::Loom(LoomStatus {
            at_us: self.events.len() as u64 * 100_000,
            settings: None,
            first: self.first,
            next: self.events.len() as u32,
            counts: self.counts,
            lines: 0,
        });
        self.take(Input::Message(Box::new(status)));
    }

    /// The program is killed.
    pub fn kill(&mut self) {
        self.weave = None;
    }

    pub fn leave(&mut self) {
        self.leave_while("");
    }

    /// The same, and the loom moves before it is written down.
    pub fn leave_while(&mut self, movements: &str) {
        let stop = Input::Person(Person::Stop);
        self.moves(movements);
        let mut inputs = self.unsent();
        inputs.push(stop);
        self.take_all(inputs);
        let end = self.weave.take().and_then(|weave| weave.end().cloned());
        assert!(matches!(end, Some(End::Done { .. })), "{end:?}");
    }

    /// The loom moves: all of it is sent in as few messages as there can be.
    pub fn does(&mut self, movements: &str) {
        self.moves(movements);
        self.send();
    }

    fn moves(&mut self, movements: &str) {
        for movement in movements.chars().filter(|movement| *movement != ' ') {
            let what = match movement {
                'F' => Happening::CardForward,
                'L' => Happening::Lift,
                'T' => Happening::Beat,
                '<' => Happening::ShuttleLeft,
                '>' => Happening::ShuttleRight,
                '+' => Happening::TakenUp,
                other => panic!("no movement {other}"),
            };
            let at_us = self.events.len() as u64 * 100_000;
            self.counts.add(what);
            self.events.push(LoomEvent { at_us, what });
        }
    }

    pub fn send(&mut self) {
        let unsent = if self.weave.is_some() {
            self.unsent()
        } else {
            Vec::new()
        };
        for message in unsent {
            self.take(message);
        }
    }

    /// What the unit has to send.
    fn unsent(&mut self) -> Vec<Input> {
        let mut messages = Vec::new();
        while self.sent < self.events.len() {
            let first = self.sent;
            let until = self.events.len().min(first + 16);
            self.sent = until;
            let events = heapless::Vec::from_slice(&self.events[first..until]).expect("few");
            let first = first as u32;
            let events = UnitToHost::LoomEvents(LoomEvents { first, events });
            messages.push(Input::Message(Box::new(events)));
        }
        messages
    }

    pub fn says(&mut self, says: Says) {
        self.take(Input::Person(Person::Weave(Box::new(says))));
    }

    pub fn take(&mut self, input: Input) {
        self.take_all(vec![input]);
    }

    /// Takes the last first, and then what was written down.
    fn take_all(&mut self, mut inputs: Vec<Input>) {
        self.now += 1_000;
        while let Some(input) = inputs.pop() {
            let mut effects = Vec::new();
            let weave = self.weave.as_mut().expect("it runs");
            weave.take(input, UnixMillis(self.now), &mut effects);
            for effect in effects {
                match effect {
                    Effect::Record(mark, command) => {
                        self.write(*command);
                        inputs.insert(0, Input::Recorded(mark));
                    }
                    Effect::Send(HostToUnit::LoomFrom(from)) if self.sent == usize::MAX => {
                        self.sent = from as usize;
                    }
                    Effect::Tell(News::Refused { words }) => self.said.push(words),
                    Effect::Tell(News::Weave(news)) => match *news {
                        WeaveNews::View(view) => self.view = *view,
                        WeaveNews::Line { line, .. } => self.said.push(line.words),
                    },
                    _ => {}
                }
            }
        }
    }

    pub fn write(&mut self, command: Command) {
        if let Command::Woven(woven) = command {
            self.stored = serde_json::from_value(woven.place).expect("a place");
            self.unit = woven.unit.or(self.unit);
            self.records.extend(woven.records);
        }
    }

    pub fn next(&self) -> u64 {
        self.view.next.as_ref().map_or(0, |next| next.number)
    }

    pub fn card(&self) -> Option<u32> {
        self.view.stands.map(|stand| stand.card.0)
    }

    /// Events and beats that are asked about, and the pick that would be next.
    pub fn asked(&self) -> Option<(u64, u64, u64)> {
        match self.view.asking {
            Some(Asking::CatchUp {
                events,
                beats,
                next: Some(next),
                ..
            }) => Some((events, beats, next)),
            _ => None,
        }
    }

    pub fn has_said(&self, words: &str) -> usize {
        self.said.iter().filter(|said| said.contains(words)).count()
    }

    /// Of each pick's record what it says under this name.
    pub fn picks(&self, name: &str) -> Vec<f64> {
        let picks = self.records.iter().filter(|r| r.kind == WeavingKind::Pick);
        picks.filter_map(|r| r.detail[name].as_f64()).collect()
    }
}
