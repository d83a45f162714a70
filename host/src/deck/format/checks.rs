//! Whether a card of this format can be cut at all.
//!
//! Enters: a format file as written. Leaves: a [`CardFormat`]. Refuses: counts
//! that contradict one another, a programme that leaves out, repeats or
//! misplaces a row, holes off the card or running into one another.

use super::programme::{self, Step, Work};
use super::text::{FormatText, Place};
use super::{CardFormat, FormatFault};
use cardwright_protocol::Row;
use cardwright_protocol::card::{MOST_HOLES, MOST_STROKES};
use toml::Spanned;

/// The longest length taken for a millimetre figure that was meant.
const LONGEST_MM: f64 = 3_000.0;

/// A fault and the place of the value it was found in.
pub(super) struct Found {
    pub at: Place,
    pub fault: FormatFault,
}

fn refuse<T, V>(value: &Spanned<V>, fault: FormatFault) -> Result<T, Found> {
    Err(Found {
        at: value.span(),
        fault,
    })
}

/// The format, if a card of it can be cut.
pub(super) fn check(text: &FormatText) -> Result<CardFormat, Found> {
    counts(text)?;
    let lace_holes = lace_holes(text)?;
    let steps = steps(text)?;
    let narrow = |value: u32| u16::try_from(value).unwrap_or(u16::MAX);
    let format = CardFormat {
        name: name(text)?,
        title: text.title.clone(),
        source: text.source.clone(),
        file: None,
        holes_per_row: u8::try_from(*text.holes_per_row.get_ref()).unwrap_or(MOST_HOLES),
        rows: narrow(*text.rows.get_ref()),
        needles: *text.needles.get_ref(),
        spare_row: text.spare_row.as_ref().map(|row| narrow(*row.get_ref())),
        division: text
            .division
            .get_ref()
            .iter()
            .map(|part| narrow(*part))
            .collect(),
        row_pitch_mm: length("row_pitch_mm", &text.row_pitch_mm)?,
        needle_pitch_mm: length("needle_pitch_mm", &text.needle_pitch_mm)?,
        needle_hole_mm: length("needle_hole_mm", &text.needle_hole_mm)?,
        lace_hole_mm: length("lace_hole_mm", &text.lace_hole_mm)?,
        peg_hole_mm: length("peg_hole_mm", &text.peg_hole_mm)?,
        peg_offset_rows: peg_offset(text)?,
        lace_holes,
        card_width_mm: length("card_width_mm", &text.card_width_mm)?,
        card_length_mm: length("card_length_mm", &text.card_length_mm)?,
        first_stroke_mm: length("first_stroke_mm", &text.first_stroke_mm)?,
        steps,
    };
    if format.lace_holes == Row::BLANK && format.steps.iter().any(|step| step.work == Work::Lace) {
        return refuse(&text.lace_holes, FormatFault::NoLaceHoles);
    }
    holes_apart(text, &format)?;
    holes_on_card(text, &format)?;
    pegs_clear(text, &format)?;
    Ok(format)
}

fn name(text: &FormatText) -> Result<String, Found> {
    let name = text.name.get_ref();
    let plain = |letter: char| letter.is_alphanumeric() || letter == '-' || letter == '_';
    if name.is_empty() || !name.chars().all(plain) {
        return refuse(&text.name, FormatFault::Name(name.clone()));
    }
    Ok(name.clone())
}

fn length(key: &'static str, value: &Spanned<f64>) -> Result<f64, Found> {
    let mm = *value.get_ref();
    if mm > 0.0 && mm <= LONGEST_MM {
        return Ok(mm);
    }
    refuse(value, FormatFault::Length { key, value: mm })
}

fn peg_offset(text: &FormatText) -> Result<f64, Found> {
    let rows = *text.peg_offset_rows.get_ref();
    if (-16.0..=16.0).contains(&rows) {
        return Ok(rows);
    }
    refuse(&text.peg_offset_rows, FormatFault::PegOffset(rows))
}

