//! The machine: what moves, when, and what stops it. Enters: orders, the time,
//! the pins. Leaves: pin changes, notices for the host, readings in the store.
//! Refuses: every motion before a reset and a start, and every setting beyond
//! the compiled limits.
//!
//! It is polled; each poll looks at the interlocks first. `cycle.rs` leads a
//! card through, `exercise.rs` moves single parts.

mod orders;

use cardwright_protocol::card::Stroke;
use cardwright_protocol::host_to_unit::{CardHeader, Work};
use cardwright_protocol::unit_to_host::{
    CardEnded, Inputs, Levels, State, Status, Stop, StopReason,
};
use cardwright_protocol::{CardId, Micros, UnitToHost};
use embedded_hal::digital::{InputPin, OutputPin};
use heapless::Deque;

use crate::counters::Tally;
use crate::exercise::Trial;
use crate::feed::{Feed, Ramp};
use crate::hardware::{Board, LightBar, Stepper, Voltmeter, Watchdog, Wiring};
use crate::limits::{SCAN_US, WATCH_US};
use crate::plan::Plan;
use crate::punch::Punch;
use crate::reader::{LevelSum, Reader};

/// How often the inputs are looked at while nothing can move.
const IDLE_WATCH_US: u64 = 5_000;

/// How often the block's sensors are looked at while it is driven: it must be
/// let go at the top before it begins another turn.
const STROKE_WATCH_US: u64 = 100;

/// Identities of cards begun that are remembered, so that none is cut twice.
const BEGUN_KEPT: usize = 32;

/// What the machine is in the middle of.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Phase {
    Stopped,
    Ready,
    /// Bringing the block to the top after a start.
    Raise,
    /// Running out whatever lies in the rig after a start.
    Clear,
    /// Between cards.
    Next,
    /// Lamp off, then the dark level.
    Dark {
        from: Micros,
        sum: LevelSum,
    },
    /// Lamp on, then the open level.
    Open {
        from: Micros,
        sum: LevelSum,
        dark: Levels,
    },
    /// The magazine pushes a card in.
    Pick {
        until: Micros,
    },
    /// Feeding until the card's edge is seen.
    Seek,
    /// Waiting for a card to be laid in.
    WaitCard,
    /// Feeding to the next stroke.
    Travel,
    /// In register, waiting for an order or a record.
    Hold,
    /// In register, waiting for the card to come to rest.
    Settle {
        until: Micros,
    },
    /// A stroke.
    Punch,
    /// Feeding the last rows past the light bar.
    ReadOut,
    /// Feeding the card out of the rollers.
    RunOut,
    Exercise(Trial),
}

/// The card in the rig.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Current {
    pub header: CardHeader,
    pub place: u32,
    pub strokes_begun: u16,
    pub lines_begun: u16,
    pub next_line_at: u32,
    pub length: u32,
    pub begun: bool,
    pub ended: bool,
}

/// The machine.
pub struct Machine<B: Board> {
    pub(crate) w: Wiring<B>,
    pub(crate) plan: Option<Plan>,
    pub(crate) phase: Phase,
    pub(crate) feed: Feed,
    pub(crate) punch: Punch,
    pub(crate) reader: Reader,
    pub(crate) scanning: bool,
    scan_until: Micros,
    /// Its large memory.
    pub room: B::Room,
    pub(crate) current: Option<Current>,
    pub(crate) picks: u8,
    pub(crate) paused: bool,
    /// Whether the host has announced more cards than have come.
    pub(crate) more: bool,
    /// Whether a card may lie in the rig.
    pub(crate) in_rig: bool,
    /// Cards begun since the unit started.
    pub(crate) place: u32,
    pub(crate) tally: Tally,
    channels: u8,
    /// The cards begun last, the very last at the end.
    begun: Deque<CardId, BEGUN_KEPT>,
    last_stop: StopReason,
    pending: Option<StopReason>,
    notices_lost: bool,
    told: State,
    /// When guard and stop button were last seen to be good.
    seen_good: Micros,
    /// When the supply was.
    supply_good: Micros,
    /// The supply when it was measured last.
    supply_mv: u16,
}

