//! A faulty card's face, as large as the paper allows.
//!
//! The card is the one that the pictures draw; here it only gets its place.

use super::Fault;
use super::flow::{Set, letters};
use crate::deck::CardFormat;
use crate::picture::{CardDrawing, card_svg};
use cardwright_protocol::CardNumber;
use std::fmt::Write as _;

/// Free around the card, on the card.
const EDGE_MM: f64 = 1.0;

/// Room for the holes' numbers, at the left of the card.
const HOLE_NUMBERS: f64 = 5.0;

/// Most of a page's height that a card may take.
const TALLEST: f64 = 110.0;

/// A face with the room that it takes.
pub(super) struct Face {
    svg: String,
    view: (f64, f64),
    size: (f64, f64),
    /// Where each hole of a row lies below the face's upper edge.
    holes: Vec<f64>,
    figure: f64,
}

impl Face {
    /// The face of a card, in no more than this width.
    pub(super) fn of(format: &CardFormat, number: u32, fault: &Fault, width: f64) -> Face {
        let drawing = CardDrawing {
            format,
            strokes: &fault.strokes,
            deck: "",
            number: Some(CardNumber(number)),
            marks: &fault.marks(),
        };
        let view = (
            format.card_length_mm() + 2.0 * EDGE_MM,
            format.card_width_mm() + 2.0 * EDGE_MM,
        );
        let scale = ((width - HOLE_NUMBERS) / view.0)
            .min(TALLEST / view.1)
            .min(1.0);
        let down = |hole| (view.1 / 2.0 + format.hole_across_mm(hole)) * scale;
        Face {
            holes: (1..=format.holes_per_row()).map(down).collect(),
            figure: (0.8 * format.needle_pitch_mm() * scale).min(2.2),
            svg: card_svg(&drawing),
            view,
            size: (view.0 * scale, view.1 * scale),
        }
    }

    pub(super) fn height(&self) -> f64 {
        self.size.1
    }

    /// Sets the face with its upper left corner here. The view is the card
    /// alone: its leading edge is at 0 and its centre line at 0.
    pub(super) fn draw(&self, page: &mut String, number: u32, (x, y): (f64, f64)) {
        let inner = self.svg.split_once('>').map_or("", |(_, inner)| inner);
        let (length, width) = self.view;
        let _ = writeln!(page, r#"<g class="holes">"#);
        for (hole, down) in (1..).zip(&self.holes) {
            let foot = y + down + 0.36 * self.figure;
            let set = Set {
                size: self.figure,
                class: "quiet",
                indent: 0.0,
            };
            let end = (x + HOLE_NUMBERS - 1.0, foot);
            letters(
                page,
                end,
                set,
                r#" text-anchor="end""#,
                &u8::to_string(&hole),
            );
        }
        page.push_str("</g>\n");
        let x = x + HOLE_NUMBERS;
        let _ = write!(
            page,
            r#"<svg class="card" data-card="{number}" x="{x:.3}" y="{y:.3}" width="{:.3}" height="{:.3}" viewBox="{:.3} {:.3} {length:.3} {width:.3}">"#,
            self.size.0,
            self.size.1,
            -EDGE_MM,
            -width / 2.0,
        );
        page.push_str(inner);
    }
}
