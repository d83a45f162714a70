//! A card and a deck as lines of text.
//!
//! Enters: a deck and the width of the terminal in columns. Leaves: lines no
//! wider than that where it is at least 20 columns.

use super::marks::{Mark, MarkKind};
use crate::deck::{CardFormat, Deck, FirstPick};
use cardwright_protocol::{Row, Stroke};

/// Narrowest terminal that is drawn for.
const NARROWEST: usize = 20;

/// One card: a column a stroke, a line a hole. Where the terminal is narrower
/// than the card the drawing goes on below. Positions that `marks` finds wrong
/// have a sign of their own.
#[must_use]
pub fn card_lines(
    format: &CardFormat,
    strokes: &[Stroke],
    marks: &[Mark],
    columns: usize,
) -> Vec<String> {
    let holes = format.holes_per_row();
    // Three columns for the hole's number and a space.
    let run = columns.max(NARROWEST) - 4;
    let mut lines = Vec::new();
    let numbered: Vec<(u16, Stroke)> = (0u16..).zip(strokes.iter().copied()).collect();
    for part in numbered.chunks(run) {
        lines.push(row_figures(format, part));
        for hole in 1..=holes {
            let signs = part.iter().map(|(stroke, what)| {
                let own = |mark: &&Mark| (mark.stroke, mark.hole) == (*stroke, hole);
                let wrong = marks.iter().find(own).and_then(|mark| sign(mark.kind));
                wrong.unwrap_or_else(|| spot(format, strokes, *stroke, *what, hole))
            });
            lines.push(format!("{hole:>3} {}", signs.collect::<String>()));
        }
    }
    let key = ["● hole   · solid", "○ lace hole   ◎ peg hole"];
    if columns >= 48 {
        lines.push(format!("    {}   {}", key[0], key[1]));
    } else {
        lines.extend(key.map(str::to_owned));
    }
    if !marks.is_empty() {
        lines.push("    × missing   ◐ partly cut   ■ a hole too many".to_owned());
    }
    lines
}

/// What stands for a position that is wrong.
fn sign(kind: MarkKind) -> Option<char> {
    match kind {
        MarkKind::Missing => Some('×'),
        MarkKind::Partial => Some('◐'),
        MarkKind::Extra => Some('■'),
        MarkKind::Good | MarkKind::OutOfRegister => None,
    }
}

fn row_figures(format: &CardFormat, part: &[(u16, Stroke)]) -> String {
    let mut figures = String::from("row ");
    let mut room = 0;
    for (place, (stroke, _)) in part.iter().enumerate() {
        let row = format.row_of_stroke(*stroke);
        let shown = row.filter(|row| *row == 1 || row.is_multiple_of(5) || *row == format.rows());
        let text = shown.map(|row| row.to_string()).unwrap_or_default();
        let fits = text.len() <= part.len() - place;
        if room > 0 {
            // The figure before still stands here.
            room -= 1;
        } else if text.is_empty() || !fits {
            figures.push(' ');
        } else {
            figures.push_str(&text);
            room = text.len() - 1;
        }
    }
    figures
}

fn spot(format: &CardFormat, strokes: &[Stroke], stroke: u16, what: Stroke, hole: u8) -> char {
    let lace = matches!(what, Stroke::Lace(_) | Stroke::LaceAndPeg(_));
    if what.punches().has(hole) {
        return if lace { '○' } else { '●' };
    }
    if peg_beside(format, strokes, stroke, hole) {
        return '◎';
    }
    if matches!(what, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_)) {
        '·'
    } else {
        ' '
    }
}

/// Whether a peg hole lies over this place of the card.
fn peg_beside(format: &CardFormat, strokes: &[Stroke], stroke: u16, hole: u8) -> bool {
    let middle = format.hole_across_mm(hole).abs() < format.needle_pitch_mm();
    let x = format.position_mm(stroke);
    middle
        && (0u16..)
            .zip(strokes)
            .filter(|(_, stroke)| stroke.peg())
            .any(|(peg, _)| (format.peg_position_mm(peg) - x).abs() < format.row_pitch_mm() / 2.0)
}

/// The deck as a small picture: two cards a line where it is wide enough for
/// every hole, shades of grey otherwise. The lines run as the design does.
#[must_use]
pub fn deck_lines(deck: &Deck, columns: usize) -> Vec<String> {
    let format = deck.format();
    let holes = format.holes_per_row();
    let blank = format
        .spare_row()
        .filter(|_| deck.cutting().spare_row == crate::deck::SpareRow::Blank);
    let used = |rows: &[Row]| -> Vec<bool> {
        let rows = (1u16..)
            .zip(rows)
            .filter(|(number, _)| Some(*number) != blank);
        rows.flat_map(|(_, row)| (1..=holes).map(move |hole| row.has(hole)))
            .collect()
    };
    let mut cards: Vec<Vec<bool>> = deck.cards().map(|(_, rows)| used(rows)).collect();
    if deck
        .design()
        .is_none_or(|design| design.first_pick == FirstPick::Bottom)
    {
        cards.reverse();
    }
    let hooks = cards.first().map_or(0, Vec::len);
    let columns = columns.max(NARROWEST);
    if hooks <= columns {
        return cards
            .chunks(2)
            .map(|pair| half_blocks(pair, hooks))
            .collect();
    }
    let hooks_a_cell = hooks.div_ceil(columns);
    cards
        .chunks(2 * hooks_a_cell)
        .map(|group| shades(group, hooks, hooks_a_cell))
        .collect()
}

fn half_blocks(pair: &[Vec<bool>], hooks: usize) -> String {
    let cut = |card: usize, hook: usize| {
        pair.get(card)
            .and_then(|card| card.get(hook))
            .copied()
            .unwrap_or(false)
    };
    let block = |hook| match (cut(0, hook), cut(1, hook)) {
        (false, false) => ' ',
        (true, false) => '▀',
        (false, true) => '▄',
        (true, true) => '█',
    };
    (0..hooks).map(block).collect()
}

fn shades(group: &[Vec<bool>], hooks: usize, hooks_a_cell: usize) -> String {
    let shade = |first: usize| {
        let squares = group
            .iter()
            .flat_map(|card| card.iter().skip(first).take(hooks_a_cell));
        let (mut cut, mut all) = (0usize, 0usize);
        for square in squares {
            cut += usize::from(*square);
            all += 1;
        }
        // Rounded to the nearest of five shades.
        [' ', '░', '▒', '▓', '█'][(4 * cut + all / 2).checked_div(all).unwrap_or(0).min(4)]
    };
    (0..hooks).step_by(hooks_a_cell).map(shade).collect()
}