impl<B: Board> Machine<B> {
    /// A machine of so many punches that has just been switched on: outputs
    /// off, stopped, and what lies in it unknown.
    pub fn new(
        mut wiring: Wiring<B>,
        room: B::Room,
        last_stop: StopReason,
        channels: u8,
    ) -> Machine<B> {
        let mut punch = Punch::new();
        all_off(Micros(0), &mut punch, &mut wiring);
        Machine {
            w: wiring,
            plan: None,
            phase: Phase::Stopped,
            feed: Feed::new(Ramp::default()),
            punch,
            reader: Reader::new(),
            scanning: false,
            scan_until: Micros::NEVER,
            room,
            current: None,
            picks: 0,
            paused: false,
            more: false,
            in_rig: true,
            place: 0,
            tally: Tally::default(),
            channels,
            begun: Deque::new(),
            last_stop,
            pending: None,
            notices_lost: false,
            told: State::Stopped,
            seen_good: Micros(0),
            supply_good: Micros(0),
            supply_mv: 0,
        }
    }

    /// Looks at the inputs and does what is due.
    pub fn poll(&mut self, now: Micros) {
        self.w.watchdog.feed();
        self.tally.waited(self.told, now);
        if let Err(reason) = self.work(now) {
            self.stop(reason, now);
        }
        self.tell_state();
    }

    fn work(&mut self, now: Micros) -> Result<(), StopReason> {
        if matches!(self.phase, Phase::Stopped) {
            return Ok(());
        }
        self.interlocks(now)?;
        if let Some(reason) = self.pending.filter(|_| !self.punch.in_stroke()) {
            return Err(reason);
        }
        self.run_feed(now)?;
        self.run_cycle(now)?;
        if self.scanning && now >= self.scan_until {
            return Err(StopReason::LampFault);
        }
        Ok(())
    }

    /// Guard, stop button and supply.
    fn interlocks(&mut self, now: Micros) -> Result<(), StopReason> {
        let (Ok(guard), Ok(stop)) = (self.w.guard.is_high(), self.w.stop.is_high());
        if !guard {
            return Err(StopReason::GuardOpen);
        }
        if !stop {
            return Err(StopReason::StopPressed);
        }
        self.seen_good = now;
        if now >= self.supply_good.plus(WATCH_US) {
            self.supply(now)?;
        }
        Ok(())
    }

    fn supply(&mut self, now: Micros) -> Result<(), StopReason> {
        let (Some(plan), Some(mv)) = (&self.plan, self.w.supply.millivolts()) else {
            return Ok(());
        };
        self.supply_mv = mv;
        let (lowest, highest) = plan.settings.supply_mv;
        if mv < lowest {
            return Err(StopReason::SupplyLow);
        }
        if mv > highest {
            return Err(StopReason::SupplyHigh);
        }
        self.supply_good = now;
        Ok(())
    }

    /// Switches everything off, at once, and reports why.
    fn stop(&mut self, reason: StopReason, now: Micros) {
        all_off(now, &mut self.punch, &mut self.w);
        let good = match reason {
            StopReason::SupplyLow | StopReason::SupplyHigh => self.supply_good,
            _ => self.seen_good,
        };
        let off_after_us = u32::try_from(now.since(good)).unwrap_or(u32::MAX);
        self.tally.off_after(off_after_us);
        self.feed.halt(&mut self.w.step);
        let begun = self.current.filter(|card| card.begun && !card.ended);
        if let Some(card) = begun {
            self.room.held.abandon();
            self.notice(UnitToHost::CardEnded(self.ending(&card, false)));
        }
        self.notice(UnitToHost::Stopped(Stop {
            reason,
            id: begun.map(|card| card.header.id),
            strokes: begun.map_or(0, |card| card.strokes_begun),
            at_us: now.0,
            off_after_us,
        }));
        self.current = None;
        self.scanning = false;
        self.room.queue.clear();
        self.more = false;
        self.paused = false;
        self.pending = None;
        self.tally.cooling = false;
        self.last_stop = reason;
        self.phase = Phase::Stopped;
    }