fn counts(text: &FormatText) -> Result<(), Found> {
    let holes = *text.holes_per_row.get_ref();
    let rows = *text.rows.get_ref();
    let needles = *text.needles.get_ref();
    if !(1..=u32::from(MOST_HOLES)).contains(&holes) {
        return refuse(&text.holes_per_row, FormatFault::Holes(holes));
    }
    if !(1..=u32::from(MOST_STROKES)).contains(&rows) {
        return refuse(&text.rows, FormatFault::Rows(rows));
    }
    if needles != rows * holes {
        return refuse(
            &text.needles,
            FormatFault::Needles {
                needles,
                rows,
                holes,
            },
        );
    }
    if let Some(row) = &text.spare_row
        && !(1..=rows).contains(row.get_ref())
    {
        return refuse(
            row,
            FormatFault::SpareRow {
                spare: *row.get_ref(),
                rows,
            },
        );
    }
    let parts = text.division.get_ref();
    let sum: u64 = parts.iter().map(|part| u64::from(*part)).sum();
    if sum != u64::from(rows) || parts.contains(&0) {
        return refuse(
            &text.division,
            FormatFault::Division {
                parts: parts.clone(),
                rows,
            },
        );
    }
    Ok(())
}

fn lace_holes(text: &FormatText) -> Result<Row, Found> {
    let holes = *text.holes_per_row.get_ref();
    let mut row = Row::BLANK;
    for &hole in text.lace_holes.get_ref() {
        let number = u8::try_from(hole).unwrap_or(0);
        if !(1..=holes).contains(&hole) || row.has(number) {
            return refuse(&text.lace_holes, FormatFault::LaceHole { hole, holes });
        }
        row = Row(row.0 | Row::from_holes([number]).0);
    }
    Ok(row)
}

fn steps(text: &FormatText) -> Result<Vec<Step>, Found> {
    let mut progress = Progress::new(text);
    let mut steps = Vec::new();
    for entry in text.programme.get_ref() {
        let more = programme::entry(entry.get_ref()).or_else(|fault| refuse(entry, fault))?;
        for step in &more {
            progress
                .take(step.work)
                .or_else(|fault| refuse(entry, fault))?;
        }
        steps.extend(more);
    }
    let Progress { last, rows, .. } = progress;
    if last != rows {
        return refuse(&text.programme, FormatFault::RowsMissing { last, rows });
    }
    if steps.len() > usize::from(MOST_STROKES) {
        return refuse(&text.programme, FormatFault::TooManyStrokes(steps.len()));
    }
    Ok(steps)
}

/// How far the programme has come along the rows.
struct Progress<'a> {
    rows: u32,
    division: &'a [u32],
    /// The rows after which the card is laced.
    partings: Vec<u32>,
    /// The row cut last; 0 before the first.
    last: u32,
    /// Whether lace holes were cut since.
    laced: bool,
}

impl Progress<'_> {
    fn new(text: &FormatText) -> Progress<'_> {
        let division = text.division.get_ref();
        let mut sum = 0;
        let parting = |part: &u32| {
            sum += part;
            sum
        };
        let partings = division.iter().map(parting).collect();
        Progress {
            rows: *text.rows.get_ref(),
            division,
            partings,
            last: 0,
            laced: false,
        }
    }

    /// Takes one stroke more, if it may come here.
    fn take(&mut self, work: Work) -> Result<(), FormatFault> {
        let (last, rows) = (self.last, self.rows);
        let at_parting = last > 0 && self.partings.contains(&last);
        let division = || self.division.to_vec();
        match work {
            Work::Nothing => {}
            Work::Lace if last == 0 || at_parting => self.laced = true,
            Work::Lace => {
                return Err(FormatFault::LaceInsidePart {
                    after: last,
                    division: division(),
                });
            }
            Work::Row(row) if u32::from(row) > rows || row == 0 => {
                return Err(FormatFault::RowBeyond { row, rows });
            }
            Work::Row(row) if u32::from(row) != last + 1 => {
                return Err(FormatFault::RowOrder {
                    wanted: last + 1,
                    found: row,
                });
            }
            Work::Row(_) if at_parting && !self.laced => {
                return Err(FormatFault::LaceMissing {
                    after: last,
                    division: division(),
                });
            }
            Work::Row(_) => {
                self.last += 1;
                self.laced = false;
            }
        }
        Ok(())
    }
}

