//! The faults: a lane for each kind, a mark for each fault, whose shape says how it was
//! righted.

use super::axes::Times;
use super::frame::{Sign, heading, panels};
use super::{LANE, LEFT, MARGIN, SMALL, letters};
use crate::picture::shortened;
use crate::report::{FaultSeen, Report};
use std::fmt::Write as _;

/// How a fault stands.
fn class(fault: &FaultSeen) -> &'static str {
    match (&fault.righted, fault.by.as_deref()) {
        (None, _) => "open",
        (Some(_), Some("loom")) => "loom",
        (Some(_), _) => "weaver",
    }
}

/// A ring, a diamond or a cross.
fn shape(class: &str, (x, y): (f64, f64)) -> String {
    match class {
        "loom" => format!(
            r#"d="M{:.2} {y:.2}a1.2 1.2 0 1 0 2.4 0a1.2 1.2 0 1 0 -2.4 0z""#,
            x - 1.2
        ),
        "weaver" => format!(r#"d="M{x:.2} {:.2}l1.5 1.5l-1.5 1.5l-1.5 -1.5z""#, y - 1.5),
        _ => format!(
            r#"d="M{:.2} {:.2}l2.6 2.6m0 -2.6l-2.6 2.6""#,
            x - 1.3,
            y - 1.3
        ),
    }
}

pub(super) fn faults(page: &mut String, report: &Report, times: &Times, lanes: (f64, f64)) {
    let key = |class: &'static str| {
        move |x: f64, y: f64| format!(r#"<path class="{class}" {}/>"#, shape(class, (x, y)))
    };
    let (loom, weaver, open) = (key("loom"), key("weaver"), key("open"));
    let signs: [Sign<'_>; 3] = [
        (&loom, "righted at the loom".to_string()),
        (&weaver, "righted by the weaver's word".to_string()),
        (&open, "open".to_string()),
    ];
    heading(page, lanes.0, "Faults", &signs);
    panels(page, times, lanes);
    if report.kinds.is_empty() {
        let more = r#" text-anchor="end""#;
        letters(page, (LEFT - 1.5, lanes.0 + 3.4), SMALL, more, "none");
    }
    for (lane, kind) in report.kinds.iter().enumerate() {
        let y = lanes.0 + (lane as f64 + 0.5) * LANE;
        let words = shortened(&kind.words, SMALL, LEFT - 1.5 - MARGIN + 8.0);
        letters(
            page,
            (LEFT - 1.5, y + 1.0),
            SMALL,
            r#" text-anchor="end""#,
            &words,
        );
        for span in &times.spans {
            let _ = writeln!(
                page,
                r#"<path class="grid" d="M{:.2} {y:.2}h{:.2}"/>"#,
                span.left, span.width
            );
        }
        for fault in report.faults.iter().filter(|f| f.kind == kind.kind) {
            if let Some(span) = times.span(fault.session) {
                let at = (span.x(fault.at.0), y);
                let (number, class) = (fault.fault, class(fault));
                let shape = shape(class, at);
                let _ = writeln!(
                    page,
                    r#"<path class="{class}" data-fault="{number}" {shape}/>"#
                );
            }
        }
    }
}
