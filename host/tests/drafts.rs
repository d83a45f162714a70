//! Weaving drafts into decks: a draft lifts on the cards what it lifts on shafts, and
//! a draft that says two things, or does not fit, is refused with the line.

use cardwright::deck::{CardFormat, CardNumber, Row, SpareRow};
use cardwright::wif::{
    Draft, DraftError, DraftFault, Hooks, Laying, MOST_BYTES, MOST_ENDS, MOST_PICKS, MOST_SHAFTS,
    ShedFrom,
};
use std::fmt::Write as _;
use std::path::Path;

const PLAIN: &[u8] = include_bytes!("wif/plain.wif");
const TWILL: &[u8] = include_bytes!("wif/twill.wif");
const SINKING: &[u8] = include_bytes!("wif/sinking.wif");
const SEVERAL: &[u8] = include_bytes!("wif/several.wif");
const ODD: &[u8] = include_bytes!("wif/odd.wif");
const POINT: &[u8] = include_bytes!("wif/point.wif");
const SATIN: &[u8] = include_bytes!("wif/satin.wif");

/// 2/2 twill: two neighbours rise, and every pick moves by one (from memory).
const TWILLED: [&[u32]; 8] = [
    &[1, 2],
    &[2, 3],
    &[3, 4],
    &[1, 4],
    &[1, 2],
    &[2, 3],
    &[3, 4],
    &[1, 4],
];

fn laying(format: &str, hooks: Hooks, spare_row: SpareRow) -> Laying {
    Laying {
        format: CardFormat::named(format).expect("built in"),
        hooks,
        spare_row,
    }
}

fn read(draft: &[u8]) -> Draft {
    Draft::parse(draft, Path::new("any.wif")).unwrap_or_else(|error| panic!("{error}"))
}

/// The hooks that each card lifts, counted along the rows of a card with no spare
/// row.
fn lifted(draft: &[u8], hooks: Hooks) -> Vec<Vec<u32>> {
    let deck = read(draft).deck(&laying("100", hooks, SpareRow::Blank));
    let deck = deck.unwrap_or_else(|error| panic!("{error}"));
    let card = |(_, rows): (CardNumber, &[Row])| {
        let rows = (0u32..).zip(rows);
        let hooks =
            rows.flat_map(|(row, holes)| holes.holes().map(move |hole| 4 * row + u32::from(hole)));
        hooks.collect()
    };
    deck.cards().map(card).collect()
}

#[test]
fn plain_weave_lifts_every_other_shaft() {
    assert_eq!(lifted(PLAIN, Hooks::Shafts), [[1], [2], [1], [2]]);
    let (odd, even) = (vec![1, 3, 5], vec![2, 4, 6]);
    let ends = lifted(PLAIN, Hooks::Ends);
    assert_eq!(ends, [odd.clone(), even.clone(), odd, even]);
}

#[test]
fn a_twill_by_tie_up_and_treadling_is_a_twill() {
    assert_eq!(lifted(TWILL, Hooks::Shafts), TWILLED);
    let draft = read(TWILL);
    assert_eq!(draft.shed_from(), ShedFrom::TieUp);
    assert_eq!(
        (draft.shafts(), draft.picks(), draft.rising()),
        (4, 8, true)
    );
    for (pick, ends) in lifted(TWILL, Hooks::Ends).iter().enumerate() {
        let twice = TWILLED[pick].iter().map(|shaft| shaft + 4);
        let wanted: Vec<u32> = TWILLED[pick].iter().copied().chain(twice).collect();
        assert_eq!(*ends, wanted);
    }
}

#[test]
fn a_sinking_shed_lifts_what_is_not_named() {
    assert!(!read(SINKING).rising());
    assert_eq!(lifted(SINKING, Hooks::Shafts), TWILLED);
    // a pick that names nothing sinks nothing
    let text = String::from_utf8_lossy(SINKING).replace("8=4\n", "8=0\n");
    assert_eq!(lifted(text.as_bytes(), Hooks::Shafts)[7], [1, 2, 3, 4]);
}

#[test]
fn treadles_pressed_together_lift_all_their_shafts() {
    let lifted = lifted(SEVERAL, Hooks::Shafts);
    assert_eq!(lifted[..8], TWILLED);
    let none: &[u32] = &[];
    assert_eq!(lifted[8..], [none, none, none, &[1, 2, 3, 4]]);
}

#[test]
fn line_ends_case_order_and_spaces_do_not_matter() {
    assert_eq!(lifted(ODD, Hooks::Shafts), TWILLED);
    let mut marked = b"\xef\xbb\xbf".to_vec();
    marked.extend(TWILL);
    assert_eq!(lifted(&marked, Hooks::Shafts), TWILLED);
}

