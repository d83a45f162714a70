//! A session with the unit: what it is, how it stands, what became of what was
//! under way before.

use cardwright_protocol::HostToUnit;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::unit_to_host::{Identity, State, Status};

use super::{Job, Phase, STOPS};
use crate::job::flight::{Flight, Stage};
use crate::job::news::News;
use crate::job::settle::{Fate, fates};
use crate::job::words::remedy_of_stop;
use crate::job::{Effect, End};
use crate::ledger::writer::Command;
use crate::ledger::{self, BoardId, EventKind, SeenUnit, UnixMillis};

impl Job {
    pub(super) fn opened(&mut self, boot: u32, version: u16, fx: &mut Vec<Effect>) {
        if boot != self.boot {
            self.counts.restarted();
        }
        self.heard = true;
        self.boot = boot;
        self.version = version;
        self.credit = (0, 0);
        self.sent = (0, 0);
        self.phase = Phase::Asking { fresh: true };
        for question in [Question::Identity, Question::Counters, Question::Status] {
            fx.push(Effect::Send(HostToUnit::Ask(question)));
        }
    }

    pub(super) fn identity(&mut self, identity: &Identity, at: UnixMillis, fx: &mut Vec<Effect>) {
        let board = BoardId(identity.board);
        fx.push(Effect::Tell(News::unit(identity)));
        let settings = serde_json::to_value(self.order.settings).ok();
        let seen = SeenUnit::of(identity, self.version, settings, at);
        self.record(Command::UnitSeen(seen), None, fx);
        self.record(Command::JobUnit(self.order.number, board), None, fx);
        if identity.channels < self.order.settings.holes {
            let words = format!(
                "this deck has {} holes a row and the rig only {} punches; use a rig with more",
                self.order.settings.holes, identity.channels
            );
            self.refuse(words, at, fx);
        }
    }

    pub(super) fn status(&mut self, status: &Status, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.unit_state = status.state;
        self.last_stop = status.last_stop;
        let at_rest = matches!(status.state, State::Stopped | State::Ready);
        match self.phase {
            // a unit that still moves is about to stop, and says so
            Phase::Asking { fresh } if at_rest => self.settle(status, fresh, at, fx),
            Phase::Draining if at_rest || status.state == State::Idle => {
                self.settle(status, false, at, fx);
            }
            _ => {}
        }
    }

    pub(super) fn settle(
        &mut self,
        status: &Status,
        fresh: bool,
        at: UnixMillis,
        fx: &mut Vec<Effect>,
    ) {
        for ended in &status.held {
            if self.flights.iter().any(|flight| flight.id == ended.id) {
                continue;
            }
            if self.order.open_elsewhere.contains(&ended.id) {
                let words = format!(
                    "the rig still holds the reading of card {} of job {}, which is not recorded; \
                     go on with that job first, or switch the rig off and on to let the reading go",
                    ended.id.card.0, ended.id.job.0
                );
                return self.refuse(words, at, fx);
            }
            fx.push(Effect::Send(HostToUnit::Recorded(ended.id)));
        }
        let at_unit: Vec<&Flight> = self.flights.iter().filter(|f| f.at_unit()).collect();
        for (id, fate) in fates(&at_unit, status, self.order.number, self.boot) {
            match fate {
                Fate::Held if fresh => fx.push(Effect::Send(HostToUnit::Resend(id))),
                Fate::Held => {}
                Fate::Interrupted => {
                    self.close_unread(id, ledger::Verdict::Interrupted, None, at, fx);
                }
                Fate::NotBegun => self.close_unread(id, ledger::Verdict::NotBegun, None, at, fx),
            }
        }
        self.phase = Phase::Settling;
        self.settled(at, fx);
    }

    /// Goes on when nothing the unit may know of is open any more.
    pub(super) fn settled(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let open = |flight: &Flight| flight.at_unit() || flight.stage == Stage::Closing;
        if self.phase != Phase::Settling || self.flights.iter().any(open) {
            return;
        }
        if self.stopping {
            self.finish(End::Stopped, at, fx);
        } else if self.fruitless >= STOPS {
            let words = format!(
                "the rig stopped {STOPS} times without one good card; have the machine seen to, \
                 then run the command again"
            );
            self.finish(End::Failed(words), at, fx);
        } else if self.todo.is_empty() && self.flights.is_empty() {
            self.finish_done(at, fx);
        } else if self.authorised {
            self.begin(at, fx);
        } else {
            let first = self.order.first.take();
            let remedy = || remedy_of_stop(self.last_stop).to_string();
            self.await_reset(first.unwrap_or_else(remedy), fx);
        }
    }

    pub(super) fn await_reset(&mut self, remedy: String, fx: &mut Vec<Effect>) {
        self.phase = Phase::AwaitingReset;
        fx.push(Effect::Tell(News::NeedsReset { remedy }));
    }

    pub(super) fn begin(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.authorised = false;
        self.phase = Phase::Running;
        self.event(EventKind::Reset, serde_json::json!({}), at, fx);
        let settings = HostToUnit::Configure(self.order.settings);
        // cards that were on the line when the unit stopped have been queued
        // since, and are written down as not begun
        let dropped = HostToUnit::DropQueue;
        for order in [dropped, settings, HostToUnit::Reset, HostToUnit::Start] {
            fx.push(Effect::Send(order));
        }
        fx.push(Effect::Tell(News::Started));
        self.pump(at, fx);
    }
}
