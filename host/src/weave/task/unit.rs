//! The unit's side: which unit, which of its events, and what came while nobody
//! looked.

use cardwright_protocol::HostToUnit;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::loom::{Happening, LoomCounts, LoomEvents, LoomStatus};
use cardwright_protocol::unit_to_host::{BadSetting, Identity, Refusal};

use super::{Seen, Weave};
use crate::job::{Effect, End, News, setting_words};
use crate::ledger::writer::Command;
use crate::ledger::{BoardId, NewLoomEvent, SeenUnit, UnixMillis};
use crate::loom::Moment;
use crate::weave::watch::Apart;

/// The first protocol version in which a unit knows of looms.
pub const KNOWS_LOOMS: u16 = 2;

/// What an older one is told of as.
pub const NO_LOOMS: &str = "the unit's firmware knows nothing of looms; put the present one on it \
                            (`cardwright rig flash`)";

/// Clocks are compared again after this long, in milliseconds.
const COMPARE_MS: i64 = 10_000;

impl Weave {
    pub(super) fn opened(&mut self, version: u16, fx: &mut Vec<Effect>) {
        self.version = version;
        self.heard = true;
        self.follows = false;
        self.asked_at = None;
        if version < KNOWS_LOOMS {
            self.end = Some(End::Refused(NO_LOOMS.to_string()));
            return;
        }
        fx.push(Effect::Send(HostToUnit::Ask(Question::Identity)));
    }

    pub(super) fn identity(&mut self, identity: &Identity, now: i64, fx: &mut Vec<Effect>) {
        let board = BoardId(identity.board);
        self.board = Some(board);
        self.boot = identity.boot;
        fx.push(Effect::Tell(News::unit(identity)));
        let settings = serde_json::to_value(self.order.settings).ok();
        let seen = SeenUnit::of(identity, self.version, settings, UnixMillis(now));
        self.record(Command::UnitSeen(seen), None, fx);
        self.ask(now, fx);
    }

    fn ask(&mut self, now: i64, fx: &mut Vec<Effect>) {
        self.asked_at = Some(now);
        fx.push(Effect::Send(HostToUnit::Ask(Question::Loom)));
    }

    /// Asks for the unit's time again, now and then.
    pub(super) fn compare_clocks(&mut self, now: i64, fx: &mut Vec<Effect>) {
        let due = self.compared_at.is_none_or(|at| now - at >= COMPARE_MS);
        if self.follows && self.asked_at.is_none() && due {
            self.ask(now, fx);
        }
    }

    pub(super) fn status(&mut self, status: &LoomStatus, now: i64, fx: &mut Vec<Effect>) {
        if let Some(asked) = self.asked_at.take() {
            self.compared_at = Some(now);
            self.clock.compare(asked, now, status.at_us);
        }
        if self.follows {
            self.reconcile(status, now, fx);
        } else {
            self.follow(status, now, fx);
        }
    }

    /// Begins to follow the unit's events from where they are stored.
    fn follow(&mut self, status: &LoomStatus, now: i64, fx: &mut Vec<Effect>) {
        let Some(board) = self.board else { return };
        if !std::mem::replace(&mut self.begun, true) {
            self.begin(now, fx);
        }
        if status.settings != Some(self.order.settings) {
            fx.push(Effect::Send(HostToUnit::ConfigureLoom(self.order.settings)));
        }
        self.follows = true;
        let here = Some((board, self.boot));
        let again = self.followed == here;
        self.followed = here;
        let known = if again {
            self.next_event
        } else {
            self.order
                .unit
                .filter(|unit| unit.board == board && unit.boot == self.boot)
                .map(|unit| unit.next)
        };
        let from = match known {
            Some(next) => {
                if !again {
                    self.missed(next, status.next);
                }
                next
            }
            None => {
                self.missed(status.next, status.next);
                self.strange_unit(status, now, fx);
                status.next
            }
        };
        self.next_event = Some(from);
        let lost = status.first.wrapping_sub(from);
        let from = if lost != 0 && lost < u32::MAX / 2 {
            self.lost(lost, status.first, now, fx);
            status.first
        } else {
            from
        };
        self.caught_until(from);
        self.nothing_missed(now, fx);
        fx.push(Effect::Send(HostToUnit::LoomFrom(from)));
    }

    /// A unit, or a boot of it, that this piece has not met: what it has seen before
    /// is of no use, as nobody knows what it did not see.
    fn strange_unit(&mut self, status: &LoomStatus, now: i64, fx: &mut Vec<Effect>) {
        self.counts = status.counts;
        self.clock = crate::loom::LoomClock::default();
        let met_another = self.order.unit.is_some() || self.next_event.is_some();
        if !met_another {
            return;
        }
        let seen = self.seen_now(now);
        self.next_event = Some(status.next);
        self.apart(Apart::UnitOff, seen, fx);
    }

