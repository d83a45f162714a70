//! The picture of the cloth, held against the cards it is drawn from.

use super::made::*;
use crate::cli::weave::cloth::ClothPicture;
use crate::cli::weave::colours::Colours;
use crate::cloth::{Cloth, Woven};
use crate::deck::CardNumber;
use crate::weave::walk::{Walk, Work};
use ratatui::style::Color;
use ratatui::text::Line;
use std::path::Path;

/// Where the border begins, of 100 hooks.
const BORDER: u64 = 24;

fn drawn(walk: &Walk, woven: &[u64], next: u64, room: (usize, usize)) -> Vec<String> {
    let (mut picture, trouble) = ClothPicture::new(walk);
    assert_eq!(trouble, None);
    let lines = picture.lines(woven, next, room.0, room.1, Colours::None);
    lines.iter().map(Line::to_string).collect()
}

/// Whether this hook is lifted at this pick, by the card itself.
fn lifted(walk: &Walk, pick: u64, hook: usize) -> bool {
    let pick = walk.pick(pick).expect("it is in the plan");
    let Work::Card { deck, card } = pick.work else {
        panic!("a pick without a card");
    };
    let deck = &walk.plan().decks()[deck.0].deck;
    let holes = usize::from(deck.format().holes_per_row());
    let rows = deck.card(card).expect("it is in the deck");
    rows[hook / holes].has((hook % holes) as u8 + 1)
}

#[test]
fn every_square_is_a_hole_of_its_card() {
    let walk = walk(PLAN);
    let woven: Vec<u64> = (BORDER..BORDER + 30).collect();
    let lines = drawn(&walk, &woven, BORDER + 30, (120, 20));
    assert_eq!(lines.len(), 15);
    for (at, pick) in woven.iter().rev().enumerate() {
        let cells: Vec<char> = lines[at / 2].chars().collect();
        assert_eq!(cells.len(), 100);
        for (hook, cell) in cells.iter().enumerate() {
            let full = match at % 2 {
                0 => matches!(cell, '█' | '▀'),
                _ => matches!(cell, '█' | '▄'),
            };
            assert_eq!(full, lifted(&walk, *pick, hook), "pick {pick}, hook {hook}");
        }
    }
}

/// Where threads are merged, the shade is what is lifted of them, rounded to one of
/// five.
#[test]
fn a_shade_is_what_is_lifted_of_the_threads_in_it() {
    let walk = walk(PLAN);
    let woven: Vec<u64> = (BORDER..BORDER + 40).collect();
    let lines = drawn(&walk, &woven, BORDER + 40, (25, 10));
    assert_eq!(lines.len(), 10);
    for (line, cells) in lines.iter().enumerate() {
        assert_eq!(cells.chars().count(), 25);
        for (column, cell) in cells.chars().enumerate() {
            let newest = BORDER + 39 - 4 * line as u64;
            let squares = (newest - 3..=newest)
                .flat_map(|pick| (4 * column..4 * column + 4).map(move |hook| (pick, hook)));
            let up = squares
                .filter(|(pick, hook)| lifted(&walk, *pick, *hook))
                .count();
            let shade = [' ', '░', '▒', '▓', '█']
                .iter()
                .position(|shade| *shade == cell);
            let shade = shade.expect("one of the five") as f64;
            // half a shade is rounded, and each column's share loses less than 1/255
            assert!(
                (shade - up as f64 / 4.0).abs() <= 0.52,
                "{up} of 16 as {cell}"
            );
        }
    }
}

#[test]
fn what_was_taken_out_is_not_drawn() {
    let walk = walk(PLAN);
    let b = BORDER;
    let straight = drawn(&walk, &[b, b + 1, b + 2, b + 3], b + 4, (120, 9));
    let again = [b, b + 1, b + 2, b + 3, b + 4, b + 2, b + 3];
    assert_eq!(drawn(&walk, &again, b + 4, (120, 9)), straight);
    let taken_out = [b, b + 1, b + 2, b + 3, b + 4, b + 5];
    assert_eq!(drawn(&walk, &taken_out, b + 4, (120, 9)), straight);
    assert!(drawn(&walk, &taken_out, b, (120, 9)).is_empty());
    assert!(drawn(&walk, &[], b, (120, 9)).is_empty());
    assert!(drawn(&walk, &taken_out, b + 6, (0, 0)).is_empty());
}