fn holes_apart(text: &FormatText, format: &CardFormat) -> Result<(), Found> {
    let pitch_mm = format.row_pitch_mm.min(format.needle_pitch_mm);
    for (key, value) in [
        ("needle_hole_mm", &text.needle_hole_mm),
        ("lace_hole_mm", &text.lace_hole_mm),
    ] {
        if *value.get_ref() >= pitch_mm {
            let fault = FormatFault::HolesTouch {
                key,
                value: *value.get_ref(),
                pitch_mm,
            };
            return refuse(value, fault);
        }
    }
    Ok(())
}

fn holes_on_card(text: &FormatText, format: &CardFormat) -> Result<(), Found> {
    let small = format.needle_hole_mm.max(format.lace_hole_mm) / 2.0;
    let need_mm = 2.0 * (format.hole_across_mm(format.holes_per_row) + small);
    let need_mm = need_mm.max(format.peg_hole_mm);
    if need_mm > format.card_width_mm {
        let fault = FormatFault::TooNarrow {
            width_mm: format.card_width_mm,
            need_mm,
        };
        return refuse(&text.card_width_mm, fault);
    }
    let (mut begin_mm, mut reach_mm) = (f64::MAX, f64::MIN);
    for (stroke, step) in (0u16..).zip(&format.steps) {
        if step.work != Work::Nothing {
            begin_mm = begin_mm.min(format.position_mm(stroke) - small);
            reach_mm = reach_mm.max(format.position_mm(stroke) + small);
        }
        if step.peg {
            begin_mm = begin_mm.min(format.peg_position_mm(stroke) - format.peg_hole_mm / 2.0);
            reach_mm = reach_mm.max(format.peg_position_mm(stroke) + format.peg_hole_mm / 2.0);
        }
        reach_mm = reach_mm.max(format.position_mm(stroke));
    }
    if begin_mm < 0.0 {
        return refuse(&text.first_stroke_mm, FormatFault::BeforeEdge { begin_mm });
    }
    if reach_mm > format.card_length_mm {
        let fault = FormatFault::TooShort {
            length_mm: format.card_length_mm,
            reach_mm,
        };
        return refuse(&text.card_length_mm, fault);
    }
    Ok(())
}

/// No peg hole may cut into a needle hole or lace hole that can be there.
fn pegs_clear(text: &FormatText, format: &CardFormat) -> Result<(), Found> {
    for (peg_stroke, _) in (0u16..).zip(&format.steps).filter(|(_, step)| step.peg) {
        for (stroke, step) in (0u16..).zip(&format.steps) {
            let (holes, hole_mm) = match step.work {
                Work::Nothing => continue,
                Work::Row(_) => (Row::full(format.holes_per_row), format.needle_hole_mm),
                Work::Lace => (format.lace_holes, format.lace_hole_mm),
            };
            let along = format.position_mm(stroke) - format.peg_position_mm(peg_stroke);
            let apart = (format.peg_hole_mm + hole_mm) / 2.0;
            if holes
                .holes()
                .any(|hole| along.hypot(format.hole_across_mm(hole)) < apart)
            {
                let fault = FormatFault::PegMeets {
                    peg_stroke: peg_stroke + 1,
                    stroke: stroke + 1,
                };
                return refuse(&text.programme, fault);
            }
        }
    }
    Ok(())
}