/// An end on several shafts rises with each of them, an end on none never.
#[test]
fn ends_rise_with_the_shafts_they_are_threaded_on() {
    assert_eq!(
        lifted(POINT, Hooks::Ends),
        [vec![1, 2, 6], vec![2, 3, 5, 6], vec![3, 4, 5], vec![1, 4]]
    );
    let text = String::from_utf8_lossy(POINT).replace("5=3\n6=2\n", "5=1,3\n6=\n");
    assert_eq!(
        lifted(text.as_bytes(), Hooks::Ends),
        [vec![1, 2, 5], vec![2, 3, 5], vec![3, 4, 5], vec![1, 4, 5]]
    );
    // where shafts sink, end 5 sinks with either of its shafts, and end 6 is not lifted
    let sinking = text.replace("Rising Shed=yes", "Rising Shed=no");
    assert_eq!(
        lifted(sinking.as_bytes(), Hooks::Ends),
        [vec![3, 4], vec![1, 4], vec![1, 2], vec![2, 3]]
    );
}

/// 8-end satin in the order 1 4 7 2 5 8 3 6 (Taylor p. 132), which is the regular
/// satin of counter 3 (Wolfensberger).
#[test]
fn a_satin_binds_by_its_counter() {
    for (pick, hooks) in (0u32..).zip(lifted(SATIN, Hooks::Shafts)) {
        assert_eq!(hooks, [3 * pick % 8 + 1]);
    }
}

/// Brooks, "Card cutting": with rows of 8, hooks 1, 2, 9, 15, 18, 30, 31, 32, 33
/// and 40 raised give row 1 holes 1, 2; row 2: 1, 7; row 3: 2; row 4: 6, 7, 8;
/// row 5: 1, 8.
#[test]
fn hooks_have_the_holes_of_the_handbook() {
    let text = "[WIF]\nVersion=1.1\n[LIFTPLAN]\n1=1,2,9,15,18,30,31,32,33,40\n";
    for (spare_row, first) in [(SpareRow::Used, 0), (SpareRow::Blank, 1)] {
        let deck = read(text.as_bytes()).deck(&laying("400", Hooks::Shafts, spare_row));
        let deck = deck.expect("it fits");
        let rows = deck.card(CardNumber(1)).expect("card 1");
        let wanted: [&[u8]; 5] = [&[1, 2], &[1, 7], &[2], &[6, 7, 8], &[1, 8]];
        for (row, holes) in rows.iter().enumerate() {
            let wanted = row.checked_sub(first).and_then(|row| wanted.get(row));
            let wanted = wanted.copied().unwrap_or_default();
            assert_eq!(*holes, Row::from_holes(wanted.iter().copied()), "row {row}");
        }
    }
}

#[test]
fn a_section_that_contents_takes_out_is_passed_over() {
    let text = String::from_utf8_lossy(TWILL).replace("TIEUP=yes", "TIEUP=no\nLIFTPLAN=yes");
    let text = text.replace("[NOTES]", "[LIFTPLAN]\n1=4\n[NOTES]");
    let wanted: [&[u32]; 8] = [&[4], &[], &[], &[], &[], &[], &[], &[]];
    assert_eq!(lifted(text.as_bytes(), Hooks::Shafts), wanted);
}

/// The text with one thing changed.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from:?} is in the text");
    text.replacen(from, to, 1)
}

#[test]
fn every_fault_in_a_draft_has_its_own_error() {
    let twill = String::from_utf8_lossy(TWILL).into_owned();
    let faults = [
        ("[WIF]\n", ""),
        ("[WIF]\n", "[WOF]\n"),
        ("Version=1.1", "Version=2.0"),
        ("Version=1.1\n", ""),
        ("Version=1.1", "Version 1.1"),
        ("[WEAVING]", "[WEAVING"),
        ("[WEAVING]", "[WEAVING] of twill"),
        ("[TIEUP]", "[WEFT]"),
        ("Shafts=4", "Shafts=4\nSHAFTS=8"),
        ("Shafts=4", "Shafts=four"),
        ("Shafts=4", "Shafts=-4"),
        ("Shafts=4", "Shafts=4.0"),
        ("Shafts=4", "Shafts=0"),
        ("Shafts=4", "Shafts=3"),
        ("Shafts=4", "Shafts=1249"),
        ("Treadles=4", "Treadles=3"),
        ("Treadles=4", "Treadles=99999999999999999999"),
        ("Threads=8\nColor=1", "Threads=999999999\nColor=1"),
        ("Threads=8\nColor=2", "Threads=999999999\nColor=2"),
        ("Threads=8\nColor=1", "Threads=7\nColor=1"),
        ("Threads=8\nColor=2", "Threads=7\nColor=2"),
        ("Rising Shed=yes", "Rising Shed=up"),
        ("TIEUP=yes", "TIEUP=perhaps"),
        ("TIEUP=yes", "TIEUP=no"),
        ("TREADLING=yes", "TREADLING=no"),
        ("TIEUP=yes", "LIFTPLAN=yes"),
        ("[TIEUP]", "[TIE]"),
        ("4=1,4", "4=1,,4"),
        ("4=1,4", "4=1;4\n4=1"),
        ("4=1,4", "4=1,a\u{7}b"),
        ("4=1,4", "0=1,4"),
        ("4=1,4", "four=1,4"),
        ("4=1,4", "4"),
        (
            "[PRIVATE HAND]",
            "[LIFTPLAN]\n1=1,2\n2=2,3\n3=1,3\n4=1,4\n[PRIVATE]",
        ),
        ("8=4\n\n[TIEUP]", "8=3\n\n[TIEUP]"),
        ("8=4\n\n[TIEUP]", "8=3,4\n\n[TIEUP]"),
        ("8=4\n\n[TIEUP]", "\n[TIEUP]"),
    ];
    let mut messages = String::new();
    for (from, to) in faults {
        let text = changed(&twill, from, to);
        let draft = Draft::parse(text.as_bytes(), Path::new("twill.wif"));
        let deck =
            draft.and_then(|draft| draft.deck(&laying("100", Hooks::Shafts, SpareRow::Blank)));
        let _ = writeln!(
            messages,
            "{from:?} -> {to:?}\n    {}\n",
            deck.expect_err(to)
        );
    }
    insta::assert_snapshot!("draft_errors", messages);
}

