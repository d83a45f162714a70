//! What stands around the curves: panels, scales, headings with what the lines mean.

use super::axes::{Times, Upright};
use super::{LEFT, RIGHT, SMALL, letters};
use crate::picture::text_width;
use crate::report::words::{day, time_of_day};
use std::fmt::Write as _;

/// From one mark of time to the next at least, in millimetres.
const MARK: f64 = 13.0;
/// The same where seconds are told.
const FINE_MARK: f64 = 19.0;
const MINUTE_MS: i64 = 60_000;

/// A white panel for each session.
pub(super) fn panels(page: &mut String, times: &Times, (top, foot): (f64, f64)) {
    for span in &times.spans {
        let _ = writeln!(
            page,
            r#"<rect class="panel" x="{:.2}" y="{top:.2}" width="{:.2}" height="{:.2}"/>"#,
            span.left,
            span.width,
            foot - top
        );
    }
}

/// The figures of an upright axis and the lines across the panels.
pub(super) fn upright(page: &mut String, times: &Times, axis: &Upright) {
    for (value, figure) in axis.marks() {
        let y = axis.y(value);
        let more = r#" text-anchor="end""#;
        letters(page, (LEFT - 1.5, y + 1.0), SMALL, more, &figure);
        for span in &times.spans {
            let _ = writeln!(
                page,
                r#"<path class="grid" d="M{:.2} {y:.2}h{:.2}"/>"#,
                span.left, span.width
            );
        }
    }
}

/// A sign of a legend: a piece of SVG 6 mm wide around this place, and its words.
pub(super) type Sign<'a> = (&'a dyn Fn(f64, f64) -> String, String);

/// A heading above a panel, with what its signs mean.
pub(super) fn heading(page: &mut String, top: f64, words: &str, signs: &[Sign<'_>]) {
    let y = top - 2.2;
    letters(page, (LEFT, y), 3.4, "", words);
    let mut x = LEFT + text_width(words, 3.4) + 6.0;
    for (sign, words) in signs {
        page.push_str(&sign(x + 3.0, y - 1.0));
        page.push('\n');
        letters(page, (x + 7.0, y), SMALL, "", words);
        x += 7.0 + text_width(words, SMALL) + 4.0;
    }
}

/// The scale of time below the last panel.
pub(super) fn time_scale(page: &mut String, times: &Times, foot: f64) {
    let mut step = times.step_ms(MARK);
    if step < MINUTE_MS {
        step = times.step_ms(FINE_MARK);
    }
    let fine = step < MINUTE_MS;
    let (mut free, mut day_free) = (0.0, 0.0);
    for span in &times.spans {
        for mark in span.marks(step) {
            let x = span.x(mark.0);
            let _ = writeln!(page, r#"<path class="line" d="M{x:.2} {foot:.2}v1.2"/>"#);
            let words = time_of_day(mark, fine);
            let half = text_width(&words, SMALL) / 2.0;
            if x - half >= free {
                let more = r#" text-anchor="middle""#;
                letters(page, (x, foot + 4.5), SMALL, more, &words);
                free = x + half + 1.0;
            }
        }
        let began = crate::ledger::UnixMillis(span.began);
        let words = format!("{} {}", day(began), time_of_day(began, fine));
        // the last ones must not run over the edge of the paper
        let wide = text_width(&words, SMALL);
        let x = span.left.min(RIGHT - wide);
        if x >= day_free {
            let more = format!(r#" data-session="{}""#, span.number);
            letters(page, (x, foot + 9.5), SMALL, &more, &words);
            day_free = x + wide + 2.0;
        }
    }
}
