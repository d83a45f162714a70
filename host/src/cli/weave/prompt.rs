//! The lowest lines: the keys, or what is being typed.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Text};
use ratatui::widgets::{Block, Clear, Paragraph};

use super::colours::{bar, quiet, strong};
use super::draw::{Shown, columns};
use super::keys::{Entry, Mode};
use super::text::{cut, width, wrap};

/// The keys, in a line.
const KEYS: [(&str, &str); 7] = [
    ("u", "unwove"),
    ("c", "card"),
    ("n", "next"),
    ("p", "pause"),
    ("t", "note"),
    ("q", "leave"),
    ("?", "help"),
];

/// The keys, explained.
const HELP: [(&str, &str); 11] = [
    ("u", "I unwove picks: how many"),
    ("c", "this card stands on the cylinder"),
    ("n", "this pick of the plan is next"),
    ("p", "pause, and go on"),
    ("t", "a note, kept in the ledger"),
    ("1-9", "decide about the fault on the screen"),
    ("Enter", "yes to what is asked"),
    ("x", "no, what was counted meanwhile does not count"),
    ("q", "leave; the place is kept"),
    ("Esc", "back from anything typed"),
    ("?", "this; any key closes it"),
];

/// The full screen hides what was said before it.
const CAUTION: [&str; 3] = [
    "",
    "Hands away from batten, griffe and cylinder while they",
    "move: this program stops nothing.",
];

/// Draws them at the foot of `room`, which is what is left afterwards.
pub(super) fn draw(frame: &mut Frame<'_>, shown: &Shown<'_>, room: &mut Rect) {
    let wide = columns(*room).saturating_sub(2);
    let mut lines: Vec<Line<'static>> = Vec::new();
    if let Some(wrong) = shown.keys.wrong() {
        let wrong = wrap(wrong, wide).into_iter().take(2);
        lines.extend(wrong.map(|line| Line::styled(format!(" {line}"), shown.colours.alarm())));
    }
    match shown.keys.mode() {
        Mode::Weaving | Mode::Help => lines.push(keys(wide)),
        Mode::Leaving => {
            lines.push(asked("Leave? The place is kept.", "", wide));
            lines.push(hint("y leaves, any other key goes on"));
        }
        Mode::Typing(entry) => {
            let (question, more) = question(shown, entry);
            lines.push(asked(&question, &format!("{}_", shown.keys.text()), wide));
            lines.push(hint(&format!("Enter says it, Esc goes back{more}")));
        }
    }
    let rows = u16::try_from(lines.len()).unwrap_or(1).min(room.height);
    room.height -= rows;
    let own = Rect {
        y: room.y + room.height,
        height: rows,
        ..*room
    };
    frame.render_widget(Paragraph::new(lines), own);
}

fn question(shown: &Shown<'_>, entry: Entry) -> (String, String) {
    match entry {
        Entry::Unwove => ("I unwove so many picks:".to_string(), String::new()),
        Entry::Next => ("The next pick of the plan is:".to_string(), String::new()),
        Entry::Note => ("Note:".to_string(), String::new()),
        Entry::Stands(deck) => match shown.keys.deck(deck) {
            Some(deck) => (
                format!("On the cylinder stands, of {}, card:", deck.name),
                ", Tab takes another deck".to_string(),
            ),
            None => ("On the cylinder stands card:".to_string(), String::new()),
        },
    }
}

/// What is asked, with what is typed so far; of long text the end is seen.
fn asked(question: &str, typed: &str, wide: usize) -> Line<'static> {
    let question = cut(question, wide / 2 + 8);
    let room = wide.saturating_sub(width(&question) + 1);
    let mut tail = typed;
    while width(tail) > room {
        let mut letters = tail.chars();
        letters.next();
        tail = letters.as_str();
    }
    let text = format!(" {question} {tail}");
    let pad = (wide + 2).saturating_sub(width(&text));
    Line::styled(format!("{text}{}", " ".repeat(pad)), bar())
}

fn hint(words: &str) -> Line<'static> {
    Line::styled(format!(" {words}"), quiet())
}

fn keys(wide: usize) -> Line<'static> {
    let long = |key: &str, word: &str| format!("{key} {word}");
    let all: Vec<String> = KEYS.iter().map(|(key, word)| long(key, word)).collect();
    let line = all.join("   ");
    let line = if width(&line) > wide {
        all.join("  ")
    } else {
        line
    };
    // where not all have room, it is seen how to leave and where the others are told
    let line = if width(&line) > wide {
        let (others, last) = all.split_at(KEYS.len() - 2);
        [last, others].concat().join("  ")
    } else {
        line
    };
    Line::styled(format!(" {}", cut(&line, wide)), quiet())
}

/// What each key does, over everything else.
pub(super) fn help(frame: &mut Frame<'_>, all: Rect) {
    let mut lines: Vec<Line<'static>> = HELP
        .iter()
        .map(|(key, words)| Line::styled(format!(" {key:>5}  {words}"), strong()))
        .collect();
    lines.extend(CAUTION.map(|words| Line::styled(format!(" {words}"), strong())));
    let wide = lines.iter().map(Line::width).max().unwrap_or(0) + 4;
    let own = all.centered(
        ratatui::layout::Constraint::Length(u16::try_from(wide).unwrap_or(u16::MAX)),
        ratatui::layout::Constraint::Length((HELP.len() + CAUTION.len()) as u16 + 2),
    );
    frame.render_widget(Clear, own);
    let block = Block::bordered().title(Line::styled(" keys ", strong()));
    frame.render_widget(Paragraph::new(Text::from(lines)).block(block), own);
}
