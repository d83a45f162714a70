//! Cards out and cards in: attempts written down, streamed, read back, judged,
//! written down again.

use cardwright_protocol::host_to_unit::Question;
use cardwright_protocol::unit_to_host::CardEnded;
use cardwright_protocol::{Attempt, CardId, CardNumber, HostToUnit};

use super::{Ended, Job, Pending, Phase, TRIES, UNDER_WAY};
use crate::job::account::SpoiledCard;
use crate::job::flight::{Flight, Key, Stage};
use crate::job::news::News;
use crate::job::stacked::{Stacked, Stranger};
use crate::job::verdict::{elsewhere, news_of, news_unread, record_read, record_unread};
use crate::job::{Effect, Kind, Mark, Recut};
use crate::judge::{Fit, Reading, Report};
use crate::ledger::writer::Command;
use crate::ledger::{self, NewAttempt, UnixMillis};
use crate::wear::punches_seen;

impl Job {
    pub(super) fn pump(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
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
    pub(super) fn choose(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        while self
            .flights
            .iter()
            .filter(|f| f.stage != Stage::Closing)
            .count()
            < UNDER_WAY
        {
            let Some(key) = self.todo.pop_first() else {
                return;
            };
            let Some(card) = self.order.cards.get(key.1).copied() else {
                continue;
            };
            let strokes = self.order.strokes(card);
            // no two alike: a later run takes them up in the order sent
            self.last_sent = UnixMillis(at.0.max(self.last_sent.0 + 1));
            let used = self.used.entry(card).or_insert(0);
            *used += 1;
            let id = CardId {
                job: self.order.number,
                card,
                attempt: Attempt(*used),
            };
            let flight = Flight::new(id, strokes, Stage::Recording, Some(key));
            let attempt = NewAttempt {
                id,
                strokes: flight.strokes.len() as u16,
                crc: flight.crc,
                sent: self.last_sent,
            };
            self.flights.push_back(flight);
            self.record(
                Command::AttemptSent(vec![attempt]),
                Some(Pending::Sent(id)),
                fx,
            );
        }
    }

    /// Sends what the unit has room for, in order.
    pub(super) fn stream(&mut self, fx: &mut Vec<Effect>) {
        let work = self.work();
        let count = self.flights.len();
        for at in 0..count {
            let more = at + 1 < count || !self.todo.is_empty();
            let Some(flight) = self.flights.get_mut(at) else {
                return;
            };
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
                let Some((message, strokes, stage)) = flight.next_strokes(most) else {
                    return;
                };
                self.sent.0 += strokes;
                flight.stage = stage;
                fx.push(Effect::Send(message));
            }
        }
    }

    pub(super) fn flight(&mut self, id: CardId) -> Option<&mut Flight> {
        self.flights.iter_mut().find(|flight| flight.id == id)
    }

    pub(super) fn card_ended(&mut self, ended: CardEnded, at: UnixMillis, fx: &mut Vec<Effect>) {
        let (holes, samples) = (
            self.order.settings.holes,
            self.order.settings.samples_per_row,
        );
        let Some(flight) = self.flight(ended.id) else {
            return;
        };
        if flight.stage == Stage::Closing {
            return;
        }
        if !ended.complete {
            return self.close_unread(ended.id, ledger::Verdict::Interrupted, Some(ended), at, fx);
        }
        let Some(reading) = flight.collect.end(ended, holes, samples) else {
            return self.close_unread(ended.id, ledger::Verdict::Unread, Some(ended), at, fx);
        };
        let report = self.report(ended.id.card, &reading);
        let stack = self.stack.as_mut();
        let found = stack.and_then(|stack| stack.look(&report, ended.id.card, holes));
        if let Some(card) = found.as_ref().and_then(|found| found.card) {
            let report = self.report(card, &reading);
            if report.verdict.is_good() {
                self.sound_elsewhere.insert(card);
            }
            let news = elsewhere(&report, card, ended.place);
            fx.push(Effect::Tell(news));
        }
        let mut news = news_of(&report, ended.id, ended.place);
        let mut record = record_read(&report, reading, at);
        if self.order.kind == Kind::Read && report.verdict.is_good() {
            only_read(&mut record, &mut news, self.order.formats.is_some());
        }
        if self.order.kind == Kind::Cut {
            record.punches = punches_seen(&report);
        }
        if let Some(found) = found {
            stranger(found, &mut record, &mut news);
        }
        self.close(record, news, true, fx);
    }

