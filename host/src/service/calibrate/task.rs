//! The two cards' way through the rig. Enters: what the unit says, what is on
//! disk, a person's orders. Leaves: orders for the unit, records, what was found.
//! Refuses to call a card taken before its reading is on disk, to cut the full
//! card before the blank one was found good, and to store anything of two cards
//! of which one was refused. A stop ends it: nothing is lost but two cards.

use std::collections::BTreeSet;

use cardwright_protocol::host_to_unit::{Question, Settings, Work};
use cardwright_protocol::unit_to_host::{CardEnded, State};
use cardwright_protocol::{Attempt, CardId, CardNumber, HostToUnit, JobNumber, UnitToHost};

use crate::calibrate::{Calibration, Cards, Refusal, calibration_words};
use crate::job::flight::{Flight, Stage};
use crate::job::verdict::{record_read, record_unread};
use crate::job::{CalibrationNews, Effect, End, Input, Mark, News, Person, Task};
use crate::judge::Reading;
use crate::ledger::writer::Command;
use crate::ledger::{
    BoardId, EndedAttempt, Ending, NewAttempt, NewCalibration, UnixMillis, Verdict,
};

/// What is to be done.
pub(super) struct Order {
    pub number: JobNumber,
    pub cut: bool,
    pub settings: Settings,
    pub cards: Cards,
    /// Attempts of other jobs that are open: their readings must not be lost.
    pub open_elsewhere: BTreeSet<CardId>,
}

/// What is waited for.
pub(super) enum Phase {
    /// The unit's status.
    Asking,
    /// A card is written down, sent, read.
    Working,
    /// The end is being written down.
    Closing(End),
    Over(End),
}

/// What waits for the ledger.
pub(super) enum Pending {
    Sent,
    /// A card's end; with its reading, if it was taken.
    Ended(CardId, Result<Box<Reading>, String>),
    Stored(Box<Calibration>),
    Closed,
}

/// A calibration in hand.
pub(super) struct Calibrate {
    pub(super) order: Order,
    pub(super) phase: Phase,
    pub(super) version: u16,
    pub(super) board: Option<BoardId>,
    pub(super) state: State,
    flight: Option<Flight>,
    blank: Option<Box<Reading>>,
    /// Strokes that may be sent and were, since the session began.
    credit: u32,
    sent: u32,
    next_mark: u64,
    pending: Option<(Mark, Pending)>,
}

impl Calibrate {
    pub fn new(order: Order) -> Calibrate {
        Calibrate {
            order,
            phase: Phase::Asking,
            version: 0,
            board: None,
            state: State::Stopped,
            flight: None,
            blank: None,
            credit: 0,
            sent: 0,
            next_mark: 0,
            pending: None,
        }
    }

    pub(super) fn record(
        &mut self,
        command: Command,
        pending: Option<Pending>,
        fx: &mut Vec<Effect>,
    ) {
        let mark = Mark(self.next_mark);
        self.next_mark += 1;
        if let Some(pending) = pending {
            self.pending = Some((mark, pending));
        }
        fx.push(Effect::Record(mark, Box::new(command)));
    }

    /// Outputs off, the end written down.
    pub(super) fn close(&mut self, end: End, at: UnixMillis, fx: &mut Vec<Effect>) {
        if matches!(self.phase, Phase::Closing(_) | Phase::Over(_)) {
            return;
        }
        fx.push(Effect::Send(HostToUnit::Stop));
        if let Some(flight) = self.flight.take_if(|flight| flight.stage != Stage::Closing) {
            let ended = record_unread(flight.id, unread(&flight), None, at);
            self.record(Command::AttemptEnded(Box::new(ended)), None, fx);
        }
        let ending = match end {
            End::Done { .. } => Ending::Done,
            End::Stopped => Ending::Stopped,
            End::Failed(_) | End::Refused(_) => Ending::Failed,
        };
        let command = Command::EndJob(self.order.number, ending, at);
        self.record(command, Some(Pending::Closed), fx);
        self.phase = Phase::Closing(end);
    }

    /// Nothing is stored, for what the cards or the reader show.
    pub(super) fn refuse(&mut self, refusal: String, at: UnixMillis, fx: &mut Vec<Effect>) {
        fx.push(Effect::Tell(News::Calibration(Box::new(CalibrationNews {
            stored: false,
            refusal,
            found: None,
            words: Vec::new(),
        }))));
        self.close(End::Done { faults: true }, at, fx);
    }

