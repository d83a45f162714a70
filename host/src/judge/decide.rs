//! From measurements to the verdict.
//!
//! Enters: what was measured, what should be there, the limits. Leaves: every
//! position judged, every stroke's register, the verdict. What is not surely
//! right is not good: it is a fault, or the card is not judged.

use super::input::{Fit, Geometry, Limits};
use super::light::permille;
use super::measure::{Measured, Spot, What};
use super::plane::Plane;
use super::register::blind_stretch;
use super::report::{Cell, Judged, Report, RowRegister};
use super::verdict::{FaultKind, HoleFault, OutOfRegister, UnreadReason, Verdict};
use cardwright_protocol::Stroke;
use cardwright_protocol::card::MOST_HOLES;

/// Less sure than this is doubtful.
pub(super) const SURE: f32 = 0.99;

/// What is judged, and by what.
pub(super) struct Case<'a> {
    pub(super) strokes: &'a [Stroke],
    pub(super) geometry: &'a Geometry,
    pub(super) limits: &'a Limits,
    pub(super) fit: Fit,
    pub(super) measured: &'a Measured,
    pub(super) length_um: Option<u32>,
}

/// One stroke's whole holes.
#[derive(Clone, Copy, Default)]
struct StrokeRegister {
    /// Offset of its needle holes, or of its peg hole where it has no others.
    offset_mm: Option<f64>,
    /// Offset of its peg hole.
    peg_mm: Option<f64>,
    holes: u8,
}

/// Decides on one card.
pub(super) fn decide(case: &Case<'_>, mut report: Report) -> Report {
    let cells = case.cells();
    let strokes = case.register(&cells);
    let plane = match case.fit {
        Fit::None => Plane::default(),
        Fit::OffsetAndStretch => case.measured.plane,
    };
    report.register = strokes
        .iter()
        .zip(0u16..)
        .filter_map(|(found, stroke)| {
            let off = found.offset_mm? - plane.at(case.place_mm(stroke), 0.0);
            Some(RowRegister {
                stroke,
                offset_um: micrometres(off),
                holes: found.holes,
            })
        })
        .collect();
    report.offset_um = micrometres(plane.offset_mm);
    report.stretch_ppm = (plane.stretch * 1e6).round() as i32;
    report.skew_urad = (plane.skew * 1e6).round() as i32;
    report.noise_levels = case.measured.noise;
    report.solid_permille = Some(permille(case.measured.solid));
    let verdict = case.verdict(&cells, &strokes, plane);
    report.cells = cells;
    report.close(verdict)
}