    /// Stops at once, or when the stroke in hand is done. The queue is forgotten
    /// now.
    pub fn stop_between_strokes(&mut self, reason: StopReason, now: Micros) {
        self.room.queue.clear();
        if matches!(self.phase, Phase::Stopped) {
            return;
        }
        let reason = *self.pending.get_or_insert(reason);
        if !self.punch.in_stroke() {
            self.stop(reason, now);
        }
    }

    pub(crate) fn power_up(&mut self) {
        let Ok(()) = self.w.status.set_high();
        let Ok(()) = self.w.feed_on.set_high();
    }

    pub(crate) fn card_has_begun(&mut self, id: CardId) {
        if self.begun.is_full() {
            self.begun.pop_front();
        }
        let _ = self.begun.push_back(id);
    }

    pub(crate) fn ending(&self, card: &Current, complete: bool) -> CardEnded {
        CardEnded {
            id: card.header.id,
            place: card.place,
            complete,
            strokes: card.strokes_begun,
            lines: self.reader.lines(),
            length_um: self.plan.as_ref().map_or(0, |plan| plan.um(card.length)),
        }
    }

    /// What the strokes of the card in the rig should have left, if this unit
    /// punched them.
    pub(crate) fn expected<'a>(card: &Current, strokes: &'a [Stroke]) -> Option<&'a [Stroke]> {
        (card.header.work == Work::Cut).then_some(strokes)
    }

    /// Begins a scan if none is running, and fetches it when it is there.
    pub(crate) fn scan(&mut self, now: Micros) -> Option<Levels> {
        if !self.scanning {
            self.begin_scan(now);
        }
        self.fetch()
    }

    /// Begins a scan, which has a deadline: a dead converter stops the rig.
    pub(crate) fn begin_scan(&mut self, now: Micros) {
        self.w.light.begin();
        self.scanning = true;
        self.scan_until = now.plus(SCAN_US);
    }

    pub(crate) fn fetch(&mut self) -> Option<Levels> {
        let levels = self.scanning.then(|| self.w.light.take()).flatten();
        self.scanning &= levels.is_none();
        levels
    }

    /// When it wants to be polled again at the latest.
    pub fn next_wake(&self, now: Micros) -> Micros {
        let watch = match self.phase {
            Phase::Stopped => return now.plus(100_000),
            Phase::Ready => IDLE_WATCH_US,
            Phase::Next if self.told == State::Idle => IDLE_WATCH_US,
            _ if self.punch.in_stroke() => STROKE_WATCH_US,
            // the end of a scan, which the supply has to wait for, is polled by itself
            _ if self.scanning => WATCH_US,
            _ => now
                .plus(WATCH_US)
                .min(self.supply_good.plus(WATCH_US))
                .since(now),
        };
        let phase = match self.phase {
            Phase::Dark { from, .. } | Phase::Open { from, .. } if from > now => from,
            Phase::Pick { until } | Phase::Settle { until } => until,
            _ => Micros::NEVER,
        };
        let feed = if self.feed.wants_to_give() && !self.line_waits() {
            now
        } else {
            Micros::NEVER
        };
        now.plus(watch)
            .min(feed)
            .min(self.punch.next_at())
            .min(phase)
    }

    /// Switches and supply, as they are.
    pub fn inputs(&mut self) -> Inputs {
        let w = &mut self.w;
        self.supply_mv = w.supply.millivolts().unwrap_or(self.supply_mv);
        let read = |pin: &mut B::Input| {
            let Ok(high) = pin.is_high();
            high
        };
        Inputs {
            guard_shut: read(&mut w.guard),
            stop_out: read(&mut w.stop),
            edge_covered: read(&mut w.edge),
            block_up: read(&mut w.block_up),
            block_down: read(&mut w.block_down),
            supply_mv: self.supply_mv,
        }
    }

    /// How the machine stands.
    pub fn status(&mut self) -> Status {
        Status {
            state: self.state(),
            last_stop: self.last_stop,
            last_begun: self.begun.back().copied(),
            held: self.room.held.ended().collect(),
            configured: self.plan.is_some(),
            inputs: self.inputs(),
        }
    }

    /// Why it last stopped.
    pub fn last_stop(&self) -> StopReason {
        self.last_stop
    }

    /// The card in the rig and the strokes begun on it.
    pub fn progress(&self) -> Option<(CardId, u16)> {
        let card = self.current.as_ref().filter(|card| card.begun)?;
        Some((card.header.id, card.strokes_begun))
    }

    /// What is counted.
    pub fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Coil on-times.
    pub fn punch(&self) -> &Punch {
        &self.punch
    }

    pub(crate) fn state(&self) -> State {
        match self.phase {
            Phase::Stopped => State::Stopped,
            Phase::Ready => State::Ready,
            Phase::Exercise(_) => State::Exercising,
            Phase::Raise | Phase::Clear => State::Clearing,
            Phase::Next | Phase::Hold if self.paused => State::Paused,
            Phase::Next if !self.room.held.has_room() => State::WaitingForRecord,
            Phase::Next if self.room.queue.front_is_whole() => State::Loading,
            Phase::Next if self.more => State::WaitingForRows,
            Phase::Next => State::Idle,
            Phase::Hold => State::WaitingForRecord,
            Phase::Dark { .. } | Phase::Open { .. } | Phase::Pick { .. } | Phase::Seek => {
                State::Loading
            }
            Phase::WaitCard => State::WaitingForCard,
            Phase::Travel
            | Phase::Settle { .. }
            | Phase::Punch
            | Phase::ReadOut
            | Phase::RunOut => State::Working,
        }
    }

    fn tell_state(&mut self) {
        let state = self.state();
        if state != self.told {
            self.told = state;
            self.notice(UnitToHost::State(state));
        }
    }

    pub(crate) fn notice(&mut self, notice: UnitToHost) {
        self.notices_lost |= self.room.notices.push_back(notice).is_err();
    }

    /// Whether the desk has something to fetch here.
    #[must_use]
    pub fn has_news(&self) -> bool {
        self.notices_lost || !self.room.notices.is_empty() || self.room.held.has_message()
    }

    /// The next notice, to be handed back with [`Machine::untold`] if it could
    /// not be sent.
    pub fn take_notice(&mut self) -> Option<UnitToHost> {
        if let Some(notice) = self.room.notices.pop_front() {
            return Some(notice);
        }
        // what was lost is summed up by the present state
        core::mem::take(&mut self.notices_lost).then(|| UnitToHost::Status(self.status()))
    }

    /// A notice that could not be sent yet goes back to the front.
    pub fn untold(&mut self, notice: UnitToHost) {
        self.notices_lost |= self.room.notices.push_front(notice).is_err();
    }

    /// A new host knows nothing of old notices.
    pub fn forget_notices(&mut self) {
        self.room.notices.clear();
        self.notices_lost = false;
    }
}

/// Every output off, in the order in which it can hurt.
fn all_off<B: Board>(now: Micros, punch: &mut Punch, w: &mut Wiring<B>) {
    punch.off(now, w);
    w.step.halt();
    let Ok(()) = w.pick.set_low();
    let Ok(()) = w.feed_on.set_low();
    let Ok(()) = w.lamp.set_low();
    let Ok(()) = w.status.set_low();
}
