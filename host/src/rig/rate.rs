//! How long cards take on a rig. Enters: a rig file, a card format, strokes.
//! Leaves: seconds. Refuses: what a unit refuses, since that cuts nothing.
//!
//! It follows a card's way through the machine (`firmware/rig/src/cycle.rs`) on the
//! assumption that nothing goes wrong and that neither rows nor records are waited for.
//! The rig is clear and its coils are cold at the start. Scans of the light bar, some
//! tenths of a millisecond a card, are left out.

use cardwright_protocol::card::{MOST_HOLES, Stroke};
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::unit_to_host::BadSetting;
use cardwright_rig::limits::{COIL_HEAT_US, LAMP_SETTLE_US, LEAST_STAGGER_US, PICK_US, check};
use cardwright_rig::plan::Plan;

use super::RigFile;
use crate::deck::{CardFormat, Deck};

/// A coil for each needle punch and the peg punch's, which is switched last.
const COILS: usize = MOST_HOLES as usize + 1;

/// Why cards take no time on a rig: it does not cut them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoRate {
    /// The unit refuses the rig's settings for this format.
    Setting(BadSetting),
    /// The readings of one card do not fit the unit's memory.
    Readings,
}

/// A rig's rate for cards of one format. All times are in microseconds.
#[derive(Clone, Debug)]
pub struct Rate {
    /// Levels, and the magazine if there is one.
    loading: f64,
    /// From the rollers to the first stroke; from one to the next; from the last
    /// until the card is out.
    in_to_first: f64,
    to_next: f64,
    out: f64,
    /// A card coming to rest.
    settle: f64,
    lock_settle: f64,
    stagger: f64,
    at_once: usize,
    /// The block down and up.
    block: f64,
    coil_on_limit: f64,
    coil_duty: f64,
}

impl Rate {
    /// The rate of this rig.
    ///
    /// # Errors
    /// [`NoRate`] if it cannot cut such cards.
    pub fn new(rig: &RigFile, format: &CardFormat) -> Result<Rate, NoRate> {
        let s = rig.settings(format);
        check(&s).map_err(NoRate::Setting)?;
        if !Plan::new(s).fits(format.strokes()) {
            return Err(NoRate::Readings);
        }
        let to_first = f64::from(s.edge_to_punch_um) + f64::from(s.first_stroke_um);
        let feed = |um: f64| feed_us(&s, um);
        let magazine = if s.magazine { PICK_US } else { 0 };
        Ok(Rate {
            // the level with the lamp off, then the one with it on
            loading: (2 * LAMP_SETTLE_US + magazine) as f64,
            in_to_first: feed(rig.usual_pick_up_mm() * 1000.0 + to_first),
            to_next: feed(f64::from(s.row_pitch_um)),
            out: feed(out_um(&s, format.strokes())),
            settle: f64::from(s.feed_settle_us),
            lock_settle: f64::from(s.lock_settle_us),
            stagger: f64::from(s.coil_stagger_us.max(LEAST_STAGGER_US)),
            at_once: usize::from(s.coils_at_once),
            block: rig.stroke_ms() * 1000.0,
            coil_on_limit: f64::from(s.coil_on_limit_us),
            coil_duty: f64::from(s.coil_duty_permille) / 1000.0,
        })
    }

    /// Seconds for a whole deck of the format, each card cut once.
    #[must_use]
    pub fn seconds(&self, deck: &Deck) -> f64 {
        let format = deck.format();
        self.seconds_of(deck.cards().map(|(_, rows)| format.programme(rows)))
    }

    /// Seconds for these cards, one after the other.
    pub fn seconds_of(&self, cards: impl IntoIterator<Item = Vec<Stroke>>) -> f64 {
        let mut run = Run {
            rate: self,
            us: 0.0,
            heat: [0.0; COILS],
        };
        cards.into_iter().for_each(|strokes| run.card(&strokes));
        run.us / 1e6
    }
}

/// Cards being cut: the time so far, and each coil's on-time beyond its duty.
struct Run<'a> {
    rate: &'a Rate,
    us: f64,
    heat: [f64; COILS],
}

impl Run<'_> {
    fn card(&mut self, strokes: &[Stroke]) {
        self.pass(self.rate.loading);
        for (number, stroke) in strokes.iter().enumerate() {
            self.pass(match number {
                0 => self.rate.in_to_first,
                _ => self.rate.to_next,
            });
            self.pass(self.rate.settle);
            self.stroke(*stroke);
        }
        self.pass(self.rate.out);
    }

    fn stroke(&mut self, stroke: Stroke) {
        let rate = self.rate;
        let coils = coils(stroke);
        let hottest = coils.iter().map(|coil| self.heat[*coil]);
        let over = hottest.fold(0.0, f64::max) + rate.coil_on_limit - f64::from(COIL_HEAT_US);
        if !coils.is_empty() {
            self.pass(over.max(0.0) / rate.coil_duty);
            let last = (coils.len() - 1) / rate.at_once;
            self.pass(last as f64 * rate.stagger + rate.lock_settle);
        }
        // the coils are let go at the bottom
        self.pass(rate.block / 2.0);
        for (place, coil) in coils.iter().enumerate() {
            let groups_after = (coils.len() - 1) / rate.at_once - place / rate.at_once;
            self.heat[*coil] +=
                groups_after as f64 * rate.stagger + rate.lock_settle + rate.block / 2.0;
        }
        self.pass(rate.block / 2.0);
    }

    fn pass(&mut self, us: f64) {
        self.us += us;
        let cooled = us * self.rate.coil_duty;
        for heat in &mut self.heat {
            *heat = (*heat - cooled).max(0.0);
        }
    }
}

/// The coils of a stroke in the order in which they are switched.
fn coils(stroke: Stroke) -> Vec<usize> {
    let punches = stroke.punches().holes().map(|hole| usize::from(hole) - 1);
    punches.chain(stroke.peg().then_some(COILS - 1)).collect()
}

/// From the last stroke until the card is out: past the light bar with its last row
/// and a pitch more, and past the edge sensor however long it is; then the run-out.
fn out_um(s: &Settings, strokes: u16) -> f64 {
    let pitch = f64::from(s.row_pitch_um);
    let last_stroke = f64::from(s.edge_to_punch_um)
        + f64::from(s.first_stroke_um)
        + (f64::from(strokes) - 1.0) * pitch;
    let read = last_stroke + (f64::from(s.reader_rows) + 2.0) * pitch;
    let left = f64::from(s.card_length_um) + f64::from(s.length_slack_um);
    read.max(left) - last_stroke + f64::from(s.run_out_um)
}

/// How long the feed takes from rest to rest. The first step comes at once; the
/// others come at the speed that the ramp has reached, v^2 = v0^2 + 2 a s from either
/// end, and no faster than the top speed.
fn feed_us(s: &Settings, um: f64) -> f64 {
    let per_mm = f64::from(s.steps_per_metre) / 1000.0;
    let start = f64::from(s.start_speed_mm_s) * per_mm;
    let top = f64::from(s.top_speed_mm_s) * per_mm;
    let acceleration = f64::from(s.acceleration_mm_s2) * per_mm;
    let speed = |from_rest: u64| {
        let squared = start * start + 2.0 * acceleration * from_rest as f64;
        squared.sqrt().min(top)
    };
    let steps = (um * per_mm / 1000.0).round() as u64;
    let seconds: f64 = (1..steps)
        .map(|made| 1.0 / speed(made.min(steps - made)))
        .sum();
    seconds * 1e6
}

#[cfg(test)]
mod tests;
