//! Formats, deck files and card lists: what is written is read back the same,
//! and everything wrong gets an error that says what, where and what to do.

use cardwright::deck::format::BUILT_IN;
use cardwright::deck::{
    CardFormat, CardList, CardNumber, Cut, Cutting, Deck, Design, Doubt, FirstPick, ReadFrom, Row,
    SpareRow,
};
use cardwright::output::WriteError;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

fn built_in(name: &str) -> &'static str {
    BUILT_IN
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, text)| *text)
        .expect("built in")
}

/// The text with one thing changed.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from:?} is in the text");
    text.replacen(from, to, 1)
}

#[test]
fn every_fault_in_a_format_file_has_its_own_error() {
    let faults = [
        ("needles = 408", "needles = 400"),
        ("needles = 408", "neeldes = 408"),
        ("needles = 408\n", ""),
        ("needles = 408", "needles = \"408\""),
        ("needles = 408", "needles ="),
        ("name = \"400\"", "name = \"four hundred\""),
        ("holes_per_row = 8", "holes_per_row = 17"),
        ("holes_per_row = 8", "holes_per_row = 0"),
        ("rows = 51", "rows = 200"),
        ("rows = 51", "rows = -1"),
        ("spare_row = 1", "spare_row = 52"),
        ("[26, 25]", "[26, 26]"),
        ("[26, 25]", "[25, 26]"),
        ("[26, 25]", "[51]"),
        ("lace_holes = [2, 7]", "lace_holes = [2, 9]"),
        ("lace_holes = [2, 7]", "lace_holes = [2, 2]"),
        ("lace_holes = [2, 7]", "lace_holes = []"),
        ("needle_hole_mm = 4.4", "needle_hole_mm = 0"),
        ("needle_hole_mm = 4.4", "needle_hole_mm = nan"),
        ("needle_hole_mm = 4.4", "needle_hole_mm = 6.9"),
        ("peg_offset_rows = 1", "peg_offset_rows = 100"),
        ("peg_offset_rows = 1", "peg_offset_rows = 0"),
        ("card_width_mm = 72.4", "card_width_mm = 40"),
        ("card_length_mm = 402.6", "card_length_mm = 390"),
        ("first_stroke_mm = 14.2", "first_stroke_mm = 1"),
        ("\"rows 1-26\"", "\"rows 1-25\""),
        ("\"rows 1-26\"", "\"rows 2-26\""),
        ("\"rows 1-26\"", "\"rows 26-1\""),
        ("\"rows 1-26\"", "\"rows 1-26 + peg\""),
        ("\"rows 1-26\"", "\"rows one to 26\""),
        ("\"rows 1-26\"", "\"row 0\""),
        ("\"row 51 + peg\",", "\"row 51 + peg\", \"row 51\","),
        ("\"row 51 + peg\",", ""),
        ("\"row 51 + peg\",", "\"row 51 + pig\","),
        ("    \"lace\",\n    \"rows 27", "    \"rows 27"),
        ("\"blank\"", "\"rows 1-65535\""),
        ("\"blank\",\n    \"rows 1", "\"rows 1"),
    ];
    let mut messages = String::new();
    for (from, to) in faults {
        let text = changed(built_in("400"), from, to);
        let error = CardFormat::parse(&text, "mine.toml").expect_err(to);
        let _ = writeln!(messages, "{from} -> {to}\n    {error}\n");
    }
    let unknown = CardFormat::named_or_file("401").expect_err("there is no 401");
    let _ = writeln!(messages, "--format 401\n    {unknown}");
    insta::assert_snapshot!("format_errors", messages);
}

#[test]
fn too_many_strokes_are_refused() {
    // 55 strokes beside the first blank one.
    let with_blanks = |count| {
        let text = changed(built_in("400"), "\"blank\",", &"\"blank\",".repeat(count));
        let text = changed(&text, "card_length_mm = 402.6", "card_length_mm = 2000");
        CardFormat::parse(&text, "mine.toml")
    };
    assert_eq!(with_blanks(73).expect("128 strokes").strokes(), 128);
    let error = with_blanks(74).expect_err("129 strokes").to_string();
    assert!(
        error.contains("takes 129 strokes; a card can have 1 to 128"),
        "{error}"
    );
}

fn small_deck() -> Deck {
    let card = |seed: u16| (0..25).map(|row| Row((row * 7 + seed) & 15)).collect();
    let design = Design {
        file: "sedge.png".into(),
        sha256: "00".repeat(32),
        hooks: 100,
        picks: 3,
        first_pick: FirstPick::Bottom,
    };
    let cards = vec![card(1), card(2), card(3)];
    let format = CardFormat::named("100").expect("built in");
    Deck::new("Sedge", format, Some(design), Cutting::default(), cards).expect("a deck")
}

