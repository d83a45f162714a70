//! What the host orders. Enters: an order and the time. Leaves: a change of
//! phase, or a card in the queue. Refuses: motion before a reset, settings
//! beyond the limits, cards that were here before.

use cardwright_protocol::host_to_unit::{CardHeader, Settings};
use cardwright_protocol::unit_to_host::{BadSetting, Refusal, StopReason};
use cardwright_protocol::{HostToUnit, Micros};
use embedded_hal::digital::InputPin;

use super::{Machine, Phase};
use crate::feed::Feed;
use crate::hardware::Board;
use crate::limits::check;
use crate::plan::Plan;

impl<B: Board> Machine<B> {
    /// Carries out an order that concerns motion.
    ///
    /// # Errors
    /// Why it was not carried out.
    pub fn order(&mut self, order: &HostToUnit, now: Micros) -> Result<(), Refusal> {
        match order {
            HostToUnit::Configure(settings) => self.configure(settings),
            HostToUnit::Reset => self.reset(now),
            HostToUnit::Start => self.start(now),
            HostToUnit::Pause => {
                self.paused = true;
                Ok(())
            }
            HostToUnit::Resume => {
                self.paused = false;
                Ok(())
            }
            HostToUnit::Stop => {
                if !matches!(self.phase, Phase::Stopped) {
                    self.stop(StopReason::HostStop, now);
                }
                Ok(())
            }
            HostToUnit::CardLaidIn => {
                if let Err(reason) = self.card_laid_in(now) {
                    self.stop(reason, now);
                }
                Ok(())
            }
            HostToUnit::Exercise(exercise) => self.begin_exercise(*exercise, now),
            HostToUnit::Card(header) => self
                .announce(header)
                .inspect_err(|_| self.room.queue.gone(0, 1)),
            HostToUnit::Strokes { id, first, strokes } => {
                self.room.queue.push(*id, *first, strokes)
            }
            HostToUnit::DropQueue => {
                self.room.queue.clear();
                self.more = false;
                Ok(())
            }
            HostToUnit::Ask(_)
            | HostToUnit::Recorded(_)
            | HostToUnit::Resend(_)
            | HostToUnit::ConfigureLoom(_)
            | HostToUnit::LoomFrom(_) => Ok(()),
        }
    }

    fn configure(&mut self, settings: &Settings) -> Result<(), Refusal> {
        if !matches!(self.phase, Phase::Stopped | Phase::Ready) {
            return Err(Refusal::Busy);
        }
        check(settings).map_err(Refusal::Setting)?;
        if settings.holes > self.channels {
            return Err(Refusal::Setting(BadSetting::Holes));
        }
        let plan = Plan::new(*settings);
        self.feed = Feed::new(plan.ramp);
        self.punch.configure(settings);
        self.plan = Some(plan);
        Ok(())
    }

    fn reset(&mut self, now: Micros) -> Result<(), Refusal> {
        match self.phase {
            Phase::Stopped => {}
            Phase::Ready => return Ok(()),
            _ => return Err(Refusal::Busy),
        }
        let (Ok(guard), Ok(stop)) = (self.w.guard.is_high(), self.w.stop.is_high());
        if !guard {
            return Err(Refusal::Unsafe(StopReason::GuardOpen));
        }
        if !stop {
            return Err(Refusal::Unsafe(StopReason::StopPressed));
        }
        self.supply(now).map_err(Refusal::Unsafe)?;
        self.seen_good = now;
        self.phase = Phase::Ready;
        Ok(())
    }

    fn start(&mut self, now: Micros) -> Result<(), Refusal> {
        self.may_move(now)?;
        self.paused = false;
        self.power_up();
        self.punch.begin_raise(now);
        self.phase = Phase::Raise;
        Ok(())
    }

    /// Whether a motion can be begun: reset, configured, at rest, and the inputs
    /// good at this moment.
    pub(crate) fn may_move(&mut self, now: Micros) -> Result<Plan, Refusal> {
        match self.phase {
            Phase::Stopped => return Err(Refusal::NeedsReset),
            Phase::Ready => {}
            _ => return Err(Refusal::Busy),
        }
        if let Err(reason) = self.interlocks(now) {
            self.stop(reason, now);
            return Err(Refusal::NeedsReset);
        }
        self.plan.ok_or(Refusal::NeedsSettings)
    }

    fn announce(&mut self, header: &CardHeader) -> Result<(), Refusal> {
        let Some(plan) = &self.plan else {
            return Err(Refusal::NeedsSettings);
        };
        let id = header.id;
        let in_rig = self.current.is_some_and(|card| card.header.id == id);
        if in_rig
            || self.room.queue.has(id)
            || self.room.held.has(id)
            || self.begun.iter().any(|begun| *begun == id)
        {
            return Err(Refusal::CardUsed(id));
        }
        if !plan.fits(header.strokes) {
            return Err(Refusal::CardTooLarge(id));
        }
        self.room.queue.announce(*header)
    }
}
