//! The verdict on one card: was this very card read, and is every hole where it
//! should be?
//!
//! Enters: the strokes the card should show, its geometry, one [`Reading`] as
//! the unit sent it, and [`Limits`]. Leaves: a [`Report`] with one [`Verdict`],
//! the measurements behind it and words for a person. Refused, with a reason and
//! never by a guess: readings that are incomplete, too dark, clipped, unsteady,
//! of two cards or of none ([`Verdict::Unread`], [`Verdict::Interrupted`]).
//!
//! Nothing here panics, waits, or depends on anything but its arguments.

mod decide;
mod input;
mod lamp;
mod light;
mod measure;
mod overlap;
mod register;
mod report;
mod verdict;

use cardwright_protocol::Stroke;
use decide::{Case, Decision, decide, micrometres};

pub use input::{Fit, Geometry, Limits, Reading};
pub use overlap::circle_overlap;
pub use report::{Cell, Judged, Report, RowRegister};
pub use verdict::{FaultKind, HoleFault, OutOfRegister, UnreadReason, Verdict};

/// Judges one card.
///
/// `strokes` is what the card should show, one entry a stroke of its programme,
/// blank needle rows being [`Stroke::Needles`] of no hole. Use [`Fit::None`] for
/// a card cut and read in one pass and [`Fit::OffsetAndStretch`] for one cut
/// earlier.
#[must_use]
pub fn judge(
    strokes: &[Stroke],
    geometry: &Geometry,
    reading: &Reading,
    limits: &Limits,
    fit: Fit,
) -> Report {
    let length_um = (reading.ended.length_um > 0).then_some(reading.ended.length_um);
    let mut report = Report::new(length_um);
    let begun = reading.ended.strokes;
    let cut_short = fit == Fit::None && usize::from(begun) < strokes.len();
    if !reading.ended.complete || cut_short {
        return report.close(Verdict::Interrupted { strokes: begun });
    }
    let light = match light::light(strokes, geometry, reading, limits) {
        Ok(light) => light,
        Err(reason) => return report.close(Verdict::Unread(reason)),
    };
    report.solid_permille = Some(light::permille(light.solid));
    let mut measured = measure::measure(strokes, geometry, limits, &light, fit);
    if let Some(lamp) = lamp::drift(strokes, &light, &measured) {
        let even = light.evened(|line| lamp.at(line));
        measured = measure::measure(strokes, geometry, limits, &even, fit);
    }
    let case = Case {
        strokes,
        geometry,
        limits,
        fit,
        measured: &measured,
        length_um,
    };
    let Decision {
        verdict,
        cells,
        register,
        line,
    } = decide(&case);
    report.cells = cells;
    report.register = register;
    report.offset_um = micrometres(line.offset_mm);
    report.stretch_ppm = (line.stretch * 1e6).round() as i32;
    report.close(verdict)
}
