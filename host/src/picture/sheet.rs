//! The design and the deck as pictures.

use super::frame::*;
use super::render::{PictureError, encode};
use crate::deck::paper::{PaperSettings, hook_of_hole};
use crate::deck::{Cut, Deck, FirstPick};
use resvg::tiny_skia::Pixmap;

const FEWER_CARDS: &str = "draw one card, or a deck of fewer cards";

const CARD: Colour = [242, 230, 198];
const HOLE: Colour = [38, 32, 24];
const PAINT: Colour = [42, 52, 78];

/// The deck: every card a line, its rows in groups, holes as dots. Card 1 is
/// at the end of the picture that is woven first.
///
/// # Errors
/// More cards than a picture can show.
pub fn deck_png(deck: &Deck) -> Result<Vec<u8>, PictureError> {
    let format = deck.format();
    let cards = deck.card_count();
    let cell = (TALLEST / cards).clamp(1, 6);
    let gap = cell.div_ceil(2);
    let holes = u32::from(format.holes_per_row());
    let mut columns = Vec::new();
    let mut x = LEFT;
    let mut parting = format.division().iter().scan(0u16, |sum, part| {
        *sum += part;
        Some(*sum)
    });
    let mut part_end = parting.next();
    for row in 1..=format.rows() {
        columns.push(x);
        x += holes * cell + gap;
        if part_end == Some(row) {
            part_end = parting.next();
            x += 2 * gap;
        }
    }
    let (width, height) = (x + EDGE, TOP + cards * cell + EDGE);
    let mut picture = blank(width, height, FEWER_CARDS)?;
    let top_of = |card: u32| TOP + line_of(deck, card, cards) * cell;
    for (number, rows) in deck.cards() {
        let y = top_of(number.0);
        for (row, x) in rows.iter().zip(&columns) {
            fill(
                &mut picture,
                (*x, y),
                (holes * cell, cell.saturating_sub(1).max(1)),
                CARD,
            );
            for hole in row.holes() {
                dot(&mut picture, (x + u32::from(hole - 1) * cell, y), cell);
            }
        }
    }
    let mut labels = Labels::new(&deck_heading(deck), width, height);
    for (row, x) in (1u32..).zip(&columns) {
        if row == 1 || row % 5 == 0 || row == u32::from(format.rows()) {
            labels.above(row, *x + holes * cell / 2);
        }
    }
    for card in figures(cards, cell, FIGURE_HIGH) {
        labels.left(card, top_of(card) + cell / 2);
    }
    labels.draw(&mut picture)?;
    encode(&picture)
}

/// The design on squared paper: one square a hook by a pick, heavy lines every
/// row of the card.
///
/// # Errors
/// The deck was not made from a picture, or it is too large to be drawn.
pub fn design_png(deck: &Deck) -> Result<Vec<u8>, PictureError> {
    let design = deck.design().ok_or(PictureError::NoDesign)?;
    let settings = PaperSettings {
        format: deck.format().clone(),
        cut: deck.cutting().cut,
        first_pick: design.first_pick,
        spare_row: deck.cutting().spare_row,
    };
    let picks = deck.card_count();
    let cell = (TALLEST / picks.max(settings.hooks())).clamp(1, 5);
    let heavy = u32::from(deck.format().holes_per_row());
    let (across, down) = (settings.hooks() * cell, picks * cell);
    let (width, height) = (LEFT + across + EDGE, TOP + down + EDGE);
    let mut picture = blank(width, height, FEWER_CARDS)?;
    fill(&mut picture, (LEFT, TOP), (across, down), PAPER);
    for (number, rows) in deck.cards() {
        let y = TOP + line_of(deck, number.0, picks) * cell;
        for (row_number, row) in (1u16..).zip(rows) {
            for hole in 1..=deck.format().holes_per_row() {
                let Some(hook) = hook_of_hole(&settings, row_number, hole) else {
                    continue;
                };
                if row.has(hole) == (settings.cut == Cut::Black) {
                    fill(
                        &mut picture,
                        (LEFT + (hook - 1) * cell, y),
                        (cell, cell),
                        PAINT,
                    );
                }
            }
        }
    }
    if cell >= 4 {
        ruling(
            &mut picture,
            (cell, cell),
            (heavy, heavy),
            (across, down),
            design.first_pick,
        );
    }
    let heading = format!(
        "{}: {} hooks, {} picks, pick 1 at the {}",
        deck.name(),
        settings.hooks(),
        picks,
        word(design.first_pick),
    );
    let mut labels = Labels::new(&heading, width, height);
    for hook in figures(settings.hooks(), cell, FIGURE_WIDE) {
        labels.above(hook, LEFT + (hook - 1) * cell + cell / 2);
    }
    for pick in figures(picks, cell, FIGURE_HIGH) {
        labels.left(pick, TOP + line_of(deck, pick, picks) * cell + cell / 2);
    }
    labels.draw(&mut picture)?;
    encode(&picture)
}

/// The line, from 0 at the top, in which a card is drawn.
fn line_of(deck: &Deck, card: u32, cards: u32) -> u32 {
    match deck.design().map(|design| design.first_pick) {
        Some(FirstPick::Bottom) => cards - card,
        Some(FirstPick::Top) | None => card - 1,
    }
}

fn word(first_pick: FirstPick) -> &'static str {
    match first_pick {
        FirstPick::Bottom => "bottom",
        FirstPick::Top => "top",
    }
}

fn deck_heading(deck: &Deck) -> String {
    format!(
        "{}: {} cards, {}, {} holes",
        deck.name(),
        deck.card_count(),
        deck.format().title(),
        deck.needle_holes(),
    )
}

/// A hole: round where there are pixels enough for it.
fn dot(picture: &mut Pixmap, (x, y): (u32, u32), cell: u32) {
    match cell {
        6 => {
            fill(picture, (x + 1, y), (3, 5), HOLE);
            fill(picture, (x, y + 1), (5, 3), HOLE);
        }
        5 => fill(picture, (x, y), (4, 4), HOLE),
        cell => fill(
            picture,
            (x, y),
            (cell.saturating_sub(1).max(1), cell.saturating_sub(1).max(1)),
            HOLE,
        ),
    }
}
