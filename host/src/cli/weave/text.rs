//! Numbers, lengths and times as a weaver reads them, and words on lines of some
//! width.

use ratatui::text::Span;

pub(super) use crate::weave::words::length;

/// A number with its thousands apart.
pub(super) fn number(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// So many of a thing, of which there is one or several.
pub(super) fn count(many: u64, one: &str, several: &str) -> String {
    format!("{} {}", number(many), if many == 1 { one } else { several })
}

/// A time that is left, no more precise than it can be known.
pub(super) fn duration(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round().max(0.0) as u64;
    let hours = minutes / 60;
    match minutes {
        0 => "less than a minute".to_string(),
        1..60 => format!("{minutes} min"),
        60..1_440 => format!("{hours} h {} min", minutes % 60),
        _ => format!("{} days {} h", number(hours / 24), hours % 24),
    }
}

/// The time of day, in this zone.
pub(super) fn time_of_day(at: i64, zone: &jiff::tz::TimeZone) -> String {
    match jiff::Timestamp::from_millisecond(at) {
        Ok(time) => {
            let time = zone.to_datetime(time);
            let (hour, minute, second) = (time.hour(), time.minute(), time.second());
            format!("{hour:02}:{minute:02}:{second:02}")
        }
        Err(_) => "--:--:--".to_string(),
    }
}

/// Columns that the text takes.
pub(super) fn width(text: &str) -> usize {
    Span::raw(text).width()
}

/// The text on lines of at most so many columns, broken between words; a word that
/// is longer is broken too.
pub(super) fn wrap(text: &str, columns: usize) -> Vec<String> {
    let columns = columns.max(1);
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && width(&line) + 1 + width(word) > columns {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for letter in word.chars() {
            if width(&line) + width(letter.encode_utf8(&mut [0; 4])) > columns {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// The text in at most so many columns; what is cut off leaves a mark.
pub(super) fn cut(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_string();
    }
    let mut out = String::new();
    for letter in text.chars() {
        if width(&out) + width(letter.encode_utf8(&mut [0; 4])) >= columns {
            break;
        }
        out.push(letter);
    }
    if columns > 0 {
        out.push('…');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_lengths_and_times() {
        assert_eq!(number(0), "0");
        assert_eq!(number(999), "999");
        assert_eq!(number(100_000_000), "100,000,000");
        assert_eq!(count(1, "pick", "picks"), "1 pick");
        assert_eq!(count(1_200, "pick", "picks"), "1,200 picks");
        assert_eq!(length(823.96), "82.4 cm");
        assert_eq!(length(2_400.0), "2.40 m");
        assert_eq!(length(-12.0), "-1.2 cm");
        assert_eq!(duration(20.0), "less than a minute");
        assert_eq!(duration(15_600.0), "4 h 20 min");
        assert_eq!(duration(9e6), "104 days 4 h");
        let utc = jiff::tz::TimeZone::UTC;
        assert_eq!(time_of_day(1_700_000_000_000, &utc), "22:13:20");
        assert_eq!(time_of_day(i64::MAX, &utc), "--:--:--");
    }

    #[test]
    fn words_stay_whole_where_they_fit() {
        assert_eq!(
            wrap("a batten that beats", 9),
            ["a batten", "that", "beats"]
        );
        assert_eq!(wrap("warpweft", 3), ["war", "pwe", "ft"]);
        assert_eq!(wrap("", 10), Vec::<String>::new());
        for columns in 1..30 {
            for line in wrap(
                "the cylinder went on from card 12, unbeaten 綜絖",
                columns.max(2),
            ) {
                assert!(width(&line) <= columns.max(2), "{line}");
            }
        }
    }

    #[test]
    fn what_is_cut_off_is_marked() {
        assert_eq!(cut("border", 6), "border");
        assert_eq!(cut("border", 5), "bord…");
        assert_eq!(cut("border", 0), "");
    }
}
