//! What stops a job: the unit, its refusals, a person; and the end of it.

use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::unit_to_host::{Refusal, State, Stop};
use cardwright_protocol::{CardId, HostToUnit};

use super::{Job, Pending, Phase, TRIES};
use crate::job::flight::Stage;
use crate::job::news::News;
use crate::job::words::{remedy_of_stop, setting_words, stop_words, unsafe_words};
use crate::job::{Effect, End, Kind, Person};
use crate::ledger::writer::Command;
use crate::ledger::{self, Ending, EventKind, UnixMillis};

impl Job {
    pub(super) fn stopped(&mut self, stop: &Stop, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.last_stop = stop.reason;
        self.unit_state = State::Stopped;
        if matches!(
            self.phase,
            Phase::Finishing(_) | Phase::Closing(_) | Phase::Over(_)
        ) {
            return;
        }
        self.account.stops += 1;
        self.fruitless += 1;
        fx.push(Effect::Tell(News::Stopped {
            reason: stop.reason,
            words: stop_words(stop.reason).to_string(),
            remedy: remedy_of_stop(stop.reason).to_string(),
            card: stop.id.map(|id| id.card),
            off_after_us: stop.off_after_us,
        }));
        let detail = serde_json::to_value(stop).unwrap_or_default();
        self.event(EventKind::Stop, detail, at, fx);
        let fresh = matches!(self.phase, Phase::Asking { fresh: true });
        self.phase = Phase::Asking { fresh };
        fx.push(Effect::Send(HostToUnit::Ask(Question::Counters)));
        fx.push(Effect::Send(HostToUnit::Ask(Question::Status)));
    }

    pub(super) fn refused(&mut self, refusal: &Refusal, at: UnixMillis, fx: &mut Vec<Effect>) {
        let detail = serde_json::to_value(refusal).unwrap_or_default();
        self.event(EventKind::OrderRefused, detail, at, fx);
        match refusal {
            Refusal::Unsafe(reason) => {
                fx.push(Effect::Tell(News::Refused {
                    words: unsafe_words(*reason),
                }));
                if self.phase == Phase::Running {
                    self.await_reset(remedy_of_stop(*reason).to_string(), fx);
                }
            }
            Refusal::NeedsReset | Refusal::NeedsSettings | Refusal::Busy => {
                if self.phase == Phase::Running {
                    let words = format!("the unit did not start ({refusal:?})");
                    fx.push(Effect::Tell(News::Refused { words }));
                    self.await_reset(remedy_of_stop(self.last_stop).to_string(), fx);
                }
            }
            Refusal::Setting(setting) => self.refuse(setting_words(*setting), at, fx),
            Refusal::CardDamaged(id)
            | Refusal::CardTooLarge(id)
            | Refusal::CardUsed(id)
            | Refusal::NoSuchCard(id) => self.card_refused(*id, refusal, at, fx),
            Refusal::NoSuchPart => {
                let words = "this unit is at a loom and cuts and reads no cards; name the rig with \
                             --rig (`cardwright rig find` lists what is there)";
                self.refuse(words.to_string(), at, fx);
            }
            Refusal::NoSuchEvent(_) => {}
        }
    }

    pub(super) fn card_refused(
        &mut self,
        id: CardId,
        refusal: &Refusal,
        at: UnixMillis,
        fx: &mut Vec<Effect>,
    ) {
        let Some(flight) = self.flight(id).filter(|flight| flight.at_unit()) else {
            return;
        };
        let begun = flight.stage == Stage::Begun;
        if begun || self.phase == Phase::Settling {
            // its readings were to be sent again and are gone
            return self.close_unread(id, ledger::Verdict::Unread, None, at, fx);
        }
        if matches!(refusal, Refusal::CardTooLarge(_)) {
            let words = format!(
                "card {} does not fit the unit's memory; lower samples_per_row in the rig file",
                id.card.0
            );
            return self.refuse(words, at, fx);
        }
        let tries = self.tries.entry(id.card).or_insert(0);
        *tries += 1;
        if *tries >= TRIES {
            let words = format!("the unit will not take card {} ({refusal:?})", id.card.0);
            return self.finish(End::Failed(words), at, fx);
        }
        self.close_unread(id, ledger::Verdict::NotBegun, None, at, fx);
    }

