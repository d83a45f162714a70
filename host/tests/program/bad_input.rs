//! Risk: bad input is taken, or refused in words that do not say what is
//! wrong, where, and what to do. The words are kept as reviewed snapshots.

use std::path::Path;
use std::process::Stdio;

use super::support::{Done, Live, Place, cardwright, run};

/// Exit status and words, with the test's own directory called DIR.
pub fn said(place: &Place, done: &Done) -> String {
    let dir = place.path().display().to_string();
    format!("exit {}\n{}", done.status, done.stderr).replace(&dir, "DIR")
}

fn make(place: &Place, picture: &Path, format: &str) -> Done {
    run(cardwright(&["deck", "make", "--format", format, "--out"])
        .arg(place.file("out.deck"))
        .arg(picture))
}

fn cut(place: &Place, deck: &Path, more: &[&str]) -> Done {
    run(cardwright(&["cut", "--data"])
        .arg(place.file("data"))
        .arg(deck)
        .args(more))
}

/// A deck with one text in it put in another's place.
fn spoiled_deck(place: &Place, from: &str, to: &str) -> std::path::PathBuf {
    let deck = place.deck("towel", 3, 1);
    let text = std::fs::read_to_string(&deck).expect("the deck");
    let spoiled = text.replacen(from, to, 1);
    assert_ne!(spoiled, text, "{text}");
    place.write("towel.deck", spoiled)
}

#[test]
fn a_picture_of_the_wrong_width() {
    let place = Place::new();
    let picture = place.picture("narrow.pbm", 99, 4, 1);
    let done = make(&place, &picture, "100");
    insta::assert_snapshot!(said(&place, &done));
    assert!(!place.file("out.deck").exists());
}

#[test]
fn a_picture_with_a_grey_pixel() {
    let place = Place::new();
    let mut pixels = vec![0; 400];
    pixels[5 * 100 / 5 + 7] = 128;
    let mut file = b"P5\n100 4\n255\n".to_vec();
    file.extend(pixels);
    let picture = place.write("grey.pgm", file);
    insta::assert_snapshot!(said(&place, &make(&place, &picture, "100")));
}

#[test]
fn a_picture_that_is_none() {
    let place = Place::new();
    let picture = place.write("letter.png", "dear weaver");
    insta::assert_snapshot!(said(&place, &make(&place, &picture, "100")));
}

#[test]
fn a_picture_that_never_ends() {
    let place = Place::new();
    let done = make(&place, Path::new("/dev/zero"), "100");
    assert_eq!(done.status, 2);
    assert!(
        done.stderr.contains("a pipe or a device"),
        "{}",
        done.stderr
    );
}

/// A reading that allows no verdict would have every card cut again.
#[test]
fn a_reader_that_could_judge_nothing() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    for (samples, words) in [
        ("1", "from 4 to 32"),
        ("5", "is odd"),
        ("40", "from 4 to 32"),
    ] {
        let text = cardwright::rig::RigFile::BENCH.replace(
            "samples_per_row = 8",
            &format!("samples_per_row = {samples}"),
        );
        let rig = place.write("rig.toml", text);
        let done = cut(&place, &deck, &["--rig-file", &rig.to_string_lossy()]);
        assert_eq!(done.status, 2, "{}", done.stderr);
        assert!(done.stderr.contains(words), "{}", done.stderr);
    }
}

/// What is no number is said in plain words, and nothing is begun.
#[test]
fn numbers_that_are_none() {
    let place = Place::new();
    let deck = place.deck("towel", 1, 1);
    let deck = deck.to_string_lossy();
    for (args, words) in [
        (vec!["ledger", "show", "abc"], "whole number from 1 on"),
        (vec!["ledger", "show", "0"], "whole number from 1 on"),
        (
            vec!["deck", "show", &deck, "--card", "x"],
            "whole number from 1 on",
        ),
        (
            vec!["rig", "exercise", "--part", "punch:99"],
            "no punch 99; give 1 to 16",
        ),
        (
            vec!["rig", "exercise", "--part", "punch:0"],
            "no punch 0; give 1 to 16",
        ),
        (
            vec!["rig", "info", "--speed", "-1"],
            "give a number from 0.1 to 1000",
        ),
        (
            vec!["rig", "info", "--rig-file", "bench.toml"],
            "leave --rig-file out",
        ),
    ] {
        let done = run(cardwright(&args).arg("--data").arg(place.file("data")));
        assert_eq!(done.status, 2, "{done:?}");
        assert!(done.stderr.contains(words), "{args:?}: {}", done.stderr);
        assert!(!place.file("data").exists(), "{args:?}");
    }
}

