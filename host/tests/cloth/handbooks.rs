//! Risk: cards are cut that the handbooks say would weave another cloth.

use super::support::{cloth, damask, deck, squares};
use cardwright::cloth::{Place, Squares, Weave, WeaveFault, Woven, satin};
use cardwright::deck::{CardNumber, Row};
use std::collections::BTreeSet;

/// Brooks, "Card cutting": with rows of 8, hooks 1, 2, 9, 15, 18, 30, 31, 32, 33
/// and 40 raised give row 1: holes 1, 2; row 2: 1, 7; row 3: 2; row 4: 6, 7, 8;
/// row 5: 1, 8. He counts from the first row that works the pattern.
#[test]
fn brookss_hooks_are_cut_in_brookss_holes() {
    let mut painted = vec![1; 400];
    for hook in [1, 2, 9, 15, 18, 30, 31, 32, 33, 40] {
        painted[hook - 1] = 0;
    }
    let squares = Squares::new(400, painted).expect("one line");
    let deck = deck(&damask(&[]), &squares);
    let card = deck.card(CardNumber(1)).expect("one line is one card");
    assert_eq!(card[0], Row::BLANK, "the spare row (Taylor pp. 122-123)");
    let wanted: [&[u8]; 5] = [&[1, 2], &[1, 7], &[2], &[6, 7, 8], &[1, 8]];
    for (row, holes) in card[1..].iter().zip(wanted) {
        assert_eq!(row.holes().collect::<Vec<_>>(), holes);
    }
    assert!(card[6..].iter().all(|row| *row == Row::BLANK));
}

fn whole_rows(cast_out: &BTreeSet<Place>) -> Vec<u16> {
    let rows: BTreeSet<u16> = cast_out.iter().map(|place| place.row).collect();
    for row in &rows {
        let holes = cast_out.iter().filter(|place| place.row == *row).count();
        assert_eq!(holes, 8, "row {row} is whole");
    }
    rows.into_iter().collect()
}

/// Brooks: a pattern of 64 ends goes 6 times into 400 with 16 hooks to spare: one
/// row of 8 cast out in the middle and one at the end. The 51 rows are divided 26
/// and 25 (Taylor p. 122), so the middle is where rows 26 and 27 meet; empty rows
/// are left at the numbered end (Bell ch. V), and row 1 is spare.
#[test]
fn sixty_four_into_400_casts_out_one_row_in_the_middle_and_one_at_the_end() {
    let tie = ("hooks = \"1-400\"", "");
    let auto = ("format = \"400\"", "format = \"400\"\ncast_out = \"auto\"");
    let mounting = damask(&[tie, auto]).mounting(64).expect("it fits");
    assert_eq!(whole_rows(mounting.cast_out()), [2, 27]);
    assert_eq!((mounting.hook_count(), mounting.repeats()), (384, 6));
    let error = damask(&[tie]).mounting(64).expect_err("16 hooks are over");
    let wanted = "go 6 times into the 400 hooks in use and leave 16";
    assert!(error.to_string().contains(wanted), "{error}");
}

/// Taylor p. 220: a ground repeating on 12 uses 396 of 400.
#[test]
fn a_ground_on_12_uses_396_of_400() {
    let tie = ("hooks = \"1-400\"", "");
    let auto = ("format = \"400\"", "format = \"400\"\ncast_out = \"auto\"");
    let mounting = damask(&[tie, auto]).mounting(12).expect("it fits");
    assert_eq!(mounting.hook_count(), 396);
    assert_eq!(mounting.cast_out().len(), 4);
}

/// When several rows go, half are left in each half of the machine (Taylor
/// p. 220). 400 hooks, a pattern of 184: 32 over are four rows.
#[test]
fn half_of_the_rows_are_cast_out_in_each_half_of_the_machine() {
    let tie = ("hooks = \"1-400\"", "");
    let auto = ("format = \"400\"", "format = \"400\"\ncast_out = \"auto\"");
    let mounting = damask(&[tie, auto]).mounting(184).expect("it fits");
    let rows = whole_rows(mounting.cast_out());
    let first_half = rows.iter().filter(|row| **row <= 26).count();
    assert_eq!((rows.len(), first_half), (4, 2), "{rows:?}");
}

fn order(words: &str) -> Vec<usize> {
    let weave = Weave::parse(words).expect("a satin");
    let bound = |pick| {
        1 + (0..weave.ends())
            .position(|end| weave.lifts(end, pick))
            .expect("one")
    };
    (0..weave.picks()).map(bound).collect()
}

/// Taylor p. 132: 1 4 7 2 5 8 3 6. Brooks: the 5-end sateen 1 3 5 2 4.
#[test]
fn satins_bind_in_the_order_of_the_handbooks() {
    assert_eq!(order("satin 8 counter 3 weft"), [1, 4, 7, 2, 5, 8, 3, 6]);
    assert_eq!(order("satin 5 counter 2 weft"), [1, 3, 5, 2, 4]);
    let warp = Weave::parse("satin 8 counter 3 warp").expect("a satin");
    let weft = Weave::parse("satin 8 counter 3 weft").expect("a satin");
    for (end, pick) in (0..8).flat_map(|end| (0..8).map(move |pick| (end, pick))) {
        assert_ne!(
            warp.lifts(end, pick),
            weft.lifts(end, pick),
            "the other side"
        );
    }
}