    pub(super) fn person(&mut self, order: Person, at: UnixMillis, fx: &mut Vec<Effect>) {
        let stack_ends = order == Person::Stop;
        match order {
            Person::Reset => match self.phase {
                Phase::AwaitingReset => self.begin(at, fx),
                // what is to be seen to first was not told yet
                Phase::Closed | Phase::Asking { .. } | Phase::Settling => {
                    self.authorised |= self.order.first.is_none();
                }
                _ => {}
            },
            Person::Pause => fx.push(Effect::Send(HostToUnit::Pause)),
            Person::Resume => fx.push(Effect::Send(HostToUnit::Resume)),
            Person::CardsLaidIn => fx.push(Effect::Send(HostToUnit::CardLaidIn)),
            Person::Recut => self.recut_next(at, fx),
            Person::Stop | Person::Interrupt => {
                self.person_stops(stack_ends, at, fx);
            }
            Person::Weave(_) => {}
        }
    }

    pub(super) fn person_stops(&mut self, stack_ends: bool, at: UnixMillis, fx: &mut Vec<Effect>) {
        let again = std::mem::replace(&mut self.stopping, true);
        match self.phase {
            Phase::Closed => self.phase = self.close_job(End::Stopped, at, fx),
            Phase::AwaitingReset => self.finish(End::Stopped, at, fx),
            Phase::Running | Phase::Draining => {
                self.read_to_end = self.order.until_told && stack_ends;
                self.phase = Phase::Draining;
                // nothing moves while a card is waited for, so nothing is lost
                let now = again || self.unit_state == State::WaitingForCard;
                let orders: &[HostToUnit] = if now {
                    &[HostToUnit::Stop]
                } else {
                    &[
                        HostToUnit::DropQueue,
                        HostToUnit::Resume,
                        HostToUnit::Ask(Question::Status),
                    ]
                };
                fx.extend(orders.iter().cloned().map(Effect::Send));
            }
            _ => {}
        }
    }

    pub(super) fn finish_done(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let faults = match self.order.kind {
            Kind::Cut | Kind::Mend => self
                .order
                .cards
                .iter()
                .any(|card| !self.good.contains(card)),
            Kind::Verify | Kind::Read => self.account.faults > 0,
        };
        self.finish(End::Done { faults }, at, fx);
    }

    /// Outputs off, the last counts, then the end.
    pub(super) fn finish(&mut self, end: End, at: UnixMillis, fx: &mut Vec<Effect>) {
        if !self.heard {
            self.phase = self.close_job(end, at, fx);
            return;
        }
        self.phase = Phase::Finishing(end);
        fx.push(Effect::Send(HostToUnit::Stop));
        fx.push(Effect::Send(HostToUnit::Ask(Question::Counters)));
    }

    pub(super) fn refuse(&mut self, words: String, at: UnixMillis, fx: &mut Vec<Effect>) {
        fx.push(Effect::Send(HostToUnit::Stop));
        self.phase = self.close_job(End::Refused(words), at, fx);
    }

    pub(super) fn close_job(&mut self, end: End, at: UnixMillis, fx: &mut Vec<Effect>) -> Phase {
        let end = match end {
            End::Stopped if self.read_to_end => End::Done {
                faults: self.account.faults > 0,
            },
            end => end,
        };
        let ending = match end {
            End::Done { .. } => Ending::Done,
            End::Stopped => Ending::Stopped,
            End::Failed(_) | End::Refused(_) => Ending::Failed,
        };
        let command = Command::EndJob(self.order.number, ending, at);
        self.record(command, Some(Pending::JobEnded), fx);
        Phase::Closing(end)
    }
}
