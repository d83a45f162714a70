//! The weaver's screen, drawn.
//!
//! Enters: the work as it stands and what is being typed. Leaves: a picture of it that
//! is read at arm's length and more: what is wrong or asked in the middle, else the
//! card. Refuses nothing: what goes first where room is short is what happened before,
//! the cloth, the size of the letters, and in the end how far the work is.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::Line;
use ratatui::widgets::Paragraph;

use super::big::{self, Big};
use super::cloth::ClothPicture;
use super::colours::{Colours, bar, quiet, strong};
use super::keys::{Keys, Mode};
use super::text::{cut, width, wrap};
use super::{facts, panel, prompt};
use crate::weave::view::{self, NextPick, View};

/// The smallest terminal that has room for all of it.
const ROOMY: (u16, u16) = (60, 20);

/// Lines from which a small one has a title.
const TITLED: u16 = 8;

/// Lines of what happened that are kept before letters grow.
const EVENTS: usize = 3;

/// The most of them.
const MOST_EVENTS: usize = 10;

/// Lines that are told beside the card, mostly.
const TOLD: usize = 12;

/// The narrowest cloth worth looking at.
const NARROWEST_CLOTH: usize = 12;

/// Size of block letters that are five lines high.
const FIVE_LINES: usize = 2;

/// What is shown.
pub(super) struct Shown<'a> {
    /// The work; none before anything is known of it.
    pub view: Option<&'a View>,
    /// What is being typed.
    pub keys: &'a Keys,
    /// What happened beside the work itself.
    pub notices: &'a [view::Line],
    /// The colours there are.
    pub colours: Colours,
    /// The time zone of the loom.
    pub zone: &'a jiff::tz::TimeZone,
    /// Digits of the highest card.
    pub digits: usize,
}

/// Draws it all.
pub(super) fn draw(frame: &mut Frame<'_>, shown: &Shown<'_>, cloth: &mut ClothPicture) {
    let all = frame.area();
    let mut room = all;
    if all.width < ROOMY.0 || all.height < ROOMY.1 {
        small(frame, shown, room);
        if shown.keys.mode() == Mode::Help {
            prompt::help(frame, all);
        }
        return;
    }
    frame.render_widget(title(shown, all.width), take_top(&mut room, 1));
    prompt::draw(frame, shown, &mut room);
    match shown.view {
        None => {
            let words = Line::styled("waiting for the loom unit", strong());
            frame.render_widget(words, take_top(&mut room, 2));
            let rows = usize::from(room.height);
            put(frame, room, facts::events(shown, columns(room), rows));
        }
        Some(view) => {
            for words in panel::banners(view) {
                let words = format!(" {words}");
                let words = format!("{words:<pad$}", pad = columns(room));
                let line = Line::styled(cut(&words, columns(room)), shown.colours.alarm_bar());
                frame.render_widget(line, take_top(&mut room, 1));
            }
            room.x += 1;
            room.width -= 2;
            if view.open.is_empty() && view.asking.is_none() {
                weaving(frame, shown, view, cloth, room);
            } else {
                panel::draw(frame, shown, view, room);
            }
        }
    }
    if shown.keys.mode() == Mode::Help {
        prompt::help(frame, all);
    }
}

/// All that a small terminal has room for, the most needed first: what is next, what
/// is wrong or asked, the weft, and at the foot the keys.
fn small(frame: &mut Frame<'_>, shown: &Shown<'_>, mut room: Rect) {
    if room.height >= TITLED {
        frame.render_widget(title(shown, room.width), take_top(&mut room, 1));
    }
    prompt::draw(frame, shown, &mut room);
    let (columns, rows) = (columns(room), usize::from(room.height));
    let Some(view) = shown.view else {
        let mut lines = vec![Line::styled(
            cut("waiting for the loom unit", columns),
            strong(),
        )];
        lines.extend(facts::events(shown, columns, rows.saturating_sub(1)));
        put(frame, room, lines);
        return;
    };
    let mut lines: Group = panel::banners(view)
        .into_iter()
        .map(|words| Line::styled(cut(words, columns), shown.colours.alarm_bar()))
        .collect();
    if view.open.is_empty() && view.asking.is_none() {
        let (head, about, far) = groups(shown, view, columns);
        // the card comes first, then the section it is of
        lines.extend(about.into_iter().chain(head).chain(far));
        let left = rows.saturating_sub(lines.len() + 1);
        let events = facts::events(shown, columns, left);
        if !events.is_empty() {
            lines.push(Line::default());
        }
        lines.extend(events);
    } else {
        let left = rows.saturating_sub(lines.len());
        lines.extend(panel::small(shown, view, columns, left));
    }
    put(frame, room, lines);
}

