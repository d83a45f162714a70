//! Cloth files written in the test.

use cardwright::cloth::checks::Checks;
use cardwright::cloth::{Cloth, Squares};
use cardwright::deck::{Cutting, Deck};
use std::path::Path;

/// A damask of one weft on a 400 card: black figure, white ground.
pub const DAMASK: &str = r##"
tolerance = 0

[sett]
unit = "inch"
ends = 80
picks = 60
ends_per_hook = 1

[card]
format = "400"
spare_row = "blank"

[first_end]
card_end = "numbered"
hole = "first"
along = "row"

[[tie]]
hooks = "1-400"
way = "straight"
repeats = 2

[weaving]
first_line = "bottom"
face = "up"

[warp]
colour = "#f0e8d8"

[[weft]]
name = "linen"
colour = "#20407f"

[[colour]]
name = "figure"
paint = "#000000"
weave = "lift"

[[colour]]
name = "ground"
paint = "#ffffff"
weave = "leave"
"##;

/// The text with one thing changed.
pub fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from:?} is in the text");
    text.replacen(from, to, 1)
}

/// The damask with these things changed.
pub fn damask(changes: &[(&str, &str)]) -> Cloth {
    let text = changes.iter().fold(DAMASK.to_owned(), |text, (from, to)| {
        changed(&text, from, to)
    });
    cloth(&text)
}

pub fn cloth(text: &str) -> Cloth {
    Cloth::parse(text, Path::new("test.cloth.toml"))
        .unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// Squares drawn as signs, top line first; each sign is a digit, the colour.
pub fn squares(lines: &[impl AsRef<str>]) -> Squares {
    let columns = u32::try_from(lines[0].as_ref().len()).expect("few");
    let colours = lines
        .iter()
        .flat_map(|line| line.as_ref().bytes().map(|sign| sign - b'0'))
        .collect();
    Squares::new(columns, colours).expect("whole lines")
}

pub fn deck(cloth: &Cloth, squares: &Squares) -> Deck {
    let made = cloth
        .make(squares)
        .unwrap_or_else(|error| panic!("{error}"));
    Deck::new(
        "test",
        cloth.format().clone(),
        None,
        Cutting::default(),
        made.cards,
    )
    .expect("a deck")
}

pub fn checks(cloth: &Cloth, squares: &Squares) -> Checks {
    let deck = deck(cloth, squares);
    let mounting = cloth.mounting(squares.columns()).expect("it fits");
    cloth
        .check(&deck, &mounting, Some(squares))
        .expect("one format")
}