#[test]
fn a_deck_file_is_not_overwritten_unasked() {
    let place = Place::new();
    let picture = place.picture("new.pbm", 100, 4, 1);
    place.write("out.deck", "precious");
    let done = make(&place, &picture, "100");
    insta::assert_snapshot!(said(&place, &done));
    assert_eq!(
        std::fs::read(place.file("out.deck")).expect("still there"),
        b"precious"
    );
}

#[test]
fn a_deck_with_a_short_row() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    let text = std::fs::read_to_string(&deck).expect("the deck");
    // the last row of the last card goes
    let at = text
        .rfind('"')
        .expect("a card's line ends in a quotation mark");
    let short = format!("{}{}", &text[..at - 1], &text[at..]);
    let deck = place.write("towel.deck", short);
    insta::assert_snapshot!(said(&place, &cut(&place, &deck, &[])));
    assert!(
        !place.file("data/ledger.sqlite").exists()
            || run(cardwright(&["ledger", "--json", "--data"]).arg(place.file("data"))).summary()["jobs"]
                == 0,
        "no job was begun"
    );
}

#[test]
fn an_unknown_key_in_a_deck() {
    let place = Place::new();
    let deck = spoiled_deck(&place, "name = ", "colour = \"red\"\nname = ");
    insta::assert_snapshot!(said(&place, &cut(&place, &deck, &[])));
}

#[test]
fn a_card_number_that_is_there_twice() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    let text = std::fs::read_to_string(&deck).expect("the deck");
    let first = text
        .lines()
        .find(|line| line.trim_start().starts_with("1 ="))
        .unwrap_or_else(|| panic!("{text}"));
    let twice = text.replacen(first, &format!("{first}\n{first}"), 1);
    let deck = place.write("towel.deck", twice);
    insta::assert_snapshot!(said(&place, &cut(&place, &deck, &[])));
}

#[test]
fn a_deck_that_is_not_there() {
    let place = Place::new();
    insta::assert_snapshot!(said(&place, &cut(&place, &place.file("gone.deck"), &[])));
}

#[test]
fn a_deck_that_is_a_directory() {
    let place = Place::new();
    let deck = place.file("towel.deck");
    std::fs::create_dir(&deck).expect("a directory");
    insta::assert_snapshot!(said(&place, &cut(&place, &deck, &[])));
}

#[test]
fn a_deck_that_is_no_text() {
    let place = Place::new();
    let junk: Vec<u8> = (0..4000u32).map(|n| (n * 7919 % 251) as u8).collect();
    let deck = place.write("junk.deck", junk);
    insta::assert_snapshot!(said(&place, &cut(&place, &deck, &[])));
}

#[test]
fn card_lists_that_cannot_be_meant() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    let mut all = String::new();
    for list in ["0", "5-3", "999", "abc", "1,,2", ""] {
        let words = said(&place, &cut(&place, &deck, &["--cards", list]));
        all.push_str(&format!("--cards {list:?}: {words}"));
    }
    insta::assert_snapshot!(all);
}

/// The printed format of a built-in card, spoiled.
fn format_file(place: &Place, from: &str, to: &str) -> std::path::PathBuf {
    let text = include_str!("../../formats/100.toml");
    let spoiled = text.replacen(from, to, 1);
    assert_ne!(spoiled, text);
    place.write("own.toml", spoiled)
}

#[test]
fn a_format_whose_rows_do_not_add_up() {
    let place = Place::new();
    let picture = place.picture("towel.pbm", 100, 4, 1);
    let file = format_file(&place, "division = [25]", "division = [24]");
    let name = file.to_str().expect("a plain path");
    insta::assert_snapshot!(said(&place, &make(&place, &picture, name)));
}

