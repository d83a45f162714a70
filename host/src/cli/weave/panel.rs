//! What is wrong or asked, in the middle of the screen: in large words, with how it
//! shows, what rights it, and the keys for what can be decided.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::Line;
use ratatui::widgets::{Block, BorderType, Clear};

use super::big;
use super::colours::strong;
use super::draw::{Shown, columns, put, take_top};
use super::facts;
use super::said::asks_first;
use super::text::{count, number, wrap};
use crate::weave::view::{Asking, OpenFault, View};
use crate::weave::watch::Remedy;
use crate::weave::words::turned;

/// Lines of the border.
const BORDER: usize = 2;

/// How it stands, in a word.
pub(super) fn state(view: &View) -> &'static str {
    if !view.heard {
        "UNIT NOT HEARD"
    } else if asks_first(view) {
        "PLEASE ANSWER"
    } else if !view.open.is_empty() {
        "FAULT"
    } else if view.asking.is_some() {
        "PLEASE ANSWER"
    } else if view.paused {
        "PAUSED"
    } else if view.next.is_none() {
        "DONE"
    } else {
        "WEAVING"
    }
}

/// What holds for everything on the screen.
pub(super) fn banners(view: &View) -> Vec<&'static str> {
    let mut banners = Vec::new();
    if !view.heard {
        banners.push("THE LOOM UNIT IS NOT HEARD: check its cable and power");
    }
    if view.paused {
        banners.push("PAUSED: p goes on");
    }
    banners
}

/// What a panel says.
struct Panel {
    title: String,
    large: String,
    /// How it shows; left out first.
    evidence: String,
    remedy: String,
    /// Keys and what they do.
    choices: Vec<(String, String)>,
    style: Style,
}

/// Draws what is wrong or asked, and around it what is still needed of the rest.
pub(super) fn draw(frame: &mut Frame<'_>, shown: &Shown<'_>, view: &View, mut room: Rect) {
    let panel = panel(shown, view);
    let head = head(shown, view, columns(room));
    let rows = head.len();
    put(frame, take_top(&mut room, rows), head);
    let inside = columns(room) - 4;
    let body = body(&panel, inside, usize::from(room.height) - BORDER);
    let mut own = take_top(&mut room, body.len() + BORDER);
    frame.render_widget(Clear, own);
    let block = Block::bordered()
        .border_type(BorderType::Double)
        .border_style(panel.style)
        .title(Line::styled(format!(" {} ", panel.title), panel.style));
    let inner = block.inner(own);
    frame.render_widget(block, own);
    own = inner;
    own.x += 1;
    own.width -= 2;
    put(frame, own, body);
    rest(frame, shown, view, room);
}

/// The same where there is room for little: what is next, what is wrong or asked.
pub(super) fn small(
    shown: &Shown<'_>,
    view: &View,
    columns: usize,
    rows: usize,
) -> Vec<Line<'static>> {
    let panel = panel(shown, view);
    let mut lines = head(shown, view, columns);
    let title = Line::styled(panel.title.clone(), panel.style);
    lines.push(title);
    let rows = rows.saturating_sub(lines.len());
    lines.extend(body(&panel, columns, rows));
    lines
}

/// Below the panel: how far the work is, then what happened.
fn rest(frame: &mut Frame<'_>, shown: &Shown<'_>, view: &View, mut room: Rect) {
    let mut lines: Vec<Line<'static>> = facts::progress(view, columns(room))
        .into_iter()
        .map(Line::from)
        .collect();
    lines.truncate(usize::from(room.height));
    let rows = lines.len();
    put(frame, take_top(&mut room, rows), lines);
    if room.height > 1 {
        take_top(&mut room, 1);
        let rows = usize::from(room.height);
        put(frame, room, facts::events(shown, columns(room), rows));
    }
}

