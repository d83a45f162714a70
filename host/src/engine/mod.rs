//! A task over a link: what stands between bytes and a job. Sans I/O.
//!
//! Enters: bytes from the line, answers of the ledger, a person's orders, the
//! time. Leaves: frames for the line, records for the ledger, news for the
//! person, and the wish for a session number. `runner.rs` gives it a real port;
//! tests give it a line in virtual time.

mod clock;
mod hub;
mod runner;

pub use clock::Clock;
pub use hub::{Hub, HubError, PieceHeld};
pub use runner::{EngineError, PortOptions, run};

use std::collections::VecDeque;

use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::link::{HostEvent, HostLink, LinkCounters, SendError, Versions};
use cardwright_protocol::{HostToUnit, Micros};

use crate::job::{Effect, End, Input, Mark, News, Person, Task};
use crate::ledger::UnixMillis;
use crate::ledger::writer::Command;

/// The engine.
pub struct Engine<T: Task> {
    link: HostLink,
    task: T,
    outbox: VecDeque<HostToUnit>,
    records: VecDeque<(Mark, Command)>,
    news: VecDeque<News>,
    effects: Vec<Effect>,
    wants_session: bool,
    refused: Option<End>,
    heard: bool,
    messages: u64,
}

impl<T: Task> Engine<T> {
    /// An engine that wants a session number.
    #[must_use]
    pub fn new(task: T) -> Engine<T> {
        Engine {
            link: HostLink::new(Versions::CURRENT),
            task,
            outbox: VecDeque::new(),
            records: VecDeque::new(),
            news: VecDeque::new(),
            effects: Vec::new(),
            wants_session: true,
            refused: None,
            heard: false,
            messages: 0,
        }
    }

    /// Whether a session number, never used before and on disk, is wanted. It
    /// is asked for once.
    pub fn wants_session(&mut self) -> bool {
        std::mem::take(&mut self.wants_session)
    }

    /// Begins to open a session.
    pub fn open(&mut self, session: u32, now: Micros) {
        self.outbox.clear();
        self.link.open(session, now);
    }

    /// Takes in bytes from the line.
    pub fn receive(&mut self, bytes: &[u8], now: Micros) {
        self.link.receive(bytes, now);
    }

    /// A record is on disk.
    pub fn recorded(&mut self, mark: Mark, at: UnixMillis) {
        self.tell_task(Input::Recorded(mark), at);
    }

    /// A person orders something.
    pub fn person(&mut self, order: Person, at: UnixMillis) {
        self.tell_task(Input::Person(order), at);
    }

    /// Hands on what has come and queues what is to go.
    pub fn run(&mut self, at: UnixMillis) {
        while let Some(event) = self.link.event() {
            match event {
                HostEvent::Opened { boot, version } => {
                    self.heard = true;
                    self.outbox.clear();
                    self.tell_task(Input::Opened { boot, version }, at);
                }
                HostEvent::Message(message) => {
                    self.messages += 1;
                    self.tell_task(Input::Message(Box::new(message)), at);
                }
                HostEvent::Silent => {
                    self.heard = false;
                    self.tell_task(Input::Silent, at);
                }
                HostEvent::Heard => {
                    self.heard = true;
                    self.tell_task(Input::Heard, at);
                }
                HostEvent::UnitRestarted { .. } | HostEvent::Displaced => {
                    self.outbox.clear();
                    self.wants_session = true;
                    self.tell_task(Input::UnitRestarted, at);
                }
                HostEvent::Refused { lowest, highest } => {
                    self.refused = Some(End::Failed(version_words(lowest, highest)));
                }
            }
            self.flush();
        }
        self.flush();
    }

    fn tell_task(&mut self, input: Input, at: UnixMillis) {
        let mut effects = std::mem::take(&mut self.effects);
        self.task.take(input, at, &mut effects);
        for effect in effects.drain(..) {
            match effect {
                Effect::Send(message) => self.outbox.push_back(message),
                Effect::Record(mark, command) => self.records.push_back((mark, *command)),
                Effect::Tell(news) => self.tell(news),
            }
        }
        self.effects = effects;
    }

    /// A view replaces one that nobody has seen yet.
    fn tell(&mut self, news: News) {
        match self.news.back_mut() {
            Some(last) if last.is_view() && news.is_view() => *last = news,
            _ => self.news.push_back(news),
        }
    }

    fn flush(&mut self) {
        while let Some(message) = self.outbox.front() {
            match self.link.send(message) {
                Ok(()) => {
                    self.outbox.pop_front();
                }
                Err(SendError::Full) => return,
                // without a session it is of no use to anyone
                Err(SendError::NotOpen | SendError::TooLong) => {
                    self.outbox.pop_front();
                }
            }
        }
    }

    /// The next frame for the line: its length in `wire`.
    pub fn pull(&mut self, now: Micros, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        self.link.pull(now, wire)
    }

    /// When it wants to be run again at the latest.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        self.link.next_wake()
    }

    /// The next record for the ledger.
    pub fn take_record(&mut self) -> Option<(Mark, Command)> {
        self.records.pop_front()
    }

    /// The next piece of news.
    pub fn take_news(&mut self) -> Option<News> {
        self.news.pop_front()
    }

    /// News that could not be passed on yet comes next again.
    pub fn untold(&mut self, news: News) {
        self.news.push_front(news);
    }

    /// How it ended, once everything is said, sent and written.
    #[must_use]
    pub fn end(&self) -> Option<&End> {
        let idle = self.records.is_empty() && self.news.is_empty();
        self.refused.as_ref().or(self.task.end()).filter(|_| idle)
    }

    /// Whether a session is open and the unit heard in it.
    #[must_use]
    pub fn is_heard(&self) -> bool {
        self.link.is_open() && self.heard
    }

    /// Messages the unit has sent, heartbeats not among them, while it owes
    /// none; none if the task waits for something else.
    #[must_use]
    pub fn awaited_after(&self) -> Option<u64> {
        self.task.waits_for_unit().then_some(self.messages)
    }

    /// What the link has counted.
    #[must_use]
    pub fn link_counters(&self) -> LinkCounters {
        self.link.counters()
    }

    /// The task.
    #[must_use]
    pub fn task(&self) -> &T {
        &self.task
    }
}

/// Which side has to be updated.
fn version_words(lowest: u16, highest: u16) -> String {
    let ours = Versions::CURRENT;
    let remedy = if lowest > ours.highest {
        "update cardwright on this computer"
    } else {
        "update the unit's firmware"
    };
    format!(
        "the unit speaks protocol {lowest} to {highest}, this program {} to {}; {remedy}",
        ours.lowest, ours.highest
    )
}
