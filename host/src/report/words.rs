//! Words for a person. Enters: numbers of a report. Leaves: times and lengths as they
//! are said.

use super::{Report, Unit};
use crate::ledger::UnixMillis;
use crate::words::counted;
use jiff::Timestamp;

/// A time span: `2 h 05 min`, `3 min 20 s`, `4 min`, `45 s`, `1.5 s`.
#[must_use]
pub fn duration(ms: f64) -> String {
    let seconds = (ms / 1000.0).round().max(0.0) as u64;
    match seconds {
        0..10 => format!("{:.1} s", ms.max(0.0) / 1000.0),
        10..60 => format!("{seconds} s"),
        60..3600 => both((seconds / 60, "min"), (seconds % 60, "s")),
        _ => {
            let minutes = (seconds + 30) / 60;
            both((minutes / 60, "h"), (minutes % 60, "min"))
        }
    }
}

fn both(large: (u64, &str), small: (u64, &str)) -> String {
    match small.0 {
        0 => format!("{} {}", large.0, large.1),
        _ => format!("{} {} {:02} {}", large.0, large.1, small.0, small.1),
    }
}

/// A length of cloth: inches where the plan's sett is said in them, else metres, or
/// centimetres below one.
#[must_use]
pub fn length(mm: f64, unit: Unit) -> String {
    match unit {
        Unit::Inch => format!("{:.2} in", mm / 25.4),
        Unit::Centimetre if mm.abs() < 1000.0 => format!("{:.1} cm", mm / 10.0),
        Unit::Centimetre => format!("{:.3} m", mm / 1000.0),
    }
}

/// What was woven, in a line.
#[must_use]
pub fn woven(report: &Report) -> String {
    let sums = &report.sums;
    let out = match sums.taken_out {
        0 => String::new(),
        out => format!(", {out} taken out again"),
    };
    format!(
        "{} woven{out}, {} in the cloth",
        counted(sums.picks, "pick"),
        sums.in_cloth
    )
}

/// The day in UTC: `11 May 2026`.
pub(super) fn day(at: UnixMillis) -> String {
    said(at, "%-d %b %Y")
}

/// The time of day in UTC, with seconds if `fine`.
pub(super) fn time_of_day(at: UnixMillis, fine: bool) -> String {
    said(at, if fine { "%H:%M:%S" } else { "%H:%M" })
}

fn said(at: UnixMillis, form: &str) -> String {
    match Timestamp::from_millisecond(at.0) {
        Ok(time) => time.strftime(form).to_string(),
        Err(_) => at.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_lengths_are_said_as_a_person_would() {
        let cases = [
            (-5.0, "0.0 s"),
            (1_540.0, "1.5 s"),
            (9_960.0, "10 s"),
            (59_700.0, "1 min"),
            (3_599_600.0, "1 h"),
            (125_000.0, "2 min 05 s"),
            (7_530_000.0, "2 h 06 min"),
        ];
        for (ms, words) in cases {
            assert_eq!(duration(ms), words, "{ms}");
        }
        assert_eq!(length(254.0, Unit::Inch), "10.00 in");
        assert_eq!(length(254.0, Unit::Centimetre), "25.4 cm");
        assert_eq!(length(2540.0, Unit::Centimetre), "2.540 m");
        assert_eq!(day(UnixMillis(1_778_457_600_000)), "11 May 2026");
    }
}
