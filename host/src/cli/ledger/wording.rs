//! The lists' wording. Enters: rows of the ledger. Leaves: words that fit a
//! terminal of 80 columns. Refuses nothing.

use crate::ledger::{CardRow, Fault, JobRow, UnixMillis};
use crate::words::{counted, one_line};
use serde_json::Value;
use std::collections::BTreeMap;

/// Columns of the narrowest terminal that is usual.
const WIDTH: usize = 80;

pub(super) fn ending(job: &JobRow) -> &'static str {
    job.ending.map_or("open", |ending| ending.word())
}

pub(super) fn deck_name(job: &JobRow) -> String {
    job.deck
        .as_deref()
        .map_or_else(|| "no deck".to_string(), plain)
}

/// `card 7` or `cards 7-9`.
pub(super) fn card_range(first: u32, last: u32) -> String {
    if first == last {
        format!("card {first}")
    } else {
        format!("cards {first}-{last}")
    }
}

/// Neighbours in `all` with the same words, each once: first card, last card,
/// words.
pub(super) fn folded(all: impl Iterator<Item = (u32, String)>) -> Vec<(u32, u32, String)> {
    let mut runs: Vec<(u32, u32, String)> = Vec::new();
    for (card, words) in all {
        match runs.last_mut() {
            Some((_, last, same)) if *same == words && last.checked_add(1) == Some(card) => {
                *last = card;
            }
            _ => runs.push((card, card, words)),
        }
    }
    runs
}

/// A card of a deck over all jobs.
pub(super) fn card(card: &CardRow) -> String {
    let state = match (card.good, card.last) {
        (true, _) => "good",
        (false, Some(last)) => last.word(),
        (false, None) => return "not cut yet".to_string(),
    };
    let attempts = counted(u64::from(card.attempts), "attempt");
    let faults = kinds(card.faults.iter().map(|(kind, count)| (kind, *count)));
    if faults.is_empty() {
        format!("{state}, {attempts}")
    } else {
        format!("{state}, {attempts}; faults: {faults}")
    }
}

/// `2 extra, 15 missing`.
pub(super) fn kinds<K: AsRef<str>>(all: impl Iterator<Item = (K, u32)>) -> String {
    let words: Vec<String> = all
        .map(|(kind, count)| format!("{count} {}", plain(kind.as_ref())))
        .collect();
    words.join(", ")
}

/// How often each kind of fault stands in these rows.
pub(super) fn all_kinds(cards: &[CardRow]) -> BTreeMap<&str, u32> {
    let mut faults: BTreeMap<&str, u32> = BTreeMap::new();
    for (kind, count) in cards.iter().flat_map(|card| &card.faults) {
        let sum = faults.entry(kind).or_default();
        *sum = sum.saturating_add(*count);
    }
    faults
}

pub(super) fn fault(fault: &Fault) -> String {
    let mut words = plain(&fault.kind);
    match fault.hole {
        Some(0) => words.push_str(", peg hole"),
        Some(hole) => words.push_str(&format!(", hole {hole}")),
        None => {}
    }
    match (fault.row, fault.stroke) {
        (Some(row), _) => words.push_str(&format!(" of row {row}")),
        (None, Some(stroke)) => words.push_str(&format!(" at stroke {stroke}")),
        (None, None) => {}
    }
    if let Some(measured) = fault.measured {
        words.push_str(&match fault.measured_in.as_str() {
            "open permille" => format!(": {:.0} % of a hole's light", measured / 10.0),
            "um" => format!(": {:.2} mm", measured / 1000.0),
            other => format!(": {measured} {}", plain(other)),
        });
    }
    if !fault.note.is_empty() {
        words.push_str(&format!(" ({})", plain(&fault.note)));
    }
    words
}

