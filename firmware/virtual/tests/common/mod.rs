//! A host just large enough to run a unit: it opens the link, configures,
//! starts, sends cards as there is credit, and forgets each as soon as it has
//! ended. It judges nothing.
#![allow(dead_code, clippy::expect_used)]

use cardwright_protocol::card::{Attempt, CardId, CardNumber, JobNumber, Row, Stroke, strokes_crc};
use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::host_to_unit::{CardHeader, STROKES_A_MESSAGE, Settings, Work};
use cardwright_protocol::link::{HostEvent, HostLink, Versions};
use cardwright_protocol::unit_to_host::{CardBegan, CardEnded, Levels, State, Stop};
use cardwright_protocol::{HostToUnit, Micros, UnitToHost};
use cardwright_virtual::CabledUnit;
use std::collections::VecDeque;

/// The strokes of a 400 card in the order of Taylor pp. 122-123.
pub fn card_400(row: impl Fn(u16) -> Row) -> Vec<Stroke> {
    let lace = Row::from_holes([2, 7]);
    let mut strokes = vec![Stroke::LaceAndPeg(lace), Stroke::Blank];
    strokes.extend((1..=26).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::Lace(lace));
    strokes.extend((27..=50).map(|n| Stroke::Needles(row(n))));
    strokes.push(Stroke::NeedlesAndPeg(row(51)));
    strokes.extend([Stroke::Blank, Stroke::Lace(lace)]);
    strokes
}

/// One card's readings.
#[derive(Debug, Default)]
pub struct Reading {
    pub began: Option<CardBegan>,
    pub lines: Vec<(u16, Vec<u8>)>,
    pub ended: Option<CardEnded>,
}

/// The host.
pub struct SmallHost {
    pub link: HostLink,
    settings: Settings,
    /// Cards not sent yet.
    pub to_send: VecDeque<Vec<Stroke>>,
    queue: VecDeque<HostToUnit>,
    credit: (u32, u32),
    sent: (u32, u32),
    pub work: Work,
    pub readings: Vec<Reading>,
    pub stops: Vec<Stop>,
    pub said: Vec<UnitToHost>,
    /// Resets and goes on after every stop, as often as it takes.
    pub persistent: bool,
    stopped: bool,
    again_at: Micros,
    pub session: u32,
}

impl SmallHost {
    pub fn new(settings: Settings, cards: impl IntoIterator<Item = Vec<Stroke>>) -> SmallHost {
        SmallHost {
            link: HostLink::new(Versions::CURRENT),
            settings,
            to_send: cards.into_iter().collect(),
            queue: VecDeque::new(),
            credit: (0, 0),
            sent: (0, 0),
            work: Work::Cut,
            readings: Vec::new(),
            stops: Vec::new(),
            said: Vec::new(),
            persistent: false,
            stopped: false,
            again_at: Micros(0),
            session: 7,
        }
    }

    /// Runs until `done` says so or the world's time has come to `deadline`.
    pub fn run(
        &mut self,
        cabled: &mut CabledUnit,
        deadline: Micros,
        mut done: impl FnMut(&mut SmallHost, &mut CabledUnit) -> bool,
    ) -> bool {
        if !self.link.is_open() {
            self.link.open(self.session, cabled.now());
        }
        let mut wire = [0; MOST_WIRE];
        while cabled.now() < deadline {
            let now = cabled.now();
            if self.persistent && self.stopped && now >= self.again_at && self.queue.is_empty() {
                self.again_at = now.plus(300_000);
                self.begin();
            }
            self.say();
            while cabled.to_unit.backlog(now) < 512 {
                let Some(length) = self.link.pull(now, &mut wire) else {
                    break;
                };
                cabled.send(&wire[..length]);
            }
            let wake = self.link.next_wake().max(now.plus(500));
            let now = cabled.run_until_heard(wake.min(deadline));
            while let Some(bytes) = cabled.take() {
                self.link.receive(&bytes, now);
            }
            while let Some(event) = self.link.event() {
                self.hear(event, now);
            }
            if done(self, cabled) {
                return true;
            }
        }
        false
    }

    fn say(&mut self) {
        while let Some(strokes) = self.to_send.front() {
            let count = strokes.len() as u32;
            if self.sent.0 + count > self.credit.0 || self.sent.1 + 1 > self.credit.1 {
                break;
            }
            let Some(strokes) = self.to_send.pop_front() else {
                break;
            };
            self.sent = (self.sent.0 + count, self.sent.1 + 1);
            self.queue_card(&strokes);
        }
        while let Some(message) = self.queue.pop_front() {
            if self.link.send(&message).is_err() {
                self.queue.push_front(message);
                break;
            }
        }
    }

    fn queue_card(&mut self, strokes: &[Stroke]) {
        let card = CardNumber(self.sent.1);
        let id = CardId {
            job: JobNumber(1),
            card,
            attempt: Attempt(self.session),
        };
        self.queue.push_back(HostToUnit::Card(CardHeader {
            id,
            work: self.work,
            strokes: strokes.len() as u16,
            crc: strokes_crc(id, strokes),
            more: !self.to_send.is_empty(),
        }));
        for (n, some) in strokes.chunks(STROKES_A_MESSAGE).enumerate() {
            self.queue.push_back(HostToUnit::Strokes {
                id,
                first: (n * STROKES_A_MESSAGE) as u16,
                strokes: some.iter().copied().collect(),
            });
        }
    }

    fn begin(&mut self) {
        self.queue.extend([
            HostToUnit::Configure(self.settings),
            HostToUnit::Reset,
            HostToUnit::Start,
        ]);
    }

    fn hear(&mut self, event: HostEvent, now: Micros) {
        match event {
            HostEvent::Opened { .. } => {
                self.credit = (0, 0);
                self.sent = (0, 0);
                self.begin();
            }
            HostEvent::Message(message) => self.hear_message(message),
            HostEvent::UnitRestarted { .. } | HostEvent::Displaced => {
                self.session += 1;
                self.queue.clear();
                self.link.open(self.session, now);
            }
            HostEvent::Silent | HostEvent::Heard | HostEvent::Refused { .. } => {}
        }
    }

    fn hear_message(&mut self, message: UnitToHost) {
        match message {
            UnitToHost::Credit { strokes, cards } => self.credit = (strokes, cards),
            UnitToHost::CardBegan(began) => {
                self.readings.push(Reading {
                    began: Some(began),
                    ..Reading::default()
                });
            }
            UnitToHost::Lines { first, samples, .. } => {
                if let Some(reading) = self.readings.last_mut() {
                    reading.lines.push((first, samples.to_vec()));
                }
            }
            UnitToHost::CardEnded(ended) => {
                if let Some(reading) = self.readings.last_mut() {
                    reading.ended = Some(ended);
                }
                self.queue.push_back(HostToUnit::Recorded(ended.id));
            }
            UnitToHost::Stopped(stop) => {
                self.stops.push(stop);
                self.stopped = true;
            }
            UnitToHost::State(state) => {
                self.stopped = state == State::Stopped;
                self.said.push(UnitToHost::State(state));
            }
            other => self.said.push(other),
        }
    }
}

/// Levels as a list of the channels in use.
pub fn in_use(levels: &Levels, holes: usize) -> &[u8] {
    &levels[..holes]
}