/// Ground picks have no card: they are drawn half and half, in their weft.
#[test]
fn in_colour_the_yarns_are_seen() {
    let walk = walk(PLAN);
    let (mut picture, _) = ClothPicture::new(&walk);
    let woven: Vec<u64> = (BORDER - 2..BORDER + 2).collect();
    let lines = picture.lines(&woven, BORDER + 2, 100, 10, Colours::True);
    assert_eq!(lines.len(), 2);
    for (hook, cell) in lines[0].spans.iter().enumerate() {
        let seen = |pick| match lifted(&walk, pick, hook) {
            true => Some(Color::Rgb(0xf0, 0xea, 0xdc)),
            false => Some(Color::Rgb(0xc8, 0x96, 0x32)),
        };
        assert_eq!(cell.style.fg, seen(BORDER + 1), "hook {hook}");
        assert_eq!(cell.style.bg, seen(BORDER), "hook {hook}");
    }
    let ground = &lines[1].spans[0].style;
    assert_eq!(ground.fg, ground.bg);
    let of_linen = |colour: Option<Color>| matches!(colour, Some(Color::Rgb(0x3a..0xf0, ..)));
    assert!(of_linen(ground.fg), "{ground:?}");
}

/// The picture takes its columns from the widest deck that is seen in it.
#[test]
fn decks_of_several_widths_stand_in_one_cloth() {
    let walk = walk(PLAN);
    let last = (0..walk.len())
        .find(|pick| walk.pick(*pick).is_some_and(|pick| pick.section == 2))
        .expect("the sedge is woven");
    let first_card = walk.pick(last).map(|pick| pick.work);
    assert!(matches!(
        first_card,
        Some(Work::Card {
            card: CardNumber(1),
            ..
        })
    ));
    let woven: Vec<u64> = (last - 10..last + 10).collect();
    let lines = drawn(&walk, &woven, last + 10, (50, 20));
    let widths: Vec<usize> = lines.iter().map(|line| line.chars().count()).collect();
    assert!(widths.iter().all(|width| *width == 46), "{widths:?}");
}

/// The cloth file of a plan is used, and if it cannot be, it is said why.
#[test]
fn a_cloth_file_that_cannot_be_used_is_told() {
    let text = PLAN.replacen("[decks]", "cloth = \"no-such-cloth.toml\"\n\n[decks]", 1);
    let (_, trouble) = ClothPicture::new(&walk(&text));
    let trouble = trouble.expect("there is no such file");
    assert!(trouble.contains("no-such-cloth.toml"), "{trouble}");
}

/// With a cloth file the picture is of ends, as the tie works them, selvedges too.
#[test]
fn with_a_cloth_file_the_ends_are_drawn() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-data/towel.toml");
    let text = PLAN.replacen("[decks]", &format!("cloth = \"{file}\"\n\n[decks]"), 1);
    let walk = walk(&text);
    let (mut picture, trouble) = ClothPicture::new(&walk);
    let trouble = trouble.expect("the border's cards are not of the cloth's format");
    assert!(trouble.contains("format 100"), "{trouble}");
    let cloth = Cloth::read(Path::new(file)).expect("it is ours");
    let deck = &walk.plan().decks()[0].deck;
    let mounting = cloth.mounting(cloth.columns_of(deck)).expect("it fits");
    let woven = Woven::new(deck, &cloth, &mounting).expect("it is of the format");
    assert_eq!(woven.ends(), 3 * 400 + 16);
    let pick = walk.len() - 1;
    let Some(Work::Card { card, .. }) = walk.pick(pick).map(|pick| pick.work) else {
        panic!("the plan ends with a card");
    };
    let lines = picture.lines(&[pick], pick + 1, woven.ends(), 1, Colours::None);
    let cells: Vec<bool> = lines[0]
        .to_string()
        .chars()
        .map(|cell| cell == '▀')
        .collect();
    let wanted: Vec<bool> = woven.pick_on_face(card.0 - 1).collect();
    assert_eq!(cells, wanted);
}
