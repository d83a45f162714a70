//! How a verdict on a hole is drawn: every kind has its own shape as well as
//! its own colour, so that it can be told without seeing colours.

use super::card::CardDrawing;
use cardwright_protocol::Stroke;
use std::fmt::Write as _;

/// The hole number that stands for the peg hole in a [`Mark`].
pub const PEG: u8 = 0;

/// A verdict on one position, to be drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// The stroke that cuts the position, from 0.
    pub stroke: u16,
    /// The hole, from 1, or [`PEG`].
    pub hole: u8,
    /// The verdict.
    pub kind: MarkKind,
    /// How far the hole was found from its place, in millimetres towards the
    /// card's end; 0 if that was not measured.
    pub offset_mm: f64,
}

/// What a position was found to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum MarkKind {
    /// A hole that is right.
    Good,
    /// A hole that is not there.
    Missing,
    /// A hole that is there in part: a hanging chad, a half-cut hole.
    Partial,
    /// A hole where the card should be solid.
    Extra,
    /// A hole away from its place.
    OutOfRegister,
}

impl MarkKind {
    /// Every kind, in the order of the legend.
    pub const ALL: [MarkKind; 5] = [
        MarkKind::Good,
        MarkKind::Missing,
        MarkKind::Partial,
        MarkKind::Extra,
        MarkKind::OutOfRegister,
    ];

    /// The word in the legend.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            MarkKind::Good => "good",
            MarkKind::Missing => "missing",
            MarkKind::Partial => "partly cut",
            MarkKind::Extra => "extra",
            MarkKind::OutOfRegister => "out of register",
        }
    }

    /// The class of its element in the SVG.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            MarkKind::Good => "good",
            MarkKind::Missing => "missing",
            MarkKind::Partial => "partial",
            MarkKind::Extra => "extra",
            MarkKind::OutOfRegister => "register",
        }
    }
}

/// Colours that stay apart for those who see fewer of them.
pub(super) const STYLE: &str = "\
.mark{fill:none;stroke-width:.55}
.good{stroke:#2f9e6e}
.missing{stroke:#d1430a;stroke-width:.8}
.partial{stroke:#b87400}.partial path{fill:#f0a818;stroke:none}
.extra{stroke:#8e2a8c;stroke-width:.8}
.register{stroke:#1663b0;stroke-width:.6}.register path{fill:#1663b0;stroke:none}
";

/// Radius of the card's hole at a mark.
fn radius_mm(drawing: &CardDrawing<'_>, mark: &Mark) -> f64 {
    let lace = drawing
        .strokes
        .get(usize::from(mark.stroke))
        .is_some_and(|stroke| matches!(stroke, Stroke::Lace(_) | Stroke::LaceAndPeg(_)));
    let diameter = match mark.hole {
        PEG => drawing.format.peg_hole_mm(),
        _ if lace => drawing.format.lace_hole_mm(),
        _ => drawing.format.needle_hole_mm(),
    };
    diameter / 2.0
}

/// Draws one mark in its place.
pub(super) fn draw(svg: &mut String, drawing: &CardDrawing<'_>, mark: &Mark) {
    let format = drawing.format;
    let (x, y) = match mark.hole {
        PEG => (format.peg_position_mm(mark.stroke), 0.0),
        hole => (format.position_mm(mark.stroke), format.hole_across_mm(hole)),
    };
    let _ = write!(
        svg,
        r#"<g class="mark {}" data-stroke="{}" data-hole="{}">"#,
        mark.kind.class(),
        mark.stroke,
        mark.hole,
    );
    shape(
        svg,
        mark.kind,
        x,
        y,
        radius_mm(drawing, mark),
        mark.offset_mm,
    );
    svg.push_str("</g>\n");
}

/// The shape of a kind around a hole of this radius, everything in millimetres.
fn shape(svg: &mut String, kind: MarkKind, x: f64, y: f64, r: f64, offset: f64) {
    let _ = match kind {
        MarkKind::Good => {
            write!(
                svg,
                r#"<circle cx="{x:.3}" cy="{y:.3}" r="{:.3}"/>"#,
                r + 0.15
            )
        }
        MarkKind::Missing => {
            let arm = r * 0.66;
            write!(
                svg,
                r#"<circle cx="{x:.3}" cy="{y:.3}" r="{r:.3}" style="stroke-width:.4" stroke-dasharray="1 .7"/><path d="M{:.3} {:.3}l{d:.3} {d:.3}m0 {n:.3}l{n:.3} {d:.3}" style="fill:none"/>"#,
                x - arm,
                y - arm,
                d = 2.0 * arm,
                n = -2.0 * arm,
            )
        }
        MarkKind::Partial => write!(
            svg,
            r#"<path d="M{x:.3} {:.3}a{r:.3} {r:.3} 0 0 0 0 {:.3}z"/><circle cx="{x:.3}" cy="{y:.3}" r="{:.3}"/>"#,
            y - r,
            2.0 * r,
            r + 0.1,
        ),
        MarkKind::Extra => {
            let arm = r * 1.45;
            write!(
                svg,
                r#"<path d="M{x:.3} {:.3}l{arm:.3} {arm:.3}l-{arm:.3} {arm:.3}l-{arm:.3} -{arm:.3}z" style="fill:none"/>"#,
                y - arm,
            )
        }
        MarkKind::OutOfRegister => {
            let half = r + 0.35;
            let side = 2.0 * half;
            let _ = write!(
                svg,
                r#"<rect x="{:.3}" y="{:.3}" width="{side:.3}" height="{side:.3}"/>"#,
                x - half,
                y - half,
            );
            arrow(svg, x, y, r, offset)
        }
    };
}

/// Points to the side on which a hole was found.
fn arrow(svg: &mut String, x: f64, y: f64, r: f64, offset: f64) -> std::fmt::Result {
    if offset == 0.0 {
        return Ok(());
    }
    let way = offset.signum();
    let head = r * 0.55;
    write!(
        svg,
        r#"<path d="M{:.3} {:.3}l{:.3} {head:.3}l{:.3} {head:.3}z"/>"#,
        x - way * head * 0.6,
        y - head,
        way * head * 1.4,
        -way * head * 1.4,
    )
}

/// Height of the legend's line.
pub(super) const LEGEND_MM: f64 = 11.0;

/// One line that names every shape and says how many there are of each.
pub(super) fn legend(svg: &mut String, drawing: &CardDrawing<'_>, x: f64, y: f64) {
    let r = 1.9;
    let mut x = x + r;
    for kind in MarkKind::ALL {
        let count = drawing
            .marks
            .iter()
            .filter(|mark| mark.kind == kind)
            .count();
        let _ = write!(svg, r#"<g class="mark {} legend">"#, kind.class());
        if kind == MarkKind::Extra {
            let _ = write!(
                svg,
                r#"<circle class="cut" cx="{x:.3}" cy="{y:.3}" r="{r}"/>"#
            );
        }
        let offset = if kind == MarkKind::OutOfRegister {
            1.0
        } else {
            0.0
        };
        shape(svg, kind, x, y, r, offset);
        let word = kind.word();
        let _ = write!(
            svg,
            r#"</g><text x="{:.2}" y="{:.2}" font-size="4">{word} {count}</text>"#,
            x + r + 2.2,
            y + 1.4,
        );
        x += 14.0 + 2.4 * (word.len() + count.to_string().len()) as f64;
    }
}
