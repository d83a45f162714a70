//! Places on a card and lists of cards, as a person would say them.

use super::{Card, Cylinders, Fault, LARGE_SET_FROM, Lacing, PEG, Place, Wires};
use crate::deck::{CardFormat, CardList};
use crate::words::counted;
use cardwright_protocol::{CardNumber, Stroke};

/// One place: `row 3 hole 4`, `peg hole at the far end`.
pub(super) fn place(format: &CardFormat, strokes: &[Stroke], place: Place) -> String {
    let line = line(format, strokes, place);
    match place.hole {
        PEG => line,
        hole => format!("{line} hole {hole}"),
    }
}

/// Places, which must be in order, put together by row: `row 3 holes 4, 5`.
pub(super) fn places(format: &CardFormat, strokes: &[Stroke], places: &[Place]) -> Vec<String> {
    let one_line = |a: &Place, b: &Place| a.stroke == b.stroke && a.hole != PEG;
    let words = places.chunk_by(one_line).map(|chunk| match chunk {
        [] => String::new(),
        [only] => place(format, strokes, *only),
        [first, ..] => {
            let holes: Vec<String> = chunk.iter().map(|place| place.hole.to_string()).collect();
            format!(
                "{} holes {}",
                line(format, strokes, *first),
                holes.join(", ")
            )
        }
    });
    words.map(kept_together).collect()
}

/// Longest words that are kept on one line.
const TOGETHER: usize = 24;

/// Short words get spaces at which no line is broken.
fn kept_together(words: String) -> String {
    if words.len() > TOGETHER {
        return words;
    }
    words.replace(' ', "\u{a0}")
}

/// The line of holes across the card on which a place lies.
fn line(format: &CardFormat, strokes: &[Stroke], place: Place) -> String {
    let Place { stroke, hole } = place;
    if hole == PEG {
        let far = format.peg_position_mm(stroke) > format.card_length_mm() / 2.0;
        let end = if far { "far" } else { "numbered" };
        return format!("peg hole at the {end} end");
    }
    if let Some(row) = format.row_of_stroke(stroke) {
        return format!("row {row}");
    }
    let lace = strokes
        .get(usize::from(stroke))
        .is_some_and(|what| matches!(what, Stroke::Lace(_) | Stroke::LaceAndPeg(_)));
    let before = (0..stroke)
        .filter_map(|stroke| format.row_of_stroke(stroke))
        .max();
    let after = (stroke..format.strokes()).any(|stroke| format.row_of_stroke(stroke).is_some());
    let kind = if lace { "lace line" } else { "blank line" };
    match before {
        None => format!("{kind} at the numbered end"),
        Some(row) if after => format!("{kind} after row {row}"),
        Some(_) => format!("{kind} at the far end"),
    }
}

/// What is to be done to a card that can be mended, each with its places.
pub(super) fn mending(format: &CardFormat, fault: &Fault) -> Vec<(&'static str, String)> {
    let (cut, paste) = if fault.is_cut_again() {
        ("missing", "extra")
    } else {
        ("cut", "paste over")
    };
    [(cut, &fault.missing), (paste, &fault.extra)]
        .into_iter()
        .filter(|(_, list)| !list.is_empty())
        .map(|(what, list)| (what, places(format, &fault.strokes, list).join("; ")))
        .collect()
}

/// Card numbers: `3, 7-9, 12`.
pub(super) fn numbers(cards: &[u32]) -> String {
    let list = CardList::from_cards(cards.iter().copied().map(CardNumber));
    list.to_string().replace(',', ", ")
}

/// What is to be seen to before lacing: what it is, and the cards.
pub(super) fn to_see_to(lacing: &Lacing) -> Vec<(&'static str, Vec<u32>)> {
    let again = |card: &Card| matches!(card, Card::Faulty(fault) if fault.is_cut_again());
    let mend = |card: &Card| matches!(card, Card::Faulty(fault) if !fault.is_cut_again());
    let lists = [
        ("Owed", lacing.which(|card| matches!(card, Card::Owed))),
        ("To be cut again", lacing.which(again)),
        ("To be mended", lacing.which(mend)),
        (
            "Not checked",
            lacing.which(|card| matches!(card, Card::Unjudged)),
        ),
    ];
    lists
        .into_iter()
        .filter(|(_, cards)| !cards.is_empty())
        .collect()
}

/// The one line that says whether lacing can begin.
pub(super) fn standing(lacing: &Lacing) -> String {
    let wanting: usize = to_see_to(lacing).iter().map(|(_, cards)| cards.len()).sum();
    let findings = lacing.sheet.order.len();
    match (wanting, findings) {
        (0, 0) => "Every card is good. Lace.".to_owned(),
        (0, _) => "Every card is good, but not in its place. Put the order right before lacing."
            .to_owned(),
        (cards, _) => format!("{} to see to before lacing.", counted(cards, "card")),
    }
}

/// What the chains are, and in which order they are laced.
pub(super) fn rule(lacing: &Lacing) -> String {
    match lacing.sheet.cylinders {
        Cylinders::One => "One cylinder: one chain, every card forwards.".to_owned(),
        Cylinders::Two => {
            let uneven = if lacing.sheet.cards.len().is_multiple_of(2) {
                ""
            } else {
                " The deck has an odd number of cards, so the two chains do not come round together."
            };
            format!("Two cylinders: odd cards forwards, even cards backwards (Bell ch. V).{uneven}")
        }
    }
}

/// How a chain's wires lie: `4 wires, 15 or 16 cards from one to the next`.
pub(super) fn wires(wires: &Wires) -> String {
    let (low, high) = (wires.range.start(), wires.range.end());
    let count = counted(wires.cards.len(), "wire");
    if wires.cards.len() == 1 {
        return format!("{count}, for so short a chain.");
    }
    let apart = if wires.narrowest == wires.widest {
        wires.widest.to_string()
    } else {
        format!("{} or {}", wires.narrowest, wires.widest)
    };
    let set = wires.set();
    if wires.closer() {
        return format!(
            "{count}, {apart} cards from one to the next: closer than the {low}-{high} of a {set} set, \
             into which this chain does not divide."
        );
    }
    format!("{count}, {apart} cards from one to the next ({low}-{high} in a {set} set).")
}

/// Where the figures for wires are from.
pub(super) fn wires_source() -> String {
    format!(
        "Spacing: Bell ch. V. That a set is large from {LARGE_SET_FROM} cards a chain: common practice, no source. \
         The last wire and the first are as far apart over the join as the others."
    )
}

/// What to mind while lacing (Bell ch. V).
pub(super) const REMINDERS: [&str; 2] = [
    "Lace tight: cord stretches.",
    "Cross the two cords at every hole: it keeps the cards straight.",
];
