//! The curves: the pace with the rests and pauses behind it, and the length.

use super::axes::{Span, Times, Upright, step_of_ms};
use super::frame::{Sign, heading, panels, upright};
use crate::report::words::duration;
use crate::report::{Report, Unit, WovenPick};
use std::fmt::Write as _;

/// Width of what is averaged at least, in millimetres on the page,
const BIN: f64 = 0.5;
/// and how many picks it is to hold: fewer say nothing of a pace.
const BIN_PICKS: f64 = 8.0;
/// Width of which the last length is drawn, in millimetres on the page.
const FINE_BIN: f64 = 0.3;
/// From here on metres are easier to read than centimetres, in millimetres.
const METRES_FROM: f64 = 3_000.0;

/// A piece of a curve: places in the page's units.
type Piece = Vec<(f64, f64)>;

/// The pace over time.
pub(super) fn pace(page: &mut String, report: &Report, times: &Times, panel: (f64, f64)) {
    let middle_ms = report.pace.median.map_or(0.0, |median| 60_000.0 / median);
    let bin = times.step_ms(BIN).max(step_of_ms(middle_ms * BIN_PICKS));
    let runs: Vec<Piece> = times
        .spans
        .iter()
        .flat_map(|span| pace_runs(report, span, bin))
        .collect();
    let most = runs.iter().flatten().map(|(_, value)| *value);
    let axis = Upright::to(most.fold(0.0, f64::max), panel);
    panels(page, times, panel);
    rests(page, report, times, panel);
    upright(page, times, &axis);
    for run in &runs {
        curve(
            page,
            "line",
            run.iter().map(|(x, value)| (*x, axis.y(*value))),
        );
    }
    let mean = format!("mean of {}", duration(bin as f64));
    let median = report.pace.median.map(|median| {
        for span in &times.spans {
            let ends = [(span.left, median), (span.right(), median)];
            curve(page, "middle", ends.map(|(x, value)| (x, axis.y(value))));
        }
        format!("middle pick, {median:.1}")
    });
    let mut signs: Vec<Sign<'_>> = vec![(&|x, y| stroke("line", x, y), mean)];
    if let Some(words) = median {
        signs.push((&|x, y| stroke("middle", x, y), words));
    }
    let stop = format!("stop of more than {}", duration(report.sums.rest_ms as f64));
    signs.push((
        &|x, y| band("rest", (x - 3.0, x + 3.0), (y - 1.3, y + 1.3)),
        stop,
    ));
    let pause = "pause".to_string();
    signs.push((
        &|x, y| band("pause", (x - 3.0, x + 3.0), (y - 1.3, y + 1.3)),
        pause,
    ));
    heading(page, panel.0, "Picks a minute", &signs);
}

/// Mean paces of one session, broken where nothing was woven.
fn pace_runs(report: &Report, span: &Span, bin: i64) -> Vec<Piece> {
    let picks = report
        .picks
        .iter()
        .filter(|pick| pick.session == span.number);
    let mut bins: Vec<(i64, i64, i64)> = Vec::new();
    for pick in picks {
        let Some(ms) = pick.took_ms() else { continue };
        let number = (pick.at.0 - span.began).div_euclid(bin);
        match bins.last_mut() {
            Some((last, count, sum)) if *last >= number => {
                *count += 1;
                *sum += ms;
            }
            _ => bins.push((number, 1, ms)),
        }
    }
    let point = |&(number, count, sum): &(i64, i64, i64)| {
        let x = span.x(span.began + number * bin + bin / 2);
        (x, count as f64 * 60_000.0 / sum.max(1) as f64)
    };
    bins.chunk_by(|a, b| b.0 - a.0 == 1)
        .map(|run| run.iter().map(point).collect())
        .collect()
}

fn rests(page: &mut String, report: &Report, times: &Times, panel: (f64, f64)) {
    for stop in &report.stops {
        if let Some(span) = times.span(stop.session) {
            let edges = (span.x(stop.from.0), span.x(stop.to.0));
            let _ = writeln!(page, "{}", band("rest", edges, panel));
        }
    }
    for (session, span) in report.sessions.iter().zip(&times.spans) {
        for (from, to) in &session.pauses {
            let edges = (span.x(*from), span.x(*to));
            let _ = writeln!(page, "{}", band("pause", edges, panel));
        }
    }
}

