//! The desk: reads what the host sends, answers, and sends out what the
//! machine and the loom have to tell, in order of weight: notices, answers, credit,
//! the loom's events, readings, progress.

use core::ops::DerefMut;

use cardwright_protocol::frame::MOST_WIRE;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::link::{UnitEvent, UnitLink};
use cardwright_protocol::unit_to_host::{Counters, Identity, Refusal, Role, StopReason};
use cardwright_protocol::{CardId, HostToUnit, Micros, UnitToHost};
use heapless::String;

use crate::About;
use crate::hardware::Board;
use crate::limits::LIMITS;
use crate::loom::{Book, Store};
use crate::machine::Machine;
use crate::queue::{CARD_ROOM, STROKE_ROOM};

/// Least time between two reports of a card's progress.
const PROGRESS_US: u64 = 100_000;

/// Lets the desk at the machine, for one short act at a time. A board that
/// polls the machine from an interrupt keeps that interrupt off meanwhile.
pub trait Access<B: Board> {
    /// Does it.
    fn with<R>(&mut self, act: impl FnOnce(&mut Machine<B>) -> R) -> R;
}

impl<B: Board> Access<B> for Machine<B> {
    fn with<R>(&mut self, act: impl FnOnce(&mut Machine<B>) -> R) -> R {
        act(self)
    }
}

/// The desk: the unit's end of the link, and what it owes the host.
pub struct Desk<S> {
    about: About,
    link: UnitLink,
    loom: Book<S>,
    /// Identity, status, counters, loom: what the host waits for. An answer is made
    /// when it can be sent, so a host that asks on and on neither fills a
    /// queue nor keeps an order or its own silence from being seen.
    asked: [bool; 4],
    credit_told: Option<(u32, u32)>,
    credit_from: (u32, u32),
    progress_told: Option<(CardId, u16)>,
    progress_at: Micros,
    worst_poll_us: u32,
}

impl<S: DerefMut<Target = Store>> Desk<S> {
    /// The desk of a unit that has just been switched on.
    pub fn new(about: About, loom: S) -> Desk<S> {
        Desk {
            about,
            link: UnitLink::new(about.versions, about.boot),
            loom: Book::new(loom),
            asked: [false; 4],
            credit_told: None,
            credit_from: (0, 0),
            progress_told: None,
            progress_at: Micros(0),
            worst_poll_us: 0,
        }
    }

    /// Takes in bytes from the line.
    pub fn receive(&mut self, bytes: &[u8], now: Micros) {
        self.link.receive(bytes, now);
    }

    /// The next frame for the line, if there is one: its length in `wire`.
    pub fn pull(&mut self, now: Micros, wire: &mut [u8; MOST_WIRE]) -> Option<usize> {
        self.link.pull(now, wire)
    }

    /// Its book of the loom, for what the sensors see.
    pub fn book(&mut self) -> &mut Book<S> {
        &mut self.loom
    }

    /// Whether it can tell the host anything now. If not, it is of no use to
    /// poll it for news.
    #[must_use]
    pub fn can_tell(&self) -> bool {
        self.link.room() > 0
    }

