//! What the plain lines say of the work. Enters: what a screen would show. Leaves: words,
//! and for other programs JSON. Refuses nothing.

use serde_json::{Value, json};

use super::panel;
use super::said;
use crate::weave::view::{Asking, View};
use crate::weave::words::turned;
use crate::words::counted;

/// How much of a piece is woven, and what tells more of it.
pub(super) fn woven(view: &View) -> String {
    let length = view.length_mm.0;
    let length = length.map(|mm| format!(", {:.1} cm", mm / 10.0));
    format!(
        "piece {}: {}{}; `cardwright ledger piece {}` tells of it",
        view.piece,
        place(view),
        length.unwrap_or_default(),
        view.piece
    )
}

/// What lies in the cloth, and which pick of the plan is next: where a weaver has said
/// that, the one says nothing of the other.
fn place(view: &View) -> String {
    let (done, all) = view.picks;
    let next = match done {
        done if done < all => format!("pick {} of {all} is next", done + 1),
        _ if view.is_done() => "the piece is done".to_string(),
        _ => "no pick of the plan is left".to_string(),
    };
    format!(
        "{} in the cloth, {next}",
        counted(view.in_the_cloth(), "pick")
    )
}

/// What is asked.
pub(super) fn asked(asking: &Asking) -> String {
    match asking {
        Asking::Chain { .. } => format!(
            "lay the chain so that {}, then press Enter",
            asking.next_turn().unwrap_or_default()
        ),
        Asking::CatchUp {
            events,
            turns,
            beats,
            next,
            faults,
        } => {
            let faults = match faults.is_empty() {
                true => String::new(),
                false => format!(", with faults: {}", faults.join(", ")),
            };
            let then = match next {
                Some(next) => format!("pick {next} is next"),
                None => "the piece is woven".to_string(),
            };
            format!(
                "while this program was off or waited for an answer: {}, {}, {}{faults}; if that \
                 was weaving, {then}. Enter: take it so; x: leave it out",
                counted(*events, "event"),
                turned(*turns),
                counted(*beats, "beat")
            )
        }
        Asking::End => "Enter: the piece is done; u N: I took N picks out".to_string(),
        Asking::Place { next, proposed, .. } => format!(
            "{}. Enter: {proposed} is next; n N: pick N is next, such as n {next}",
            asking.changed().unwrap_or_default()
        ),
    }
}

/// The fault that is to be decided about, and the keys for it, as on the full screen.
pub(super) fn fault(view: &View) -> Vec<String> {
    let Some(open) = said::to_decide(view) else {
        return Vec::new();
    };
    let mut lines = vec![format!("{}: {}", panel::fault_title(view), open.words)];
    for (key, words) in panel::choices(open, view) {
        let key = match key.as_str() {
            "u" | "c" => format!("{key} N"),
            _ => key,
        };
        lines.push(format!("  {key:>5}  {words}"));
    }
    lines
}

/// What an answer would answer, for other programs.
pub(super) fn asked_in_json(view: &View) -> Value {
    let fault = said::to_decide(view).map(|open| {
        let choices = open.choices.iter().map(|(_, words)| words.as_str());
        json!({
            "words": open.words, "evidence": open.evidence, "remedy": open.remedy,
            "choices": choices.collect::<Vec<_>>(),
        })
    });
    json!({
        "event": "asked", "asking": view.asking, "fault": fault,
        "open_faults": view.open.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pick 6 of 5 was named as the next one.
    #[test]
    fn after_the_last_pick_none_is_next() {
        let said = |next| {
            asked(&Asking::CatchUp {
                events: 2,
                turns: 1,
                beats: 1,
                next,
                faults: Vec::new(),
            })
        };
        assert!(said(Some(5)).contains("if that was weaving, pick 5 is next. "));
        assert!(said(None).contains("if that was weaving, the piece is woven. "));
    }

    /// Where a weaver has said which pick is next, the place is no count: `n 500`
    /// after nine picks made `500 of 500 picks woven`.
    #[test]
    fn the_place_is_no_count() {
        let view = |picks, in_cloth, stray| View {
            picks,
            in_cloth,
            stray,
            ..View::default()
        };
        for (view, words) in [
            (
                view((499, 500), 9, 0),
                "9 picks in the cloth, pick 500 of 500 is next",
            ),
            (
                view((0, 16), 0, 1),
                "1 pick in the cloth, pick 1 of 16 is next",
            ),
            (
                view((16, 16), 16, 0),
                "16 picks in the cloth, no pick of the plan is left",
            ),
            (
                View {
                    begun: true,
                    ..view((16, 16), 16, 0)
                },
                "16 picks in the cloth, the piece is done",
            ),
        ] {
            assert_eq!(place(&view), words);
        }
    }
}
