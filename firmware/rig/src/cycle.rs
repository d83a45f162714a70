//! A card's way through the rig: levels, pick-up, edge, strokes, reading,
//! run-out.

use cardwright_protocol::Micros;
use cardwright_protocol::UnitToHost;
use cardwright_protocol::host_to_unit::Work;
use cardwright_protocol::unit_to_host::{CardBegan, Levels, Refusal, StopReason};
use embedded_hal::digital::{InputPin, OutputPin};

use crate::hardware::Board;
use crate::limits::{LAMP_SETTLE_US, PICK_US};
use crate::machine::{Current, Machine, Phase};
use crate::plan::Plan;
use crate::punch::Progress;
use crate::reader::{LevelSum, lamp_is_good};
use crate::room::Room;

/// How often the magazine is tried before a person is asked for cards.
const PICKS: u8 = 2;

impl<B: Board> Machine<B> {
    /// Counts the steps made and gives the next, watches the edge and the light bar.
    pub(crate) fn run_feed(&mut self, now: Micros) -> Result<(), StopReason> {
        if self.current.as_ref().is_some_and(|card| card.begun)
            && let Some(levels) = self.fetch()
        {
            self.take_line(&levels)?;
        }
        if self.feed.count(&mut self.w.step) {
            self.watch_edge()?;
        }
        self.begin_line(now);
        if !self.line_waits() {
            self.feed.give(&mut self.w.step);
        }
        Ok(())
    }

    /// Whether a line is due while the one before is still being converted: the
    /// card must not be driven past it.
    pub(crate) fn line_waits(&self) -> bool {
        self.current.as_ref().is_some_and(|card| {
            self.scanning && card.begun && self.feed.position() >= card.next_line_at
        })
    }

    fn take_line(&mut self, levels: &Levels) -> Result<(), StopReason> {
        let (Some(card), Some(plan)) = (&self.current, &self.plan) else {
            return Ok(());
        };
        if !self.room.held.line(levels) {
            return Err(StopReason::Internal);
        }
        self.reader
            .line(levels, Self::expected(card, &self.room.strokes), plan)
    }

    fn begin_line(&mut self, now: Micros) {
        let (Some(card), Some(plan)) = (&mut self.current, &self.plan) else {
            return;
        };
        if !card.begun
            || self.scanning
            || self.feed.position() < card.next_line_at
            || card.lines_begun >= plan.lines(card.header.strokes)
        {
            return;
        }
        card.lines_begun += 1;
        card.next_line_at = plan.line_at(card.lines_begun);
        self.begin_scan(now);
    }

    /// The leading edge while seeking; the trailing edge later.
    fn watch_edge(&mut self) -> Result<(), StopReason> {
        let Some(plan) = &self.plan else {
            return Ok(());
        };
        if matches!(self.phase, Phase::Seek) {
            let Ok(covered) = self.w.edge.is_high();
            if covered {
                let plan = *plan;
                self.begin_card(&plan);
            }
            return Ok(());
        }
        let position = self.feed.position();
        let (soonest, nominal, farthest) = plan.trailing_edge();
        let Some(card) = self
            .current
            .as_mut()
            .filter(|card| card.begun && card.length == 0 && position >= nominal / 2)
        else {
            return Ok(());
        };
        let Ok(covered) = self.w.edge.is_high();
        if !covered && position < soonest {
            // not the stock it should be: the last rows would miss it
            return Err(StopReason::FeedStalled);
        }
        if !covered {
            card.length = position;
        } else if position > farthest {
            return Err(StopReason::FeedStalled);
        }
        Ok(())
    }

    fn begin_card(&mut self, plan: &Plan) {
        let Some(card) = &mut self.current else {
            return;
        };
        self.feed.zero_here();
        self.place = self.place.wrapping_add(1);
        card.place = self.place;
        card.begun = true;
        card.next_line_at = plan.line_at(0);
        let id = card.header.id;
        let began = CardBegan {
            id,
            place: card.place,
            dark: self.reader.dark(),
            open: self.reader.open(),
        };
        self.room.held.begin(began, plan.settings.holes);
        self.tally.cards_begun = self.tally.cards_begun.wrapping_add(1);
        self.card_has_begun(id);
        self.travel();
    }

    /// On to the next stroke, or past the light bar after the last.
    fn travel(&mut self) {
        let (Some(card), Some(plan)) = (&self.current, &self.plan) else {
            return;
        };
        let strokes = card.header.strokes;
        if card.header.work == Work::Cut && card.strokes_begun < strokes {
            self.feed.go_to(plan.stroke_at(card.strokes_begun));
            self.phase = Phase::Travel;
        } else {
            // in one go until it is out: nothing is to be done on the way
            let (_, _, farthest) = plan.trailing_edge();
            let read = plan.line_at(plan.lines(strokes));
            let out = plan.steps(u64::from(plan.settings.run_out_um));
            self.feed.go_to(read.max(farthest) + 1 + out);
            self.phase = Phase::ReadOut;
        }
    }

