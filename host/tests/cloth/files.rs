//! Risk: a mistake in a cloth file is taken for something else, or refused in
//! words that do not say what, where and what to do.

use super::support::{DAMASK, changed, damask};
use cardwright::cloth::{Cloth, Squares};
use std::fmt::Write as _;
use std::path::Path;

#[test]
fn every_fault_in_a_cloth_file_has_its_own_error() {
    let linen = "name = \"linen\"";
    let selvedge = |text: &str| format!("[selvedge]\n{text}\n\n[first_end]");
    let faults = [
        ("unit = \"inch\"", "unit = \"ell\"".to_owned()),
        ("unit = \"inch\"", "unit = 3".to_owned()),
        ("unit = \"inch\"", "unit = {}".to_owned()),
        ("unit = \"inch\"\n", String::new()),
        ("ends = 80", "ends = 0".to_owned()),
        ("ends = 80", "ends = 1e-300".to_owned()),
        ("picks = 60", "picks = nan".to_owned()),
        ("picks = 60", "picks = 0.001".to_owned()),
        ("picks = 60", "piks = 60".to_owned()),
        ("picks = 60", "picks =".to_owned()),
        ("ends_per_hook = 1", "ends_per_hook = 0".to_owned()),
        ("format = \"400\"", "format = \"401\"".to_owned()),
        (
            "format = \"400\"",
            "format = \"400\"\nhooks = 384".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\nhooks = 500".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\ncast_out = \"some\"".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\ncast_out = [\"row 52\"]".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\ncast_out = [\"hook 3\"]".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\ncast_out = 3".to_owned(),
        ),
        (
            "format = \"400\"",
            "format = \"400\"\ncast_out = [\"rows 1-51\"]".to_owned(),
        ),
        ("spare_row = \"blank\"", "spare_row = \"half\"".to_owned()),
        (
            "[first_end]",
            selvedge("left = 0\nright = 0\nweave = \"plain\""),
        ),
        (
            "[first_end]",
            selvedge("left = 8\nright = 8\nweave = \"lift bound 8 ends\""),
        ),
        (
            "[first_end]",
            selvedge("left = 8\nright = 8\nweave = \"plane\""),
        ),
        ("card_end = \"numbered\"", "card_end = \"left\"".to_owned()),
        ("hooks = \"1-400\"", "hooks = \"400-1\"".to_owned()),
        ("hooks = \"1-400\"", "hooks = \"0-4\"".to_owned()),
        ("way = \"straight\"", "way = \"skipped\"".to_owned()),
        (
            "way = \"straight\"",
            "way = \"straight\"\nturning = \"single\"".to_owned(),
        ),
        ("repeats = 2", "repeats = 0".to_owned()),
        ("repeats = 2", "repeats = -2".to_owned()),
        (
            "first_line = \"bottom\"",
            "first_line = \"left\"".to_owned(),
        ),
        ("face = \"up\"", "face = \"away\"".to_owned()),
        ("colour = \"#f0e8d8\"", "colour = \"cream\"".to_owned()),
        ("colour = \"#f0e8d8\"", "colour = \"#+0e8d8\"".to_owned()),
        (linen, "name = \" \"".to_owned()),
        (
            "[[weft]]",
            "[[weft]]\nname = \"linen\"\ncolour = \"#000000\"\n[[weft]]".to_owned(),
        ),
        (
            "[[weft]]",
            "[[weft]]\nname = \"silk\"\ncolour = \"#000000\"\n[[weft]]".to_owned(),
        ),
        ("name = \"ground\"", "name = \"figure\"".to_owned()),
        ("paint = \"#ffffff\"", "paint = \"#000000\"".to_owned()),
        ("tolerance = 0", "tolerance = 128".to_owned()),
        ("weave = \"lift\"", "weave = \"lifted\"".to_owned()),
        ("weave = \"lift\"", "weave = \"lift shift 2\"".to_owned()),
        (
            "weave = \"lift\"",
            "weave = \"plain bound 8 ends\"".to_owned(),
        ),
        ("weave = \"lift\"", "weave = \"lift bound\"".to_owned()),
        (
            "weave = \"lift\"",
            "weave = \"lift bound 2 ends\"".to_owned(),
        ),
        ("weave = \"lift\"", "weave = \"lift bound 8\"".to_owned()),
        (
            "weave = \"lift\"",
            "weave = \"lift bound 8 ends 9 ends\"".to_owned(),
        ),
        ("weave = \"lift\"", "weave = \"twill 2 right\"".to_owned()),
        ("weave = \"lift\"", "weave = \"twill 2/0 right\"".to_owned()),
        ("weave = \"lift\"", "weave = \"twill 2/1\"".to_owned()),
        (
            "weave = \"lift\"",
            "weave = \"twill 500/500 left\"".to_owned(),
        ),
        (
            "weave = \"lift\"",
            "weave = \"satin 6 counter 2 warp\"".to_owned(),
        ),
        (
            "weave = \"lift\"",
            "weave = \"satin 8 counter 4 warp\"".to_owned(),
        ),
        (
            "weave = \"lift\"",
            "weave = \"satin 8 counter 3\"".to_owned(),
        ),
        ("weave = \"lift\"", "weave = \"satin 8\"".to_owned()),
        ("weave = \"lift\"", "weave = [\"x.\", \"x..\"]".to_owned()),
        ("weave = \"lift\"", "weave = [\"x.\", \".o\"]".to_owned()),
        ("weave = \"lift\"", "weave = []".to_owned()),
        ("weave = \"lift\"", "weave = 3".to_owned()),
        ("weave = \"lift\"", "weave.silk = \"lift\"".to_owned()),
        ("weave = \"lift\"", "weave = {}".to_owned()),
        (
            "weave = \"lift\"",
            "weave = \"plain\"\nedges = \"clear\"".to_owned(),
        ),
        (
            "weave = \"lift\"",
            "weave = \"lift\"\nbinding = \"sometimes\"".to_owned(),
        ),
    ];
    let mut messages = String::new();
    for (from, to) in faults {
        let text = changed(DAMASK, from, &to);
        let error = Cloth::parse(&text, Path::new("mine.toml")).expect_err(&to);
        let _ = writeln!(messages, "{from} -> {to}\n    {error}\n");
    }
    let text = changed(DAMASK, "spare_row = \"blank\"", "spare_row = \"used\"");
    let both = changed(
        &text,
        "[first_end]",
        &selvedge("left = 8\nright = 8\nweave = \"plain\""),
    );
    let error = Cloth::parse(&both, Path::new("mine.toml")).expect_err("twice");
    let _ = writeln!(messages, "the spare row used twice\n    {error}\n");
    let text = changed(DAMASK, "format = \"400\"", "format = \"100\"");
    let none = changed(
        &text,
        "[first_end]",
        &selvedge("left = 8\nright = 8\nweave = \"plain\""),
    );
    let error = Cloth::parse(&none, Path::new("mine.toml")).expect_err("none");
    let _ = writeln!(messages, "no spare row\n    {error}\n");
    let used = changed(&text, "spare_row = \"blank\"", "spare_row = \"used\"");
    let error = Cloth::parse(&used, Path::new("mine.toml")).expect_err("none to use");
    let _ = writeln!(messages, "no spare row to use\n    {error}\n");
    let rows = changed(
        &text,
        "format = \"100\"",
        "format = \"100\"\ncast_out = [\"rows 25-1\"]",
    );
    let error = Cloth::parse(&rows, Path::new("mine.toml")).expect_err("falling");
    let _ = writeln!(messages, "rows of a small card\n    {error}\n");
    let text = changed(DAMASK, "tolerance = 0", "tolerance = 10");
    let near = changed(&text, "paint = \"#ffffff\"", "paint = \"#140000\"");
    let error = Cloth::parse(&near, Path::new("mine.toml")).expect_err("near");
    let _ = writeln!(messages, "paints too near\n    {error}\n");
    let same = changed(DAMASK, "paint = \"#ffffff\"", "paint = \"#000000\"");
    let error = Cloth::parse(&same, Path::new("mine.toml")).expect_err("one paint");
    let _ = writeln!(messages, "one paint for two\n    {error}\n");
    let text = changed(DAMASK, "spare_row = \"blank\"", "cast_out = [\"rows 1-2\"]");
    let idle = changed(
        &text,
        "[first_end]",
        &selvedge("left = 8\nright = 8\nweave = \"plain\""),
    );
    let error = Cloth::parse(&idle, Path::new("mine.toml")).expect_err("cast out");
    let _ = writeln!(messages, "the spare row cast out\n    {error}\n");
    let gone = Cloth::read(Path::new("gone.toml")).expect_err("no file");
    let _ = writeln!(messages, "no file\n    {gone}");
    insta::assert_snapshot!("cloth_errors", messages);
}

#[test]
fn what_is_cast_out_by_name_stays_out_of_the_tie() {
    let cloth = damask(&[
        (
            "format = \"400\"",
            "format = \"400\"\nhooks = 388\ncast_out = [\"row 2\", \"row 27 holes 5-8\"]",
        ),
        ("hooks = \"1-400\"", ""),
    ]);
    let mounting = cloth.mounting(388).expect("it fits");
    assert_eq!(
        (mounting.hook_count(), mounting.cast_out().len()),
        (388, 12)
    );
    let first = mounting.hooks()[0];
    assert_eq!((first.row, first.hole), (3, 1));
}

#[test]
fn colours_near_a_paint_are_taken_and_counted_and_others_named() {
    let cloth = damask(&[("tolerance = 0", "tolerance = 12")]);
    let paints = [[0, 0, 0], [12, 0, 3], [255, 255, 255], [243, 255, 250]];
    let taken = Squares::recognise(&cloth, 2, paints).expect("all near");
    assert_eq!(
        (taken.near, taken.squares.colours()),
        (2, &[0, 0, 1, 1][..])
    );
    let paints = [[0, 0, 0], [13, 0, 0], [255, 255, 255], [0, 0, 255]];
    let error = Squares::recognise(&cloth, 2, paints).expect_err("two are not");
    // the lowest line is line 1
    let wanted = "2 in all: column 2 line 2 (#0d0000), column 2 line 1 (#0000ff)";
    assert!(error.to_string().contains(wanted), "{error}");
    let error = Squares::recognise(&cloth, 3, [[0, 0, 0]; 4]).expect_err("ragged");
    assert!(
        error.to_string().contains("4 squares in lines of 3"),
        "{error}"
    );
}

/// A user's card format is looked for beside the cloth file.
#[test]
fn a_format_file_lies_beside_the_cloth_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, text) = cardwright::deck::format::BUILT_IN
        .into_iter()
        .find(|(name, _)| *name == "400")
        .expect("built in");
    let mine = text.replace("name = \"400\"", "name = \"mine\"");
    std::fs::write(folder.path().join("mine.toml"), mine).expect("written");
    let text = changed(DAMASK, "format = \"400\"", "format = \"mine.toml\"");
    let file = folder.path().join("towel.cloth.toml");
    std::fs::write(&file, text).expect("written");
    let cloth = Cloth::read(&file).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(
        (cloth.format().name(), cloth.file()),
        ("mine", "towel.cloth.toml")
    );
    assert_eq!(cloth.sha256().len(), 64);
}

/// The cloth file that users copy.
#[test]
fn the_cloth_file_of_the_demo_data_is_taken() {
    let text = include_str!("../../../demo-data/towel.toml");
    let cloth = super::support::cloth(text);
    let mounting = cloth.mounting(400).expect("it fits");
    assert_eq!(mounting.ends().len(), 1200);
}
