//! The desk: reads what the host sends, answers, and sends out what the
//! machine has to tell, in order of weight: notices, credit, readings, progress.

use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::link::{UnitEvent, UnitLink};
use cardwright_protocol::unit_to_host::{Counters, Identity, Refusal, Role, StopReason};
use cardwright_protocol::{CardId, HostToUnit, Micros, UnitToHost};
use heapless::String;

use crate::About;
use crate::hardware::Board;
use crate::limits::LIMITS;
use crate::machine::Machine;
use crate::queue::{CARD_ROOM, STROKE_ROOM};

/// Least time between two reports of a card's progress.
const PROGRESS_US: u64 = 100_000;

/// The desk's own memory.
pub(crate) struct Desk {
    /// Identity, status, counters: what the host waits for. An answer is made
    /// when it can be sent, so a host that asks on and on neither fills a
    /// queue nor keeps an order or its own silence from being seen.
    asked: [bool; 3],
    credit_told: Option<(u32, u32)>,
    credit_from: (u32, u32),
    progress_told: Option<(CardId, u16)>,
    progress_at: Micros,
    worst_poll_us: u32,
}

impl Desk {
    pub(crate) fn new() -> Desk {
        Desk {
            asked: [false; 3],
            credit_told: None,
            credit_from: (0, 0),
            progress_told: None,
            progress_at: Micros(0),
            worst_poll_us: 0,
        }
    }

    pub(crate) fn poll_took(&mut self, us: u32) {
        self.worst_poll_us = self.worst_poll_us.max(us);
    }

    /// Takes in what has come and sends out what is to be told.
    pub(crate) fn poll<B: Board>(
        &mut self,
        now: Micros,
        about: &About,
        link: &mut UnitLink,
        machine: &mut Machine<B>,
    ) {
        while let Some(event) = link.event() {
            match event {
                UnitEvent::Opened { .. } => self.new_host(now, machine),
                UnitEvent::HostSilent => {
                    machine.stop_between_strokes(StopReason::HostSilent, now);
                }
                UnitEvent::Message(message) => self.take(&message, now, machine),
            }
        }
        if link.is_open() {
            self.tell(now, about, link, machine);
        }
    }

    /// Another host, or this one restarted: it knows nothing of what was sent,
    /// and nothing goes on that it has not ordered.
    fn new_host<B: Board>(&mut self, now: Micros, machine: &mut Machine<B>) {
        machine.forget_notices();
        machine.stop_between_strokes(StopReason::HostReplaced, now);
        machine.held.hush();
        self.asked = [false; 3];
        self.credit_told = None;
        self.credit_from = machine.queue.passed();
        self.progress_told = None;
    }

    fn take<B: Board>(&mut self, message: &HostToUnit, now: Micros, machine: &mut Machine<B>) {
        match message {
            HostToUnit::Ask(Question::Identity) => self.asked[0] = true,
            HostToUnit::Ask(Question::Status) => self.asked[1] = true,
            HostToUnit::Ask(Question::Counters) => self.asked[2] = true,
            HostToUnit::Recorded(id) => machine.held.recorded(*id),
            HostToUnit::Resend(id) => {
                if !machine.held.resend(*id) {
                    machine.notice(UnitToHost::Refused(Refusal::NoSuchCard(*id)));
                }
            }
            order => {
                if let Err(refusal) = machine.order(order, now) {
                    machine.notice(UnitToHost::Refused(refusal));
                }
            }
        }
    }

    fn answer<B: Board>(
        &self,
        at: usize,
        about: &About,
        link: &UnitLink,
        machine: &mut Machine<B>,
    ) -> UnitToHost {
        match at {
            0 => UnitToHost::Identity(identity(about, machine)),
            1 => UnitToHost::Status(machine.status()),
            _ => UnitToHost::Counters(self.counters(link, machine)),
        }
    }

    fn tell<B: Board>(
        &mut self,
        now: Micros,
        about: &About,
        link: &mut UnitLink,
        machine: &mut Machine<B>,
    ) {
        while link.room() > 0 {
            if let Some(notice) = machine.take_notice() {
                if link.send(&notice).is_err() {
                    return machine.untold(notice);
                }
                continue;
            }
            if let Some(at) = self.asked.iter().position(|asked| *asked) {
                if link.send(&self.answer(at, about, link, machine)).is_err() {
                    return;
                }
                self.asked[at] = false;
                continue;
            }
            let credit = machine.queue.credit();
            if self.credit_told != Some(credit) {
                let message = UnitToHost::Credit {
                    strokes: credit.0.wrapping_sub(self.credit_from.0),
                    cards: credit.1.wrapping_sub(self.credit_from.1),
                };
                if link.send(&message).is_err() {
                    return;
                }
                self.credit_told = Some(credit);
                continue;
            }
            if machine.held.send_next(|message| link.send(message).is_ok()) {
                continue;
            }
            break;
        }
        self.tell_progress(now, link, machine);
    }

    /// Progress is the least of it: only when the link has room to spare.
    fn tell_progress<B: Board>(&mut self, now: Micros, link: &mut UnitLink, machine: &Machine<B>) {
        let progress = machine.progress();
        if progress == self.progress_told
            || now.since(self.progress_at) < PROGRESS_US
            || link.room() < 3
        {
            return;
        }
        let Some((id, done)) = progress else { return };
        if link.send(&UnitToHost::StrokesDone { id, done }).is_ok() {
            self.progress_told = progress;
            self.progress_at = now;
        }
    }

    fn counters<B: Board>(&self, link: &UnitLink, machine: &Machine<B>) -> Counters {
        let tally = machine.tally();
        let wire = link.counters();
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
            coil_on_us: *machine.punch().coils.on_us(),
        }
    }
}

fn identity<B: Board>(about: &About, machine: &Machine<B>) -> Identity {
    Identity {
        role: Role::Rig,
        board: about.board,
        firmware: String::try_from(env!("CARGO_PKG_VERSION")).unwrap_or_default(),
        boot: about.boot,
        channels: about.channels,
        stroke_room: STROKE_ROOM as u16,
        card_room: CARD_ROOM as u8,
        last_stop: machine.last_stop(),
        limits: LIMITS,
    }
}