#[test]
fn an_unknown_key_in_a_format() {
    let place = Place::new();
    let picture = place.picture("towel.pbm", 100, 4, 1);
    let file = format_file(&place, "rows = 25", "rows = 25\nrowes = 25");
    let name = file.to_str().expect("a plain path");
    insta::assert_snapshot!(said(&place, &make(&place, &picture, name)));
}

#[test]
fn a_format_nobody_knows() {
    let place = Place::new();
    let picture = place.picture("towel.pbm", 100, 4, 1);
    insta::assert_snapshot!(said(&place, &make(&place, &picture, "401")));
}

#[test]
fn rig_files_that_are_wrong() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let bench = run(&mut cardwright(&["rig", "settings"])).stdout;
    let key = place.write(
        "key.toml",
        bench.replacen("settle_ms", "colour = 3\nsettle_ms", 1),
    );
    let figure = place.write(
        "figure.toml",
        bench.replace("steps_per_mm = 20.0", "steps_per_mm = -1.0"),
    );
    let mut all = String::new();
    for file in [key, figure, place.file("gone.toml")] {
        let name = file.to_str().expect("a plain path");
        all.push_str(&said(&place, &cut(&place, &deck, &["--rig-file", name])));
    }
    insta::assert_snapshot!(all);
}

#[test]
fn fault_files_that_are_wrong() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let key = place.write("key.toml", "seed = 1\nmising_hole = 0.1\n");
    let rate = place.write("rate.toml", "jam = 1.5\n");
    let mut all = String::new();
    for file in [key, rate, place.file("gone.toml")] {
        let name = file.to_str().expect("a plain path");
        all.push_str(&said(&place, &cut(&place, &deck, &["--faults", name])));
    }
    insta::assert_snapshot!(all);
}

#[test]
fn a_speed_that_cannot_be_run() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let mut all = String::new();
    for speed in ["0", "NaN", "1e9", "fast"] {
        all.push_str(&said(&place, &cut(&place, &deck, &["--speed", speed])));
    }
    insta::assert_snapshot!(all);
}

#[test]
fn a_data_directory_that_cannot_be_one() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    // not even an administrator can make a directory in a file
    let file = place.write("letter", "dear weaver");
    let done = run(cardwright(&["cut", "--data"])
        .arg(file.join("data"))
        .arg(&deck));
    insta::assert_snapshot!(said(&place, &done));
}

#[test]
fn a_data_directory_whose_name_is_too_long_for_a_socket() {
    let place = Place::new();
    let done = run(cardwright(&["serve", "--data"]).arg(place.file(&"long".repeat(30))));
    insta::assert_snapshot!(said(&place, &done));
}

#[test]
fn an_empty_ledger_is_asked() {
    let place = Place::new();
    let done = run(cardwright(&["ledger", "--data"]).arg(place.file("data")));
    insta::assert_snapshot!(said(&place, &done));
}

#[test]
fn two_cuts_on_one_ledger() {
    let place = Place::new();
    let deck = place.deck("towel", 20, 1);
    let mut first = Live::start(
        cardwright(&["cut", "--json", "--speed", "1", "--data"])
            .arg(place.file("data"))
            .arg(&deck)
            .stdin(Stdio::piped()),
    );
    first.event("begun");
    let second = cut(&place, &deck, &[]);
    let words = said(&place, &second).replace(&first.id().to_string(), "PID");
    insta::assert_snapshot!(words);
    assert!(first.runs(), "the first goes on");
}

#[test]
fn a_second_daemon_on_one_ledger() {
    let place = Place::new();
    let data = place.file("data");
    let mut first = Live::start(cardwright(&["serve", "--json", "--data"]).arg(&data));
    first.event("ready");
    let second = run(cardwright(&["serve", "--data"]).arg(&data));
    let words = said(&place, &second).replace(&first.id().to_string(), "PID");
    insta::assert_snapshot!(words);
    assert!(
        first.runs() && data.join("daemon.sock").exists(),
        "the first goes on"
    );
}
