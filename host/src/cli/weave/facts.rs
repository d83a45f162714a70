//! What is told in plain lines: the next pick, how far the work is, what happened.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use super::colours::{Colours, quiet, strong};
use super::draw::Shown;
use super::text::{count, cut, duration, length, number, time_of_day, wrap};
use crate::weave::view::{NextPick, View};

/// Names are cut to so many columns, so that what stands after them is seen.
const LONGEST_NAME: usize = 30;

/// The section and the repeat.
pub(super) fn section(next: &NextPick) -> String {
    let (section, sections) = next.section_of;
    let (repeat, repeats) = next.repeat_of;
    let mut words = cut(&next.section, LONGEST_NAME);
    if sections > 1 {
        words += &format!(", section {section} of {sections}");
    }
    if repeats > 1 {
        let (repeat, repeats) = (number(repeat), number(repeats));
        words += &format!(", repeat {repeat} of {repeats}");
    }
    words
}

/// What is laid on the cylinder, and which way it turns.
pub(super) fn card_words(next: &NextPick) -> String {
    let Some(card) = next.card else {
        return "ground: no card, the cylinder stays".to_string();
    };
    let of = next.deck.as_ref();
    let of = of.map(|deck| format!(" of {}", cut(deck, LONGEST_NAME)));
    let way = match next.back {
        Some(true) => ", ← BACK",
        Some(false) => ", → forwards",
        None => "",
    };
    format!("card {card}{}{way}", of.unwrap_or_default())
}

/// The weft, with a piece of it in its colour.
pub(super) fn weft(next: &NextPick, colours: Colours) -> Option<Line<'static>> {
    let (name, colour) = next.weft.as_ref()?;
    let mut spans = vec![Span::raw("weft ")];
    if let Some(yarn) = colour.and_then(|colour| colours.yarn(colour)) {
        spans.push(Span::styled("██████", Style::new().fg(yarn)));
        spans.push(Span::raw(" "));
    }
    spans.push(Span::styled(cut(name, LONGEST_NAME), strong()));
    Some(Line::from(spans))
}

/// The card that stands, where cards are woven.
pub(super) fn stands(view: &View, shown: &Shown<'_>) -> Option<String> {
    let Some(stands) = view.stands else {
        let carded = view.next.as_ref().is_some_and(|next| next.card.is_some());
        return carded.then(|| "it is not known which card stands".to_string());
    };
    let deck = shown.keys.deck(stands.deck);
    let of = deck.map(|deck| format!(" of {}", cut(&deck.name, LONGEST_NAME)));
    Some(format!(
        "stands card {}{}",
        stands.card.0,
        of.unwrap_or_default()
    ))
}

/// How far the work is, the most needed first.
pub(super) fn progress(view: &View, columns: usize) -> Vec<String> {
    let (done, all) = view.picks;
    let left = all.saturating_sub(done);
    let at = format!("{} of {}, {} left", number(done), number(all), number(left));
    // where a weaver has said which pick is next, the place is no count
    let in_cloth = view.in_the_cloth();
    let at = match in_cloth == done {
        true => format!("picks {at}"),
        false => format!(
            "{} in the cloth; in the plan {at}",
            count(in_cloth, "pick", "picks")
        ),
    };
    let mut lines = wrap(&at, columns);
    // as much as the picks that are left: what lies beside the plan makes it no shorter
    let share = left as f64 / all.max(1) as f64;
    let mut woven = match view.length_mm {
        (Some(woven), Some(whole)) => format!(
            "woven {} of {}, {} left",
            length(woven),
            length(whole),
            length(whole * share)
        ),
        (Some(woven), None) => format!("woven {}", length(woven)),
        (None, _) => String::new(),
    };
    if let Some(mm) = view.take_up_mm {
        let took = format!("wound on {}", length(mm));
        match woven.is_empty() {
            true => woven = took,
            false => woven += &format!("; {took}"),
        }
    }
    lines.extend(wrap(&woven, columns));
    let pace = match (view.picks_a_minute, view.seconds_left) {
        (Some(pace), Some(left)) if !view.paused && view.next.is_some() => {
            let left = match duration(left) {
                less if less.starts_with("less") => less,
                left => format!("about {left}"),
            };
            format!("pace {pace:.0} picks a minute, {left} left")
        }
        (Some(pace), _) => format!("pace {pace:.0} picks a minute"),
        (None, _) => String::new(),
    };
    lines.extend(wrap(&pace, columns));
    lines
}

/// Picks that are none of the plan's.
pub(super) fn stray(view: &View) -> Option<String> {
    let stray = u64::from(view.stray);
    (stray > 0).then(|| {
        let are = count(stray, "pick lies", "picks lie");
        format!("{are} in the cloth beside the plan")
    })
}

/// What happened last, at most so many lines, the newest at the top.
pub(super) fn events(shown: &Shown<'_>, columns: usize, rows: usize) -> Vec<Line<'static>> {
    let told = shown.view.map(|view| view.last.as_slice());
    let mut all: Vec<_> = told.unwrap_or_default().iter().collect();
    all.extend(shown.notices);
    all.sort_by_key(|line| line.at);
    let mut lines = Vec::new();
    for (age, line) in all.iter().rev().enumerate() {
        let time = time_of_day(line.at, shown.zone);
        let indent = time.len() + 2;
        let style = if age == 0 { Style::new() } else { quiet() };
        let words = wrap(&line.words, columns.saturating_sub(indent));
        for (place, part) in words.into_iter().enumerate() {
            if lines.len() == rows {
                return lines;
            }
            let before = match place {
                0 => format!("{time}  "),
                _ => " ".repeat(indent),
            };
            let text = cut(&format!("{before}{part}"), columns);
            lines.push(Line::styled(text, style));
        }
    }
    lines
}
