//! A machine wired to a world, driven as its board drives it.

use cardwright_protocol::card::{Attempt, CardId, CardNumber, JobNumber, Row, Stroke, strokes_crc};
use cardwright_protocol::host_to_unit::{CardHeader, STROKES_A_MESSAGE, Settings, Work};
use cardwright_protocol::unit_to_host::{CardEnded, Refusal, State, Stop, StopReason};
use cardwright_protocol::{HostToUnit, Micros, UnitToHost};
use cardwright_rig::machine::Machine;
use cardwright_virtual::world::{Edge, Output};
use cardwright_virtual::{Faults, SharedWorld, VirtualBoard, World, WorldSettings, wire_up};
use std::cell::RefCell;
use std::rc::Rc;

/// Needle rows of eight holes, each the one before moved on by a hole.
pub fn rows(count: u16, row: u8) -> Vec<Stroke> {
    (0..count)
        .map(|n| Stroke::Needles(Row(row.rotate_left(u32::from(n) % 8).into())))
        .collect()
}

pub fn id(card: u32) -> CardId {
    CardId {
        job: JobNumber(1),
        card: CardNumber(card),
        attempt: Attempt(1),
    }
}

pub struct Bench {
    pub world: SharedWorld,
    pub machine: Machine<VirtualBoard>,
    pub settings: Settings,
    pub now: Micros,
    pub heard: Vec<UnitToHost>,
    /// Whether cards are recorded as soon as they have ended.
    pub records: bool,
}

impl Bench {
    /// Settings and magazine for cards of `strokes` strokes; stopped.
    pub fn new(strokes: u16) -> Bench {
        let settings = WorldSettings::for_card(8, strokes);
        Bench::with(
            settings.clone(),
            &Faults::default(),
            settings.as_told_to_unit(strokes),
        )
    }

    pub fn with(world: WorldSettings, faults: &Faults, settings: Settings) -> Bench {
        let mut world = World::new(world, faults);
        world.fill_magazine(1000);
        let world = Rc::new(RefCell::new(world));
        let machine = Machine::new(wire_up(&world), Box::default(), StopReason::PowerOn, 16);
        Bench {
            world,
            machine,
            settings,
            now: Micros(0),
            heard: Vec::new(),
            records: true,
        }
    }

    pub fn order(&mut self, order: &HostToUnit) -> Result<(), Refusal> {
        self.machine.order(order, self.now)
    }

    /// Settings, reset, start.
    pub fn start(&mut self) {
        let settings = self.settings;
        for order in [
            HostToUnit::Configure(settings),
            HostToUnit::Reset,
            HostToUnit::Start,
        ] {
            assert_eq!(self.order(&order), Ok(()), "{order:?}");
        }
    }

    pub fn header(card: u32, strokes: &[Stroke], work: Work, more: bool) -> CardHeader {
        CardHeader {
            id: id(card),
            work,
            strokes: strokes.len() as u16,
            crc: strokes_crc(id(card), strokes),
            more,
        }
    }

    pub fn card(&mut self, card: u32, strokes: &[Stroke], work: Work, more: bool) {
        let header = Bench::header(card, strokes, work, more);
        assert_eq!(self.order(&HostToUnit::Card(header)), Ok(()));
        assert_eq!(self.strokes(card, strokes), Ok(()));
    }

    pub fn strokes(&mut self, card: u32, strokes: &[Stroke]) -> Result<(), Refusal> {
        strokes
            .chunks(STROKES_A_MESSAGE)
            .enumerate()
            .try_for_each(|(n, some)| {
                self.order(&HostToUnit::Strokes {
                    id: id(card),
                    first: (n * STROKES_A_MESSAGE) as u16,
                    strokes: some.iter().copied().collect(),
                })
            })
    }

    /// One poll, at the moment at which the machine or the world wants one.
    fn poll(&mut self) {
        self.world.borrow_mut().advance(self.now);
        self.machine.poll(self.now);
        while let Some(notice) = self.machine.take_notice() {
            self.heard.push(notice);
        }
        while let Some(message) = self.machine.room.held.take_message() {
            self.heard.push(message);
        }
        if self.records {
            for ended in self.machine.room.held.ended().collect::<Vec<_>>() {
                self.machine.room.held.recorded(ended.id);
            }
        }
    }

    /// Runs until `done` or for `us`; whether it was done.
    pub fn until(&mut self, us: u64, mut done: impl FnMut(&Bench) -> bool) -> bool {
        let end = self.now.plus(us);
        loop {
            self.poll();
            if done(self) {
                return true;
            }
            let wake = self
                .machine
                .next_wake(self.now)
                .min(self.world.borrow().next_change());
            let next = wake.max(self.now.plus(1));
            if next > end {
                self.now = end;
                self.poll();
                return done(self);
            }
            self.now = next;
        }
    }

    pub fn run(&mut self, us: u64) {
        self.until(us, |_| false);
    }

    pub fn state(&mut self) -> State {
        self.machine.status().state
    }

    pub fn stops(&self) -> Vec<Stop> {
        let stop = |notice: &UnitToHost| match notice {
            UnitToHost::Stopped(stop) => Some(*stop),
            _ => None,
        };
        self.heard.iter().filter_map(stop).collect()
    }

    pub fn last_reason(&self) -> Option<StopReason> {
        self.stops().last().map(|stop| stop.reason)
    }

    pub fn ended(&self) -> Vec<CardEnded> {
        let ended = |notice: &UnitToHost| match notice {
            UnitToHost::CardEnded(ended) => Some(*ended),
            _ => None,
        };
        self.heard.iter().filter_map(ended).collect()
    }

    pub fn refusals(&self) -> Vec<Refusal> {
        let refused = |notice: &UnitToHost| match notice {
            UnitToHost::Refused(refusal) => Some(*refusal),
            _ => None,
        };
        self.heard.iter().filter_map(refused).collect()
    }

    pub fn strokes_begun(&self) -> u64 {
        self.world.borrow().truth().strokes_begun
    }

    pub fn steps(&self) -> u64 {
        self.world.borrow().safety().step_count()
    }

    pub fn edges_since(&self, at: Micros) -> Vec<Edge> {
        let world = self.world.borrow();
        world
            .safety()
            .edges()
            .filter(|edge| edge.at >= at)
            .copied()
            .collect()
    }

    /// Outputs that are high.
    pub fn on(&self) -> Vec<Output> {
        let world = self.world.borrow();
        Output::ALL
            .into_iter()
            .filter(|output| world.output(*output))
            .collect()
    }
}
