//! One punch over the cards it has cut.
//!
//! Enters: how wide its holes were and where they lay, card by card, and what
//! they were like when the rig was calibrated. Leaves: what there is to be told of
//! it; nothing of a steady one. Nothing is told of fewer cards than can tell.

use serde::{Deserialize, Serialize};

use super::trend::{middle, noise, slope};
use crate::ledger::{PunchRow, PunchSeen};

/// The peg punch.
pub(super) const PEG: u8 = 0;

/// A hole that is narrower by so much is no longer taken for a whole one of its
/// punch: the judge takes a hole's size as it is within this of nominal.
const NARROWEST_UM: f64 = 300.0;

/// A needle hole so far from its row's place is no longer sure to be taken for
/// whole (tried with cards of the model: `tests/tests/punch_wear.rs`).
const NEEDLE_ASTRAY_UM: f64 = 250.0;

/// A peg hole so far from its place may put its row out of register, with what the
/// feed adds (tried likewise).
const PEG_ASTRAY_UM: f64 = 500.0;

/// Wear is told from this share of the limit on (common practice, no source).
const TOLD: f64 = 0.25;

/// Wear is told if it is so many times what chance would make of a steady punch:
/// over a year of cards and all punches that is never.
const SURE: f64 = 6.0;

/// Cards whose middle stands for the present state, and for the first.
const FEW: usize = 9;

/// Fewest cards that tell a state.
const FEWEST: usize = 5;

/// Cards over which the present rate of wear is taken.
const RATE: usize = 60;

/// A change from one card to the next of at least this is another punch, or one
/// that was set anew or knocked (common practice, no source).
const STEP_UM: f64 = 50.0;

/// Cards on either side by which a step is told from wear.
const BESIDE: usize = 10;

/// Standard deviation of a median over that of a single value, times the root of
/// their number, for normal errors (Kenney and Keeping, Mathematics of Statistics).
const OF_MEDIAN: f64 = 1.2533;

/// How wear goes on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wear {
    /// How far it has come from its first state, in millimetres.
    pub mm: f64,
    /// How much comes to that with a thousand strokes of this punch.
    pub mm_per_thousand: f64,
    /// Where cards begin to be judged faulty for it.
    pub limit_mm: f64,
    /// Strokes of this punch until then at this rate; none if it has come to rest.
    pub strokes_left: Option<u32>,
}

/// What there is to be told of a punch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Finding {
    /// Its holes get narrower.
    Narrowing(Wear),
    /// Its holes move along the feed; positive is towards the card's end.
    Drifting(Wear),
    /// Its holes are others from one card to the next: a new punch, or one set
    /// anew or knocked. What it does since then is told apart.
    Changed {
        /// The job of the first such card.
        job: u32,
        /// That card.
        card: u32,
        /// When it was judged.
        since: String,
        /// How much wider its holes are, in millimetres.
        wider_mm: f64,
        /// How much further along the feed they lie.
        along_mm: f64,
    },
}

/// A measure of the punch over its cards.
struct Series {
    /// Holes the punch had cut by each card.
    strokes: Vec<f64>,
    /// Micrometres.
    values: Vec<f64>,
    noise: f64,
}

impl Series {
    fn new(history: &[PunchRow], value: fn(&PunchSeen) -> i32) -> Series {
        let mut cut = 0.0;
        let strokes = history.iter().map(|row| {
            cut += f64::from(row.seen.holes);
            cut
        });
        let strokes = strokes.collect();
        let values: Vec<f64> = history
            .iter()
            .map(|row| f64::from(value(&row.seen)))
            .collect();
        Series {
            strokes,
            noise: noise(&values),
            values,
        }
    }

    /// What chance makes of the difference between the middles of so many cards.
    fn error(&self, before: usize, after: usize) -> f64 {
        let share = |count: usize| 1.0 / count.max(1) as f64;
        OF_MEDIAN * self.noise * (share(before) + share(after)).sqrt()
    }

    /// The step at card `at` (from 0), if there is one that is no slope.
    fn step(&self, at: usize) -> Option<f64> {
        let before = self.values.get(at.saturating_sub(BESIDE)..at)?;
        let after = self.values.get(at..(at + BESIDE).min(self.values.len()))?;
        if before.len().min(after.len()) < FEWEST {
            return None;
        }
        let step = middle(after) - middle(before);
        let cards: Vec<f64> = (0..BESIDE).map(|card| card as f64).collect();
        let by_slope = slope(&cards, before).abs().max(slope(&cards, after).abs())
            * (before.len() + after.len()) as f64
            / 2.0;
        let least = STEP_UM.max(SURE * self.error(before.len(), after.len()));
        (step.abs() >= least && by_slope < step.abs() / 2.0).then_some(step)
    }

    /// How badly two states, one before card `at` and one from it on, explain the
    /// cards around it, in times the noise.
    fn misfit(&self, at: usize) -> f64 {
        let last = (at + BESIDE).min(self.values.len());
        let sides = [at.saturating_sub(BESIDE)..at, at..last];
        let off = sides.into_iter().filter_map(|side| {
            let values = self.values.get(side)?;
            let state = middle(values);
            Some(
                values
                    .iter()
                    .map(|value| (value - state).abs())
                    .sum::<f64>(),
            )
        });
        off.sum::<f64>() / self.noise.max(1.0)
    }