/// Wolfensberger's counters, and that there is no regular satin on 4 or 6.
#[test]
fn satins_have_wolfensbergers_counters() {
    let table: [(usize, &[usize]); 9] = [
        (4, &[]),
        (5, &[2]),
        (6, &[]),
        (7, &[2, 3]),
        (8, &[3]),
        (9, &[2, 4]),
        (10, &[3]),
        (11, &[2, 3, 4, 5]),
        (12, &[5]),
    ];
    for (ends, counters) in table {
        assert_eq!(satin::counters(ends), counters, "{ends} ends");
        for counter in 0..=ends {
            let words = format!("satin {ends} counter {counter} weft");
            let known = counters.contains(&counter) || counters.contains(&(ends - counter));
            match Weave::parse(&words) {
                Ok(_) => assert!(known, "{words}"),
                Err(WeaveFault::NoSatin(_)) => assert!(counters.is_empty(), "{words}"),
                Err(WeaveFault::Counter { .. }) => assert!(!known, "{words}"),
                Err(other) => panic!("{words}: {other}"),
            }
        }
    }
}

/// Taylor p. 123: the first hole cut works the last (400th) end, and the last
/// hole cut, the bottom needle of the last row of the 25 side, works the first.
#[test]
fn in_taylors_mounting_the_first_hole_works_the_last_end() {
    let once = ("repeats = 2", "repeats = 1");
    let corner = ("card_end = \"numbered\"", "card_end = \"other\"");
    let hole = ("hole = \"first\"", "hole = \"last\"");
    let cloth = damask(&[once, corner, hole]);
    let mut first_end = vec![1; 400];
    first_end[0] = 0;
    let mut last_end = vec![1; 400];
    last_end[399] = 0;
    // the bottom line is woven first
    let paper = Squares::new(400, [last_end, first_end].concat()).expect("two lines");
    let deck = deck(&cloth, &paper);
    let card = |number| deck.card(CardNumber(number)).expect("two cards");
    let holes = |number: u32| -> Vec<(usize, u8)> {
        let rows = (1..).zip(card(number));
        rows.flat_map(|(row, holes)| holes.holes().map(move |hole| (row, hole)))
            .collect()
    };
    assert_eq!(holes(1), [(51, 8)], "the last hole cut works end 1");
    // row 1 is spare, so the first hole that is cut for the figure is row 2's
    assert_eq!(holes(2), [(2, 1)], "the first hole cut works end 400");
    let mounting = cloth.mounting(400).expect("it fits");
    let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
    assert_eq!(woven.ends(), 400);
    assert!(woven.is_up(0, 0) && woven.is_up(1, 399));
}

/// Bell ch. IX: 5 lines in 3 wefts give 15 cards.
#[test]
fn five_lines_in_three_wefts_make_fifteen_cards() {
    let text = super::support::DAMASK;
    let three = "[[weft]]\nname = \"a\"\ncolour = \"#000001\"\n\n[[weft]]\nname = \"b\"\ncolour = \"#000002\"\n\n[[weft]]\nname = \"linen\"";
    let text = text
        .replace("[[weft]]\nname = \"linen\"", three)
        .replace(
            "weave = \"lift\"",
            "weave = { a = \"lift\", b = \"leave\", linen = \"plain\" }",
        )
        .replace(
            "weave = \"leave\"",
            "weave = { a = \"leave\", b = \"lift\", linen = \"plain\" }",
        );
    let cloth = cloth(&text);
    let line = "01".repeat(200);
    let deck = deck(&cloth, &squares(&[&line; 5]));
    assert_eq!(deck.card_count(), 15);
    let mounting = cloth.mounting(400).expect("it fits");
    let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
    let wefts: Vec<usize> = (0..6).map(|pick| woven.weft(pick)).collect();
    assert_eq!(wefts, [0, 1, 2, 0, 1, 2]);
    assert_eq!(woven.line(14), 4);
}

/// Bell ch. IX: woven face down, the cut is the complement.
#[test]
fn face_down_the_cut_is_the_complement() {
    let line = "0011".repeat(100);
    let paper = squares(&[&line]);
    let up = deck(&damask(&[]), &paper);
    let down = deck(&damask(&[("face = \"up\"", "face = \"down\"")]), &paper);
    let rows = |deck: &cardwright::deck::Deck| deck.card(CardNumber(1)).expect("one").to_vec();
    for (up, down) in rows(&up)[1..].iter().zip(&rows(&down)[1..]) {
        assert_eq!(up.0 ^ down.0, 0xff);
    }
    assert_eq!(rows(&down)[0], Row::BLANK, "the spare row stays solid");
}