impl Case<'_> {
    fn place_mm(&self, stroke: u16) -> f64 {
        f64::from(stroke) * self.geometry.row_pitch_mm
    }

    /// Every position, judged by its light alone.
    fn cells(&self) -> Vec<Cell> {
        let measured = self.measured;
        let mut cells = Vec::with_capacity(measured.spots.len() + measured.pegs.len());
        let rows = measured.spots.chunks(measured.holes.max(1));
        for ((row, what), stroke) in rows.zip(self.strokes).zip(0u16..) {
            let punches = what.punches();
            cells.extend(row.iter().zip(1u8..=MOST_HOLES).map(|(spot, hole)| {
                let across = self.across_mm(stroke, hole);
                cell(stroke, hole, punches.has(hole), spot, Some(across))
            }));
            let pegs = measured.pegs.iter();
            let pegs = pegs.filter(|peg| peg.stroke == usize::from(stroke));
            cells.extend(pegs.map(|peg| cell(stroke, 0, true, &peg.spot, peg.across_mm)));
        }
        cells
    }

    /// How far across its channel's middle a hole lies by the card's stretch and
    /// skew: one aperture a hole cannot see more of it.
    fn across_mm(&self, stroke: u16, hole: u8) -> f32 {
        let plane = self.measured.plane;
        let y = self.geometry.across_mm(hole);
        (plane.stretch * y - plane.skew * self.place_mm(stroke)) as f32
    }

    /// Each stroke's offset by its whole holes.
    fn register(&self, cells: &[Cell]) -> Vec<StrokeRegister> {
        let mut strokes = vec![StrokeRegister::default(); self.strokes.len()];
        let mut faults = vec![0u8; self.strokes.len()];
        for cell in cells {
            let number = usize::from(cell.stroke);
            let (Some(found), Some(faults)) = (strokes.get_mut(number), faults.get_mut(number))
            else {
                continue;
            };
            // without a branch: whether a hole is required is as good as chance
            let right = cell.required & (cell.judged == Judged::Right);
            *faults = faults.saturating_add(u8::from(cell.judged.is_wrong()));
            found.holes = found.holes.saturating_add(u8::from(right));
            if cell.hole == 0 && right {
                found.peg_mm = cell.offset_um.map(|um| f64::from(um) / 1000.0);
            }
        }
        for ((found, faults), row) in strokes.iter_mut().zip(faults).zip(&self.measured.rows_mm) {
            let by_needles = found.holes > u8::from(found.peg_mm.is_some());
            // A row that is mostly wrong is another row, not a displaced one.
            if faults >= found.holes.max(1) {
                *found = StrokeRegister::default();
            } else if by_needles {
                found.offset_mm = row.map(f64::from);
            }
            found.offset_mm = found.offset_mm.or(found.peg_mm);
        }
        strokes
    }

    fn faults(&self, cells: &[Cell]) -> Vec<HoleFault> {
        let mut row = 0;
        let rows: Vec<Option<u16>> = self
            .strokes
            .iter()
            .map(|what| {
                matches!(what, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_)).then(|| {
                    row += 1;
                    row
                })
            })
            .collect();
        cells
            .iter()
            .filter_map(|cell| {
                let kind = match cell.judged {
                    Judged::Missing => FaultKind::Missing,
                    Judged::Partial => FaultKind::Partial,
                    Judged::Extra => FaultKind::Extra,
                    Judged::Right | Judged::Doubtful | Judged::WithinPeg => return None,
                };
                let row = rows.get(usize::from(cell.stroke)).copied().flatten();
                Some(HoleFault {
                    stroke: cell.stroke,
                    row: row.filter(|_| cell.hole > 0),
                    hole: cell.hole,
                    kind,
                    open_permille: cell.open_permille,
                    offset_um: cell.offset_um.unwrap_or(0),
                })
            })
            .collect()
    }

    fn verdict(&self, cells: &[Cell], strokes: &[StrokeRegister], plane: Plane) -> Verdict {
        let faults = self.faults(cells);
        let out = self.out_of_register(strokes, plane);
        if out != OutOfRegister::default() {
            return Verdict::OutOfRegister(OutOfRegister { faults, ..out });
        }
        if !faults.is_empty() {
            return Verdict::Faulty(faults);
        }
        match doubt(cells).or_else(|| self.unknown(strokes)) {
            Some(reason) => Verdict::Unread(reason),
            None => Verdict::Good,
        }
    }

    /// What is out of register; all default if nothing is.
    fn out_of_register(&self, strokes: &[StrokeRegister], plane: Plane) -> OutOfRegister {
        let mut out = OutOfRegister::default();
        for (found, stroke) in strokes.iter().zip(0u16..) {
            let nominal = plane.at(self.place_mm(stroke), 0.0);
            let worst = [found.offset_mm, found.peg_mm]
                .into_iter()
                .flatten()
                .map(|offset| offset - nominal)
                .fold(
                    0.0,
                    |worst: f64, off| if off.abs() > worst.abs() { off } else { worst },
                );
            if worst.abs() > self.limits.register_mm {
                out.strokes.push(stroke);
                if micrometres(worst).abs() > out.worst_um.abs() {
                    out.worst_um = micrometres(worst);
                }
            }
        }
        if let Some(length_um) = self.length_um {
            let nominal = self.geometry.card_length_mm * (1.0 + plane.stretch);
            let off = f64::from(length_um) / 1000.0 - nominal;
            out.length_off_um = (off.abs() > self.limits.length_mm).then(|| micrometres(off));
        }
        let offset = plane.offset_mm;
        out.offset_um = (offset.abs() > self.limits.offset_mm).then(|| micrometres(offset));
        let too_much = plane.stretch.abs() * 1000.0 > self.limits.stretch_permille;
        out.stretch_ppm = too_much.then(|| (plane.stretch * 1e6).round() as i32);
        out
    }

    /// Why a card with nothing wrong to be seen still cannot be called good.
    fn unknown(&self, strokes: &[StrokeRegister]) -> Option<UnreadReason> {
        if self.length_um.is_some() {
            return None;
        }
        let known: Vec<bool> = strokes
            .iter()
            .map(|found| found.offset_mm.is_some())
            .collect();
        let blind = match self.fit {
            Fit::None => blind_stretch(&known, usize::from(self.limits.reader_rows)),
            Fit::OffsetAndStretch if known.iter().filter(|known| **known).count() < 2 => {
                Some((0, known.len().saturating_sub(1)))
            }
            Fit::OffsetAndStretch => None,
        };
        let stroke = |number: usize| u16::try_from(number).unwrap_or(u16::MAX);
        blind.map(|(first, last)| UnreadReason::RegisterUnknown {
            first: stroke(first),
            last: stroke(last),
        })
    }
}

/// Positions that could not be told, as a reason.
fn doubt(cells: &[Cell]) -> Option<UnreadReason> {
    let mut doubtful = cells.iter().filter(|cell| cell.judged == Judged::Doubtful);
    let first = doubtful.next()?;
    Some(UnreadReason::Doubtful {
        stroke: first.stroke,
        hole: first.hole,
        more: u16::try_from(doubtful.count()).unwrap_or(u16::MAX),
    })
}

fn cell(stroke: u16, hole: u8, required: bool, spot: &Spot, across_mm: Option<f32>) -> Cell {
    // an index is no branch, and whether a hole is required is as good as chance
    let right = [spot.solid, spot.whole][usize::from(required)];
    let judged = match spot.what {
        What::WithinPeg => Judged::WithinPeg,
        _ if right >= SURE => Judged::Right,
        _ if right > 1.0 - SURE => Judged::Doubtful,
        What::Solid => Judged::Missing,
        _ if required => Judged::Partial,
        _ => Judged::Extra,
    };
    let sure = match judged {
        Judged::Right | Judged::Doubtful => right,
        _ => 1.0 - right,
    };
    let um = |mm: Option<f32>| {
        let um = micrometres(f64::from(mm.unwrap_or(0.0)));
        mm.map(|_| um)
    };
    Cell {
        stroke,
        hole,
        required,
        judged,
        sure,
        open_permille: permille(spot.open),
        offset_um: um(spot.offset_mm),
        across_um: um(across_mm),
        diameter_um: um(spot.diameter_mm),
    }
}

/// Millimetres in whole micrometres.
pub(super) fn micrometres(mm: f64) -> i32 {
    // `as` leaves the fraction off, saturates and turns not-a-number into 0.
    (mm * 1000.0 + 0.5f64.copysign(mm)) as i32
}
