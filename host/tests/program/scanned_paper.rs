//! Risk: a sheet from the scanner gives other cards than its painting, or a square
//! that nobody can tell is cut all the same.

use std::path::PathBuf;

use cardwright::deck::Deck;
use image::{ImageFormat, RgbImage};

use super::paper_drawn::{BLACK, Drawn, Half, PAPER};
use super::support::{Done, Place, cardwright, run};

const CLOTH: &str = r##"
# A scanner's black is dark grey.
tolerance = 60

[sett]
unit = "inch"
ends = 60
picks = 60

[card]
format = "100"
cast_out = "auto"

[warp]
colour = "#f0e8d8"

[[weft]]
name = "linen"
colour = "#3a5378"

[[colour]]
name = "figure"
paint = "#000000"
weave = "satin 8 counter 3 warp"

[[colour]]
name = "ground"
paint = "#ffffff"
weave = "satin 8 counter 3 weft"
"##;

fn sheet() -> Drawn {
    Drawn {
        skew_degrees: 3.0,
        gradient: 0.3,
        noise: 4.0,
        ..Drawn::random(48, 32, &[PAPER, BLACK], 11)
    }
}

fn png(place: &Place, name: &str, size: (u32, u32), levels: Vec<u8>) -> PathBuf {
    let file = place.file(name);
    let picture = RgbImage::from_raw(size.0, size.1, levels).expect("a picture");
    picture
        .save_with_format(&file, ImageFormat::Png)
        .expect("the picture is written");
    file
}

fn scan(place: &Place, sheet: &Drawn) -> PathBuf {
    let picture = sheet.picture();
    let size = (picture.width() as u32, picture.height() as u32);
    let levels = picture.colours().flat_map(|colour| colour.0).collect();
    png(place, "scan.png", size, levels)
}

fn make(place: &Place, picture: &PathBuf, more: &[&str]) -> Done {
    let cloth = place.write("cloth.toml", CLOTH);
    run(cardwright(&["deck", "make", "--cloth"])
        .arg(cloth)
        .arg(picture)
        .args(more))
}

