//! Pictures into decks, decks against one another, and the deck commands: the
//! squares that were painted are the holes that are cut, and a picture that
//! does not fit is refused with the squares or the widths named.

use cardwright::cli::deck::DeckArgs;
use cardwright::deck::compare::{CardDifference, HoleDifference};
use cardwright::deck::paper::{PaperError, PaperSettings, deck_from_picture};
use cardwright::deck::{
    CardFormat, CardNumber, Cut, Cutting, Deck, FirstPick, Row, SpareRow, compare,
};
use clap::Parser as _;
use image::{DynamicImage, GrayImage, ImageFormat, Luma, Rgba, RgbaImage};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn settings(format: &str) -> PaperSettings {
    PaperSettings::usual(CardFormat::named(format).expect("built in"))
}

/// An irregular pattern, so that no turn or mirror of it is the same.
fn painted(hook: u32, line: u32) -> bool {
    (hook * hook + 3 * line * hook + 5 * line).is_multiple_of(7)
}

fn picture(width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| {
        Luma([if painted(x, y) { 0 } else { 255 }])
    })
}

fn saved(folder: &Path, name: &str, picture: &GrayImage) -> PathBuf {
    let file = folder.join(name);
    picture.save(&file).expect("a picture");
    file
}

#[test]
fn each_square_is_cut_where_its_hook_and_pick_say() {
    let folder = tempfile::tempdir().expect("a folder");
    let (hooks, picks) = (400, 11);
    let file = saved(folder.path(), "plain.png", &picture(hooks, picks));
    for first_pick in [FirstPick::Bottom, FirstPick::Top] {
        for cut in [Cut::Black, Cut::White] {
            let settings = PaperSettings {
                first_pick,
                cut,
                ..settings("400")
            };
            let deck = deck_from_picture(&file, &settings).expect("a deck");
            assert_eq!(deck.card_count(), picks);
            for (number, rows) in deck.cards() {
                let line = match first_pick {
                    FirstPick::Bottom => picks - number.0,
                    FirstPick::Top => number.0 - 1,
                };
                assert_eq!(rows[0], Row::BLANK, "the spare row");
                for hook in 0..hooks {
                    let row = rows[1 + hook as usize / 8];
                    let hole = u8::try_from(hook % 8 + 1).expect("a hole");
                    assert_eq!(row.has(hole), painted(hook, line) == (cut == Cut::Black));
                }
            }
        }
    }
}

#[test]
fn the_spare_row_can_belong_to_the_design() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = saved(folder.path(), "wide.png", &picture(408, 2));
    let settings = PaperSettings {
        spare_row: SpareRow::Used,
        ..settings("400")
    };
    let deck = deck_from_picture(&file, &settings).expect("a deck");
    let first = deck.card(CardNumber(1)).expect("card 1")[0];
    assert_eq!(
        first,
        Row::from_holes((1..=8).filter(|hole| painted(u32::from(*hole) - 1, 1)))
    );
}

#[test]
fn every_kind_of_picture_gives_the_same_cards() {
    let folder = tempfile::tempdir().expect("a folder");
    let grey = picture(100, 9);
    let files = ["a.png", "a.bmp", "a.gif", "a.tiff", "a.pgm"];
    let mut files: Vec<PathBuf> = files.iter().map(|name| folder.path().join(name)).collect();
    for file in &files {
        let kind = ImageFormat::from_path(file).expect("a kind");
        let whole = DynamicImage::ImageLuma8(grey.clone());
        let whole = if kind == ImageFormat::Gif {
            whole.to_rgba8().into()
        } else {
            whole
        };
        whole.save(file).expect("a picture");
    }
    let deep = folder.path().join("deep.png");
    DynamicImage::ImageLuma8(grey.clone())
        .to_rgb16()
        .save(&deep)
        .expect("a picture");
    // Plain PBM as its manual page describes it: P1, width, height, 1 for black.
    let mut text = format!("P1\n{} {}\n", grey.width(), grey.height());
    for line in grey.rows() {
        for square in line {
            text.push_str(if square.0 == [0] { "1 " } else { "0 " });
        }
        text.push('\n');
    }
    let pbm = folder.path().join("a.pbm");
    std::fs::write(&pbm, text).expect("a picture");
    files.extend([deep, pbm]);
    let decks: Vec<Deck> = files
        .iter()
        .map(|file| {
            deck_from_picture(file, &settings("100")).unwrap_or_else(|error| panic!("{error}"))
        })
        .collect();
    for deck in &decks[1..] {
        assert!(deck.cards().eq(decks[0].cards()), "{:?}", deck.design());
    }
}