    /// Count and plan have come apart, after all that was seen.
    fn apart(&mut self, apart: Apart, seen: Seen, fx: &mut Vec<Effect>) {
        let mut told = Vec::new();
        self.place_asked_first();
        if !self.apart_later(apart) {
            self.watch.apart(apart, seen, &mut told);
        }
        self.keep(seen.at, Vec::new(), &told, fx);
    }

    pub(super) fn seen_now(&self, now: i64) -> Seen {
        Seen {
            number: self.next_event.unwrap_or_default(),
            at: now,
            // a time and a number are all that is looked at
            what: Happening::CylinderUnclear,
        }
    }

    /// The unit could not keep so many events.
    fn lost(&mut self, events: u32, next: u32, now: i64, fx: &mut Vec<Effect>) {
        let seen = self.seen_now(now);
        self.next_event = Some(next);
        self.counts_known = false;
        self.apart(Apart::EventsLost { events }, seen, fx);
    }

    /// Compares what the unit has counted with what its events add up to.
    fn reconcile(&mut self, status: &LoomStatus, now: i64, fx: &mut Vec<Effect>) {
        if self.next_event != Some(status.next) {
            return;
        }
        if std::mem::replace(&mut self.counts_known, true) && self.counts != status.counts {
            let net = |counts: &LoomCounts| i64::from(counts.forward) - i64::from(counts.back);
            let apart = Apart::Counts {
                unit: net(&status.counts),
                events: net(&self.counts),
            };
            self.apart(apart, self.seen_now(now), fx);
        }
        self.counts = status.counts;
    }

    pub(super) fn events(&mut self, message: &LoomEvents, now: i64, fx: &mut Vec<Effect>) {
        let (Some(board), Some(mut next)) = (self.board, self.next_event) else {
            return;
        };
        let gap = message.first.wrapping_sub(next);
        if gap != 0 && gap < u32::MAX / 2 {
            self.lost(gap, message.first, now, fx);
            next = message.first;
        }
        let (mut events, mut records) = (Vec::new(), Vec::new());
        self.resume_by_itself(message, next, now, fx);
        for (number, event) in (message.first..).zip(&message.events) {
            if number != next {
                // sent again: it is here already
                continue;
            }
            next = next.wrapping_add(1);
            let moment = self.clock.at(event.at_us).unwrap_or(Moment {
                at_ms: now,
                error_us: u64::MAX,
            });
            self.counts.add(event.what);
            events.push(NewLoomEvent {
                board,
                boot: self.boot,
                number,
                unit_us: event.at_us,
                at: UnixMillis(moment.at_ms),
                error_us: moment.error_us,
                what: name(event.what),
            });
            let seen = Seen {
                number,
                at: moment.at_ms,
                what: event.what,
            };
            if !self.keeps_for_later(seen, now, fx) {
                self.see(seen, "loom", now, &mut records, fx);
            }
        }
        self.next_event = Some(next);
        if !events.is_empty() {
            self.store(events, records, fx);
        }
        self.caught_until(next);
        self.nothing_missed(now, fx);
    }

    /// Somebody who weaves is not resting. It is written down before the events are, as
    /// a place is written down with all that led to it or with none.
    fn resume_by_itself(
        &mut self,
        message: &LoomEvents,
        next: u32,
        now: i64,
        fx: &mut Vec<Effect>,
    ) {
        let here = next.wrapping_sub(message.first) as usize;
        let beat = message
            .events
            .iter()
            .skip(here)
            .find(|event| event.what == Happening::Beat);
        if let Some(beat) = beat.filter(|_| self.paused) {
            let at = self.clock.at(beat.at_us).map_or(now, |moment| moment.at_ms);
            self.says(&super::Says::Resume, at, fx);
        }
    }

    pub(super) fn refused(&mut self, refusal: &Refusal, fx: &mut Vec<Effect>) {
        match refusal {
            Refusal::Setting(BadSetting::Loom) => {
                self.end = Some(End::Refused(setting_words(BadSetting::Loom)));
            }
            // stored by another host, or let go meanwhile: ask where it stands
            Refusal::NoSuchEvent(_) => {
                self.follows = false;
                fx.push(Effect::Send(HostToUnit::Ask(Question::Loom)));
            }
            _ => {}
        }
    }
}

/// The name of an event in the ledger.
fn name(what: Happening) -> &'static str {
    match what {
        Happening::CardForward => "card forward",
        Happening::CardBack => "card back",
        Happening::CylinderUnclear => "cylinder unclear",
        Happening::Lift => "lift",
        Happening::Beat => "beat",
        Happening::ShuttleLeft => "shuttle left",
        Happening::ShuttleRight => "shuttle right",
        Happening::TakenUp => "taken up",
        Happening::LetOff => "let off",
    }
}
