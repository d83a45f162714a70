//! The job itself.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use cardwright_protocol::card::Stroke;
use cardwright_protocol::host_to_unit::{Question, Work};
use cardwright_protocol::unit_to_host::{
    BadSetting, CardEnded, Counters, Identity, Refusal, State, Status, Stop, StopReason,
};
use cardwright_protocol::{Attempt, CardId, HostToUnit, UnitToHost};

use super::account::{Account, SpoiledCard, UnitCount};
use super::flight::{Flight, Key, Stage};
use super::news::News;
use super::settle::{Fate, fates};
use super::verdict::{news_of, news_unread, record_read, record_unread};
use super::words::{remedy_of_stop, stop_words, unsafe_words};
use super::{Effect, End, Input, Kind, Mark, Order, Person, Recut, Task};
use crate::judge::{Fit, judge};
use crate::ledger::writer::Command;
use crate::ledger::{
    self, BoardId, Ending, EventKind, NewAttempt, NewEvent, SeenUnit, UnixMillis,
};

/// Attempts under way at a time: one in the rig and as many as a unit queues.
const UNDER_WAY: usize = 5;

/// Tries at one card in one run before it is left owed.
const TRIES: u32 = 10;

/// Where the job is.
#[derive(Clone, Debug, PartialEq)]
enum Phase {
    /// No session with the unit.
    Closed,
    /// Waiting for the unit's status; `fresh` at the start of a session.
    Asking { fresh: bool },
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

/// What waits for the ledger.
enum Pending {
    Sent(CardId),
    Ended { id: CardId, held: bool, news: News, spoiled: Option<SpoiledCard> },
    JobEnded,
}

/// A job in hand.
pub struct Job {
    order: Order,
    phase: Phase,
    /// A person has let the machine move, and it has not yet.
    authorised: bool,
    stopping: bool,
    heard: bool,
    unit_state: State,
    last_stop: StopReason,
    boot: u32,
    version: u16,
    flights: VecDeque<Flight>,
    todo: BTreeSet<Key>,
    good: BTreeSet<cardwright_protocol::CardNumber>,
    used: BTreeMap<cardwright_protocol::CardNumber, u32>,
    tries: BTreeMap<cardwright_protocol::CardNumber, u32>,
    credit: (u32, u32),
    sent: (u32, u32),
    next_mark: u64,
    pending: BTreeMap<Mark, Pending>,
    counts: UnitCount,
    account: Account,
}

impl Job {
    /// A job that has not begun. A person has ordered it, so it may let the
    /// machine move once.
    #[must_use]
    pub fn new(order: Order) -> Job {
        let card_key = |card| order.cards.iter().position(|c| *c == card).map(|at| (0, at));
        let open = order.open.iter().map(|open| {
            let strokes = order.deck.strokes(open.id.card).unwrap_or_default();
            Flight::new(open.id, strokes, Stage::Sent, card_key(open.id.card))
        });
        let flights: VecDeque<Flight> = open.collect();
        let under_way = |at: &usize| {
            order.cards.get(*at).is_some_and(|card| flights.iter().any(|f| f.id.card == *card))
        };
        let todo = (0..order.cards.len()).filter(|at| !under_way(at)).map(|at| (0, at)).collect();
        Job {
            phase: Phase::Closed,
            authorised: true,
            stopping: false,
            heard: false,
            unit_state: State::Stopped,
            last_stop: StopReason::PowerOn,
            boot: 0,
            version: 0,
            flights,
            todo,
            good: BTreeSet::new(),
            used: order.used.clone(),
            tries: BTreeMap::new(),
            credit: (0, 0),
            sent: (0, 0),
            next_mark: 0,
            pending: BTreeMap::new(),
            counts: UnitCount::default(),
            account: Account::default(),
            order,
        }
    }

    /// The account as it stands.
    #[must_use]
    pub fn account(&self) -> Account {
        let mut account = self.account.clone();
        account.close(&self.counts.total(), &self.order.cards, &self.good);
        account
    }