#[test]
fn every_fault_in_a_picture_has_its_own_error() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut messages = String::new();
    let mut tell = |what: &str, file: &Path, settings: &PaperSettings| {
        let error = deck_from_picture(file, settings)
            .expect_err(what)
            .to_string();
        let error = error.replace(&format!("{}/", folder.path().display()), "");
        let _ = writeln!(messages, "{what}\n    {error}\n");
    };
    let narrow = saved(folder.path(), "narrow.png", &picture(399, 4));
    tell("too narrow", &narrow, &settings("400"));
    let used = PaperSettings {
        spare_row: SpareRow::Used,
        ..settings("400")
    };
    tell("too narrow with the spare row", &narrow, &used);
    tell("a format without a spare row", &narrow, &settings("100"));
    let mut odd: RgbaImage = DynamicImage::ImageLuma8(picture(400, 4)).to_rgba8();
    odd.put_pixel(0, 3, Rgba([1, 0, 0, 255]));
    tell(
        "one square not black",
        &save_rgba(folder.path(), "one.png", &odd),
        &settings("400"),
    );
    for hook in 10..20 {
        odd.put_pixel(hook, 0, Rgba([255, 255, 255, 128]));
    }
    tell(
        "many squares",
        &save_rgba(folder.path(), "many.png", &odd),
        &settings("400"),
    );
    let top = PaperSettings {
        first_pick: FirstPick::Top,
        ..settings("400")
    };
    tell(
        "many squares, from the top",
        &folder.path().join("many.png"),
        &top,
    );
    let huge = saved(folder.path(), "huge.png", &picture(2049, 1));
    tell("far too wide", &huge, &settings("400"));
    let text = folder.path().join("text.png");
    std::fs::write(&text, "not a picture").expect("written");
    tell("not a picture", &text, &settings("400"));
    tell("no file", &folder.path().join("gone.png"), &settings("400"));
    insta::assert_snapshot!("picture_errors", messages);
}

fn save_rgba(folder: &Path, name: &str, picture: &RgbaImage) -> PathBuf {
    let file = folder.join(name);
    picture.save(&file).expect("a picture");
    file
}

#[test]
fn nearly_black_in_a_deep_picture_is_not_black() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut deep = DynamicImage::ImageLuma8(picture(100, 2)).to_luma16();
    deep.put_pixel(4, 1, Luma([3]));
    let file = folder.path().join("deep.png");
    deep.save(&file).expect("a picture");
    match deck_from_picture(&file, &settings("100")) {
        Err(PaperError::Colours {
            count: 1, named, ..
        }) => {
            assert_eq!((named[0].hook, named[0].pick), (5, 1));
        }
        other => panic!("{other:?}"),
    }
}

/// A deck of cards that differ: card `n` of the list has these holes in row 1.
fn deck_of(cards: &[u16]) -> Deck {
    let format = CardFormat::named("100").expect("built in");
    let card = |bits: &u16| {
        let mut rows = vec![Row::BLANK; 25];
        rows[0] = Row(bits & 15);
        rows[1] = Row(bits >> 4);
        rows
    };
    let cards = cards.iter().map(card).collect();
    Deck::new("deck", format, None, Cutting::default(), cards).expect("a deck")
}

fn differences(first: &[u16], second: &[u16]) -> Vec<CardDifference> {
    compare(&deck_of(first), &deck_of(second)).cards
}

#[test]
fn decks_are_told_apart_card_by_card_and_hole_by_hole() {
    use CardDifference::{Added, Holes, Missing, Moved};
    let card = CardNumber;
    assert_eq!(differences(&[1, 2, 3], &[1, 2, 3]), []);
    let hole = HoleDifference {
        row: 1,
        hole: 4,
        in_first: false,
    };
    let other = Holes {
        first: card(2),
        second: card(2),
        holes: vec![hole],
    };
    assert_eq!(differences(&[1, 2, 3], &[1, 10, 3]), [other]);
    let moved = |from, to, count| Moved {
        from: card(from),
        to: card(to),
        count,
    };
    assert_eq!(
        differences(&[1, 2, 3, 4], &[1, 9, 2, 3, 4]),
        [moved(2, 3, 3), Added(card(2))],
        "one card put in"
    );
    assert_eq!(
        differences(&[1, 2, 3, 4], &[1, 3, 4]),
        [Missing(card(2)), moved(3, 2, 2)],
        "one card left out"
    );
    let swapped = differences(&[1, 2, 3, 4], &[1, 3, 2, 4]);
    assert_eq!(
        swapped,
        [moved(2, 3, 1), moved(3, 2, 1)],
        "two cards changed about"
    );
    assert_eq!(
        differences(&[5, 5], &[5, 5, 5]),
        [Added(card(3))],
        "equal cards"
    );
}