/// A draft of so many shafts with a liftplan that names the last.
fn wide(shafts: u32) -> String {
    format!("[WIF]\nVersion=1.1\n[WEAVING]\nShafts={shafts}\n[LIFTPLAN]\n1={shafts}\n")
}

#[test]
fn what_does_not_fit_the_card_is_refused() {
    let refused = |text: &str, format: &str, hooks, spare_row| -> DraftError {
        let draft = Draft::parse(text.as_bytes(), Path::new("wide.wif")).expect("a draft");
        draft
            .deck(&laying(format, hooks, spare_row))
            .expect_err("refused")
    };
    let mut messages = String::new();
    for (shafts, format) in [(101, "100"), (408, "400"), (409, "400"), (1248, "600")] {
        let error = refused(&wide(shafts), format, Hooks::Shafts, SpareRow::Blank);
        let _ = writeln!(messages, "{shafts} on {format}: {error}\n");
    }
    let error = refused(&wide(409), "400", Hooks::Shafts, SpareRow::Used);
    let _ = writeln!(messages, "409 on 400, spare row used: {error}\n");
    let ends = changed(
        &String::from_utf8_lossy(PLAIN),
        "Threads=6",
        "Threads=100000",
    );
    let error = refused(&ends, "400", Hooks::Ends, SpareRow::Blank);
    let _ = writeln!(messages, "100,000 ends: {error}\n");
    let error = refused(&wide(4), "400", Hooks::Ends, SpareRow::Blank);
    let _ = writeln!(messages, "no threading: {error}");
    insta::assert_snapshot!("draft_misfits", messages);
    for (shafts, format, spare_row) in [
        (100, "100", SpareRow::Blank),
        (400, "400", SpareRow::Blank),
        (408, "400", SpareRow::Used),
    ] {
        let deck = read(wide(shafts).as_bytes()).deck(&laying(format, Hooks::Shafts, spare_row));
        let deck = deck.expect("it fits");
        let rows = deck.card(CardNumber(1)).expect("card 1");
        let last = rows.last().expect("a row");
        assert_eq!(*last, Row::from_holes([deck.format().holes_per_row()]));
    }
}

/// Else a file of a few bytes, or of many, would take all the memory there is.
#[test]
fn nothing_is_made_of_numbers_beyond_the_limits() {
    let fault = |text: &str| {
        Draft::parse(text.as_bytes(), Path::new("any.wif"))
            .expect_err("too much")
            .fault
    };
    let many = format!(
        "[WIF]\nVersion=1.1\n[LIFTPLAN]\n{}",
        "1=\n".repeat(MOST_ENDS as usize + 1)
    );
    assert_eq!(fault(&many), DraftFault::TooManyLines("LIFTPLAN"));
    for (key, most) in [("pick", MOST_PICKS), ("shaft", MOST_SHAFTS)] {
        let line = |number: u32| match key {
            "pick" => format!("[WIF]\nVersion=1.1\n[LIFTPLAN]\n{number}=1\n"),
            _ => format!("[WIF]\nVersion=1.1\n[LIFTPLAN]\n1={number}\n"),
        };
        assert!(Draft::parse(line(most).as_bytes(), Path::new("any.wif")).is_ok());
        assert!(matches!(fault(&line(most + 1)), DraftFault::TooMany { .. }));
    }
    let long = vec![b';'; usize::try_from(MOST_BYTES).expect("it fits") + 1];
    let error = Draft::parse(&long, Path::new("any.wif")).expect_err("too long");
    assert_eq!(error.fault, DraftFault::TooLong(MOST_BYTES + 1));
}
