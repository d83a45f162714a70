//! Whether a card of this format can be cut at all.
//!
//! Enters: a format file as written. Leaves: a [`CardFormat`]. Refuses: counts
//! that contradict one another, a programme that leaves out, repeats or
//! misplaces a row, holes off the card or running into one another.

use super::CardFormat;
use super::programme::{self, Step, Work};
use super::text::{FormatText, Place};
use cardwright_protocol::Row;
use cardwright_protocol::card::{MOST_HOLES, MOST_STROKES};
use toml::Spanned;

/// The longest length taken for a millimetre figure that was meant.
const LONGEST_MM: f64 = 3_000.0;

/// What does not fit in a card format.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FormatFault {
    /// The name cannot be written in a deck file or on a command line.
    #[error(
        "the name \"{0}\" is empty or has characters other than letters, digits, - and _; choose a plain one"
    )]
    Name(String),
    /// A length that is none.
    #[error(
        "{key} = {value} is not a length a card can have; give millimetres above 0 and at most 3000"
    )]
    Length {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
    },
    /// A row of no holes or more than 16.
    #[error("a row of {0} holes cannot be cut; give holes_per_row from 1 to 16")]
    Holes(u32),
    /// No rows or more than there are strokes.
    #[error("a card of {0} rows cannot be cut; give rows from 1 to 128")]
    Rows(u32),
    /// Needles and rows disagree.
    #[error("needles = {needles}, but {rows} rows of {holes} holes make {}; mend whichever of the three is wrong", rows * holes)]
    Needles {
        /// As written.
        needles: u32,
        /// As written.
        rows: u32,
        /// As written.
        holes: u32,
    },
    /// The spare row is not on the card.
    #[error(
        "spare_row = {spare}, but the rows are 1 to {rows}; name one of them or leave the key out"
    )]
    SpareRow {
        /// As written.
        spare: u32,
        /// As written.
        rows: u32,
    },
    /// The parts do not make up the rows.
    #[error("division {parts:?} makes {} rows, but rows = {rows}; the parts must be above 0 and add up to it", parts.iter().map(|part| u64::from(*part)).sum::<u64>())]
    Division {
        /// As written.
        parts: Vec<u32>,
        /// As written.
        rows: u32,
    },
    /// A lace hole that no needle punch of the row can cut.
    #[error(
        "lace hole {hole} is not in a row of {holes} holes, or is named twice; lace holes are cut by the needle punches 1 to {holes}"
    )]
    LaceHole {
        /// As written.
        hole: u32,
        /// Holes in a row.
        holes: u32,
    },
    /// Lace strokes, but no lace holes.
    #[error(
        "the programme cuts lace holes, but lace_holes is empty; name them, for example [2, 7]"
    )]
    NoLaceHoles,
    /// The peg punch is too far off to be meant.
    #[error(
        "peg_offset_rows = {0} is not between -16 and 16; give row pitches from the needle punches to the peg punch"
    )]
    PegOffset(f64),
    /// An entry of the programme that says nothing known.
    #[error(
        "the programme entry \"{0}\" is not understood; write \"blank\", \"peg\", \"lace\", \"row 51\" or \"rows 1-26\", and \" + peg\" after lace or a single row"
    )]
    Entry(String),
    /// A range that runs backwards.
    #[error(
        "the programme entry \"{0}\" runs backwards; rows are cut in rising order from the numbered end"
    )]
    RangeReversed(String),
    /// One peg hole for many rows.
    #[error(
        "the programme entry \"{0}\" gives a peg hole to several rows; write the row that it is cut with as an entry of its own, such as \"row 51 + peg\""
    )]
    PegWithRange(String),
    /// A row that is not on the card.
    #[error("the programme cuts row {row}, but the rows are 1 to {rows}")]
    RowBeyond {
        /// The row.
        row: u16,
        /// Rows on the card.
        rows: u32,
    },
    /// A row out of its order: repeated, or before one that comes earlier.
    #[error(
        "the programme cuts row {found} where row {wanted} must come; every row is cut once, in order"
    )]
    RowOrder {
        /// The next row not yet cut.
        wanted: u32,
        /// The one that was there.
        found: u16,
    },
    /// Rows that are never cut.
    #[error("the programme ends at row {last} of {rows}; add the rows from {} on", last + 1)]
    RowsMissing {
        /// The last row cut.
        last: u32,
        /// Rows on the card.
        rows: u32,
    },
    /// Lace holes between rows that the division keeps together.
    #[error("the programme laces between rows {after} and {}, but the division {division:?} does not part them there", after + 1)]
    LaceInsidePart {
        /// The row before the lace holes.
        after: u32,
        /// As written.
        division: Vec<u32>,
    },
    /// No lace holes where the division parts the rows.
    #[error(
        "the division {division:?} parts the rows after row {after}, but the programme has no lace stroke there"
    )]
    LaceMissing {
        /// The row before the parting.
        after: u32,
        /// As written.
        division: Vec<u32>,
    },
    /// More strokes than a unit takes for one card.
    #[error("the programme takes {0} strokes; a card can have 1 to 128")]
    TooManyStrokes(usize),
    /// The card ends before its last hole.
    #[error(
        "the card is {length_mm} mm long, but its last hole reaches to {reach_mm:.1} mm; lengthen card_length_mm or shorten the programme"
    )]
    TooShort {
        /// Length of the card.
        length_mm: f64,
        /// Far edge of the last hole.
        reach_mm: f64,
    },
    /// The first holes lie off the leading edge.
    #[error("the first hole begins {:.1} mm before the card's leading edge; enlarge first_stroke_mm", -begin_mm)]
    BeforeEdge {
        /// Near edge of the first hole.
        begin_mm: f64,
    },
    /// The rows are wider than the card.
    #[error(
        "the card is {width_mm} mm wide, but a row of holes needs {need_mm:.1} mm; widen card_width_mm or lessen needle_pitch_mm"
    )]
    TooNarrow {
        /// Width of the card.
        width_mm: f64,
        /// From the outer edge of the first hole to that of the last.
        need_mm: f64,
    },
    /// Holes wider than their pitch.
    #[error(
        "{key} = {value} mm is not less than the pitch of {pitch_mm} mm, so neighbouring holes would run together"
    )]
    HolesTouch {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
        /// The smaller of row pitch and needle pitch.
        pitch_mm: f64,
    },
    /// A peg hole that runs into other holes.
    #[error(
        "the peg hole of stroke {peg_stroke} runs into the holes of stroke {stroke}; put a blank stroke there or mend peg_offset_rows (strokes counted from 1)"
    )]
    PegMeets {
        /// Stroke that cuts the peg hole, from 1.
        peg_stroke: u16,
        /// Stroke whose holes it would meet, from 1.
        stroke: u16,
    },
}

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
    let rows = *text.rows.get_ref();
    let division = text.division.get_ref();
    let partings: Vec<u32> = division
        .iter()
        .scan(0, |sum, part| {
            *sum += part;
            Some(*sum)
        })
        .collect();
    let mut steps = Vec::new();
    let mut last = 0;
    let mut laced = false;
    for entry in text.programme.get_ref() {
        let more = programme::entry(entry.get_ref()).or_else(|fault| refuse(entry, fault))?;
        for step in &more {
            match step.work {
                Work::Nothing => {}
                Work::Lace if last == 0 || partings.contains(&last) => laced = true,
                Work::Lace => {
                    let division = division.clone();
                    return refuse(
                        entry,
                        FormatFault::LaceInsidePart {
                            after: last,
                            division,
                        },
                    );
                }
                Work::Row(row) if u32::from(row) > rows || row == 0 => {
                    return refuse(entry, FormatFault::RowBeyond { row, rows });
                }
                Work::Row(row) if u32::from(row) != last + 1 => {
                    return refuse(
                        entry,
                        FormatFault::RowOrder {
                            wanted: last + 1,
                            found: row,
                        },
                    );
                }
                Work::Row(_) if last > 0 && partings.contains(&last) && !laced => {
                    let division = division.clone();
                    return refuse(
                        entry,
                        FormatFault::LaceMissing {
                            after: last,
                            division,
                        },
                    );
                }
                Work::Row(_) => {
                    last += 1;
                    laced = false;
                }
            }
        }
        steps.extend(more);
    }
    if last != rows {
        return refuse(&text.programme, FormatFault::RowsMissing { last, rows });
    }
    if steps.len() > usize::from(MOST_STROKES) {
        return refuse(&text.programme, FormatFault::TooManyStrokes(steps.len()));
    }
    Ok(steps)
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
