//! The job itself: its state, and what it is told.

mod cards;
mod session;
mod stops;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use cardwright_protocol::host_to_unit::{Question, Work};
use cardwright_protocol::unit_to_host::{Counters, State, StopReason};
use cardwright_protocol::{CardId, HostToUnit, UnitToHost};

use super::account::{Account, SpoiledCard, UnitCount};
use super::flight::{Flight, Key, Stage};
use super::news::News;
use super::stacked::Stacked;
use super::{Effect, End, Input, Kind, Mark, Order, Task};
use crate::judge::Judge;
use crate::ledger::writer::Command;
use crate::ledger::{self, EventKind, NewEvent, UnixMillis};

/// Attempts under way at a time: one in the rig and as many as a unit queues.
const UNDER_WAY: usize = 5;

/// Tries at one card in one run before it is left owed.
const TRIES: u32 = 10;

/// Stops without one good card between before the job gives up.
const STOPS: u32 = 50;

/// Where the job is.
#[derive(Clone, Debug, PartialEq)]
enum Phase {
    /// No session with the unit.
    Closed,
    /// Waiting for the unit's status; `fresh` at the start of a session.
    Asking {
        fresh: bool,
    },
    /// Waiting for readings the unit holds.
    Settling,
    /// Nothing moves until a person says so.
    AwaitingReset,
    /// Cards are sent.
    Running,
    /// The last card is awaited; nothing more is sent.
    Draining,
    /// The last counts are awaited.
    Finishing(End),
    /// Its end is being written down.
    Closing(End),
    Over(End),
}

/// The end of an attempt, while it is being written down.
struct Ended {
    id: CardId,
    verdict: ledger::Verdict,
    /// Whether the unit holds its readings.
    held: bool,
    news: News,
    spoiled: Option<SpoiledCard>,
}

/// What waits for the ledger.
enum Pending {
    Sent(CardId),
    Ended(Ended),
    JobEnded,
}

/// A job in hand.
pub struct Job {
    order: Order,
    phase: Phase,
    /// A person has let the machine move, and it has not yet.
    authorised: bool,
    stopping: bool,
    /// A person says that the stack ends here.
    read_to_end: bool,
    heard: bool,
    unit_state: State,
    last_stop: StopReason,
    boot: u32,
    version: u16,
    /// Stops since the last good card.
    fruitless: u32,
    flights: VecDeque<Flight>,
    todo: BTreeSet<Key>,
    /// Spoiled cards that are cut again only if a person asks.
    left: BTreeSet<Key>,
    good: BTreeSet<cardwright_protocol::CardNumber>,
    used: BTreeMap<cardwright_protocol::CardNumber, u32>,
    tries: BTreeMap<cardwright_protocol::CardNumber, u32>,
    credit: (u32, u32),
    sent: (u32, u32),
    next_mark: u64,
    last_sent: UnixMillis,
    pending: BTreeMap<Mark, Pending>,
    counts: UnitCount,
    account: Account,
    /// The order of the stack, if a whole one is verified.
    stack: Option<Stacked>,
    /// Cards of it that lie at another one's place and are good.
    sound_elsewhere: BTreeSet<cardwright_protocol::CardNumber>,
    judge: Judge,
}

impl Job {
    /// A job that has not begun. A person has ordered it, so it may let the
    /// machine move once.
    #[must_use]
    pub fn new(order: Order) -> Job {
        let card_key = |card| {
            order
                .cards
                .iter()
                .position(|c| *c == card)
                .map(|at| (0, at))
        };
        let open = order.open.iter().map(|open| {
            let strokes = order.strokes(open.id.card);
            Flight::new(open.id, strokes, Stage::Sent, card_key(open.id.card))
        });
        let flights: VecDeque<Flight> = open.collect();
        let under_way = |at: &usize| {
            order
                .cards
                .get(*at)
                .is_some_and(|card| flights.iter().any(|f| f.id.card == *card))
        };
        let todo = (0..order.cards.len())
            .filter(|at| !under_way(at))
            .map(|at| (0, at))
            .collect();
        Job {
            phase: Phase::Closed,
            authorised: order.first.is_none(),
            stopping: false,
            read_to_end: false,
            heard: false,
            unit_state: State::Stopped,
            last_stop: StopReason::PowerOn,
            boot: 0,
            version: 0,
            fruitless: 0,
            flights,
            todo,
            left: BTreeSet::new(),
            good: BTreeSet::new(),
            used: order.used.clone(),
            tries: BTreeMap::new(),
            credit: (0, 0),
            sent: (0, 0),
            next_mark: 0,
            last_sent: UnixMillis(0),
            pending: BTreeMap::new(),
            counts: UnitCount::default(),
            account: Account::default(),
            stack: Stacked::new(&order),
            sound_elsewhere: BTreeSet::new(),
            judge: Judge::new(
                &order.geometry,
                &order.limits,
                order.settings.samples_per_row,
            ),
            order,
        }
    }

    /// The account as it stands.
    #[must_use]
    pub fn account(&self) -> Account {
        let mut account = self.account.clone();
        let mut cards = self.order.cards.clone();
        if self.order.kind == Kind::Read {
            // how many there were to be, nobody knew
            cards.retain(|card| self.tries.contains_key(card) || self.good.contains(card));
        }
        let good = &self.good | &self.sound_elsewhere;
        account.close(&self.counts.total(), &cards, &good);
        account
    }

