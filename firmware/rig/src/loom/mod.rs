//! The loom's sensors: from the levels of eight lines to what happened.
//!
//! Enters: levels with the time. Leaves: events in the order of their times,
//! and the moment at which it wants to look again. Refuses: a change that does
//! not last as long as its line must settle, and to guess a direction.
//!
//! Two things keep bounce out. Each line must keep its level for a while before
//! it counts (`line`). And events count in order: a beat only after the batten
//! has gone back, a card only after the cylinder's two sensors have gone all the
//! way round (`quadrature`).

mod book;
mod line;
mod quadrature;
mod store;

pub use book::Book;
pub use store::Store;

use cardwright_protocol::Micros;
use cardwright_protocol::loom::{
    EDGES_A_CARD, Happening, LINES, LoomEvent, LoomLine, LoomSettings,
};
use heapless::Vec;
use line::{Edge, Line};
use quadrature::{Quadrature, Turned};

/// Longest time a line can be told to settle.
const MOST_SETTLE_US: u32 = 200_000;

/// An event waits for another line that began to change before it, but never
/// longer: a line that chatters for ever holds nothing up.
const MOST_WAIT_US: u64 = 250_000;

/// Events that can wait for an earlier one.
const WAITING: usize = 16;

/// The lines that sensors are wired to.
pub trait LoomLines {
    /// Which of them are high, all at one moment; bits as in [`LoomLine`].
    fn read(&mut self) -> u8;
}

/// Whether these settings can be worked with.
#[must_use]
pub fn can_work_with(settings: &LoomSettings) -> bool {
    settings.take_up_edges > 0 && settings.settle_us.iter().all(|us| *us <= MOST_SETTLE_US)
}

/// The sensors' levels and what has come of them.
#[derive(Debug, Default)]
pub struct Sensors {
    settings: Option<LoomSettings>,
    lines: [Line; LINES],
    cylinder: Quadrature,
    take_up: Quadrature,
    waiting: Vec<LoomEvent, WAITING>,
}

impl Sensors {
    /// Sensors that nothing is known of: they are not looked at before they are
    /// configured.
    #[must_use]
    pub fn new() -> Sensors {
        Sensors::default()
    }

    /// Takes these settings; the lines are taken to have settled as they are.
    pub fn configure(&mut self, settings: LoomSettings, levels: u8, now: Micros) {
        let seen = seen(&settings, levels);
        self.settings = Some(settings);
        for (line, (which, settle_us)) in self
            .lines
            .iter_mut()
            .zip(LoomLine::ALL.into_iter().zip(settings.settle_us))
        {
            *line = Line::settled(seen & which.bit() != 0, settle_us, now);
        }
        let level = |which: LoomLine| seen & which.bit() != 0;
        self.cylinder = Quadrature::new(
            EDGES_A_CARD,
            settings.cylinder_swapped,
            [level(LoomLine::CylinderA), level(LoomLine::CylinderB)],
        );
        self.take_up = Quadrature::new(
            settings.take_up_edges,
            settings.take_up_swapped,
            [level(LoomLine::TakeUpA), level(LoomLine::TakeUpB)],
        );
        self.waiting.clear();
    }

    /// Looks at the lines. Events are handed to `tell` in the order of their
    /// times.
    pub fn look(&mut self, now: Micros, levels: u8, tell: &mut impl FnMut(LoomEvent)) {
        let Some(settings) = self.settings else {
            return;
        };
        let seen = seen(&settings, levels);
        let mut edges: Vec<(LoomLine, Edge), LINES> = Vec::new();
        for (line, which) in self.lines.iter_mut().zip(LoomLine::ALL) {
            if let Some(edge) = line.look(now, seen & which.bit() != 0) {
                // a track that changed before the other is earlier, however late both
                // settle; there is room for as many as there are lines
                let place = edges.iter().take_while(|(_, e)| e.at <= edge.at).count();
                let _ = edges.insert(place, (which, edge));
            }
        }
        for (n, (which, edge)) in edges.iter().enumerate() {
            let next = edges.get(n + 1).map(|(_, next)| next.at);
            let before = n.checked_sub(1).and_then(|n| edges.get(n));
            let alone = next != Some(edge.at) && before.is_none_or(|(_, b)| b.at != edge.at);
            self.edge(*which, *edge, alone);
        }
        self.release(now, tell);
    }

    fn edge(&mut self, which: LoomLine, edge: Edge, alone: bool) {
        let what = match which {
            LoomLine::CylinderA | LoomLine::CylinderB => {
                let track = usize::from(which == LoomLine::CylinderB);
                match self.cylinder.edge(track, edge.level, alone) {
                    Some(Turned::On) => Happening::CardForward,
                    Some(Turned::Back) => Happening::CardBack,
                    Some(Turned::Unclear) => Happening::CylinderUnclear,
                    None => return,
                }
            }
            LoomLine::TakeUpA | LoomLine::TakeUpB => {
                let track = usize::from(which == LoomLine::TakeUpB);
                match self.take_up.edge(track, edge.level, alone) {
                    Some(Turned::On) => Happening::TakenUp,
                    Some(Turned::Back) => Happening::LetOff,
                    Some(Turned::Unclear) | None => return,
                }
            }
            _ if !edge.level => return,
            LoomLine::Griffe => Happening::Lift,
            LoomLine::Batten => Happening::Beat,
            LoomLine::BoxLeft => Happening::ShuttleLeft,
            LoomLine::BoxRight => Happening::ShuttleRight,
        };
        let event = LoomEvent {
            at_us: edge.at.0,
            what,
        };
        let place = self
            .waiting
            .partition_point(|other| other.at_us <= event.at_us);
        // room for twice as many as there are lines
        let _ = self.waiting.insert(place, event);
    }

    /// Hands on what no line can come before any more.
    fn release(&mut self, now: Micros, tell: &mut impl FnMut(LoomEvent)) {
        let until = self
            .lines
            .iter()
            .filter_map(Line::unsettled_since)
            .filter(|since| now.since(*since) < MOST_WAIT_US)
            .min()
            .unwrap_or(Micros::NEVER);
        let full = self.waiting.is_full();
        let ready = self
            .waiting
            .partition_point(|event| event.at_us <= until.0)
            .max(usize::from(full));
        for event in self.waiting.iter().take(ready) {
            tell(*event);
        }
        self.waiting.rotate_left(ready);
        self.waiting.truncate(self.waiting.len() - ready);
    }

    /// The lines that see something, as they have settled.
    #[must_use]
    pub fn settled(&self) -> u8 {
        self.lines
            .iter()
            .zip(LoomLine::ALL)
            .filter(|(line, _)| line.level())
            .fold(0, |set, (_, which)| set | which.bit())
    }

    /// When time alone will have something come of what was seen.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        let settling = self.lines.iter().filter_map(Line::settles_at).min();
        settling.unwrap_or(Micros::NEVER)
    }
}

/// Levels as they were wired to what the sensors see.
fn seen(settings: &LoomSettings, levels: u8) -> u8 {
    (levels ^ settings.inverted) & settings.fitted
}