    /// How far it has come from `start`, or from its own first cards, since card
    /// `from`; positive and negative ways alike.
    fn wear(&self, from: usize, start: Option<f64>, limit_um: f64) -> Option<Wear> {
        let values = self.values.get(from..)?;
        let strokes = self.strokes.get(from..)?;
        let own = start.is_none();
        let few = if own { values.len() / 2 } else { values.len() }.min(FEW);
        if few < FEWEST {
            return None;
        }
        let first = start.unwrap_or_else(|| middle(&values[..few]));
        let latest = values.len() - few;
        let amount = middle(&values[latest..]) - first;
        let error = self.error(if own { few } else { 1 }, few);
        if amount.abs() < (TOLD * limit_um).max(SURE * error) {
            return None;
        }
        let lately = values.len().saturating_sub(RATE);
        let rate = slope(&strokes[lately..], &values[lately..]);
        let left = (limit_um - amount.abs()).max(0.0) / rate.abs();
        Some(Wear {
            mm: amount / 1000.0,
            mm_per_thousand: rate,
            limit_mm: limit_um / 1000.0,
            strokes_left: (rate * amount > 0.0 && left < f64::from(u32::MAX))
                .then_some(left as u32),
        })
    }
}

/// What there is to be told of one punch by its cards, in the order in which they
/// were cut, all of them since `start`, if that is given.
#[must_use]
pub fn judge_punch(history: &[PunchRow], start: Option<PunchSeen>) -> Vec<Finding> {
    let Some(first) = history.first() else {
        return Vec::new();
    };
    let wide = Series::new(history, |seen| seen.diameter_um);
    let along = Series::new(history, |seen| seen.along_um);
    let mut findings = Vec::new();
    let mut from = 0;
    let mut start = start;
    if let Some(change) = last_change(history, &wide, &along, start) {
        from = change.at;
        start = None;
        findings.extend(change.told(history));
    }
    let of = |value: fn(&PunchSeen) -> i32| start.as_ref().map(|seen| f64::from(value(seen)));
    let narrower = wide.wear(from, of(|seen| seen.diameter_um), NARROWEST_UM);
    findings.extend(
        narrower
            .filter(|wear| wear.mm < 0.0)
            .map(Finding::Narrowing),
    );
    let astray = if first.seen.hole == PEG {
        PEG_ASTRAY_UM
    } else {
        NEEDLE_ASTRAY_UM
    };
    let astray = along.wear(from, of(|seen| seen.along_um), astray);
    findings.extend(astray.map(Finding::Drifting));
    findings
}

/// A step in the history.
struct Change {
    at: usize,
    wider_um: f64,
    along_um: f64,
}

impl Change {
    fn told(&self, history: &[PunchRow]) -> Option<Finding> {
        let row = history.get(self.at)?;
        Some(Finding::Changed {
            job: row.job.0,
            card: row.card.0,
            since: row.ended.to_string(),
            wider_mm: self.wider_um / 1000.0,
            along_mm: self.along_um / 1000.0,
        })
    }
}

/// The last step, at the card before which one state and from which on another
/// explains the cards best; or one between the start and the first cards.
fn last_change(
    history: &[PunchRow],
    wide: &Series,
    along: &Series,
    start: Option<PunchSeen>,
) -> Option<Change> {
    let misfit = |at: usize| wide.misfit(at) + along.misfit(at);
    let mut best: Option<Change> = None;
    for at in (1..history.len()).rev() {
        let (wider, further) = (wide.step(at), along.step(at));
        match (&best, wider.or(further)) {
            // before the last one there may have been others
            (Some(_), None) => break,
            (Some(known), Some(_)) if misfit(known.at) <= misfit(at) => {}
            (_, None) => {}
            (_, Some(_)) => {
                best = Some(Change {
                    at,
                    wider_um: wider.unwrap_or(0.0),
                    along_um: further.unwrap_or(0.0),
                });
            }
        }
    }
    best.or_else(|| since_start(wide, along, start?))
}

/// A step between the calibration and the first cards after it.
fn since_start(wide: &Series, along: &Series, start: PunchSeen) -> Option<Change> {
    let few = wide.values.len().min(BESIDE);
    if few < FEWEST {
        return None;
    }
    let off = |series: &Series, start: i32| {
        let values = series.values.get(..few)?;
        let off = middle(values) - f64::from(start);
        let cards: Vec<f64> = (0..few).map(|card| card as f64).collect();
        let by_slope = slope(&cards, values).abs() * few as f64 / 2.0;
        let least = STEP_UM.max(SURE * series.error(1, few));
        (off.abs() >= least && by_slope < off.abs() / 2.0).then_some(off)
    };
    let (wider, further) = (off(wide, start.diameter_um), off(along, start.along_um));
    wider.or(further)?;
    Some(Change {
        at: 0,
        wider_um: wider.unwrap_or(0.0),
        along_um: further.unwrap_or(0.0),
    })
}
