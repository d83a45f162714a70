//! The report on one page: the pace over the time at the loom, the faults, and the
//! length woven.
//!
//! Enters: a report. Leaves: an A4 page, lying, as an SVG whose user unit is the
//! millimetre. Refuses: a piece without picks. Nothing is told by colour alone.

mod axes;
mod curves;
mod frame;
mod marks;

use super::words::{duration, woven};
use super::{Report, ReportError};
use crate::picture::{escaped, shortened};
use crate::words::counted;
use axes::Times;
use std::fmt::Write as _;

/// A4, lying (ISO 216).
const PAPER: (f64, f64) = (297.0, 210.0);
/// The edges of what is drawn over time.
const LEFT: f64 = 60.0;
const RIGHT: f64 = 284.0;
/// The left margin.
const MARGIN: f64 = 13.0;
/// Where the first panel begins, and where the last ends.
const TOP: f64 = 45.0;
const FOOT: f64 = 183.0;
/// Between two panels, with room for a heading.
const BETWEEN: f64 = 11.0;
/// Height of a kind of fault.
const LANE: f64 = 5.0;

const SMALL: f64 = 2.8;

const STYLE: &str = "\
text{font-family:'DejaVu Sans',sans-serif;fill:#111}
.quiet{fill:#555}
.panel{fill:#fff;stroke:#111;stroke-width:.2}
.grid{stroke:#ccc;stroke-width:.15;fill:none}
.rest{fill:#d9d9d9}
.pause{fill:url(#pause)}
.line{stroke:#111;stroke-width:.45;fill:none;stroke-linejoin:round;stroke-linecap:round}
.middle{stroke:#111;stroke-width:.25;fill:none;stroke-dasharray:1.5 1.2}
.sett{stroke:#111;stroke-width:.45;fill:none;stroke-linejoin:round;stroke-linecap:round}
.take-up{stroke:#b83a08;stroke-width:.5;fill:none;stroke-dasharray:2 1;stroke-linejoin:round}
.loom{stroke:#111;stroke-width:.4;fill:#fff}
.weaver{stroke:#1f4e79;stroke-width:.4;fill:#fff}
.open{stroke:#b83a08;stroke-width:.7;fill:none}
";

const PATTERN: &str = "<defs><pattern id=\"pause\" width=\"1.6\" height=\"1.6\" \
patternUnits=\"userSpaceOnUse\"><path d=\"M0 1.6L1.6 0\" stroke=\"#999\" \
stroke-width=\".2\"/></pattern></defs>";

/// A page with the pace, the faults and the length.
///
/// # Errors
/// [`ReportError::NoPicks`].
pub fn plot(report: &Report) -> Result<String, ReportError> {
    if report.picks.is_empty() {
        return Err(ReportError::NoPicks(report.piece.0));
    }
    let times = Times::of(&report.sessions);
    let lanes = report.kinds.len().max(1) as f64 * LANE;
    let free = FOOT - TOP - lanes - 2.0 * BETWEEN;
    let pace = (TOP, TOP + free * 0.55);
    let faults = (pace.1 + BETWEEN, pace.1 + BETWEEN + lanes);
    let length = (faults.1 + BETWEEN, FOOT);
    let mut page = head(report);
    curves::pace(&mut page, report, &times, pace);
    marks::faults(&mut page, report, &times, faults);
    curves::length(&mut page, report, &times, length);
    frame::time_scale(&mut page, &times, FOOT);
    let words = "Times of day are in UTC. Sessions stand side by side; the time between them is \
                 left out.";
    letters(
        &mut page,
        (MARGIN, 203.0),
        SMALL,
        r#" class="quiet""#,
        words,
    );
    page.push_str("</svg>\n");
    Ok(page)
}

fn head(report: &Report) -> String {
    let (width, height) = PAPER;
    let title = format!("Piece {}: {}", report.piece.0, report.name);
    let mut page = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">"#
    );
    let _ = writeln!(
        page,
        "\n<title>{}</title>\n<style>{STYLE}</style>\n{PATTERN}",
        escaped(&title)
    );
    let _ = writeln!(
        page,
        r##"<rect width="{width}" height="{height}" fill="#fff"/>"##
    );
    let room = width - 2.0 * MARGIN;
    letters(
        &mut page,
        (MARGIN, 18.0),
        6.0,
        "",
        &shortened(&title, 6.0, room),
    );
    for (y, words) in [(25.5, summary(report)), (31.0, paces(report))] {
        letters(
            &mut page,
            (MARGIN, y),
            3.4,
            "",
            &shortened(&words, 3.4, room),
        );
    }
    page
}

fn summary(report: &Report) -> String {
    let sums = &report.sums;
    format!(
        "{}; {} at the loom in {}, {} of it weaving",
        woven(report),
        duration(sums.at_loom_ms as f64),
        counted(report.sessions.len(), "session"),
        duration(sums.weaving_ms as f64)
    )
}

fn paces(report: &Report) -> String {
    let pace = &report.pace;
    let mut words = match pace.median {
        Some(median) => format!("mostly {median:.1} picks a minute"),
        None => "too few picks for a pace".to_string(),
    };
    if let (Some(best), Some(worst)) = (pace.best, pace.worst) {
        let _ = write!(
            words,
            ", best ten minutes {:.1}, worst {:.1}",
            best.picks_a_minute, worst.picks_a_minute
        );
    }
    let some = |count: usize, one: &str| match count {
        0 => format!("no {one}s"),
        _ => counted(count, one),
    };
    let (stops, faults) = (report.stops.len(), report.faults.len());
    let _ = write!(
        words,
        "; {}, {}",
        some(stops, "stop"),
        some(faults, "fault")
    );
    if report.sums.open_faults > 0 {
        let _ = write!(words, ", {} of them open", report.sums.open_faults);
    }
    words
}

/// One line of letters; `more` is further attributes.
fn letters(page: &mut String, (x, y): (f64, f64), size: f64, more: &str, words: &str) {
    let _ = writeln!(
        page,
        r#"<text x="{x:.2}" y="{y:.2}" font-size="{size:.2}"{more}>{}</text>"#,
        escaped(words)
    );
}