fn band(class: &str, (left, right): (f64, f64), (top, foot): (f64, f64)) -> String {
    format!(
        r#"<rect class="{class}" x="{left:.2}" y="{top:.2}" width="{:.2}" height="{:.2}"/>"#,
        (right - left).max(0.2),
        foot - top
    )
}

fn stroke(class: &str, x: f64, y: f64) -> String {
    format!(r#"<path class="{class}" d="M{:.2} {y:.2}h6"/>"#, x - 3.0)
}

fn curve(page: &mut String, class: &str, points: impl IntoIterator<Item = (f64, f64)>) {
    let mut path = String::new();
    for (place, (x, y)) in points.into_iter().enumerate() {
        let _ = write!(path, "{}{x:.2} {y:.2}", if place == 0 { "M" } else { "L" });
    }
    if !path.contains('L') {
        // a point alone is a dot, by its round ends
        path.push_str("h0");
    }
    let _ = writeln!(page, r#"<path class="{class}" d="{path}"/>"#);
}

/// What a length is drawn in: its words, and millimetres of one.
fn scale(unit: Unit, most: f64) -> (&'static str, f64) {
    match unit {
        Unit::Inch => ("Length woven, in", Unit::Inch.mm()),
        Unit::Centimetre if most < METRES_FROM => ("Length woven, cm", 10.0),
        Unit::Centimetre => ("Length woven, m", 1000.0),
    }
}

/// The length over time, by the sett and by the take-up; picks in the cloth if neither
/// is known.
pub(super) fn length(page: &mut String, report: &Report, times: &Times, panel: (f64, f64)) {
    let by_sett = |pick: &WovenPick| pick.length_mm;
    let by_take_up = |pick: &WovenPick| pick.take_up_mm;
    let in_cloth = |pick: &WovenPick| pick.in_cloth.map(|picks| picks as f64);
    let sett = of_sessions(report, times, &by_sett);
    let take_up = of_sessions(report, times, &by_take_up);
    let most = |runs: &[Piece]| {
        let values = runs.iter().flatten().map(|(_, value)| *value);
        values.fold(0.0, f64::max)
    };
    let none = sett.is_empty() && take_up.is_empty();
    let picks = if none {
        of_sessions(report, times, &in_cloth)
    } else {
        Vec::new()
    };
    let highest = most(&sett).max(most(&take_up));
    let (words, one) = scale(report.length.unit, highest);
    let (words, one, highest) = if none {
        ("Picks in the cloth", 1.0, most(&picks))
    } else {
        (words, one, highest)
    };
    let axis = Upright::to(highest / one, panel);
    panels(page, times, panel);
    upright(page, times, &axis);
    let mut signs: Vec<Sign<'_>> = Vec::new();
    for (runs, class) in [(&sett, "sett"), (&picks, "sett"), (&take_up, "take-up")] {
        for run in runs {
            curve(
                page,
                class,
                run.iter().map(|(x, value)| (*x, axis.y(value / one))),
            );
        }
    }
    if !sett.is_empty() {
        signs.push((&|x, y| stroke("sett", x, y), "by the sett".to_string()));
    }
    if !take_up.is_empty() {
        let words = "by the take-up".to_string();
        signs.push((&|x, y| stroke("take-up", x, y), words));
    }
    heading(page, panel.0, words, &signs);
}

/// One curve a session: the last value of each width of the page that has one.
fn of_sessions(
    report: &Report,
    times: &Times,
    value: &dyn Fn(&WovenPick) -> Option<f64>,
) -> Vec<Piece> {
    let mut runs = Vec::new();
    for span in &times.spans {
        let mut run: Piece = Vec::new();
        for pick in report.picks.iter().filter(|p| p.session == span.number) {
            let Some(value) = value(pick) else { continue };
            let x = span.x(pick.at.0);
            let width = |x: f64| (x / FINE_BIN).floor();
            match run.last_mut() {
                Some(last) if width(last.0) == width(x) => *last = (x, value),
                _ => run.push((x, value)),
            }
        }
        if !run.is_empty() {
            runs.push(run);
        }
    }
    runs
}