    /// When time alone will give it something to do.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        self.link.next_wake()
    }

    /// Tells how long a poll of the machine took by a clock that this code has
    /// not got.
    pub fn poll_took(&mut self, us: u32) {
        self.worst_poll_us = self.worst_poll_us.max(us);
    }

    /// Takes in what has come and sends out what is to be told.
    pub fn poll<B: Board>(&mut self, now: Micros, machine: &mut impl Access<B>) {
        while let Some(event) = self.link.event() {
            match event {
                UnitEvent::Opened { .. } => self.new_host(now, machine),
                UnitEvent::HostSilent => {
                    machine.with(|m| m.stop_between_strokes(StopReason::HostSilent, now));
                }
                UnitEvent::Message(message) => self.take(&message, now, machine),
            }
        }
        if self.link.is_open() {
            while self.link.room() > 0 && self.tell_next(now, machine) {}
            self.tell_progress(now, machine);
        }
    }

    /// Another host, or this one restarted: it knows nothing of what was sent,
    /// and nothing goes on that it has not ordered.
    fn new_host<B: Board>(&mut self, now: Micros, machine: &mut impl Access<B>) {
        self.credit_from = machine.with(|m| {
            m.forget_notices();
            m.stop_between_strokes(StopReason::HostReplaced, now);
            m.room.held.hush();
            m.room.queue.passed()
        });
        self.loom.hush();
        self.asked = [false; 4];
        self.credit_told = None;
        self.progress_told = None;
    }

    fn take<B: Board>(&mut self, message: &HostToUnit, now: Micros, machine: &mut impl Access<B>) {
        match message {
            HostToUnit::Ask(Question::Identity) => self.asked[0] = true,
            HostToUnit::Ask(Question::Status) => self.asked[1] = true,
            HostToUnit::Ask(Question::Counters) => self.asked[2] = true,
            HostToUnit::Ask(Question::Loom) => self.asked[3] = true,
            HostToUnit::Recorded(id) => machine.with(|m| m.room.held.recorded(*id)),
            HostToUnit::Resend(id) => machine.with(|m| {
                if !m.room.held.resend(*id) {
                    m.notice(UnitToHost::Refused(Refusal::NoSuchCard(*id)));
                }
            }),
            HostToUnit::ConfigureLoom(settings) => {
                let answer = self.loom.configure(settings);
                refuse(answer, machine);
            }
            HostToUnit::LoomFrom(number) => {
                let answer = self.loom.send_from(*number);
                refuse(answer, machine);
            }
            _ if self.about.role == Role::Loom => refuse(Err(Refusal::NoSuchPart), machine),
            order => {
                let answer = machine.with(|m| m.order(order, now));
                refuse(answer, machine);
            }
        }
    }

    /// Tells the weightiest thing there is to tell. Whether there was any.
    fn tell_next<B: Board>(&mut self, now: Micros, machine: &mut impl Access<B>) -> bool {
        if let Some(notice) = machine.with(Machine::take_notice) {
            let sent = self.link.send(&notice).is_ok();
            if !sent {
                machine.with(|m| m.untold(notice));
            }
            return sent;
        }
        if let Some(at) = self.asked.iter().position(|asked| *asked) {
            let answer = self.answer(at, now, machine);
            self.asked[at] = self.link.send(&answer).is_err();
            return !self.asked[at];
        }
        let credit = machine.with(|m| m.room.queue.credit());
        if self.credit_told != Some(credit) {
            let message = UnitToHost::Credit {
                strokes: credit.0.wrapping_sub(self.credit_from.0),
                cards: credit.1.wrapping_sub(self.credit_from.1),
            };
            let sent = self.link.send(&message).is_ok();
            if sent {
                self.credit_told = Some(credit);
            }
            return sent;
        }
        // there is room for what is taken: the caller has looked
        if let Some(events) = self.loom.take_message() {
            return self.link.send(&UnitToHost::LoomEvents(events)).is_ok();
        }
        machine
            .with(|m| m.room.held.take_message())
            .is_some_and(|readings| self.link.send(&readings).is_ok())
    }

    fn answer<B: Board>(&self, at: usize, now: Micros, machine: &mut impl Access<B>) -> UnitToHost {
        match at {
            0 => {
                let last_stop = machine.with(|m| m.last_stop());
                UnitToHost::Identity(identity(&self.about, last_stop))
            }
            1 => UnitToHost::Status(machine.with(Machine::status)),
            2 => UnitToHost::Counters(self.counters(machine)),
            _ => UnitToHost::Loom(self.loom.status(now)),
        }
    }

    /// Progress is the least of it: only when the link has room to spare.
    fn tell_progress<B: Board>(&mut self, now: Micros, machine: &mut impl Access<B>) {
        if now.since(self.progress_at) < PROGRESS_US || self.link.room() < 3 {
            return;
        }
        let progress = machine.with(|m| m.progress());
        let Some((id, done)) = progress.filter(|_| progress != self.progress_told) else {
            return;
        };
        if self
            .link
            .send(&UnitToHost::StrokesDone { id, done })
            .is_ok()
        {
            self.progress_told = progress;
            self.progress_at = now;
        }
    }

    fn counters<B: Board>(&self, machine: &mut impl Access<B>) -> Counters {
        let (tally, coil_on_us) = machine.with(|m| (*m.tally(), *m.punch().coils.on_us()));
        let wire = self.link.counters();
        Counters {
            strokes: tally.strokes,
            cards_begun: tally.cards_begun,
            cards_complete: tally.cards_complete,
            waited_rows_us: tally.waited_rows_us,
            waited_record_us: tally.waited_record_us,
            waited_card_us: tally.waited_card_us,
            waited_cool_us: tally.waited_cool_us,
            working_us: tally.working_us,
            retransmissions: wire.retransmissions,
            frames_damaged: wire.damaged,
            worst_poll_us: self.worst_poll_us,
            worst_off_us: tally.worst_off_us,
            coil_on_us,
        }
    }
}

fn refuse<B: Board>(answer: Result<(), Refusal>, machine: &mut impl Access<B>) {
    if let Err(refusal) = answer {
        machine.with(|m| m.notice(UnitToHost::Refused(refusal)));
    }
}

fn identity(about: &About, last_stop: StopReason) -> Identity {
    Identity {
        role: about.role,
        board: about.board,
        firmware: String::try_from(env!("CARGO_PKG_VERSION")).unwrap_or_default(),
        boot: about.boot,
        channels: about.channels,
        stroke_room: STROKE_ROOM as u16,
        card_room: CARD_ROOM as u8,
        last_stop,
        limits: LIMITS,
    }
}