#[test]
fn the_deck_file_is_plain_to_read() {
    insta::assert_snapshot!("deck_file", small_deck().to_text());
}

#[test]
fn every_fault_in_a_deck_file_has_its_own_error() {
    let text = small_deck().to_text();
    let line = |number: u32| {
        let start = format!("{number} = ");
        text.lines()
            .find(|line| line.starts_with(&start))
            .expect("a card")
            .to_owned()
            + "\n"
    };
    let (two, three) = (line(2), line(3));
    let faults = [
        (
            "unknown key",
            "name = \"Sedge\"",
            "nmae = \"Sedge\"".to_owned(),
        ),
        (
            "unknown key in a table",
            "hooks = 100",
            "hoks = 100".to_owned(),
        ),
        ("key left out", "picks = 3\n", String::new()),
        ("wrong word", "cut = \"black\"", "cut = \"grey\"".to_owned()),
        (
            "version to come",
            "deck = 1",
            "deck = 2\nwefts = 3".to_owned(),
        ),
        ("no version", "deck = 1\n", String::new()),
        (
            "unknown format",
            "name = \"100\"",
            "name = \"110\"".to_owned(),
        ),
        ("format changed", "sha256 = \"", "sha256 = \"f".to_owned()),
        (
            "format file missing",
            "name = \"100\"",
            "name = \"100\"\nfile = \"gone.toml\"".to_owned(),
        ),
        (
            "no cards",
            &text[text.find("1 = ").expect("card 1")..],
            String::new(),
        ),
        ("duplicate number", &three, two.clone()),
        ("gap", &two, String::new()),
        ("begins at 2", &line(1), String::new()),
        (
            "out of order",
            &format!("{two}{three}"),
            format!("{three}{two}"),
        ),
        ("falls back", &three, "0 = \"\"\n".to_owned()),
        ("leading zero", "2 = \"", "02 = \"".to_owned()),
        ("not a number", "2 = \"", "two = \"".to_owned()),
        ("far too large", "3 = \"", "99999999999 = \"".to_owned()),
        ("short row", "2 = \"2 ", "2 = \"".to_owned()),
        ("row too many", "2 = \"", "2 = \"0 ".to_owned()),
        ("group too wide", "2 = \"2 ", "2 = \"02 ".to_owned()),
        (
            "group far too wide",
            "2 = \"2 ",
            "2 = \"0000002 ".to_owned(),
        ),
        ("not hexadecimal", "2 = \"2 ", "2 = \"x ".to_owned()),
        ("a sign", "2 = \"2 ", "2 = \"+ ".to_owned()),
        ("not a string", &two, "2 = 7\n".to_owned()),
        ("quote left out", &two, two.replace("\"\n", "\n")),
        ("cut short at a line's end", &three, String::new()),
        (
            "cut short within a line of the design",
            "picks = 3\nfirst_pick = \"bottom\"\n",
            "picks = 2\nfirst_pick = \"bottom\"\n\n[cloth]\nfile = \"a\"\nsha256 = \"0\"\n"
                .to_owned(),
        ),
    ];
    let mut messages = String::new();
    for (what, from, to) in faults {
        let text = changed(&text, from, &to);
        let error = Deck::parse(&text, Path::new("sedge.deck")).expect_err(what);
        let _ = writeln!(messages, "{what}\n    {error}\n");
    }
    let ten = CardFormat::named("500").expect("built in");
    let cards = vec![vec![Row::BLANK; 51]];
    let deck = Deck::new("ten", ten, None, Cutting::default(), cards).expect("a deck");
    let text = changed(&deck.to_text(), "1 = \"000 ", "1 = \"400 ");
    let error = Deck::parse(&text, Path::new("ten.deck")).expect_err("hole 11 of 10");
    let _ = writeln!(messages, "bits beyond the holes\n    {error}");
    insta::assert_snapshot!("deck_errors", messages);
}