    /// What the card is found to be.
    fn report(&self, card: CardNumber, reading: &Reading) -> Report {
        let strokes = self.order.deck.strokes(card).unwrap_or_default();
        match self.order.kind {
            Kind::Cut => self.judge.judge(&strokes, reading, Fit::None),
            // the card was fed anew since its holes were cut
            Kind::Verify | Kind::Mend => self.judge.judge(&strokes, reading, Fit::OffsetAndStretch),
            Kind::Read => match &self.order.formats {
                Some(formats) => formats.readable(reading),
                None => self.judge.readable(&strokes, reading),
            },
        }
    }

    pub(super) fn close_unread(
        &mut self,
        id: CardId,
        verdict: ledger::Verdict,
        ended: Option<CardEnded>,
        at: UnixMillis,
        fx: &mut Vec<Effect>,
    ) {
        let verdict = match (self.order.kind, verdict) {
            // nothing was done to it: it only has to be read again
            (Kind::Verify | Kind::Read, ledger::Verdict::Interrupted) => ledger::Verdict::Unread,
            _ => verdict,
        };
        let begun = self.flight(id).and_then(|flight| flight.collect.began);
        let place = ended
            .map(|end| end.place)
            .or(begun.map(|began| began.place));
        let mut record = record_unread(id, verdict, ended, at);
        record.place = place.filter(|_| verdict != ledger::Verdict::NotBegun);
        self.close(
            record,
            news_unread(self.order.kind, id, verdict, place),
            false,
            fx,
        );
    }

    pub(super) fn close(
        &mut self,
        record: ledger::EndedAttempt,
        news: News,
        held: bool,
        fx: &mut Vec<Effect>,
    ) {
        let now = self.boot;
        let Some(flight) = self.flight(record.id) else {
            return;
        };
        flight.stage = Stage::Closing;
        // a place counts from the switching-on in which the card was begun
        let boot = flight.boot.unwrap_or(now);
        let (id, verdict) = (record.id, record.verdict);
        let bad = !matches!(
            verdict,
            ledger::Verdict::Good | ledger::Verdict::Read | ledger::Verdict::NotBegun
        );
        // a card that lies elsewhere is sound: what the order asks for sees to it
        let spoiled = (bad && verdict != ledger::Verdict::OutOfOrder).then(|| SpoiledCard {
            place: record.place,
            boot,
            card: id.card,
            attempt: id.attempt,
            verdict: verdict.word().to_string(),
        });
        if bad {
            self.account.faults += 1;
            *self
                .account
                .by_verdict
                .entry(verdict.word().to_string())
                .or_insert(0) += 1;
        }
        for fault in &record.faults {
            *self.account.by_hole.entry(fault.kind.clone()).or_insert(0) += 1;
        }
        let pending = Pending::Ended(Ended {
            id,
            verdict,
            held,
            news,
            spoiled,
        });
        self.record(Command::AttemptEnded(Box::new(record)), Some(pending), fx);
    }

