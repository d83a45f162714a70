//! Cards of a copied deck whose holes are not all certain, one below the other.

use super::marks::{Mark, MarkKind};
use super::{CardDrawing, card_svg};
use crate::deck::{CardNumber, Deck, Doubt};
use std::fmt::Write as _;

/// Space between two cards, in millimetres.
const BETWEEN_MM: f64 = 4.0;

/// Draws these cards with every doubtful position marked.
#[must_use]
pub fn doubts_svg(deck: &Deck, cards: &[CardNumber], doubtful: &[Doubt]) -> String {
    let format = deck.format();
    let drawings = cards.iter().map(|card| {
        let strokes = deck.strokes(*card).unwrap_or_default();
        let own = doubtful.iter().filter(|doubt| doubt.card == *card);
        let mark = |doubt: &Doubt| {
            let stroke = format.stroke_of_row(doubt.row)?;
            Some(Mark {
                stroke,
                hole: doubt.hole,
                kind: MarkKind::Partial,
                offset_mm: 0.0,
            })
        };
        let marks: Vec<Mark> = own.filter_map(mark).collect();
        card_svg(&CardDrawing {
            format,
            strokes: &strokes,
            deck: deck.name(),
            number: Some(*card),
            marks: &marks,
        })
    });
    let (mut inner, mut height, mut width) = (String::new(), 0.0, 0.0f64);
    for drawing in drawings {
        let (wide, high) = size_mm(&drawing);
        // an SVG within another stands where its own x and y say
        inner.push_str(&drawing.replacen("<svg ", &format!("<svg y=\"{height:.3}\" "), 1));
        height += high + BETWEEN_MM;
        width = width.max(wide);
    }
    let mut svg = String::new();
    let _ = writeln!(
        svg,
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3}mm" height="{height:.3}mm" viewBox="0 0 {width:.3} {height:.3}"><rect width="100%" height="100%" fill="#fff"/>"##
    );
    // millimetres without the unit: those of the drawing around them
    svg.push_str(&inner.replace("mm\" ", "\" "));
    svg.push_str("</svg>\n");
    svg
}

/// Width and height that a drawing says it has.
fn size_mm(svg: &str) -> (f64, f64) {
    let size = |name: &str| {
        let (_, rest) = svg.split_once(&format!("{name}=\""))?;
        rest.split_once("mm\"")?.0.parse().ok()
    };
    (size("width").unwrap_or(0.0), size("height").unwrap_or(0.0))
}
