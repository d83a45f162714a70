//! From measurements to the verdict.
//!
//! Enters: what was measured, what should be there, the limits. Leaves: every
//! position judged, every stroke's register, the verdict. What is not surely
//! right is not good: it is a fault, or the card is not judged.

use super::input::{Fit, Geometry, Limits};
use super::light::{self, permille};
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
    /// Positions that are surely wrong, and those not to be told.
    wrong: u8,
    doubtful: u8,
}

impl StrokeRegister {
    /// Of a stroke with these cells, whose needle holes lie this far off.
    fn of(cells: &[Cell], off_mm: Option<f32>) -> StrokeRegister {
        let mut found = StrokeRegister::default();
        for cell in cells {
            // without a branch: whether a hole is required is as good as chance
            let right = cell.required & (cell.judged == Judged::Right);
            found.wrong += u8::from(cell.judged.is_wrong());
            found.doubtful += u8::from(cell.judged == Judged::Doubtful);
            found.holes += u8::from(right);
        }
        // A row that is mostly wrong is another row, not a displaced one.
        if found.wrong >= found.holes.max(1) {
            return found;
        }
        for cell in cells.iter().rev().take_while(|cell| cell.hole == 0) {
            let right = cell.judged == Judged::Right;
            let mm = cell.offset_um.map(|um| f64::from(um) / 1000.0);
            found.peg_mm = mm.filter(|_| right).or(found.peg_mm);
        }
        let by_needles = found.holes > u8::from(found.peg_mm.is_some());
        found.offset_mm = off_mm.map(f64::from).filter(|_| by_needles);
        found.offset_mm = found.offset_mm.or(found.peg_mm);
        found
    }
}

/// Decides on one card.
pub(super) fn decide(case: &Case<'_>, mut report: Report) -> Report {
    let (cells, strokes) = case.cells();
    let plane = match case.fit {
        Fit::None => Plane::default(),
        Fit::OffsetAndStretch => case.measured.plane,
    };
    report.register.reserve_exact(strokes.len());
    let register = strokes.iter().zip(0u16..).filter_map(|(found, stroke)| {
        let off = found.offset_mm? - plane.at(case.place_mm(stroke), 0.0);
        Some(RowRegister {
            stroke,
            offset_um: micrometres(off),
            holes: found.holes,
        })
    });
    report.register.extend(register);
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

    /// Every position, judged by its light alone, and each stroke's offset by its whole
    /// holes.
    fn cells(&self) -> (Vec<Cell>, Vec<StrokeRegister>) {
        let measured = self.measured;
        let mut cells = Vec::with_capacity(measured.spots.len() + measured.pegs.len());
        let mut strokes = Vec::with_capacity(self.strokes.len());
        let rows = measured.spots.chunks(measured.holes.max(1));
        let rows = rows.zip(&measured.rows_mm);
        let wider = self.wider_mm();
        for (((row, off_mm), what), stroke) in rows.zip(self.strokes).zip(0u16..) {
            let first = cells.len();
            let punches = what.punches();
            let aside_mm = (measured.plane.skew * self.place_mm(stroke)) as f32;
            let across_um = wider.map(|wider_mm| light::micrometres(wider_mm - aside_mm));
            let row = row.iter().zip(&across_um).enumerate();
            cells.extend(row.map(|(lane, (spot, across_um))| {
                let required = punches.0 >> lane & 1 == 1;
                cell(stroke, lane as u8 + 1, required, spot, Some(*across_um))
            }));
            let pegs = measured.pegs.iter();
            for peg in pegs.filter(|peg| peg.stroke == usize::from(stroke)) {
                let across_um = peg.across_mm.map(light::micrometres);
                cells.push(cell(stroke, 0, true, &peg.spot, across_um));
            }
            let own = cells.get(first..).unwrap_or_default();
            strokes.push(StrokeRegister::of(own, *off_mm));
        }
        (cells, strokes)
    }

    /// How far across its channel's middle each hole lies by the card's stretch, to
    /// which its skew adds: one aperture a hole cannot see more of it.
    fn wider_mm(&self) -> [f32; MOST_HOLES as usize] {
        let mut wider = [0.0; MOST_HOLES as usize];
        for (wider, hole) in wider.iter_mut().zip(1u8..) {
            let y = self.geometry.across_mm(hole);
            *wider = (self.measured.plane.stretch * y) as f32;
        }
        wider
    }

    /// The card's row that a stroke cuts, from 1; none of a stroke that cuts lace or
    /// peg holes alone.
    fn row(&self, stroke: u16) -> Option<u16> {
        let cuts = |what: &Stroke| matches!(what, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_));
        let own = self.strokes.get(..=usize::from(stroke))?;
        let rows = own.iter().filter(|what| cuts(what)).count();
        own.last().filter(|what| cuts(what))?;
        u16::try_from(rows).ok()
    }

    fn faults(&self, cells: &[Cell]) -> Vec<HoleFault> {
        cells
            .iter()
            .filter_map(|cell| {
                let kind = match cell.judged {
                    Judged::Missing => FaultKind::Missing,
                    Judged::Partial => FaultKind::Partial,
                    Judged::Extra => FaultKind::Extra,
                    Judged::Right | Judged::Doubtful | Judged::WithinPeg => return None,
                };
                Some(HoleFault {
                    stroke: cell.stroke,
                    row: self.row(cell.stroke).filter(|_| cell.hole > 0),
                    hole: cell.hole,
                    kind,
                    open_permille: cell.open_permille,
                    offset_um: cell.offset_um.unwrap_or(0),
                })
            })
            .collect()
    }

    fn verdict(&self, cells: &[Cell], strokes: &[StrokeRegister], plane: Plane) -> Verdict {
        let faults = if strokes.iter().any(|found| found.wrong > 0) {
            self.faults(cells)
        } else {
            Vec::new()
        };
        let out = self.out_of_register(strokes, plane);
        if out != OutOfRegister::default() {
            return Verdict::OutOfRegister(OutOfRegister { faults, ..out });
        }
        if !faults.is_empty() {
            return Verdict::Faulty(faults);
        }
        let doubtful = strokes.iter().any(|found| found.doubtful > 0);
        let doubt = doubtful.then(|| doubt(cells)).flatten();
        match doubt.or_else(|| self.unknown(strokes)) {
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

#[inline]
fn cell(stroke: u16, hole: u8, required: bool, spot: &Spot, across_um: Option<i32>) -> Cell {
    // an index is no branch, and whether a hole is required is as good as chance
    let right = [spot.solid, spot.whole][usize::from(required)];
    let (judged, sure) = if (right >= SURE) & (spot.what != What::WithinPeg) {
        // as nearly all are
        (Judged::Right, right)
    } else {
        match spot.what {
            What::WithinPeg => (Judged::WithinPeg, 1.0 - right),
            _ if right > 1.0 - SURE => (Judged::Doubtful, right),
            What::Solid => (Judged::Missing, 1.0 - right),
            _ if required => (Judged::Partial, 1.0 - right),
            _ => (Judged::Extra, 1.0 - right),
        }
    };
    Cell {
        stroke,
        hole,
        required,
        judged,
        sure,
        open_permille: spot.open_permille,
        offset_um: spot.is_lit.then_some(spot.offset_um),
        across_um,
        diameter_um: spot.is_lit.then_some(spot.diameter_um),
    }
}

/// Millimetres in whole micrometres.
pub(super) fn micrometres(mm: f64) -> i32 {
    // `as` leaves the fraction off, saturates and turns not-a-number into 0.
    (mm * 1000.0 + 0.5f64.copysign(mm)) as i32
}
