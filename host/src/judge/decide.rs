//! From measurements to the verdict.
//!
//! Enters: what was measured and the limits. Leaves: every position judged,
//! every stroke's register, the verdict. Between right and wrong there is no
//! third answer: what is not surely right is a fault.

use super::input::{Fit, Geometry, Limits};
use super::light::permille;
use super::measure::{Measured, Spot};
use super::register::{Line, blind_stretch};
use super::report::{Cell, Judged, RowRegister};
use super::verdict::{FaultKind, HoleFault, OutOfRegister, UnreadReason, Verdict};
use cardwright_protocol::Stroke;

/// What was decided, with every position and stroke.
pub(super) struct Decision {
    pub(super) verdict: Verdict,
    pub(super) cells: Vec<Cell>,
    pub(super) register: Vec<RowRegister>,
    pub(super) line: Line,
}

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
pub(super) fn decide(case: &Case<'_>) -> Decision {
    let mut cells = case.cells();
    let strokes = case.register(&cells);
    let line = case.line(&strokes);
    case.mark_strays(&mut cells, &strokes, line);
    case.mark_torn(&mut cells, &strokes, line);
    let faults = case.faults(&cells);
    let register = strokes
        .iter()
        .zip(0u16..)
        .filter_map(|(found, stroke)| {
            let offset_um = micrometres(found.offset_mm? - line.at(case.place_mm(stroke)));
            Some(RowRegister {
                stroke,
                offset_um,
                holes: found.holes,
            })
        })
        .collect();
    let verdict = case.verdict(&strokes, line, faults);
    Decision {
        verdict,
        cells,
        register,
        line,
    }
}