    /// The next card: the blank one, then the full one.
    pub(super) fn take_up(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let (card, strokes) = match self.blank {
            None => (1, self.order.cards.blank_strokes()),
            Some(_) => (2, self.order.cards.full_strokes()),
        };
        let id = CardId {
            job: self.order.number,
            card: CardNumber(card),
            attempt: Attempt(1),
        };
        let flight = Flight::new(id, strokes, Stage::Recording, None);
        let attempt = NewAttempt {
            id,
            strokes: flight.strokes.len() as u16,
            crc: flight.crc,
            sent: at,
        };
        self.flight = Some(flight);
        self.record(Command::AttemptSent(vec![attempt]), Some(Pending::Sent), fx);
    }

    /// Sends of the card what the unit has room for.
    fn stream(&mut self, fx: &mut Vec<Effect>) {
        let full = self.blank.is_some();
        let Some(flight) = &mut self.flight else {
            return;
        };
        if flight.stage == Stage::Sendable {
            let work = if self.order.cut && full {
                Work::Cut
            } else {
                Work::Read
            };
            flight.stage = Stage::Streaming(0);
            fx.push(Effect::Send(HostToUnit::Card(flight.header(work, !full))));
        }
        let mut most = self.credit.saturating_sub(self.sent);
        while let Some((message, strokes, stage)) = flight.next_strokes(most) {
            self.sent += strokes;
            most -= strokes;
            flight.stage = stage;
            fx.push(Effect::Send(message));
        }
    }

    fn card_ended(&mut self, ended: CardEnded, at: UnixMillis, fx: &mut Vec<Effect>) {
        let settings = self.order.settings;
        let Some(flight) = self.flight.as_mut().filter(|f| f.id == ended.id) else {
            return;
        };
        let reading = flight
            .collect
            .end(ended, settings.holes, settings.samples_per_row)
            .filter(|_| ended.complete);
        flight.stage = Stage::Closing;
        let (record, taken) = match reading {
            Some(reading) => self.look(reading, at),
            None => {
                let record = record_unread(ended.id, Verdict::Interrupted, Some(ended), at);
                let name = if self.blank.is_none() {
                    "blank"
                } else {
                    "full"
                };
                (record, Err(Refusal::Interrupted(name).to_string()))
            }
        };
        let pending = Pending::Ended(ended.id, taken);
        self.record(Command::AttemptEnded(Box::new(record)), Some(pending), fx);
    }

    /// Looks at a card that was read.
    fn look(
        &self,
        reading: Reading,
        at: UnixMillis,
    ) -> (EndedAttempt, Result<Box<Reading>, String>) {
        let (report, refusal) = match self.blank {
            None => self.order.cards.look_at_blank(&reading),
            Some(_) => self.order.cards.look_at_full(&reading),
        };
        let taken = match refusal {
            Some(refusal) => Err(refusal.to_string()),
            None => Ok(Box::new(reading.clone())),
        };
        (record_read(&report, reading, at), taken)
    }

    fn recorded(&mut self, mark: Mark, at: UnixMillis, fx: &mut Vec<Effect>) {
        let Some((_, pending)) = self.pending.take_if(|(waited, _)| *waited == mark) else {
            return;
        };
        match pending {
            Pending::Sent => {
                if let Some(flight) = &mut self.flight {
                    flight.stage = Stage::Sendable;
                }
                self.stream(fx);
            }
            Pending::Ended(id, taken) => {
                self.flight = None;
                fx.push(Effect::Send(HostToUnit::Recorded(id)));
                match (taken, self.blank.take()) {
                    (Err(refusal), _) => self.refuse(refusal, at, fx),
                    (Ok(blank), None) => {
                        self.blank = Some(blank);
                        self.take_up(at, fx);
                    }
                    (Ok(full), Some(blank)) => self.store(&blank, &full, at, fx),
                }
            }
            Pending::Stored(found) => {
                fx.push(Effect::Tell(News::Calibration(Box::new(CalibrationNews {
                    stored: true,
                    refusal: String::new(),
                    words: calibration_words(&found),
                    found: Some(*found),
                }))));
                self.close(End::Done { faults: false }, at, fx);
            }
            Pending::Closed => {
                if let Phase::Closing(end) = &self.phase {
                    self.phase = Phase::Over(end.clone());
                }
            }
        }
    }

