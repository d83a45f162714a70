//! The verdict on one card: was this very card read, and is every hole where it
//! should be?
//!
//! Enters: the strokes the card should show, its geometry, one [`Reading`] as
//! the unit sent it, and [`Limits`]. Leaves: a [`Report`] with one [`Verdict`],
//! the measurements behind it and words for a person. Refused, with a reason and
//! never by a guess: readings that are incomplete, too dark, clipped, unsteady,
//! too noisy, of two cards or of none ([`Verdict::Unread`],
//! [`Verdict::Interrupted`]).
//!
//! Nothing here panics, waits, or depends on anything but its arguments.

mod decide;
mod input;
mod light;
mod look;
#[allow(clippy::needless_range_loop)] // channels side by side, by their number
mod measure;
mod mend;
mod overlap;
mod plane;
mod register;
mod report;
mod verdict;

use cardwright_protocol::Stroke;
use cardwright_protocol::card::MOST_HOLES;
use decide::{Case, decide};
use measure::{Gauge, Measured};

pub use input::{Fit, Geometry, Limits, Reading};
pub use look::{Look, Position, Seen};
pub use measure::What;
pub use mend::{NoMending, mending};
pub use overlap::{circle_overlap, open_share};
pub use plane::{Place, Plane};
pub(crate) use report::likely_another;
pub use report::{Cell, Judged, Report, RowRegister};
pub use verdict::{FaultKind, HoleFault, OutOfRegister, UnreadReason, Verdict};

/// Judges cards of one format, read with so many lines a row: what is the same
/// for all of them is worked out once.
#[derive(Clone, Debug)]
pub struct Judge {
    geometry: Geometry,
    limits: Limits,
    per_row: u8,
    gauge: Result<Gauge, UnreadReason>,
}

impl Judge {
    /// A judge. Measures that cannot be right show in every verdict.
    #[must_use]
    pub fn new(geometry: &Geometry, limits: &Limits, samples_per_row: u8) -> Judge {
        let sound = geometry.is_sound() && limits.is_sound();
        let gauge = if !sound || !(1..=64).contains(&samples_per_row) {
            Err(UnreadReason::BadGeometry)
        } else {
            Gauge::new(geometry, limits, usize::from(samples_per_row))
        };
        Judge {
            geometry: *geometry,
            limits: *limits,
            per_row: samples_per_row,
            gauge,
        }
    }

    /// Judges one card.
    ///
    /// `strokes` is what the card should show, one entry a stroke of its
    /// programme, blank needle rows being [`Stroke::Needles`] of no hole. Use
    /// [`Fit::None`] for a card cut and read in one pass and
    /// [`Fit::OffsetAndStretch`] for one cut earlier.
    #[must_use]
    pub fn judge(&self, strokes: &[Stroke], reading: &Reading, fit: Fit) -> Report {
        let length_um = (reading.ended.length_um > 0).then_some(reading.ended.length_um);
        let report = Report::new(length_um);
        let begun = reading.ended.strokes;
        let cut_short = fit == Fit::None && usize::from(begun) < strokes.len();
        if !reading.ended.complete || cut_short {
            return report.close(Verdict::Interrupted { strokes: begun });
        }
        match self.measured(strokes, reading) {
            Ok(measured) => {
                let case = Case {
                    strokes,
                    geometry: &self.geometry,
                    limits: &self.limits,
                    fit,
                    measured: &measured,
                    length_um,
                };
                decide(&case, report)
            }
            Err(reason) => {
                let verdict = self
                    .by_length(length_um, fit)
                    .unwrap_or(Verdict::Unread(reason));
                report.close(verdict)
            }
        }
    }

    /// A card cut and read in one pass whose length is wrong is wrong, whatever its
    /// holes are like.
    fn by_length(&self, length_um: Option<u32>, fit: Fit) -> Option<Verdict> {
        let off = f64::from(length_um?) / 1000.0 - self.geometry.card_length_mm;
        (fit == Fit::None && off.abs() > self.limits.length_mm).then(|| {
            Verdict::OutOfRegister(OutOfRegister {
                length_off_um: Some((off * 1000.0).round() as i32),
                ..OutOfRegister::default()
            })
        })
    }

    /// Looks at a card that no deck is known of. Of `strokes` only their number
    /// and the peg holes count.
    ///
    /// # Errors
    /// Why the card cannot be measured.
    pub fn look(&self, strokes: &[Stroke], reading: &Reading) -> Result<Look, UnreadReason> {
        self.measured(strokes, reading)
            .map(|found| Look::of(&found))
    }

    /// Whether a card that no deck is known of can be measured: good, or unread.
    #[must_use]
    pub fn readable(&self, strokes: &[Stroke], reading: &Reading) -> Report {
        let length_um = (reading.ended.length_um > 0).then_some(reading.ended.length_um);
        Report::of_reading(length_um, self.look(strokes, reading).err())
    }

    fn measured(&self, strokes: &[Stroke], reading: &Reading) -> Result<Measured, UnreadReason> {
        // idle channels cost as much as others
        if self.geometry.holes <= 8 {
            self.measure::<8>(strokes, reading)
        } else {
            self.measure::<{ MOST_HOLES as usize }>(strokes, reading)
        }
    }

    /// Measures a card of at most `N` channels.
    fn measure<const N: usize>(
        &self,
        strokes: &[Stroke],
        reading: &Reading,
    ) -> Result<Measured, UnreadReason> {
        let light = light::light::<N>(strokes.len(), &self.geometry, reading, &self.limits)?;
        let room = cardwright_protocol::Row::full(self.geometry.holes).0;
        if strokes.iter().any(|stroke| stroke.punches().0 & !room != 0) {
            return Err(UnreadReason::BadStrokes);
        }
        if reading.samples_per_row != self.per_row {
            let samples_per_row = reading.samples_per_row;
            return Err(UnreadReason::SamplesPerRow { samples_per_row });
        }
        let gauge = self.gauge.as_ref().map_err(|reason| *reason)?;
        measure::measure(gauge, strokes, &self.geometry, &self.limits, light)
    }
}

/// Judges one card: [`Judge::judge`] for a single reading.
#[must_use]
pub fn judge(
    strokes: &[Stroke],
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
    fit: Fit,
) -> Report {
    Judge::new(geometry, limits, reading.samples_per_row).judge(strokes, reading, fit)
}
