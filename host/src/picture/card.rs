//! One card at its true size, as SVG.
//!
//! Coordinates are millimetres on the card itself: x from the leading edge,
//! which is the numbered end, y from the centre line towards the higher hole
//! numbers. So what is measured in the drawing is what the rig should cut.

use super::escaped;
use super::marks::{self, LEGEND_MM, Mark, MarkKind, PEG};
use crate::deck::CardFormat;
use cardwright_protocol::{CardNumber, Stroke};
use std::fmt::Write as _;

/// What is to be drawn.
#[derive(Clone, Copy, Debug)]
pub struct CardDrawing<'a> {
    /// The card format.
    pub format: &'a CardFormat,
    /// What the card should be.
    pub strokes: &'a [Stroke],
    /// The deck's name.
    pub deck: &'a str,
    /// The card's number, written at the numbered end.
    pub number: Option<CardNumber>,
    /// The verdict on its positions; empty for a card that was not read.
    pub marks: &'a [Mark],
}

/// Free space around the card.
const MARGIN_MM: f64 = 5.0;

const STYLE: &str = "\
text{font-family:'DejaVu Sans',sans-serif;fill:#3a3226}
.face{fill:#f2e6c6;stroke:#6b5d42;stroke-width:.3}
.cut{fill:#fff;stroke:#4a4030;stroke-width:.2}
.spot{fill:#b9a982}
.tick{stroke:#8d7d5c;stroke-width:.2}
";

/// Draws a card. Hole positions are exact to a thousandth of a millimetre.
#[must_use]
pub fn card_svg(drawing: &CardDrawing<'_>) -> String {
    let format = drawing.format;
    let (length, width) = (format.card_length_mm(), format.card_width_mm());
    let top = width / 2.0 + MARGIN_MM + 4.0;
    let foot = if drawing.marks.is_empty() {
        0.0
    } else {
        LEGEND_MM
    };
    let (whole_length, whole_width) = (
        length + 2.0 * MARGIN_MM,
        top + width / 2.0 + MARGIN_MM + foot,
    );
    let mut svg = String::new();
    let _ = writeln!(
        svg,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{whole_length:.3}mm" height="{whole_width:.3}mm" viewBox="{:.3} {:.3} {whole_length:.3} {whole_width:.3}">"#,
        -MARGIN_MM, -top,
    );
    let _ = writeln!(svg, "<title>{}</title>", escaped(&heading(drawing)));
    let _ = writeln!(svg, "<style>{STYLE}{}</style>", marks::STYLE);
    let _ = writeln!(
        svg,
        r##"<rect x="{:.3}" y="{:.3}" width="{whole_length:.3}" height="{whole_width:.3}" fill="#fff"/>"##,
        -MARGIN_MM, -top,
    );
    let _ = writeln!(
        svg,
        r#"<text x="0" y="{:.3}" font-size="4">{}</text>"#,
        -width / 2.0 - 2.5,
        escaped(&heading(drawing)),
    );
    let _ = writeln!(
        svg,
        r#"<rect class="face" x="0" y="{:.3}" width="{length:.3}" height="{width:.3}"/>"#,
        -width / 2.0,
    );
    ticks(&mut svg, format);
    number(&mut svg, drawing);
    for (stroke, what) in (0u16..).zip(drawing.strokes) {
        holes(&mut svg, drawing, stroke, *what);
    }
    for mark in drawing.marks {
        marks::draw(&mut svg, drawing, mark);
    }
    if !drawing.marks.is_empty() {
        marks::legend(&mut svg, drawing, 0.0, width / 2.0 + MARGIN_MM + 1.5);
    }
    svg.push_str("</svg>\n");
    svg
}

fn heading(drawing: &CardDrawing<'_>) -> String {
    let card = drawing
        .number
        .map(|number| format!("card {}, ", number.0))
        .unwrap_or_default();
    let name = if drawing.deck.is_empty() {
        String::new()
    } else {
        format!("{}, ", drawing.deck)
    };
    let face = format!("{name}{card}{}", drawing.format.title());
    face
}

/// Row numbers along both edges, so that a hole can be named.
fn ticks(svg: &mut String, format: &CardFormat) {
    let edge = format.card_width_mm() / 2.0;
    let outer = format.hole_across_mm(format.holes_per_row()) + format.needle_hole_mm() / 2.0;
    // Small cards leave little margin; the figures shrink with it.
    let size = (edge - outer - 2.4).clamp(1.2, 2.8);
    for stroke in 0..format.strokes() {
        let Some(row) = format.row_of_stroke(stroke) else {
            continue;
        };
        let x = format.position_mm(stroke);
        let long = row == 1 || row % 5 == 0 || row == format.rows();
        let tick = if long { 1.6 } else { 0.8 };
        for side in [-1.0, 1.0] {
            let _ = write!(
                svg,
                r#"<path class="tick" d="M{x:.3} {:.3}v{:.3}"/>"#,
                side * edge,
                -side * tick,
            );
        }
        if long {
            let _ = write!(
                svg,
                r#"<text x="{x:.3}" y="{:.3}" font-size="{size:.2}" text-anchor="middle">{row}</text>"#,
                -edge + 1.9 + size * 0.78,
            );
        }
        svg.push('\n');
    }
}

/// The card's number, across the card at the numbered end (Taylor p. 122).
fn number(svg: &mut String, drawing: &CardDrawing<'_>) {
    let Some(CardNumber(number)) = drawing.number else {
        return;
    };
    let format = drawing.format;
    let room = format.first_stroke_mm() - format.needle_hole_mm() / 2.0;
    let size = (room * 0.62).min(8.0);
    let x = room / 2.0 + size * 0.36;
    let _ = writeln!(
        svg,
        r#"<text class="number" transform="translate({x:.3} 0) rotate(-90)" font-size="{size:.2}" text-anchor="middle">{number}</text>"#,
    );
}

/// The holes of one stroke, and a spot where a needle finds solid card.
fn holes(svg: &mut String, drawing: &CardDrawing<'_>, stroke: u16, what: Stroke) {
    let format = drawing.format;
    let (class, diameter) = match what {
        Stroke::Lace(_) | Stroke::LaceAndPeg(_) => ("lace", format.lace_hole_mm()),
        _ => ("needle", format.needle_hole_mm()),
    };
    let row = matches!(what, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_));
    for hole in 1..=format.holes_per_row() {
        let (x, y) = (format.position_mm(stroke), format.hole_across_mm(hole));
        let (open, offset) = found(drawing, stroke, hole, what.punches().has(hole));
        if open {
            cut(svg, class, stroke, hole, (x + offset, y), diameter / 2.0);
        } else if row {
            let _ = writeln!(
                svg,
                r#"<circle class="spot" cx="{x:.3}" cy="{y:.3}" r=".35"/>"#
            );
        }
    }
    let (open, offset) = found(drawing, stroke, PEG, what.peg());
    if open {
        let x = format.peg_position_mm(stroke) + offset;
        cut(
            svg,
            "peg",
            stroke,
            PEG,
            (x, 0.0),
            format.peg_hole_mm() / 2.0,
        );
    }
}

fn cut(svg: &mut String, class: &str, stroke: u16, hole: u8, (x, y): (f64, f64), r: f64) {
    let _ = writeln!(
        svg,
        r#"<circle class="cut {class}" data-stroke="{stroke}" data-hole="{hole}" cx="{x:.3}" cy="{y:.3}" r="{r:.3}"/>"#,
    );
}

/// Whether a hole is to be seen here, and how far from its place: as the card
/// should be, unless a mark says what it was found to be.
fn found(drawing: &CardDrawing<'_>, stroke: u16, hole: u8, wanted: bool) -> (bool, f64) {
    let mark = drawing
        .marks
        .iter()
        .find(|mark| mark.stroke == stroke && mark.hole == hole);
    match mark {
        None => (wanted, 0.0),
        Some(mark) => match mark.kind {
            MarkKind::Missing | MarkKind::Partial => (false, 0.0),
            MarkKind::Good | MarkKind::Extra => (true, 0.0),
            MarkKind::OutOfRegister => (true, mark.offset_mm),
        },
    }
}