    fn store(&mut self, blank: &Reading, full: &Reading, at: UnixMillis, fx: &mut Vec<Effect>) {
        let found = match self.order.cards.calibrate(blank, full) {
            Ok(found) => found,
            Err(refusal) => return self.refuse(refusal.to_string(), at, fx),
        };
        let (Some(board), Ok(detail)) = (self.board, serde_json::to_value(&found)) else {
            let words = "the unit has not said which it is; calibrate again".to_string();
            return self.close(End::Failed(words), at, fx);
        };
        let new = NewCalibration {
            board,
            holes: self.order.settings.holes,
            at,
            detail,
        };
        let pending = Pending::Stored(Box::new(found));
        self.record(Command::Calibrated(new), Some(pending), fx);
    }

    fn message(&mut self, message: UnitToHost, at: UnixMillis, fx: &mut Vec<Effect>) {
        match message {
            UnitToHost::Identity(identity) => self.identity(&identity, at, fx),
            UnitToHost::Status(status) => self.status(&status, at, fx),
            UnitToHost::Credit { strokes, .. } => {
                self.credit = strokes;
                self.stream(fx);
            }
            UnitToHost::CardBegan(began) => {
                if let Some(flight) = self.flight.as_mut().filter(|f| f.id == began.id) {
                    flight.collect.begin(began);
                    flight.stage = Stage::Begun;
                }
            }
            UnitToHost::Lines { id, first, samples } => {
                let holes = self.order.settings.holes;
                if let Some(flight) = self.flight.as_mut().filter(|f| f.id == id) {
                    flight.collect.lines(first, holes, &samples);
                }
            }
            UnitToHost::CardEnded(ended) => self.card_ended(ended, at, fx),
            UnitToHost::Stopped(stop) => self.stopped(&stop, at, fx),
            UnitToHost::State(state) => {
                self.state = state;
                if state == State::WaitingForCard {
                    fx.push(Effect::Tell(News::WantsCards));
                }
            }
            UnitToHost::Refused(refusal) => self.not_done(&refusal, at, fx),
            UnitToHost::Counters(_)
            | UnitToHost::StrokesDone { .. }
            | UnitToHost::Exercised { .. }
            | UnitToHost::Loom(_)
            | UnitToHost::LoomEvents(_) => {}
        }
    }

    fn person(&mut self, order: Person, at: UnixMillis, fx: &mut Vec<Effect>) {
        match order {
            Person::CardsLaidIn => fx.push(Effect::Send(HostToUnit::CardLaidIn)),
            Person::Pause => fx.push(Effect::Send(HostToUnit::Pause)),
            Person::Resume => fx.push(Effect::Send(HostToUnit::Resume)),
            Person::Stop | Person::Interrupt => self.close(End::Stopped, at, fx),
            Person::Reset | Person::Recut | Person::Weave(_) => {}
        }
    }
}

/// What becomes of a card of which nothing was read.
fn unread(flight: &Flight) -> Verdict {
    if flight.stage == Stage::Begun {
        Verdict::Interrupted
    } else {
        Verdict::NotBegun
    }
}

impl Task for Calibrate {
    fn take(&mut self, input: Input, at: UnixMillis, fx: &mut Vec<Effect>) {
        match input {
            Input::Recorded(mark) => self.recorded(mark, at, fx),
            _ if matches!(self.phase, Phase::Closing(_) | Phase::Over(_)) => {}
            Input::Opened { version, .. } => {
                self.version = version;
                for question in [Question::Identity, Question::Status] {
                    fx.push(Effect::Send(HostToUnit::Ask(question)));
                }
            }
            Input::Message(message) => self.message(*message, at, fx),
            Input::UnitRestarted | Input::Silent => {
                let words = "the unit is no longer heard; see to its cable and power, then \
                             calibrate again"
                    .to_string();
                self.close(End::Failed(words), at, fx);
            }
            Input::Heard => {}
            Input::Person(order) => self.person(order, at, fx),
        }
    }

    fn waits_for_unit(&self) -> bool {
        match self.phase {
            Phase::Asking => true,
            Phase::Working => !matches!(self.state, State::Paused | State::WaitingForCard),
            Phase::Closing(_) | Phase::Over(_) => false,
        }
    }

    fn end(&self) -> Option<&End> {
        match &self.phase {
            Phase::Over(end) => Some(end),
            _ => None,
        }
    }
}