/// What a copy is not sure of must survive in its file, and go only when a person
/// has settled it.
#[test]
fn the_doubt_of_a_copy_stands_in_its_file_until_it_is_settled() {
    let doubt = |card, row, hole| Doubt {
        card: CardNumber(card),
        row,
        hole,
        open_permille: 410,
    };
    let reading = ReadFrom {
        passes: 3,
        gaps: vec![CardNumber(2)],
        doubtful: vec![doubt(1, 3, 4), doubt(1, 25, 1)],
    };
    let deck = small_deck().with_reading(reading.clone()).expect("there");
    let text = deck.to_text();
    assert!(text.contains("gaps = [2]"), "{text}");
    assert!(text.contains("[1, 3, 4, 410]"), "{text}");
    let mut again = Deck::parse(&text, Path::new("copy.deck")).expect("a deck");
    assert_eq!(again, deck);
    let hole = |deck: &Deck, row: usize, hole| {
        deck.card(CardNumber(1)).expect("card 1")[row - 1].has(hole)
    };
    again.settle(doubt(1, 3, 4), true);
    again.settle(doubt(1, 25, 1), false);
    assert!(hole(&again, 3, 4) && !hole(&again, 25, 1));
    assert_eq!(again.reading().map(|it| it.doubtful.len()), Some(0));

    for (from, to) in [
        ("gaps = [2]", "gaps = [9]"),
        ("gaps = [2]", "gaps = [2, 2]"),
        ("gaps = [2]", "gaps = [0]"),
        ("[1, 3, 4, 410]", "[1, 26, 4, 410]"),
        ("[1, 3, 4, 410]", "[1, 3, 5, 410]"),
        ("[1, 3, 4, 410]", "[1, 3, 4]"),
        ("[1, 3, 4, 410]", "[1, 25, 1, 410]"),
        ("passes = 3", "passes = -3"),
        ("passes = 3", "passes = 0"),
        ("[1, 25, 1, 410]", "[2, 25, 1, 410]"),
    ] {
        let error = Deck::parse(&changed(&text, from, to), Path::new("copy.deck"));
        let words = error.expect_err(to).to_string();
        assert!(words.starts_with("copy.deck, line "), "{words}");
    }
}

#[test]
fn a_deck_file_is_never_overwritten_unasked() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sedge.deck");
    let deck = small_deck();
    deck.write(&file, false).expect("written");
    std::fs::write(&file, "something dear").expect("changed");
    assert!(matches!(
        deck.write(&file, false),
        Err(WriteError::Exists(_))
    ));
    assert_eq!(
        std::fs::read_to_string(&file).expect("still there"),
        "something dear"
    );
    deck.write(&file, true).expect("replaced when asked");
    assert_eq!(Deck::read(&file).expect("read back"), deck);
    // Nothing temporary is left behind.
    assert_eq!(
        std::fs::read_dir(folder.path()).expect("a folder").count(),
        1
    );
    let nowhere = folder.path().join("no such folder").join("sedge.deck");
    assert!(matches!(
        deck.write(&nowhere, false),
        Err(WriteError::Unwritable { .. })
    ));
}

/// A rename would replace a protected file and say nothing.
#[cfg(unix)]
#[test]
fn a_protected_deck_file_and_a_link_to_nothing_are_left_as_they_are() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sedge.deck");
    let deck = small_deck();
    std::fs::write(&file, "something dear").expect("written");
    let protect = |mode| std::fs::set_permissions(&file, PermissionsExt::from_mode(mode));
    protect(0o444).expect("its owner may");
    let refused = deck.write(&file, true).expect_err("protected").to_string();
    assert!(refused.contains("sedge.deck is write-protected") && refused.contains("chmod u+w"));
    let before = std::fs::read_to_string(&file).expect("still there");
    assert_eq!(before, "something dear");
    protect(0o644).expect("its owner may");
    deck.write(&file, true).expect("replaced when allowed");

    let link = folder.path().join("link.deck");
    std::os::unix::fs::symlink("gone.deck", &link).expect("a link");
    for overwrite in [false, true] {
        let refused = deck.write(&link, overwrite).expect_err("a link to nothing");
        let words = refused.to_string();
        assert!(
            words.contains("link.deck is a symbolic link to gone.deck"),
            "{words}"
        );
    }
    assert!(link.is_symlink());
}

#[test]
fn a_users_format_travels_with_the_deck_and_is_watched() {
    let folder = tempfile::tempdir().expect("a folder");
    let format_file = folder.path().join("narrow.toml");
    let text = changed(built_in("100"), "name = \"100\"", "name = \"narrow\"");
    std::fs::write(&format_file, &text).expect("written");
    let format = CardFormat::named_or_file(&format_file.display().to_string()).expect("read");
    let cards = vec![vec![Row::full(4); 25]];
    let deck = Deck::new("Band", format, None, Cutting::default(), cards).expect("a deck");
    let file = folder.path().join("band.deck");
    deck.write(&file, false).expect("written");
    let written = std::fs::read_to_string(&file).expect("read");
    assert!(written.contains("file = \"narrow.toml\""), "{written}");
    let again = Deck::read(&file).expect("read back");
    assert_eq!(again.to_text(), written);
    assert_eq!(again.sha256(), deck.sha256());
    // A hole size that changes after the deck was made changes the cards.
    std::fs::write(
        &format_file,
        changed(&text, "needle_hole_mm = 4.4", "needle_hole_mm = 4.2"),
    )
    .expect("changed");
    let error = Deck::read(&file).expect_err("the format is not what it was");
    assert!(
        error
            .to_string()
            .contains("has changed since this deck was made"),
        "{error}"
    );
}

