//! What was found of a card, as marks to be drawn.

use super::{Mark, MarkKind};
use crate::judge::{Cell, Judged, OutOfRegister, Report, Verdict};

/// Micrometres in a millimetre.
const UM: f64 = 1_000.0;

/// A mark for every position that has or should have a hole. A card that was
/// interrupted or not read has none: nothing is known of its holes.
#[must_use]
pub fn marks_of(report: &Report) -> Vec<Mark> {
    let register = match &report.verdict {
        Verdict::Good | Verdict::Faulty(_) => None,
        Verdict::OutOfRegister(found) => Some(found),
        Verdict::Interrupted { .. } | Verdict::Unread(_) => return Vec::new(),
    };
    report
        .cells
        .iter()
        .filter_map(|cell| mark(cell, register))
        .collect()
}

fn mark(cell: &Cell, register: Option<&OutOfRegister>) -> Option<Mark> {
    let kind = match cell.judged {
        Judged::WithinPeg => return None,
        Judged::Right if !cell.required => return None,
        Judged::Right if register.is_some_and(|found| displaced(found, cell.stroke)) => {
            MarkKind::OutOfRegister
        }
        Judged::Right => MarkKind::Good,
        Judged::Missing => MarkKind::Missing,
        Judged::Partial | Judged::Doubtful => MarkKind::Partial,
        Judged::Extra => MarkKind::Extra,
    };
    let offset_mm = f64::from(cell.offset_um.unwrap_or(0)) / UM;
    Some(Mark {
        stroke: cell.stroke,
        hole: cell.hole,
        kind,
        offset_mm,
    })
}

/// Whether this stroke's holes are out of register: its own row is, or the
/// whole card is.
fn displaced(found: &OutOfRegister, stroke: u16) -> bool {
    let whole = found.offset_um.is_some() || found.stretch_ppm.is_some();
    found.strokes.contains(&stroke) || (found.strokes.is_empty() && whole)
}
