//! Axes. Enters: the sessions, or the largest value. Leaves: the place of a moment or a
//! value on the page, and where the marks of the scale stand.
//!
//! The sessions stand side by side, with a gap for the time between them.

use super::{LEFT, RIGHT};
use crate::ledger::UnixMillis;
use crate::report::Session;

/// Steps of a scale of time, in seconds.
const STEPS_S: [i64; 16] = [
    1, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 14_400, 43_200, 86_400,
];
/// Widest gap between two sessions, in millimetres.
const GAP: f64 = 5.0;
/// What the gaps may take of the width in all.
const GAPS: f64 = 0.2;
/// What a session gets at least, however short, in millimetres.
const LEAST: f64 = 1.5;

/// A session's part of the axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub number: usize,
    pub began: i64,
    pub ended: i64,
    pub left: f64,
    pub width: f64,
}

impl Span {
    /// Where this moment lies; one outside of the session lies at its edge.
    pub(super) fn x(&self, at: i64) -> f64 {
        let long = (self.ended - self.began).max(1) as f64;
        let part = (at - self.began) as f64 / long;
        self.left + self.width * part.clamp(0.0, 1.0)
    }

    pub(super) fn right(&self) -> f64 {
        self.left + self.width
    }
}

/// The axis of time.
#[derive(Clone, Debug)]
pub(super) struct Times {
    pub spans: Vec<Span>,
    /// Milliseconds of a millimetre.
    ms_a_mm: f64,
}

impl Times {
    pub(super) fn of(sessions: &[Session]) -> Times {
        let count = sessions.len().max(1) as f64;
        let room = RIGHT - LEFT;
        let gaps = (count - 1.0).max(1.0);
        let gap = GAP.min(room * GAPS / gaps);
        let free = room - gap * (count - 1.0);
        let least = LEAST.min(free / count / 2.0);
        let long = |session: &Session| (session.ended.0 - session.began.0).max(1) as f64;
        let all: f64 = sessions.iter().map(long).sum();
        let ms_a_mm = all.max(1.0) / (free - least * count);
        let mut left = LEFT;
        let mut span = |session: &Session| {
            let span = Span {
                number: session.session,
                began: session.began.0,
                ended: session.ended.0,
                left,
                width: least + long(session) / ms_a_mm,
            };
            left = span.right() + gap;
            span
        };
        let spans = sessions.iter().map(&mut span).collect();
        Times { spans, ms_a_mm }
    }

    /// The part of the session with this number.
    pub(super) fn span(&self, number: usize) -> Option<Span> {
        self.spans.get(number.checked_sub(1)?).copied()
    }

    /// A step of time that takes at least this much of the axis, in milliseconds.
    pub(super) fn step_ms(&self, least_mm: f64) -> i64 {
        step_of_ms(least_mm * self.ms_a_mm)
    }
}

/// A round step of time of at least so many milliseconds, in milliseconds.
pub(super) fn step_of_ms(least_ms: f64) -> i64 {
    let wide = |step: &&i64| **step as f64 * 1000.0 >= least_ms;
    let step = STEPS_S.iter().find(wide).copied();
    step.unwrap_or_else(|| (least_ms / 86_400_000.0).ceil() as i64 * 86_400) * 1000
}

impl Span {
    /// The full steps within the session.
    pub(super) fn marks(&self, step_ms: i64) -> Vec<UnixMillis> {
        let first = self.began.div_euclid(step_ms) + i64::from(self.began % step_ms != 0);
        let last = self.ended.div_euclid(step_ms);
        (first..=last)
            .map(|step| UnixMillis(step * step_ms))
            .collect()
    }
}

/// An upright axis from 0 on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Upright {
    pub top: f64,
    pub foot: f64,
    /// From one mark to the next.
    pub step: f64,
    /// The highest mark.
    pub most: f64,
}

impl Upright {
    /// One that holds values up to `most`.
    pub(super) fn to(most: f64, (top, foot): (f64, f64)) -> Upright {
        let most = if most.is_finite() && most > 0.0 {
            most
        } else {
            1.0
        };
        let rough = most / 5.0;
        let power = 10f64.powf(rough.log10().floor());
        let round = [1.0, 2.0, 5.0, 10.0];
        let step = round
            .into_iter()
            .find(|times| times * power >= rough * 0.999);
        let step = step.unwrap_or(10.0) * power;
        Upright {
            top,
            foot,
            step,
            most: (most / step * 0.999).ceil().max(1.0) * step,
        }
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let part = (value / self.most).clamp(0.0, 1.0);
        self.foot - (self.foot - self.top) * part
    }

    /// The marks, with their figures.
    pub(super) fn marks(&self) -> Vec<(f64, String)> {
        let places = (-self.step.log10().floor()).clamp(0.0, 6.0) as usize;
        let count = (self.most / self.step).round() as usize;
        (0..=count)
            .map(|mark| mark as f64 * self.step)
            .map(|value| (value, format!("{value:.places$}")))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a curve leaves its panel or is too flat to be read.
    #[test]
    fn an_upright_axis_has_few_round_marks_and_holds_its_values() {
        for power in -30..60 {
            let most = 1.31f64.powi(power);
            let axis = Upright::to(most, (10.0, 50.0));
            let marks = axis.marks();
            assert!((3..=7).contains(&marks.len()), "{most}: {marks:?}");
            assert!(
                axis.most >= most * 0.99 && axis.most <= most * 2.1,
                "{most}"
            );
            assert!(axis.y(most) >= 10.0 && axis.y(most) < 50.0, "{most}");
            let figures: std::collections::BTreeSet<&String> =
                marks.iter().map(|(_, figure)| figure).collect();
            assert_eq!(figures.len(), marks.len(), "{most}: {marks:?}");
        }
        assert_eq!(Upright::to(f64::NAN, (0.0, 1.0)).most, 1.0);
        assert_eq!(Upright::to(0.0, (0.0, 1.0)).most, 1.0);
    }
}