    fn work(&self) -> Work {
        match self.order.kind {
            Kind::Cut | Kind::Mend => Work::Cut,
            Kind::Verify | Kind::Read => Work::Read,
        }
    }

    fn record(&mut self, command: Command, pending: Option<Pending>, fx: &mut Vec<Effect>) {
        let mark = Mark(self.next_mark);
        self.next_mark += 1;
        if let Some(pending) = pending {
            self.pending.insert(mark, pending);
        }
        fx.push(Effect::Record(mark, Box::new(command)));
    }

    fn event(
        &mut self,
        kind: EventKind,
        detail: serde_json::Value,
        at: UnixMillis,
        fx: &mut Vec<Effect>,
    ) {
        let event = NewEvent {
            at,
            job: Some(self.order.number),
            kind,
            detail,
        };
        self.record(Command::Event(event), None, fx);
    }

    fn counters(&mut self, counters: Counters, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.counts.take(counters);
        if let Phase::Finishing(end) = &self.phase {
            let end = end.clone();
            self.phase = self.close_job(end, at, fx);
        }
    }

    /// The session is gone or mute: what only waited for the last counts ends
    /// without them.
    fn lost(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        if let Phase::Finishing(end) = &self.phase {
            let end = end.clone();
            self.phase = self.close_job(end, at, fx);
        }
    }

    fn state(&mut self, state: State, fx: &mut Vec<Effect>) {
        let before = std::mem::replace(&mut self.unit_state, state);
        let news = match state {
            State::Paused => Some(News::Paused),
            State::WaitingForCard => Some(News::WantsCards),
            _ if before == State::Paused => Some(News::Resumed),
            _ => None,
        };
        fx.extend(news.map(Effect::Tell));
        if self.phase == Phase::Draining {
            fx.push(Effect::Send(HostToUnit::Ask(Question::Status)));
        }
    }

    fn message(&mut self, message: UnitToHost, at: UnixMillis, fx: &mut Vec<Effect>) {
        match message {
            UnitToHost::Identity(identity) => self.identity(&identity, at, fx),
            UnitToHost::Status(status) => self.status(&status, at, fx),
            UnitToHost::Counters(counters) => self.counters(counters, at, fx),
            UnitToHost::Credit { strokes, cards } => {
                self.credit = (strokes, cards);
                self.pump(at, fx);
            }
            UnitToHost::CardBegan(began) => {
                let id = began.id;
                let Some(flight) = self.flight(id) else {
                    return;
                };
                flight.collect.begin(began);
                if flight.at_unit() {
                    flight.stage = Stage::Begun;
                }
                let (card, attempt, place) = (id.card, id.attempt, began.place);
                fx.push(Effect::Tell(News::Begun {
                    card,
                    attempt,
                    place,
                }));
            }
            UnitToHost::StrokesDone { id, done } => {
                let Some(flight) = self.flight(id) else {
                    return;
                };
                let of = flight.strokes.len() as u16;
                fx.push(Effect::Tell(News::Progress {
                    card: id.card,
                    strokes: done,
                    of,
                }));
            }
            UnitToHost::Lines { id, first, samples } => {
                let holes = self.order.settings.holes;
                if let Some(flight) = self.flight(id) {
                    flight.collect.lines(first, holes, &samples);
                }
            }
            UnitToHost::CardEnded(ended) => self.card_ended(ended, at, fx),
            UnitToHost::Stopped(stop) => self.stopped(&stop, at, fx),
            UnitToHost::State(state) => self.state(state, fx),
            UnitToHost::Refused(refusal) => self.refused(&refusal, at, fx),
            UnitToHost::Exercised { .. } | UnitToHost::Loom(_) | UnitToHost::LoomEvents(_) => {}
        }
    }
}

impl Task for Job {
    fn take(&mut self, input: Input, at: UnixMillis, fx: &mut Vec<Effect>) {
        if matches!(self.phase, Phase::Over(_)) {
            return;
        }
        let closing = matches!(self.phase, Phase::Closing(_));
        match input {
            Input::Recorded(mark) => self.recorded(mark, at, fx),
            _ if closing => {}
            Input::Opened { boot, version } => self.opened(boot, version, fx),
            Input::Message(message) => self.message(*message, at, fx),
            Input::UnitRestarted => {
                self.heard = false;
                fx.push(Effect::Tell(News::UnitRestarted));
                self.lost(at, fx);
            }
            Input::Silent => {
                self.heard = false;
                fx.push(Effect::Tell(News::UnitSilent));
                self.event(EventKind::UnitLost, serde_json::json!({}), at, fx);
                self.lost(at, fx);
            }
            Input::Heard => {
                self.heard = true;
                fx.push(Effect::Tell(News::UnitHeard));
                self.event(EventKind::UnitFound, serde_json::json!({}), at, fx);
            }
            Input::Person(order) => self.person(order, at, fx),
        }
    }

    fn waits_for_unit(&self) -> bool {
        match self.phase {
            Phase::Asking { .. } | Phase::Settling | Phase::Draining | Phase::Finishing(_) => true,
            Phase::Running => !matches!(self.unit_state, State::Paused | State::WaitingForCard),
            _ => false,
        }
    }

    fn end(&self) -> Option<&End> {
        match &self.phase {
            Phase::Over(end) => Some(end),
            _ => None,
        }
    }
}