#[test]
fn every_fault_in_a_card_list_has_its_own_error() {
    let lists = [
        "",
        " ",
        "0",
        "1-0",
        "0-3",
        "9-3",
        "161",
        "150-170",
        "200-300",
        "1,,2",
        "a",
        "1-",
        "-3",
        "1-2-3",
        "+1",
        "99999999999",
    ];
    let mut messages = String::new();
    for list in lists {
        let error = CardList::parse(list, 160).expect_err(list);
        let _ = writeln!(messages, "{list:?}\n    {error}\n");
    }
    insta::assert_snapshot!("card_list_errors", messages);
    let list = CardList::parse(" 57, 1-40,38-41 ,42,160", 160).expect("a list");
    assert_eq!(list.to_string(), "1-42,57,160");
    assert_eq!(list.count(), 44);
    assert!(list.contains(CardNumber(42)) && !list.contains(CardNumber(43)));
}

/// A stack whose cards are exchanged, or of which one lies there twice, is what a
/// person wants to try.
#[test]
fn a_stack_lies_as_it_is_named() {
    let numbers = |list| {
        let stack = CardList::as_they_lie(list, 48).expect(list);
        stack.iter().map(|card| card.0).collect::<Vec<_>>()
    };
    assert_eq!(numbers("3,1,2"), [3, 1, 2]);
    assert_eq!(numbers("5-7, 6,1-2"), [5, 6, 7, 6, 1, 2]);
    for list in ["", "1,,2", "2-1", "0", "49"] {
        let same = CardList::parse(list, 48).expect_err(list);
        assert_eq!(CardList::as_they_lie(list, 48).expect_err(list), same);
    }
}

fn any_deck() -> impl Strategy<Value = Deck> {
    let format = (0..BUILT_IN.len())
        .prop_map(|place| CardFormat::named(BUILT_IN[place].0).expect("built in"));
    let card_count = 1usize..12;
    (format, card_count).prop_flat_map(|(format, count)| {
        let full = Row::full(format.holes_per_row()).0;
        let card = proptest::collection::vec((0..=full).prop_map(Row), usize::from(format.rows()));
        let cards = proptest::collection::vec(card, count);
        let design = proptest::option::of((any::<String>(), any::<bool>()));
        (
            Just(format),
            cards,
            any::<String>(),
            design,
            any::<bool>(),
            any::<bool>(),
        )
            .prop_map(|(format, cards, name, design, white, used)| {
                let design = design.map(|(file, top)| Design {
                    file,
                    sha256: "ab".repeat(32),
                    hooks: 400,
                    picks: cards.len() as u32,
                    first_pick: if top {
                        FirstPick::Top
                    } else {
                        FirstPick::Bottom
                    },
                });
                let cutting = Cutting {
                    cut: if white { Cut::White } else { Cut::Black },
                    spare_row: if used {
                        SpareRow::Used
                    } else {
                        SpareRow::Blank
                    },
                };
                Deck::new(name, format, design, cutting, cards).expect("a deck")
            })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_deck_is_read_back_as_it_was_written(deck in any_deck()) {
        let text = deck.to_text();
        let again = match Deck::parse(&text, Path::new("any.deck")) {
            Ok(again) => again,
            Err(error) => return Err(TestCaseError::fail(format!("{error}\n{text}"))),
        };
        prop_assert_eq!(&again, &deck);
        prop_assert_eq!(again.to_text(), text);
        prop_assert_eq!(again.sha256(), deck.sha256());
    }

    #[test]
    fn a_spoiled_deck_file_never_panics(
        deck in any_deck(),
        at in any::<proptest::sample::Index>(),
        with in any::<char>(),
    ) {
        let mut letters: Vec<char> = deck.to_text().chars().collect();
        let at = at.index(letters.len());
        letters[at] = with;
        let text: String = letters.into_iter().collect();
        // Any one letter changed: refused, or a deck that is written as it was read.
        if let Ok(read) = Deck::parse(&text, Path::new("any.deck")) {
            let again = Deck::parse(&read.to_text(), Path::new("any.deck"));
            prop_assert_eq!(again.expect("its own text"), read);
        }
    }

    #[test]
    fn a_card_list_means_the_same_when_written_again(
        cards in proptest::collection::btree_set(1u32..300, 1..60),
    ) {
        let written: Vec<String> = cards.iter().rev().map(u32::to_string).collect();
        let list = CardList::parse(&written.join(","), 300).expect("a list");
        let again = CardList::parse(&list.to_string(), 300).expect("its own text");
        prop_assert_eq!(&again, &list);
        prop_assert_eq!(list.iter().map(|card| card.0).collect::<BTreeSet<_>>(), cards);
    }
}