/// Above the panel: the pick that is next, in two lines or so.
fn head(shown: &Shown<'_>, view: &View, columns: usize) -> Vec<Line<'static>> {
    let Some(next) = &view.next else {
        return Vec::new();
    };
    let mut words = format!(
        "next: pick {}, {}",
        number(next.number),
        facts::card_words(next)
    );
    if let Some((weft, _)) = &next.weft {
        words += &format!(", weft {weft}");
    }
    if let Some(stands) = facts::stands(view, shown) {
        words += &format!("; {stands}");
    }
    let mut lines = wrap(&facts::section(next), columns);
    lines.truncate(1);
    lines.extend(wrap(&words, columns));
    if let Some(turns) = &next.turns {
        lines.extend(wrap(&format!("!! {turns}"), columns));
    }
    lines.truncate(4);
    let styled = lines.into_iter();
    styled.map(|line| Line::styled(line, strong())).collect()
}

fn panel(shown: &Shown<'_>, view: &View) -> Panel {
    let asked = |asking: &Asking| asking_panel(asking, shown.colours.question());
    let first = view.asking.as_ref().filter(|_| asks_first(view));
    match (first, view.open.first(), &view.asking) {
        (Some(asking), ..) | (None, None, Some(asking)) => asked(asking),
        (None, Some(open), _) => fault_panel(open, view, shown.colours.alarm()),
        (None, None, None) => Panel {
            title: String::new(),
            large: String::new(),
            evidence: String::new(),
            remedy: String::new(),
            choices: Vec::new(),
            style: Style::new(),
        },
    }
}

/// What a fault that is told of is called: of several the first.
pub(super) fn fault_title(view: &View) -> String {
    match view.open.len() {
        1 => "FAULT".to_string(),
        all => format!("FAULT 1 of {all}"),
    }
}

/// Keys and what they do about this fault.
pub(super) fn choices(open: &OpenFault, view: &View) -> Vec<(String, String)> {
    let key = |key: &str, words: &str| (key.to_string(), words.to_string());
    let mut choices = Vec::new();
    if view.stray > 0 {
        choices.push(key("u", "I took picks out"));
    }
    if open.hands == Remedy::SayCard {
        choices.push(key("c", "this card stands"));
    }
    let decided = (1..).zip(&open.choices);
    choices.extend(decided.map(|(place, (_, words))| (place.to_string(), words.clone())));
    let asking = view.asking.as_ref();
    choices.extend(asking.and_then(|asking| Some(("Enter".to_string(), asking.beside_a_fault()?))));
    choices
}

fn fault_panel(open: &OpenFault, view: &View, style: Style) -> Panel {
    let mut evidence = open.evidence.clone();
    let more: Vec<&str> = view
        .open
        .iter()
        .skip(1)
        .map(|open| open.words.as_str())
        .collect();
    if !more.is_empty() {
        evidence += &format!(". Also open: {}", more.join(", "));
    }
    Panel {
        title: fault_title(view),
        large: open.words.clone(),
        evidence,
        remedy: open.remedy.clone(),
        choices: choices(open, view),
        style,
    }
}

fn asking_panel(asking: &Asking, style: Style) -> Panel {
    let key = |key: &str, words: String| (key.to_string(), words);
    let title = "PLEASE ANSWER".to_string();
    match asking {
        Asking::Chain { .. } => {
            let turn = asking.next_turn().unwrap_or_default();
            Panel {
                title,
                large: "lay the chain".to_string(),
                evidence: String::new(),
                remedy: format!("lay the chain so that {turn}"),
                choices: vec![
                    key("Enter", format!("it is laid: {turn}")),
                    key("c", "this card stands, in place of that".to_string()),
                ],
                style,
            }
        }
        Asking::End => Panel {
            title,
            large: "done".to_string(),
            evidence: String::new(),
            remedy: "the last pick of the plan is woven".to_string(),
            choices: vec![
                key("Enter", "the piece is done".to_string()),
                key("u", "I took picks out".to_string()),
            ],
            style,
        },
        Asking::Place { proposed, .. } => Panel {
            title,
            large: "which pick is next?".to_string(),
            evidence: String::new(),
            remedy: asking.changed().unwrap_or_default(),
            choices: vec![
                key("Enter", format!("{proposed} is next")),
                key("n", "another pick is next".to_string()),
            ],
            style,
        },
        Asking::CatchUp {
            events,
            turns,
            beats,
            next,
            faults,
        } => {
            let mut evidence = format!(
                "the unit counted {} and {} ({})",
                turned(*turns),
                count(*beats, "beat", "beats"),
                count(*events, "event", "events")
            );
            let then = match next {
                Some(next) => format!("pick {} is next", number(*next)),
                None => "the piece is woven".to_string(),
            };
            if !faults.is_empty() {
                evidence += &format!(". It shows: {}", faults.join(", "));
            }
            Panel {
                title,
                large: "woven meanwhile".to_string(),
                evidence,
                remedy: "something happened while this program was off or waited for an answer: \
                         did you weave it?"
                    .to_string(),
                choices: vec![
                    key("Enter", format!("yes, it counts: {then}")),
                    key("x", "no, it does not count".to_string()),
                ],
                style,
            }
        }
    }
}

/// The lines of a panel, in at most `rows`.
fn body(panel: &Panel, columns: usize, rows: usize) -> Vec<Line<'static>> {
    let mut needed: Vec<Line<'static>> = Vec::new();
    let remedy = wrap(&panel.remedy, columns).into_iter();
    needed.extend(remedy.map(|line| Line::styled(line, strong())));
    let mut choices = Vec::new();
    for (key, words) in &panel.choices {
        let indent = 8;
        let words = wrap(words, columns.saturating_sub(indent));
        for (place, part) in words.into_iter().enumerate() {
            let key = if place == 0 { key.as_str() } else { "" };
            choices.push(Line::raw(format!(
                "{key:>indent$}  {part}",
                indent = indent - 2
            )));
        }
    }
    let evidence: Vec<Line<'static>> = wrap(&panel.evidence, columns)
        .into_iter()
        .map(Line::from)
        .collect();
    let fixed = needed.len() + choices.len();
    let room = rows.saturating_sub(fixed + evidence.len() + 1);
    let large = big::fit(&panel.large, columns, room.min(rows / 2), 1).map_or_else(
        || wrap(&panel.large.to_uppercase(), columns),
        |big| big.lines,
    );
    let mut lines: Vec<Line<'static>> = large
        .into_iter()
        .map(|line| Line::styled(line, panel.style))
        .collect();
    let mut spare = rows.saturating_sub(lines.len() + fixed);
    for (part, may_go) in [(evidence, true), (needed, false), (choices, false)] {
        let own = part.len();
        if may_go && own > spare || own == 0 {
            continue;
        }
        if may_go {
            spare -= own;
        }
        if spare > 0 {
            lines.push(Line::default());
            spare -= 1;
        }
        lines.extend(part);
    }
    lines
}