/// The uppermost line: the cloth, the piece, and how it stands in a word.
fn title(shown: &Shown<'_>, columns: u16) -> Line<'static> {
    let columns = usize::from(columns);
    let state = shown.view.map_or("", panel::state);
    let name = shown.view.map_or_else(String::new, |view| {
        format!(" {}, piece {}", view.plan, view.piece)
    });
    let room = columns.saturating_sub(width(state) + 2);
    let name = cut(&name, room);
    let gap = " ".repeat(room - width(&name));
    Line::styled(format!("{name}{gap} {state} "), bar())
}

/// Takes lines off the top of `room`.
pub(super) fn take_top(room: &mut Rect, rows: usize) -> Rect {
    let rows = u16::try_from(rows).unwrap_or(u16::MAX).min(room.height);
    let taken = Rect {
        height: rows,
        ..*room
    };
    room.y += rows;
    room.height -= rows;
    taken
}

pub(super) fn columns(room: Rect) -> usize {
    usize::from(room.width)
}

pub(super) fn put(frame: &mut Frame<'_>, room: Rect, lines: Vec<Line<'_>>) {
    frame.render_widget(Paragraph::new(lines), room);
}

/// Lines that belong together, kept apart from others where there is room.
type Group = Vec<Line<'static>>;

/// Nothing is wrong: the card in the middle, the cloth beside it.
fn weaving(
    frame: &mut Frame<'_>,
    shown: &Shown<'_>,
    view: &View,
    cloth: &mut ClothPicture,
    room: Rect,
) {
    let (left, beside) = split(room, shown.digits);
    let (head, about, far) = groups(shown, view, left);
    let told = [&head, &about, &far]
        .iter()
        .map(|lines| lines.len())
        .sum::<usize>();
    let spare = usize::from(room.height).saturating_sub(told);
    let events = facts::events(shown, columns(room), MOST_EVENTS);
    // the card's letters are five lines high before anything of the past is kept
    let five = big::lines_high(FIVE_LINES) + 1;
    let kept = events.len().min(EVENTS).min(spare.saturating_sub(five));
    let most = spare.saturating_sub(kept + usize::from(kept > 0));
    let big = next_big(view, shown.digits, left, most);
    let mut spare = spare.saturating_sub(big.lines.len());
    // the last things to get room are empty lines and older events
    let wanted = kept + usize::from(kept > 0);
    let gaps = spare.saturating_sub(wanted).min(3);
    spare -= gaps;
    let shown_events = events.len().min(spare.saturating_sub(1));
    let below = shown_events + usize::from(shown_events > 0);
    let mut area = room;
    let mut top = take_top(&mut area, usize::from(room.height) - below);
    if below > 0 {
        take_top(&mut area, 1);
        put(frame, area, events.into_iter().take(shown_events).collect());
    }
    if beside >= NARROWEST_CLOTH {
        draw_cloth(frame, shown, view, cloth, right(top, left));
    }
    top.width = u16::try_from(left).unwrap_or(top.width).min(top.width);
    let big: Group = big
        .lines
        .into_iter()
        .map(|line| Line::styled(line, strong()))
        .collect();
    for (place, lines) in [head, big, about, far].into_iter().enumerate() {
        if place > 0 && place <= gaps {
            take_top(&mut top, 1);
        }
        let own = take_top(&mut top, lines.len());
        put(frame, own, lines);
    }
}

/// Columns for what is told, and for the cloth beside it: the card comes first, and
/// takes three quarters where its letters grow by it.
fn split(room: Rect, digits: usize) -> (usize, usize) {
    let (columns, rows) = (columns(room), usize::from(room.height));
    let fits = |size: &usize| {
        number_columns(digits, *size) <= columns * 3 / 4 && big::lines_high(*size) + TOLD <= rows
    };
    let size = (FIVE_LINES..=big::LARGEST).rev().find(fits);
    let least = number_columns(digits, size.unwrap_or(FIVE_LINES));
    let left = (columns * 3 / 5).max(least).min(columns);
    (left, columns.saturating_sub(left + 2))
}

/// Columns that a number of so many digits and its arrow take.
fn number_columns(digits: usize, size: usize) -> usize {
    (4 * digits + 2 + 1 + 4) * size
}

fn right(top: Rect, left: usize) -> Rect {
    let left = u16::try_from(left + 2).unwrap_or(top.width).min(top.width);
    Rect {
        x: top.x + left,
        width: top.width - left,
        ..top
    }
}

/// What stands above the card, below it, and how far the work is.
fn groups(shown: &Shown<'_>, view: &View, left: usize) -> (Group, Group, Group) {
    let plain = |text: String| wrap(&text, left).into_iter().map(Line::from);
    let bold = |text: String| {
        let lines = wrap(&text, left).into_iter();
        lines.map(|line| Line::styled(line, strong()))
    };
    let mut head = Group::new();
    let mut about = Group::new();
    match &view.next {
        Some(next) => {
            head.extend(bold(facts::section(next)));
            about.extend(bold(facts::card_words(next)));
            if let Some(turns) = &next.turns {
                about.extend(bold(format!("!! {turns}")));
            }
            about.extend(facts::weft(next, shown.colours));
        }
        None => about.extend(bold("the last pick of the plan is woven".to_string())),
    }
    if let Some(stands) = facts::stands(view, shown) {
        about.extend(plain(stands));
    }
    if let Some(stray) = facts::stray(view) {
        about.extend(bold(format!("!! {stray}")));
    }
    let far = facts::progress(view, left).into_iter().map(Line::from);
    (head, about, far.collect())
}

/// The card in letters as large as fit, with an arrow the way the cylinder turns.
/// Cards of one plan are all of one size, so that the eye finds them.
fn next_big(view: &View, digits: usize, columns: usize, rows: usize) -> Big {
    let Some(next) = &view.next else {
        return big::fit_line("done", columns, rows).unwrap_or_else(|| plain("DONE"));
    };
    let words = big_words(next);
    if next.card.is_none() {
        return big::fit_line(&words, columns, rows).unwrap_or_else(|| plain(&words));
    }
    let template = format!("{} →", "8".repeat(digits.max(1)));
    let room = big::fit_line(&template, columns, rows).map_or(0, |big| big.lines.len());
    big::fit_line(&words, columns, room).unwrap_or_else(|| plain(&words))
}

fn big_words(next: &NextPick) -> String {
    match (next.card, next.back) {
        (None, _) => "GROUND".to_string(),
        (Some(card), Some(true)) => format!("← {card}"),
        (Some(card), Some(false)) => format!("{card} →"),
        (Some(card), None) => card.to_string(),
    }
}

/// Letters as the terminal has them, where larger ones do not fit.
fn plain(words: &str) -> Big {
    Big {
        lines: vec![words.to_string()],
        width: width(words),
    }
}

fn draw_cloth(
    frame: &mut Frame<'_>,
    shown: &Shown<'_>,
    view: &View,
    cloth: &mut ClothPicture,
    mut room: Rect,
) {
    let next = view
        .next
        .as_ref()
        .map_or(view.picks.1, |next| next.number - 1);
    let rows = usize::from(room.height).saturating_sub(1);
    let lines = cloth.lines(&view.woven, next, columns(room), rows, shown.colours);
    if lines.is_empty() {
        return;
    }
    let width = lines.first().map_or(0, Line::width);
    let caption = match width {
        ..30 => "fell at the top",
        _ => "the cloth, the fell at the top",
    };
    let caption = cut(caption, columns(room));
    frame.render_widget(Line::styled(caption, quiet()), take_top(&mut room, 1));
    let style = match shown.colours {
        Colours::None | Colours::Sixteen => quiet(),
        _ => Style::new(),
    };
    let lines = lines.into_iter().map(|line| line.patch_style(style));
    put(frame, room, lines.collect());
}
