//! A large design and its cloth: 1,200 hooks by 10,000 picks.

use cardwright::cloth::{Cloth, Squares};
use std::path::Path;

pub const COLUMNS: u32 = 1_200;
pub const LINES: u32 = 10_000;

/// A card of 100 rows of 12, as a user would write it.
pub fn format(folder: &Path) {
    let (_, text) = cardwright::deck::format::BUILT_IN
        .into_iter()
        .find(|(name, _)| *name == "600")
        .expect("built in");
    let text = text
        .replace("name = \"600\"", "name = \"wide\"")
        .replace("\nrows = 51", "\nrows = 100")
        .replace("needles = 612", "needles = 1200")
        .replace("spare_row = 1\n", "")
        .replace("[26, 25]", "[50, 50]")
        .replace("rows 1-26", "rows 1-50")
        .replace("rows 27-50", "rows 51-99")
        .replace("row 51 + peg", "row 100 + peg")
        .replace("card_length_mm = 402.6", "card_length_mm = 740.0");
    std::fs::write(folder.join("wide.toml"), text).expect("written");
}

pub fn cloth(folder: &Path, figure: &str) -> Cloth {
    let text = format!(
        r##"
        [sett]
        unit = "inch"
        ends = 120
        picks = 100
        [card]
        format = "wide.toml"
        [warp]
        colour = "#ffffff"
        [[weft]]
        name = "linen"
        colour = "#000080"
        [[colour]]
        name = "figure"
        paint = "#000000"
        {figure}
        [[colour]]
        name = "ground"
        paint = "#ffffff"
        weave = "satin 8 counter 3 weft"
        "##
    );
    Cloth::parse(&text, &folder.join("bench.toml")).unwrap_or_else(|error| panic!("{error}"))
}

/// Leaves of chance size, some thousand areas.
pub fn design() -> Squares {
    let colour = |square: u32| {
        let (column, line) = (square % COLUMNS, square / COLUMNS);
        let (across, up) = (column % 75, line % 90);
        let size = 500 + (column / 75 * 7 + line / 90 * 13) % 11 * 60;
        let (x, y) = (across.abs_diff(37), up.abs_diff(45));
        u8::from(x * x + y * y > size)
    };
    Squares::new(COLUMNS, (0..COLUMNS * LINES).map(colour).collect()).expect("whole lines")
}
