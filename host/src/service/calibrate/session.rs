//! A calibration's session with the unit: what it is, how it stands, why it
//! stopped or refused. Enters: what the unit says of itself. Leaves: the start, or
//! the end. Refuses a unit that holds another job's reading, or has too few
//! punches.

use cardwright_protocol::HostToUnit;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::unit_to_host::{
    Identity, Refusal as NotDone, State, Status, Stop, StopReason,
};

use super::task::{Calibrate, Phase};
use crate::job::{Effect, End, News, remedy_of_stop, setting_words, stop_words, unsafe_words};
use crate::ledger::writer::Command;
use crate::ledger::{BoardId, SeenUnit, UnixMillis};

impl Calibrate {
    pub(super) fn identity(&mut self, identity: &Identity, at: UnixMillis, fx: &mut Vec<Effect>) {
        let board = BoardId(identity.board);
        self.board = Some(board);
        fx.push(Effect::Tell(News::unit(identity)));
        let seen = SeenUnit::of(identity, self.version, None, at);
        self.record(Command::UnitSeen(seen), None, fx);
        self.record(Command::JobUnit(self.order.number, board), None, fx);
        let holes = self.order.settings.holes;
        if identity.channels < holes {
            let words = format!(
                "this format has {holes} holes a row and the rig only {} punches; choose another \
                 format",
                identity.channels
            );
            self.close(End::Refused(words), at, fx);
        }
    }

    pub(super) fn status(&mut self, status: &Status, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.state = status.state;
        // a unit that still moves is about to stop, and says so
        let at_rest = matches!(status.state, State::Stopped | State::Ready);
        if !matches!(self.phase, Phase::Asking) || !at_rest {
            return;
        }
        for ended in &status.held {
            if self.order.open_elsewhere.contains(&ended.id) {
                let words = format!(
                    "the rig still holds the reading of card {} of job {}, which is not recorded; \
                     go on with that job first",
                    ended.id.card.0, ended.id.job.0
                );
                return self.close(End::Refused(words), at, fx);
            }
            fx.push(Effect::Send(HostToUnit::Recorded(ended.id)));
        }
        self.phase = Phase::Working;
        let settings = HostToUnit::Configure(self.order.settings);
        for order in [
            HostToUnit::DropQueue,
            settings,
            HostToUnit::Reset,
            HostToUnit::Start,
        ] {
            fx.push(Effect::Send(order));
        }
        fx.push(Effect::Tell(News::Started));
        self.take_up(at, fx);
    }

    pub(super) fn stopped(&mut self, stop: &Stop, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.state = State::Stopped;
        if matches!(self.phase, Phase::Asking) {
            return fx.push(Effect::Send(HostToUnit::Ask(Question::Status)));
        }
        let (why, remedy) = (stop_words(stop.reason), remedy_of_stop(stop.reason));
        let words = format!("the unit stopped: {why}; {remedy}, then calibrate again");
        match stop.reason {
            // what the card or the reader is like, not the machine
            StopReason::DoubleFeed | StopReason::LampFault | StopReason::GrossMisread => {
                self.refuse(words, at, fx);
            }
            _ => self.close(End::Failed(words), at, fx),
        }
    }

    pub(super) fn not_done(&mut self, refusal: &NotDone, at: UnixMillis, fx: &mut Vec<Effect>) {
        let end = match refusal {
            NotDone::Unsafe(reason) => End::Failed(unsafe_words(*reason)),
            NotDone::Setting(setting) => End::Refused(setting_words(*setting)),
            other => End::Failed(format!("the unit refuses ({other:?}); calibrate again")),
        };
        self.close(end, at, fx);
    }
}
