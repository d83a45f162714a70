//! What a rig's reader and punches are like, by one blank card and one with every
//! hole cut.
//!
//! Enters: the two readings, the card format. Leaves: a [`Calibration`], and later
//! whether it still holds. Refuses, with what was found, where, and what to do:
//! cards that are not those two, holes that are not whole or lie astray, a reader
//! that is dark, clipped or noisy. Pure.

mod bounds;
mod measure;
mod stale;
mod words;

pub use bounds::Refusal;
pub use stale::advice;
pub use words::calibration_words;

use serde::{Deserialize, Serialize};

use cardwright_protocol::Stroke;

use crate::deck::{CardFormat, Row};
use crate::judge::{Fit, Geometry, Judge, Limits, Reading, Report};
use crate::ledger::PunchSeen;

/// The form of [`Calibration`]: raised with every change of what its fields mean.
pub const FORM: u8 = 1;

/// What was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// [`FORM`].
    pub form: u8,
    /// The card format's name.
    pub format: String,
    /// Whether the full card was cut for this, and not laid in: only then its holes
    /// are those of this rig's punches as they are now.
    pub cut: bool,
    /// Each channel of the light bar, from hole 1.
    pub channels: Vec<Channel>,
    /// What each punch's holes were like, by hole; 0 is the peg punch.
    pub punches: Vec<PunchSeen>,
    /// Length of the two cards as the feed measures it, in micrometres.
    pub length_um: u32,
    /// How much more the feed measures than the format's length, in millionths.
    pub length_off_ppm: i32,
    /// How far behind its place the full card was read, in micrometres.
    pub offset_um: i32,
    /// How much it is stretched, in millionths.
    pub stretch_ppm: i32,
    /// How far it lay turned, in millionths of a radian.
    pub skew_urad: i32,
}

/// One channel of the light bar.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// Its hole, from 1.
    pub hole: u8,
    /// Level with the lamp off.
    pub dark: u8,
    /// Level with the lamp on and no card.
    pub open: u8,
    /// Light through solid card, in thousandths of the open light.
    pub card_permille: u16,
    /// Light through a whole hole, likewise.
    pub hole_permille: u16,
    /// Noise of one level over solid card (standard deviation), in thousandths of a
    /// level.
    pub noise_millilevels: u32,
    /// How far behind the bar's straight line this channel sees its punch's holes,
    /// in micrometres: its own place and the punch's together, which one pass
    /// cannot tell apart.
    pub beside_line_um: i32,
}

/// Measures the two cards of one format on one rig.
pub struct Cards {
    format: CardFormat,
    geometry: Geometry,
    limits: Limits,
    judge: Judge,
    cut: bool,
}

impl Cards {
    /// Cards of this format; `cut` says whether the full one is cut by the rig that
    /// reads it, in the same pass.
    #[must_use]
    pub fn new(
        format: CardFormat,
        geometry: Geometry,
        limits: Limits,
        samples_per_row: u8,
        cut: bool,
    ) -> Cards {
        Cards {
            judge: Judge::new(&geometry, &limits, samples_per_row),
            format,
            geometry,
            limits,
            cut,
        }
    }

    /// Strokes of the blank card.
    #[must_use]
    pub fn blank_strokes(&self) -> Vec<Stroke> {
        vec![Stroke::Blank; usize::from(self.format.strokes())]
    }

    /// Strokes of the full card: every needle, lace and peg hole.
    #[must_use]
    pub fn full_strokes(&self) -> Vec<Stroke> {
        let full = Row::full(self.format.holes_per_row());
        let rows = vec![full; usize::from(self.format.rows())];
        self.format.programme(&rows)
    }

    /// Looks at the blank card.
    #[must_use]
    pub fn look_at_blank(&self, reading: &Reading) -> (Report, Option<Refusal>) {
        let strokes = self.blank_strokes();
        let report = self.judge.judge(&strokes, reading, Fit::OffsetAndStretch);
        let refusal = bounds::blank(&report, reading, &self.geometry, &self.limits).err();
        (report, refusal)
    }

    /// Looks at the full card.
    #[must_use]
    pub fn look_at_full(&self, reading: &Reading) -> (Report, Option<Refusal>) {
        let fit = if self.cut {
            Fit::None
        } else {
            Fit::OffsetAndStretch
        };
        let report = self.judge.judge(&self.full_strokes(), reading, fit);
        let refusal = bounds::full(&report, &self.geometry, &self.limits).err();
        (report, refusal)
    }

    /// What reader and punches are like by the two cards.
    ///
    /// # Errors
    /// A [`Refusal`] of either card, or of what they show together.
    pub fn calibrate(&self, blank: &Reading, full: &Reading) -> Result<Calibration, Refusal> {
        if let (_, Some(refusal)) = self.look_at_blank(blank) {
            return Err(refusal);
        }
        let (report, refusal) = self.look_at_full(full);
        if let Some(refusal) = refusal {
            return Err(refusal);
        }
        // how the card lies is told by the fit, however it came there
        let strokes = self.full_strokes();
        let lies = self.judge.judge(&strokes, full, Fit::OffsetAndStretch);
        let found = measure::calibration(self, blank, full, &report, &lies);
        bounds::found(&found, &self.geometry)?;
        Ok(found)
    }
}