    fn work(&self) -> Work {
        match self.order.kind {
            Kind::Cut => Work::Cut,
            Kind::Verify => Work::Read,
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

    fn event(&mut self, kind: EventKind, detail: serde_json::Value, at: UnixMillis, fx: &mut Vec<Effect>) {
        let event = NewEvent { at, job: Some(self.order.number), kind, detail };
        self.record(Command::Event(event), None, fx);
    }

    // ---- the session ----

    fn opened(&mut self, boot: u32, version: u16, fx: &mut Vec<Effect>) {
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

    fn identity(&mut self, identity: &Identity, at: UnixMillis, fx: &mut Vec<Effect>) {
        let board = BoardId(identity.board);
        fx.push(Effect::Tell(News::Unit {
            board: board.to_string(),
            firmware: identity.firmware.to_string(),
            boot: identity.boot,
        }));
        let seen = SeenUnit {
            board,
            role: identity.role,
            firmware: identity.firmware.to_string(),
            protocol: self.version,
            boot: identity.boot,
            last_stop: identity.last_stop,
            settings: serde_json::to_value(self.order.settings).ok(),
            at,
        };
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

    fn status(&mut self, status: &Status, at: UnixMillis, fx: &mut Vec<Effect>) {
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

    fn settle(&mut self, status: &Status, fresh: bool, at: UnixMillis, fx: &mut Vec<Effect>) {
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
    fn settled(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let open = |flight: &Flight| flight.at_unit() || flight.stage == Stage::Closing;
        if self.phase != Phase::Settling || self.flights.iter().any(open) {
            return;
        }
        if self.stopping {
            self.finish(End::Stopped, at, fx);
        } else if self.todo.is_empty() && self.flights.is_empty() {
            self.finish_done(at, fx);
        } else if self.authorised {
            self.begin(at, fx);
        } else {
            self.await_reset(remedy_of_stop(self.last_stop).to_string(), fx);
        }
    }

    fn await_reset(&mut self, remedy: String, fx: &mut Vec<Effect>) {
        self.phase = Phase::AwaitingReset;
        fx.push(Effect::Tell(News::NeedsReset { remedy }));
    }

    fn begin(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.authorised = false;
        self.phase = Phase::Running;
        self.event(EventKind::Reset, serde_json::json!({}), at, fx);
        let settings = HostToUnit::Configure(self.order.settings);
        for order in [settings, HostToUnit::Reset, HostToUnit::Start] {
            fx.push(Effect::Send(order));
        }
        fx.push(Effect::Tell(News::Started));
        self.pump(at, fx);
    }

    // ---- cards out ----

    fn pump(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        if self.phase != Phase::Running {
            return;
        }
        self.choose(at, fx);
        self.stream(fx);
        if self.todo.is_empty() && self.flights.is_empty() {
            self.finish_done(at, fx);
        }
    }

    /// Takes cards up and has their attempts written down.
    fn choose(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        while self.flights.iter().filter(|f| f.stage != Stage::Closing).count() < UNDER_WAY {
            let Some(key) = self.todo.pop_first() else { return };
            let Some(card) = self.order.cards.get(key.1).copied() else { continue };
            let strokes: Vec<Stroke> = self.order.deck.strokes(card).unwrap_or_default();
            let used = self.used.entry(card).or_insert(0);
            *used += 1;
            let id = CardId { job: self.order.number, card, attempt: Attempt(*used) };
            let flight = Flight::new(id, strokes, Stage::Recording, Some(key));
            let attempt =
                NewAttempt { id, strokes: flight.strokes.len() as u16, crc: flight.crc, sent: at };
            self.flights.push_back(flight);
            self.record(Command::AttemptSent(vec![attempt]), Some(Pending::Sent(id)), fx);
        }
    }

    /// Sends what the unit has room for, in order.
    fn stream(&mut self, fx: &mut Vec<Effect>) {
        let work = self.work();
        let count = self.flights.len();
        for at in 0..count {
            let more = at + 1 < count || !self.todo.is_empty();
            let Some(flight) = self.flights.get_mut(at) else { return };
            if flight.stage == Stage::Recording {
                return;
            }
            if flight.stage == Stage::Sendable {
                if self.sent.1 >= self.credit.1 {
                    return;
                }
                self.sent.1 += 1;
                flight.boot = Some(self.boot);
                flight.stage = Stage::Streaming(0);
                fx.push(Effect::Send(HostToUnit::Card(flight.header(work, more))));
            }
            while let Stage::Streaming(_) = flight.stage {
                let most = self.credit.0.saturating_sub(self.sent.0);
                let Some((message, strokes, stage)) = flight.next_strokes(most) else { return };
                self.sent.0 += strokes;
                flight.stage = stage;
                fx.push(Effect::Send(message));
            }
        }
    }

    // ---- cards in ----

    fn flight(&mut self, id: CardId) -> Option<&mut Flight> {
        self.flights.iter_mut().find(|flight| flight.id == id)
    }

    fn card_ended(&mut self, ended: CardEnded, at: UnixMillis, fx: &mut Vec<Effect>) {
        let (holes, samples) = (self.order.settings.holes, self.order.settings.samples_per_row);
        let Some(flight) = self.flight(ended.id) else { return };
        if flight.stage == Stage::Closing {
            return;
        }
        if !ended.complete {
            return self.close_unread(ended.id, ledger::Verdict::Interrupted, Some(ended), at, fx);
        }
        let Some(reading) = flight.collect.end(ended, holes, samples) else {
            return self.close_unread(ended.id, ledger::Verdict::Unread, Some(ended), at, fx);
        };
        let strokes = std::mem::take(&mut flight.strokes);
        let fit = match self.order.kind {
            Kind::Cut => Fit::None,
            Kind::Verify => Fit::OffsetAndStretch,
        };
        let report = judge(&strokes, &self.order.geometry, &reading, &self.order.limits, fit);
        let news = news_of(&report, ended.id, ended.place);
        let record = record_read(&report, reading, at);
        self.close(record, news, true, fx);
    }

    fn close_unread(
        &mut self,
        id: CardId,
        verdict: ledger::Verdict,
        ended: Option<CardEnded>,
        at: UnixMillis,
        fx: &mut Vec<Effect>,
    ) {
        let begun = self.flight(id).and_then(|flight| flight.collect.began);
        let place = ended.map(|end| end.place).or(begun.map(|began| began.place));
        let mut record = record_unread(id, verdict, ended, at);
        record.place = place.filter(|_| verdict != ledger::Verdict::NotBegun);
        self.close(record, news_unread(id, verdict, place), false, fx);
    }

    fn close(
        &mut self,
        record: ledger::EndedAttempt,
        news: News,
        held: bool,
        fx: &mut Vec<Effect>,
    ) {
        let boot = self.boot;
        let Some(flight) = self.flight(record.id) else { return };
        flight.stage = Stage::Closing;
        let (id, verdict) = (record.id, record.verdict);
        let bad = !matches!(verdict, ledger::Verdict::Good | ledger::Verdict::NotBegun);
        let spoiled = record.place.filter(|_| bad).map(|place| SpoiledCard {
            place,
            boot,
            card: id.card,
            attempt: id.attempt,
            verdict: verdict.word().to_string(),
        });
        if bad {
            self.account.faults += 1;
            *self.account.by_verdict.entry(verdict.word().to_string()).or_insert(0) += 1;
        }
        for fault in &record.faults {
            *self.account.by_hole.entry(fault.kind.clone()).or_insert(0) += 1;
        }
        let pending = Pending::Ended { id, held, news, spoiled };
        self.record(Command::AttemptEnded(Box::new(record)), Some(pending), fx);
    }

    fn recorded(&mut self, mark: Mark, at: UnixMillis, fx: &mut Vec<Effect>) {
        match self.pending.remove(&mark) {
            Some(Pending::Sent(id)) => {
                if let Some(flight) = self.flight(id) {
                    flight.stage = Stage::Sendable;
                }
            }
            Some(Pending::Ended { id, held, news, spoiled }) => {
                self.ended(id, held, news, spoiled, fx);
            }
            Some(Pending::JobEnded) => {
                if let Phase::Closing(end) = &self.phase {
                    self.phase = Phase::Over(end.clone());
                    fx.push(Effect::Tell(News::Summary(Box::new(self.account()))));
                }
                return;
            }
            None => return,
        }
        self.settled(at, fx);
        self.pump(at, fx);
    }

    /// A card's end is on disk.
    fn ended(
        &mut self,
        id: CardId,
        held: bool,
        news: News,
        spoiled: Option<SpoiledCard>,
        fx: &mut Vec<Effect>,
    ) {
        let Some(at) = self.flights.iter().position(|flight| flight.id == id) else { return };
        let key = self.flights.remove(at).and_then(|flight| flight.key);
        if held {
            fx.push(Effect::Send(HostToUnit::Recorded(id)));
            fx.push(Effect::Send(HostToUnit::Ask(Question::Counters)));
        }
        let verdict = match &news {
            News::Card { verdict, .. } => verdict.clone(),
            _ => String::new(),
        };
        fx.push(Effect::Tell(news));
        self.account.take_out.extend(spoiled);
        if verdict == ledger::Verdict::Good.word() {
            self.good.insert(id.card);
        } else if let Some(key) = key {
            self.again(key, id, verdict == ledger::Verdict::NotBegun.word());
        }
    }

    /// Puts a card back into the order of work, if it is to be tried again.
    fn again(&mut self, (round, at): Key, id: CardId, not_begun: bool) {
        if not_begun {
            self.todo.insert((round, at));
            return;
        }
        let tries = self.tries.entry(id.card).or_insert(0);
        *tries += 1;
        if self.order.kind == Kind::Verify || *tries >= TRIES {
            return;
        }
        match self.order.recut {
            Recut::End => self.todo.insert((1, at)),
            Recut::Now => self.todo.insert((0, at)),
            Recut::Never => false,
        };
    }

    // ---- stops and refusals ----

    fn stopped(&mut self, stop: &Stop, at: UnixMillis, fx: &mut Vec<Effect>) {
        self.last_stop = stop.reason;
        self.unit_state = State::Stopped;
        if matches!(self.phase, Phase::Finishing(_) | Phase::Closing(_) | Phase::Over(_)) {
            return;
        }
        self.account.stops += 1;
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

    fn refused(&mut self, refusal: &Refusal, at: UnixMillis, fx: &mut Vec<Effect>) {
        let detail = serde_json::to_value(refusal).unwrap_or_default();
        self.event(EventKind::OrderRefused, detail, at, fx);
        match refusal {
            Refusal::Unsafe(reason) => {
                fx.push(Effect::Tell(News::Refused { words: unsafe_words(*reason) }));
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
            Refusal::NoSuchPart => {}
        }
    }

    fn card_refused(&mut self, id: CardId, refusal: &Refusal, at: UnixMillis, fx: &mut Vec<Effect>) {
        let Some(flight) = self.flight(id).filter(|flight| flight.at_unit()) else { return };
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

    // ---- a person ----

    fn person(&mut self, order: Person, at: UnixMillis, fx: &mut Vec<Effect>) {
        match order {
            Person::Reset => match self.phase {
                Phase::AwaitingReset => self.begin(at, fx),
                Phase::Closed | Phase::Asking { .. } | Phase::Settling => self.authorised = true,
                _ => {}
            },
            Person::Pause => fx.push(Effect::Send(HostToUnit::Pause)),
            Person::Resume => fx.push(Effect::Send(HostToUnit::Resume)),
            Person::CardsLaidIn => fx.push(Effect::Send(HostToUnit::CardLaidIn)),
            Person::Stop => self.person_stops(at, fx),
        }
    }

    fn person_stops(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let again = std::mem::replace(&mut self.stopping, true);
        match self.phase {
            Phase::Closed => self.phase = self.close_job(End::Stopped, at, fx),
            Phase::AwaitingReset => self.finish(End::Stopped, at, fx),
            Phase::Running | Phase::Draining => {
                self.phase = Phase::Draining;
                // nothing moves while a card is waited for, so nothing is lost
                let now = again || self.unit_state == State::WaitingForCard;
                let orders: &[HostToUnit] = if now {
                    &[HostToUnit::Stop]
                } else {
                    &[HostToUnit::DropQueue, HostToUnit::Resume, HostToUnit::Ask(Question::Status)]
                };
                fx.extend(orders.iter().cloned().map(Effect::Send));
            }
            _ => {}
        }
    }

    // ---- the end ----

    fn finish_done(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let faults = match self.order.kind {
            Kind::Cut => self.order.cards.iter().any(|card| !self.good.contains(card)),
            Kind::Verify => self.account.faults > 0,
        };
        self.finish(End::Done { faults }, at, fx);
    }

    /// Outputs off, the last counts, then the end.
    fn finish(&mut self, end: End, at: UnixMillis, fx: &mut Vec<Effect>) {
        if !self.heard {
            self.phase = self.close_job(end, at, fx);
            return;
        }
        self.phase = Phase::Finishing(end);
        fx.push(Effect::Send(HostToUnit::Stop));
        fx.push(Effect::Send(HostToUnit::Ask(Question::Counters)));
    }

    fn refuse(&mut self, words: String, at: UnixMillis, fx: &mut Vec<Effect>) {
        fx.push(Effect::Send(HostToUnit::Stop));
        self.phase = self.close_job(End::Refused(words), at, fx);
    }

    fn close_job(&mut self, end: End, at: UnixMillis, fx: &mut Vec<Effect>) -> Phase {
        let ending = match end {
            End::Done { .. } => Ending::Done,
            End::Stopped => Ending::Stopped,
            End::Failed(_) | End::Refused(_) => Ending::Failed,
        };
        let command = Command::EndJob(self.order.number, ending, at);
        self.record(command, Some(Pending::JobEnded), fx);
        Phase::Closing(end)
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
                let Some(flight) = self.flight(id) else { return };
                flight.collect.begin(began);
                if flight.at_unit() {
                    flight.stage = Stage::Begun;
                }
                let (card, attempt, place) = (id.card, id.attempt, began.place);
                fx.push(Effect::Tell(News::Begun { card, attempt, place }));
            }
            UnitToHost::StrokesDone { id, done } => {
                let Some(flight) = self.flight(id) else { return };
                let of = flight.strokes.len() as u16;
                fx.push(Effect::Tell(News::Progress { card: id.card, strokes: done, of }));
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
            UnitToHost::Exercised { .. } => {}
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

    fn end(&self) -> Option<&End> {
        match &self.phase {
            Phase::Over(end) => Some(end),
            _ => None,
        }
    }
}

fn setting_words(setting: BadSetting) -> String {
    let name = match setting {
        BadSetting::Holes => "the number of holes a row",
        BadSetting::StepsPerMetre => "feed steps a metre",
        BadSetting::Geometry => "a pitch, length or number of samples",
        BadSetting::Speed => "a feed speed or the acceleration",
        BadSetting::CoilsAtOnce => "the number of coils switched on at once",
        BadSetting::CoilOnTime => "the longest on-time of a coil",
        BadSetting::CoilDuty => "the duty of a coil",
        BadSetting::StrokeTimeout => "the longest time of a stroke",
        BadSetting::Supply => "the supply's lowest and highest voltage",
    };
    format!(
        "the unit refuses the settings: {name} is outside its own limits; change it in the rig file \
         (`cardwright rig info` shows the limits)"
    )
}