    /// Goes on with what the phase asks for.
    pub(crate) fn run_cycle(&mut self, now: Micros) -> Result<(), StopReason> {
        match self.phase {
            Phase::Stopped | Phase::Ready | Phase::WaitCard => Ok(()),
            Phase::Raise => self.raise(now),
            Phase::Clear => self.clear(),
            Phase::Next => self.next_card(now),
            Phase::Dark { from, sum } => {
                self.dark_level(from, sum, now);
                Ok(())
            }
            Phase::Open { from, sum, dark } => self.open_level(from, sum, dark, now),
            Phase::Pick { until } => {
                if now >= until {
                    let Ok(()) = self.w.pick.set_low();
                    return self.seek();
                }
                Ok(())
            }
            Phase::Seek => {
                self.seek_in_vain(now);
                Ok(())
            }
            Phase::Travel => {
                if self.feed.at_rest() {
                    self.phase = Phase::Hold;
                    self.hold(now);
                }
                Ok(())
            }
            Phase::Hold => {
                self.hold(now);
                Ok(())
            }
            Phase::Settle { until } => {
                if now >= until && self.paused {
                    self.phase = Phase::Hold;
                } else if now >= until {
                    self.begin_stroke(now);
                }
                Ok(())
            }
            Phase::Punch => self.stroke(now),
            Phase::ReadOut => {
                self.read_out();
                Ok(())
            }
            Phase::RunOut => {
                self.run_out();
                Ok(())
            }
            Phase::Exercise(trial) => self.run_exercise(trial, now),
        }
    }

    fn raise(&mut self, now: Micros) -> Result<(), StopReason> {
        match self.punch.poll(now, &mut self.w) {
            Progress::Failed(reason) => return Err(reason),
            Progress::Done { .. } => {}
            _ => return Ok(()),
        }
        let Ok(covered) = self.w.edge.is_high();
        if self.in_rig || covered {
            let way = self.plan.as_ref().map_or(0, Plan::clear);
            self.feed.zero_here();
            self.feed.go_to(way);
            self.phase = Phase::Clear;
        } else {
            self.phase = Phase::Next;
        }
        Ok(())
    }

    fn clear(&mut self) -> Result<(), StopReason> {
        if !self.feed.at_rest() {
            return Ok(());
        }
        let Ok(covered) = self.w.edge.is_high();
        if covered {
            return Err(StopReason::FeedStalled);
        }
        self.in_rig = false;
        self.phase = Phase::Next;
        Ok(())
    }

    fn next_card(&mut self, now: Micros) -> Result<(), StopReason> {
        if self.paused || !self.room.held.has_room() {
            self.rest_between_cards();
            return Ok(());
        }
        let Room { queue, strokes, .. } = &mut *self.room;
        let header = match queue.take(strokes) {
            Ok(Some(header)) => header,
            Ok(None) => {
                if !self.more {
                    self.rest_between_cards();
                }
                return Ok(());
            }
            Err(refusal) => {
                self.notice(UnitToHost::Refused(refusal));
                return Ok(());
            }
        };
        self.more = header.more;
        if !self.plan.is_some_and(|plan| plan.fits(header.strokes)) {
            // other settings came after it was announced
            self.notice(UnitToHost::Refused(Refusal::CardTooLarge(header.id)));
            return Ok(());
        }
        self.current = Some(Current {
            header,
            place: 0,
            strokes_begun: 0,
            lines_begun: 0,
            next_line_at: 0,
            length: 0,
            begun: false,
            ended: false,
        });
        self.power_up();
        let Ok(()) = self.w.lamp.set_low();
        self.phase = Phase::Dark {
            from: now.plus(LAMP_SETTLE_US),
            sum: LevelSum::default(),
        };
        Ok(())
    }

    /// Nothing to do for a while: neither lamp nor motor need stay warm.
    fn rest_between_cards(&mut self) {
        let Ok(()) = self.w.lamp.set_low();
        let Ok(()) = self.w.feed_on.set_low();
    }

    fn dark_level(&mut self, from: Micros, mut sum: LevelSum, now: Micros) {
        if now < from {
            return;
        }
        let Some(levels) = self.scan(now) else { return };
        self.phase = match sum.add(&levels) {
            None => Phase::Dark { from, sum },
            Some(dark) => {
                let Ok(()) = self.w.lamp.set_high();
                Phase::Open {
                    from: now.plus(LAMP_SETTLE_US),
                    sum: LevelSum::default(),
                    dark,
                }
            }
        };
    }