    pub(super) fn recorded(&mut self, mark: Mark, at: UnixMillis, fx: &mut Vec<Effect>) {
        match self.pending.remove(&mark) {
            Some(Pending::Sent(id)) => {
                if let Some(flight) = self.flight(id) {
                    flight.stage = Stage::Sendable;
                }
            }
            Some(Pending::Ended(ended)) => self.ended(ended, fx),
            Some(Pending::JobEnded) => {
                if let Phase::Closing(end) = &self.phase {
                    self.phase = Phase::Over(end.clone());
                    let findings = self.stack.as_ref().and_then(Stacked::findings);
                    fx.extend(findings.map(|findings| Effect::Tell(News::Stack { findings })));
                    if self.order.kind == Kind::Read && self.account.stops > 0 {
                        let words = "the rig stopped on the way: count the cards of the copy; one that \
                                     was taken out is not in it, and a gap may be two cards (to make \
                                     it two, name the second: --more --passes 0 --lacking NUMBER)";
                        fx.push(Effect::Tell(News::Note {
                            words: words.to_string(),
                        }));
                    }
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
    pub(super) fn ended(&mut self, ended: Ended, fx: &mut Vec<Effect>) {
        let Ended {
            id,
            verdict,
            held,
            news,
            spoiled,
        } = ended;
        let Some(at) = self.flights.iter().position(|flight| flight.id == id) else {
            return;
        };
        let key = self.flights.remove(at).and_then(|flight| flight.key);
        if held {
            fx.push(Effect::Send(HostToUnit::Recorded(id)));
            fx.push(Effect::Send(HostToUnit::Ask(Question::Counters)));
        }
        fx.push(Effect::Tell(news));
        self.account.take_out.extend(spoiled);
        if matches!(verdict, ledger::Verdict::Good | ledger::Verdict::Read) {
            self.good.insert(id.card);
            self.fruitless = 0;
        } else if let Some(key) = key {
            self.again(key, id, verdict);
        }
    }

    /// Puts a card back into the order of work, if it is to be tried again.
    pub(super) fn again(&mut self, (round, at): Key, id: CardId, verdict: ledger::Verdict) {
        if verdict == ledger::Verdict::NotBegun {
            self.todo.insert((round, at));
            return;
        }
        let tries = self.tries.entry(id.card).or_insert(0);
        // a stop says nothing against the card
        *tries += u32::from(verdict != ledger::Verdict::Interrupted);
        if self.order.kind != Kind::Cut || *tries >= TRIES {
            return;
        }
        match self.order.recut {
            Recut::End => self.todo.insert((1, at)),
            Recut::Now => self.todo.insert((0, at)),
            Recut::Never => self.left.insert((0, at)),
        };
    }

    /// A person wants the spoiled cards cut again next, whatever was said before.
    pub(super) fn recut_next(&mut self, at: UnixMillis, fx: &mut Vec<Effect>) {
        let waiting = self.todo.split_off(&(1, 0));
        self.todo.extend(waiting.into_iter().map(|(_, at)| (0, at)));
        self.todo.append(&mut self.left);
        self.pump(at, fx);
    }
}

/// A card that could be measured, and no deck to compare it with.
fn only_read(record: &mut ledger::EndedAttempt, news: &mut News, for_format: bool) {
    record.verdict = ledger::Verdict::Read;
    if let News::Card {
        verdict, summary, ..
    } = news
    {
        *verdict = ledger::Verdict::Read.word().to_string();
        *summary = match for_format {
            true => "read, to see its format".to_string(),
            false => "every position was measured".to_string(),
        };
    }
}

/// A card that is another one, or lies the wrong way, has no faults of its own. Of one
/// that only follows the one before no more is said.
fn stranger(found: Stranger, record: &mut ledger::EndedAttempt, news: &mut News) {
    record.verdict = ledger::Verdict::OutOfOrder;
    record.faults.clear();
    if let News::Card {
        verdict,
        summary,
        remedy,
        faults,
        ..
    } = news
    {
        *verdict = ledger::Verdict::OutOfOrder.word().to_string();
        *summary = found.words;
        *remedy = match found.in_step {
            true => String::new(),
            false => "what is to be done is said when the whole stack has been read".to_string(),
        };
        faults.clear();
    }
}