impl Case<'_> {
    fn place_mm(&self, stroke: u16) -> f64 {
        f64::from(stroke) * self.geometry.row_pitch_mm
    }

    /// Every position, judged by its light alone.
    fn cells(&self) -> Vec<Cell> {
        let holes = usize::from(self.geometry.holes);
        let mut cells = Vec::with_capacity(self.measured.spots.len() + self.measured.pegs.len());
        let rows = self.measured.spots.chunks(holes.max(1));
        for ((row, what), stroke) in rows.zip(self.strokes).zip(0u16..) {
            for (spot, hole) in row.iter().zip(1u8..) {
                cells.push(self.cell(stroke, hole, what.punches().has(hole), spot));
            }
            let pegs = self
                .measured
                .pegs
                .iter()
                .filter(|peg| peg.stroke == usize::from(stroke));
            cells.extend(pegs.map(|peg| self.cell(stroke, 0, true, &peg.spot)));
        }
        cells
    }

    fn cell(&self, stroke: u16, hole: u8, required: bool, spot: &Spot) -> Cell {
        let open_permille = permille(spot.open);
        let judged = if spot.within_peg {
            Judged::WithinPeg
        } else if required && open_permille < self.limits.present_permille {
            Judged::Missing
        } else if !required && open_permille > self.limits.solid_permille {
            Judged::Extra
        } else {
            Judged::Right
        };
        let offset_um = spot.offset_mm.map(|offset| micrometres(f64::from(offset)));
        Cell {
            stroke,
            hole,
            required,
            judged,
            open_permille,
            offset_um,
        }
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
            if matches!(cell.judged, Judged::Missing | Judged::Extra) {
                *faults = faults.saturating_add(1);
            } else if cell.required && cell.judged == Judged::Right {
                found.holes = found.holes.saturating_add(1);
                if cell.hole == 0 {
                    found.peg_mm = cell.offset_um.map(|um| f64::from(um) / 1000.0);
                }
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

    fn line(&self, strokes: &[StrokeRegister]) -> Line {
        if self.fit == Fit::None {
            return Line::default();
        }
        let points: Vec<(f64, f64)> = strokes
            .iter()
            .zip(0u16..)
            .filter_map(|(found, stroke)| Some((self.place_mm(stroke), found.offset_mm?)))
            .collect();
        Line::through(&points, self.limits.register_mm / 2.0)
    }

    /// Light no position accounts for is an extra hole at the nearest one,
    /// unless that one or a displaced row beside it is known to be wrong.
    fn mark_strays(&self, cells: &mut [Cell], strokes: &[StrokeRegister], line: Line) {
        for stray in &self.measured.strays {
            let displaced = |number: usize| {
                let offset = strokes.get(number).and_then(|found| found.offset_mm);
                let nominal = line.at(number as f64 * self.geometry.row_pitch_mm);
                offset.is_some_and(|offset| (offset - nominal).abs() > self.limits.register_mm)
            };
            let beside = stray.stroke.saturating_sub(1)..=stray.stroke + 1;
            if beside.into_iter().any(displaced) {
                continue;
            }
            let wanted = |cell: &&mut Cell| {
                usize::from(cell.stroke) == stray.stroke
                    && usize::from(cell.hole) == stray.channel + 1
            };
            if let Some(cell) = cells.iter_mut().find(wanted)
                && cell.judged != Judged::Missing
                && cell.judged != Judged::Extra
            {
                cell.judged = Judged::Extra;
                cell.open_permille = permille(stray.open);
                cell.offset_um = Some(micrometres(f64::from(stray.offset_mm)));
            }
        }
    }

    /// A hole far from its place in a row that is in its place is not wholly
    /// where it should be.
    fn mark_torn(&self, cells: &mut [Cell], strokes: &[StrokeRegister], line: Line) {
        for cell in cells
            .iter_mut()
            .filter(|cell| cell.required && cell.hole > 0)
        {
            let row = strokes
                .get(usize::from(cell.stroke))
                .and_then(|found| found.offset_mm);
            let (Some(row), Some(offset_um)) = (row, cell.offset_um) else {
                continue;
            };
            let nominal = line.at(self.place_mm(cell.stroke));
            let own = f64::from(offset_um) / 1000.0 - nominal;
            if cell.judged == Judged::Right
                && own.abs() > self.limits.register_mm
                && (row - nominal).abs() <= self.limits.register_mm
            {
                cell.judged = Judged::Missing;
            }
        }
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
                    Judged::Extra => FaultKind::Extra,
                    Judged::Right | Judged::WithinPeg => return None,
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

    fn verdict(&self, strokes: &[StrokeRegister], line: Line, faults: Vec<HoleFault>) -> Verdict {
        let out = self.out_of_register(strokes, line);
        if out != OutOfRegister::default() {
            return Verdict::OutOfRegister(OutOfRegister { faults, ..out });
        }
        if !faults.is_empty() {
            return Verdict::Faulty(faults);
        }
        match self.unknown(strokes) {
            Some(reason) => Verdict::Unread(reason),
            None => Verdict::Good,
        }
    }

    /// What is out of register; all default if nothing is.
    fn out_of_register(&self, strokes: &[StrokeRegister], line: Line) -> OutOfRegister {
        let mut out = OutOfRegister::default();
        for (found, stroke) in strokes.iter().zip(0u16..) {
            let nominal = line.at(self.place_mm(stroke));
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
            let nominal = self.geometry.card_length_mm * (1.0 + line.stretch);
            let off = f64::from(length_um) / 1000.0 - nominal;
            out.length_off_um = (off.abs() > self.limits.length_mm).then(|| micrometres(off));
        }
        let offset = line.offset_mm;
        out.offset_um = (offset.abs() > self.limits.offset_mm).then(|| micrometres(offset));
        let too_much = line.stretch.abs() * 1000.0 > self.limits.stretch_permille;
        out.stretch_ppm = too_much.then(|| (line.stretch * 1e6).round() as i32);
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

/// Millimetres in whole micrometres.
pub(super) fn micrometres(mm: f64) -> i32 {
    // `as` saturates and turns not-a-number into 0.
    (mm * 1000.0).round() as i32
}