#[test]
fn ten_thousand_cards_that_all_differ_are_compared() {
    let first: Vec<u16> = (0..10_000).map(|card| 2 * (card % 120)).collect();
    let second: Vec<u16> = first.iter().map(|card| card + 1).collect();
    assert_eq!(differences(&first, &second).len(), 10_000);
}

#[test]
fn the_heads_of_decks_are_compared_too() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = saved(folder.path(), "plain.png", &picture(100, 3));
    let first = deck_from_picture(&file, &settings("100")).expect("a deck");
    let white = PaperSettings {
        cut: Cut::White,
        ..settings("100")
    };
    let second = deck_from_picture(&file, &white).expect("a deck");
    let comparison = compare(&first, &second);
    let whats: Vec<&str> = comparison.head.iter().map(|line| line.what).collect();
    assert_eq!(whats, ["cut"]);
    assert_eq!(comparison.cards.len(), 3);
}

/// Runs a deck command as from the command line: its status and its lines, or
/// what it complains of.
fn command(as_json: bool, words: &[&str]) -> Result<(u8, Vec<String>), String> {
    #[derive(clap::Parser)]
    struct Line {
        #[command(subcommand)]
        deck: DeckArgs,
    }
    let line = Line::try_parse_from([&["cardwright"], words].concat())
        .map_err(|error| error.to_string())?;
    let mut out = Vec::new();
    let status = cardwright::cli::deck::run(&line.deck, None, as_json, &mut out)
        .map_err(|error| format!("{error:#}"))?;
    let text = String::from_utf8(out).expect("text");
    Ok((status, text.lines().map(str::to_owned).collect()))
}

#[test]
fn the_deck_commands_make_show_and_compare() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    saved(folder.path(), "plain.png", &picture(400, 5));
    let (made, deck) = (path("plain.png"), path("plain.deck"));
    let (status, lines) = command(true, &["make", &made]).expect("made");
    let summary: serde_json::Value = serde_json::from_str(&lines[0]).expect("JSON");
    assert_eq!((status, lines.len()), (0, 1));
    assert_eq!(summary["cards"], 5);
    // Five cards of 56 strokes each (Taylor pp. 122-123).
    assert_eq!(summary["strokes"], 280);
    let error = command(false, &["make", &made]).expect_err("not overwritten");
    assert!(error.contains("give --force to replace it"), "{error}");
    let white = path("white.deck");
    command(false, &["make", &made, "--cut", "white", "--out", &white]).expect("made");
    let wrong = command(false, &["make", &made, "--out", &path("deck.txt")]);
    assert!(
        wrong
            .expect_err("not a deck's name")
            .contains("ends in .deck")
    );

    assert_eq!(
        command(false, &["compare", &deck, &deck])
            .expect("compared")
            .0,
        0
    );
    let (status, lines) = command(true, &["compare", &deck, &white]).expect("compared");
    assert_eq!(status, 1, "they differ");
    for line in &lines {
        serde_json::from_str::<serde_json::Value>(line).expect("one JSON object a line");
    }
    assert!(
        lines
            .last()
            .is_some_and(|line| line.contains("\"same\":false")),
        "{lines:?}"
    );

    let (svg, png) = (path("card.svg"), path("card.png"));
    let show = ["show", &deck, "--card", "3", "--svg", &svg, "--png", &png];
    let (status, lines) = command(false, &show).expect("shown");
    assert_eq!(status, 0);
    assert!(lines.contains(&format!("wrote {svg}")), "{lines:?}");
    image::open(&png).expect("a picture");
    let beyond = command(false, &["show", &deck, "--card", "6"]).expect_err("no card 6");
    assert!(beyond.contains("has cards 1 to 5"), "{beyond}");
    command(false, &["show", &deck, "--svg", &svg]).expect_err("an SVG is of one card");
    let gone = command(false, &["show", &path("gone.deck")]).expect_err("no such deck");
    assert!(gone.contains("cannot read the deck file"), "{gone}");
}
