//! The unit's side: which unit, which of its events, and what came while nobody
//! looked.

use cardwright_protocol::HostToUnit;
use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::loom::{Happening, LoomCounts, LoomEvents, LoomStatus};
use cardwright_protocol::unit_to_host::{BadSetting, Identity, Refusal};
use serde_json::json;

use super::{CatchUp, Seen, Weave};
use crate::job::{Effect, End, News, setting_words};
use crate::ledger::writer::Command;
use crate::ledger::{BoardId, NewLoomEvent, SeenUnit, UnixMillis, WeavingKind};
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
                if !again && status.next != next {
                    self.catch_up = Some(CatchUp {
                        until: status.next,
                        events: Vec::new(),
                        asked: false,
                    });
                }
                next
            }
            None => {
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
        let mut told = Vec::new();
        self.watch
            .apart(Apart::UnitOff, self.seen_now(now), &mut told);
        self.next_event = Some(status.next);
        self.keep(now, Vec::new(), Vec::new(), &told, fx);
    }

    fn seen_now(&self, now: i64) -> Seen {
        Seen {
            number: self.next_event.unwrap_or_default(),
            at: now,
            // a time and a number are all that is looked at
            what: Happening::CylinderUnclear,
        }
    }

    /// The unit could not keep so many events.
    fn lost(&mut self, events: u32, next: u32, now: i64, fx: &mut Vec<Effect>) {
        let mut told = Vec::new();
        let seen = self.seen_now(now);
        self.watch
            .apart(Apart::EventsLost { events }, seen, &mut told);
        self.next_event = Some(next);
        self.counts_known = false;
        self.keep(now, Vec::new(), Vec::new(), &told, fx);
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
            let mut told = Vec::new();
            self.watch.apart(apart, self.seen_now(now), &mut told);
            self.keep(now, Vec::new(), Vec::new(), &told, fx);
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
        let (mut events, mut told) = (Vec::new(), Vec::new());
        let asks_place = self.asks_place();
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
            match &mut self.catch_up {
                Some(catch_up) => catch_up.events.push(seen),
                None if asks_place => self.unplaced.push(seen),
                None => {
                    self.resume_by_itself(seen, fx);
                    self.watch.see(seen, &mut told);
                }
            }
        }
        self.next_event = Some(next);
        if !events.is_empty() {
            self.keep(now, events, Vec::new(), &told, fx);
        }
        if let Some(catch_up) = &mut self.catch_up {
            catch_up.asked |= catch_up.until.wrapping_sub(next) == 0
                || catch_up.until.wrapping_sub(next) > u32::MAX / 2;
        }
        self.nothing_missed(now, fx);
    }

    /// Somebody who weaves is not resting.
    fn resume_by_itself(&mut self, seen: Seen, fx: &mut Vec<Effect>) {
        if self.paused && seen.what == Happening::Beat {
            self.says(&super::Says::Resume, seen.at, fx);
        }
    }

    /// If nothing happened meanwhile but wefts laid aside and cloth wound on, there
    /// is nothing to ask.
    fn nothing_missed(&mut self, now: i64, fx: &mut Vec<Effect>) {
        let asks = self.catch_up.as_ref().is_some_and(|catch_up| {
            catch_up.asked
                && catch_up
                    .events
                    .iter()
                    .all(|seen| matches!(seen.what, Happening::TakenUp | Happening::LetOff))
        });
        if asks {
            self.caught_up(true, now, fx);
        }
    }

    /// What was seen meanwhile is taken as it was counted, or laid aside.
    pub(super) fn caught_up(&mut self, take: bool, now: i64, fx: &mut Vec<Effect>) {
        let Some(catch_up) = self.catch_up.take_if(|catch_up| catch_up.asked) else {
            return;
        };
        let (turns, beats) = sums(&catch_up.events);
        let detail = json!({
            "taken": take, "events": catch_up.events.len(), "turns": turns, "beats": beats
        });
        let mut told = Vec::new();
        if take {
            for seen in &catch_up.events {
                self.watch.see(*seen, &mut told);
            }
        } else if turns != 0 {
            self.watch.forget_stand(&mut told);
        }
        self.keep(
            now,
            Vec::new(),
            vec![(WeavingKind::Caught, detail)],
            &told,
            fx,
        );
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

/// Cards turned on less those turned back, and beats.
pub(super) fn sums(events: &[Seen]) -> (i64, u64) {
    events
        .iter()
        .fold((0, 0), |(turns, beats), seen| match seen.what {
            Happening::CardForward => (turns + 1, beats),
            Happening::CardBack => (turns - 1, beats),
            Happening::Beat => (turns, beats + 1),
            _ => (turns, beats),
        })
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