#[test]
fn a_scan_gives_the_cards_of_its_painting() {
    let place = Place::new();
    let sheet = sheet();
    let done = make(&place, &scan(&place, &sheet), &["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    let told = done.summary();
    assert_eq!(told["doubtful"], 0, "{told}");
    assert_eq!(told["ruling"]["heavy"], serde_json::json!([8, 8]), "{told}");
    let levels = sheet
        .design
        .iter()
        .flat_map(|colour| [[255u8; 3], [0; 3]][*colour]);
    let painting = png(&place, "painting.png", (48, 32), levels.collect());
    let done = make(&place, &painting, &["--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert_eq!(done.summary()["ruling"], serde_json::Value::Null);
    let read = |name: &str| Deck::read(&place.file(name)).expect("a deck");
    assert!(read("scan.deck").cards().eq(read("painting.deck").cards()));
}

#[test]
fn doubtful_squares_are_refused_by_name_unless_they_are_taken() {
    let place = Place::new();
    let mut sheet = sheet();
    let own = sheet.design[5 * 48 + 7];
    sheet.halves = vec![Half {
        column: 7,
        row: 5,
        other: 1 - own,
        part: 0.5,
    }];
    let scan = scan(&place, &sheet);
    let done = make(&place, &scan, &[]);
    assert_eq!(done.status, 2, "{done:?}");
    // 32 lines, the lowest is woven first
    assert!(
        done.stderr.contains(
            "1 square of the sheet of 48 columns, 32 lines is doubtful: column 8 line 27"
        ),
        "{done:?}"
    );
    assert!(!place.file("scan.deck").exists());
    let done = make(&place, &scan, &["--take-doubtful"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert!(
        done.stdout.contains("1 doubtful square was taken")
            && done.stdout.contains("on a sheet of 48 columns, 32 lines"),
        "{done:?}"
    );
}

/// What is taken is what was read, and not what most of the sheet is.
#[test]
fn a_doubtful_square_is_taken_for_the_paint_nearest_to_it() {
    let place = Place::new();
    let grey = [92, 84, 88];
    let mut sheet = Drawn {
        palette: vec![PAPER, grey],
        ..sheet()
    };
    sheet.design.fill(0);
    sheet.design[5 * 48 + 7] = 1;
    let scan = scan(&place, &sheet);
    let done = make(&place, &scan, &[]);
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("1 square of the sheet of"), "{done:?}");
    let done = make(&place, &scan, &["--take-doubtful"]);
    assert_eq!(done.status, 0, "{done:?}");
    let levels = sheet
        .design
        .iter()
        .flat_map(|colour| [[255u8; 3], [0; 3]][*colour]);
    let painting = png(&place, "painting.png", (48, 32), levels.collect());
    assert_eq!(make(&place, &painting, &[]).status, 0);
    let read = |name: &str| Deck::read(&place.file(name)).expect("a deck");
    assert!(read("scan.deck").cards().eq(read("painting.deck").cards()));
}

/// Half a column at the picture's edge is no margin: the cards would be a column short.
#[test]
fn a_sheet_that_goes_on_beyond_the_picture_is_refused() {
    let place = Place::new();
    let mut sheet = Drawn {
        skew_degrees: 0.0,
        ..sheet()
    };
    sheet.margin[2] = -5.0;
    let done = make(&place, &scan(&place, &sheet), &[]);
    assert_eq!(done.status, 2, "{done:?}");
    for wanted in [
        "32 squares of the sheet of 48 columns, 32 lines are",
        "column 48",
        "as far as it goes",
    ] {
        assert!(done.stderr.contains(wanted), "{done:?}");
    }
}

#[test]
fn a_picture_that_is_neither_is_refused_in_one_error() {
    let place = Place::new();
    let levels = (0..200u32 * 150).flat_map(|at| {
        let (x, y) = (at % 200, at / 200);
        [(x + y) as u8, (x / 2) as u8, y as u8]
    });
    let photo = png(&place, "photo.png", (200, 150), levels.collect());
    let done = make(&place, &photo, &[]);
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("no ruling was found"), "{done:?}");
    assert_eq!(done.stderr.lines().count(), 1, "{done:?}");
}

/// All of a crisp export whose ruling is light is near the cloth's colours, and no wider
/// than its hooks: nobody but the weaver can tell it from a painting of one pixel a square.
#[test]
fn a_crisp_export_that_could_be_a_painting_too_is_asked_about() {
    let place = Place::new();
    let design = |column: u32, line: u32| (column * 5 + line * 3 + column * line) % 4 == 1;
    let export = RgbImage::from_fn(97, 81, |x, y| {
        image::Rgb(match (x % 8, y % 8) {
            (0, _) | (_, 0) => [215, 225, 220],
            _ if design(x / 8, y / 8) => [0; 3],
            _ => [255; 3],
        })
    });
    let export = png(&place, "export.png", (97, 81), export.into_raw());
    let asked = make(&place, &export, &[]);
    assert_eq!(asked.status, 2, "{asked:?}");
    for size in ["97 columns and 81 lines", "12 columns and 10 lines"] {
        assert!(asked.stderr.contains(size), "{asked:?}");
    }
    let done = make(&place, &export, &["--squares", "ruled", "--json"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert_ne!(done.summary()["ruling"], serde_json::Value::Null);
    // with the deck there is nothing to ask
    let mut drawn = cardwright(&["deck", "cloth", "--painting"]);
    drawn.arg(&export).arg(place.file("export.deck"));
    drawn.arg("--cloth").arg(place.file("cloth.toml"));
    let drawn = run(drawn.arg("--paper").arg(place.file("paper.png")));
    assert_eq!(drawn.status, 0, "{drawn:?}");
    let levels = (0..120).flat_map(|at| match design(at % 12, at / 12) {
        true => [0; 3],
        false => [255; 3],
    });
    let painting = png(&place, "painting.png", (12, 10), levels.collect());
    assert_eq!(make(&place, &painting, &["--json"]).status, 0);
    let read = |name: &str| Deck::read(&place.file(name)).expect("a deck");
    assert!(
        read("export.deck")
            .cards()
            .eq(read("painting.deck").cards())
    );
}

/// Squares larger than anybody scans may be what heavy lines enclose: the weaver says so.
#[test]
fn large_squares_are_asked_about() {
    let place = Place::new();
    let drawn = Drawn {
        pitch: [36.0; 2],
        rays: 2,
        ..Drawn::random(16, 12, &[PAPER, BLACK], 5)
    };
    let scan = scan(&place, &drawn);
    let asked = make(&place, &scan, &[]);
    assert_eq!(asked.status, 2, "{asked:?}");
    let size = "16 columns and 12 lines, squares of 36.0 x 36.0 pixels";
    assert!(asked.stderr.contains(size), "{asked:?}");
    let told = make(&place, &scan, &["--squares", "ruled"]);
    assert_eq!(told.status, 0, "{told:?}");
}