/// An event's detail: why and at which card first, then whatever else there
/// is. The unit's own clock says nothing to a person and is left to `--json`.
pub(super) fn detail(detail: &Value) -> String {
    let Some(parts) = detail.as_object() else {
        return if detail.is_null() {
            String::new()
        } else {
            plain(&detail.to_string())
        };
    };
    let mut words = Vec::new();
    if let Some(reason) = parts.get("reason").and_then(Value::as_str) {
        words.push(spaced(reason));
    }
    if let Some(id) = parts.get("id") {
        let number = |name| id.get(name).and_then(Value::as_u64);
        if let (Some(card), Some(attempt)) = (number("card"), number("attempt")) {
            words.push(format!("card {card} attempt {attempt}"));
        }
    }
    for (name, value) in parts {
        let text = match value {
            Value::Null => continue,
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        match name.as_str() {
            "reason" if value.is_string() => {}
            "id" | "at_us" => {}
            "strokes" => words.push(format!("strokes begun: {}", plain(&text))),
            "off_after_us" => words.push(format!("outputs off within {} us", plain(&text))),
            name => words.push(format!("{}: {}", plain(name), plain(&text))),
        }
    }
    words.join(", ")
}

/// `GrossMisread` as `gross misread`; words stay as they are.
fn spaced(name: &str) -> String {
    let name = plain(name);
    if name.contains(' ') {
        return name;
    }
    crate::ledger::spaced(&name)
}

/// A time without its fraction, for lists.
pub(super) fn to_the_second(time: UnixMillis) -> String {
    let mut text = time.to_string();
    if let Some(dot) = text.find('.') {
        text.truncate(dot);
        text.push('Z');
    }
    text
}

/// A time without its seconds, for lists that have no room for them.
pub(super) fn to_the_minute(time: UnixMillis) -> String {
    let text = to_the_second(time);
    match text.get(..16) {
        Some(minute) if text.len() == 20 => format!("{minute}Z"),
        _ => text,
    }
}

/// `text`, its end cut off where it is longer than `most` characters.
pub(super) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_string();
    }
    let mut short: String = text.chars().take(most.saturating_sub(1)).collect();
    short.push('\u{2026}');
    short
}

/// `text` broken between words into lines of at most [`WIDTH`] columns, all
/// but the first indented by `indent`. The first keeps its own spaces.
pub(in crate::cli) fn wrapped(text: &str, indent: usize) -> String {
    let mut whole = String::new();
    let mut column: usize = 0;
    for (number, word) in text.split(' ').enumerate() {
        let length = word.chars().count();
        if column > indent && column.saturating_add(1).saturating_add(length) > WIDTH {
            whole.push('\n');
            whole.push_str(&" ".repeat(indent));
            column = indent;
        } else if number > 0 {
            whole.push(' ');
            column += 1;
        }
        whole.push_str(word);
        column += length;
    }
    whole
}

/// Text from the ledger without characters that would act on the terminal.
pub(super) fn plain(text: &str) -> String {
    one_line(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_between_words_and_lose_none() {
        let word = "abcdefg";
        for indent in [0, 4, 20] {
            let text = format!("    {}", vec![word; 40].join(" "));
            let whole = wrapped(&text, indent);
            assert!(whole.starts_with("    abcdefg abc"), "{whole}");
            assert!(
                whole.lines().all(|line| line.chars().count() <= WIDTH),
                "{whole}"
            );
            assert_eq!(whole.split_whitespace().count(), 40);
            let second = whole.lines().nth(1).unwrap_or_default();
            assert!(
                second.starts_with(&format!("{}{word}", " ".repeat(indent))),
                "{whole}"
            );
        }
        // A word wider than the terminal stays whole.
        let long = "x".repeat(100);
        assert_eq!(wrapped(&format!("a {long}"), 4).lines().count(), 1);
        assert_eq!(wrapped("", 4), "");
        assert_eq!(wrapped("a  b", 4), "a  b");
    }

    #[test]
    fn only_equal_neighbours_are_folded() {
        let rows = [(1, "a"), (2, "a"), (4, "a"), (5, "b"), (6, "b"), (7, "a")];
        let rows = rows
            .into_iter()
            .map(|(card, words)| (card, words.to_string()));
        let runs: Vec<(u32, u32)> = folded(rows).iter().map(|run| (run.0, run.1)).collect();
        assert_eq!(runs, [(1, 2), (4, 4), (5, 6), (7, 7)]);
    }

    #[test]
    fn what_would_act_on_the_terminal_does_not_reach_it() {
        let detail_with_escape =
            serde_json::json!({"reason": "a\u{1b}[2Jb", "wh\u{7}at": "\u{9b}x"});
        let words = detail(&detail_with_escape);
        assert!(!words.chars().any(char::is_control), "{words:?}");
    }
}
