//! Cutting what is missing into the same card.
//!
//! Enters: what the card should be, and the report of a reading of it, fed as it
//! will be fed again. Leaves: the strokes that cut only what is missing or not
//! wholly cut. Refuses cards with other faults, and cards whose holes lie so that
//! new ones would not line up with them: the punch comes down at the nominal
//! place, whatever the paper has done since.

use super::input::{Geometry, Limits};
use super::plane::Plane;
use super::report::Report;
use super::verdict::{FaultKind, Verdict};
use cardwright_protocol::{Row, Stroke};

/// How far from the card's other holes a new one may come to lie, as a share of
/// how far a row may lie from its place: a hole that is off beside its neighbours
/// shows more than a row that is off as a whole (common practice, no source).
const REGISTER_SHARE: f64 = 1.0 / 3.0;

/// With more missing than this, it is worth a new card, and may be another one.
const MOST_FAULTS: usize = 12;

/// Why a card is not mended.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoMending {
    /// Nothing is wrong with it.
    #[error("nothing is missing from it")]
    Sound,
    /// There is more light than there should be.
    #[error("it has holes too many, which no punch mends: paste paper over them, or cut it again")]
    Extra,
    /// It was not measured, or is out of register.
    #[error("{0}; cut it again")]
    Verdict(String),
    /// New holes would not line up.
    #[error(
        "a hole cut now would lie {off_mm:+.2} mm from the card's other holes, and at most {most_mm:.2} mm will do: the paper has swollen, shrunk or shifted; cut it again"
    )]
    Register {
        /// How far, at the worst of them.
        off_mm: f64,
        /// How far will do.
        most_mm: f64,
    },
}

/// The strokes that mend the card: as many as `strokes`, most of them blank.
///
/// # Errors
/// As [`NoMending`] says.
pub fn mending(
    strokes: &[Stroke],
    geometry: &Geometry,
    limits: &Limits,
    report: &Report,
) -> Result<Vec<Stroke>, NoMending> {
    let faults = match &report.verdict {
        Verdict::Good => return Err(NoMending::Sound),
        Verdict::Faulty(faults) => faults,
        _ => return Err(NoMending::Verdict(report.summary.clone())),
    };
    if faults.iter().any(|fault| fault.kind == FaultKind::Extra) {
        return Err(NoMending::Extra);
    }
    if faults.len() > MOST_FAULTS {
        return Err(NoMending::Verdict(report.summary.clone()));
    }
    let plane = Plane {
        offset_mm: f64::from(report.offset_um) / 1e3,
        stretch: f64::from(report.stretch_ppm) / 1e6,
        skew: f64::from(report.skew_urad) / 1e6,
    };
    let mut mended = vec![Stroke::Blank; strokes.len()];
    let mut worst = 0.0f64;
    for fault in faults {
        let along = f64::from(fault.stroke) * geometry.row_pitch_mm;
        let across = match fault.hole {
            0 => 0.0,
            hole => geometry.across_mm(hole),
        };
        for off in [
            plane.at(along, across),
            plane.stretch * across - plane.skew * along,
        ] {
            if off.abs() > worst.abs() {
                worst = off;
            }
        }
        if let Some(stroke) = mended.get_mut(usize::from(fault.stroke)) {
            *stroke = with(*stroke, fault.hole);
        }
    }
    let most_mm = limits.register_mm * REGISTER_SHARE;
    if worst.abs() > most_mm {
        // the new hole lies the other way from where the old ones went
        let off_mm = -worst;
        return Err(NoMending::Register { off_mm, most_mm });
    }
    Ok(mended)
}

/// The stroke with one more hole, 0 being the peg hole.
fn with(stroke: Stroke, hole: u8) -> Stroke {
    let row = match hole {
        0 => stroke.punches(),
        hole => Row(stroke.punches().0 | 1 << (hole - 1)),
    };
    match (row, stroke.peg() || hole == 0) {
        (Row::BLANK, true) => Stroke::Peg,
        (row, true) => Stroke::NeedlesAndPeg(row),
        (row, false) => Stroke::Needles(row),
    }
}