    fn open_level(
        &mut self,
        from: Micros,
        mut sum: LevelSum,
        dark: Levels,
        now: Micros,
    ) -> Result<(), StopReason> {
        if now < from {
            return Ok(());
        }
        let Some(levels) = self.scan(now) else {
            return Ok(());
        };
        let Some(open) = sum.add(&levels) else {
            self.phase = Phase::Open { from, sum, dark };
            return Ok(());
        };
        let holes = self.plan.as_ref().map_or(0, |plan| plan.settings.holes);
        if !lamp_is_good(&dark, &open, holes) {
            return Err(StopReason::LampFault);
        }
        self.reader.begin(dark, open);
        self.picks = 0;
        self.load(now);
        Ok(())
    }

    fn load(&mut self, now: Micros) {
        if self
            .plan
            .as_ref()
            .is_some_and(|plan| plan.settings.magazine)
        {
            self.pick(now);
        } else {
            self.phase = Phase::WaitCard;
        }
    }

    fn pick(&mut self, now: Micros) {
        self.picks += 1;
        self.in_rig = true;
        let Ok(()) = self.w.pick.set_high();
        self.phase = Phase::Pick {
            until: now.plus(PICK_US),
        };
    }

    /// # Errors
    /// Something covers the edge sensor already: where its edge lies is unknown.
    fn seek(&mut self) -> Result<(), StopReason> {
        let Some(plan) = &self.plan else {
            return Ok(());
        };
        self.in_rig = true;
        let Ok(covered) = self.w.edge.is_high();
        if covered {
            return Err(StopReason::FeedStalled);
        }
        self.feed.zero_here();
        self.feed
            .go_to(plan.steps(u64::from(plan.settings.pick_up_um)));
        self.phase = Phase::Seek;
        Ok(())
    }

    /// No edge within the pick-up way: once more, then a person is needed.
    fn seek_in_vain(&mut self, now: Micros) {
        if !self.feed.at_rest() {
            return;
        }
        let magazine = self
            .plan
            .as_ref()
            .is_some_and(|plan| plan.settings.magazine);
        if magazine && self.picks < PICKS {
            self.pick(now);
        } else {
            self.phase = Phase::WaitCard;
        }
    }

    pub(crate) fn card_laid_in(&mut self, now: Micros) -> Result<(), StopReason> {
        if !matches!(self.phase, Phase::WaitCard) {
            return Ok(());
        }
        self.picks = 0;
        if self
            .plan
            .as_ref()
            .is_some_and(|plan| plan.settings.magazine)
        {
            self.pick(now);
            Ok(())
        } else {
            self.seek()
        }
    }

    /// In register: on, unless held by the host or by a card not yet recorded.
    fn hold(&mut self, now: Micros) {
        let (Some(card), Some(plan)) = (&self.current, &self.plan) else {
            return;
        };
        if self.paused || card.strokes_begun == 0 && !self.room.held.all_recorded() {
            return;
        }
        let settle = u64::from(plan.settings.feed_settle_us);
        self.phase = Phase::Settle {
            until: now.plus(settle),
        };
    }

    fn begin_stroke(&mut self, now: Micros) {
        let Some(card) = &mut self.current else {
            return;
        };
        if let Some(stroke) = self.room.strokes.get(usize::from(card.strokes_begun)) {
            self.punch.begin(*stroke, now);
            card.strokes_begun += 1;
            self.phase = Phase::Punch;
        }
    }

    fn stroke(&mut self, now: Micros) -> Result<(), StopReason> {
        let progress = self.punch.poll(now, &mut self.w);
        self.tally.cooling = progress == Progress::Cooling;
        match progress {
            Progress::Failed(reason) => Err(reason),
            Progress::Done { .. } => {
                self.tally.strokes = self.tally.strokes.wrapping_add(1);
                self.travel();
                Ok(())
            }
            Progress::Rest => Err(StopReason::Internal),
            Progress::Cooling | Progress::Busy => Ok(()),
        }
    }

    fn read_out(&mut self) {
        let (Some(card), Some(plan)) = (&self.current, &self.plan) else {
            return;
        };
        if self.scanning || self.reader.lines() < plan.lines(card.header.strokes) {
            return;
        }
        self.phase = Phase::RunOut;
        self.run_out();
    }

    fn run_out(&mut self) {
        let Some(mut card) = self.current else { return };
        if card.length > 0 && !card.ended {
            card.ended = true;
            self.current = Some(card);
            let ending = self.ending(&card, true);
            self.room.held.end(ending);
            self.tally.cards_complete = self.tally.cards_complete.wrapping_add(1);
        }
        if self.feed.at_rest() && card.ended {
            self.current = None;
            self.in_rig = false;
            self.phase = Phase::Next;
        }
    }
}
