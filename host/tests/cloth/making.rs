//! Risk: a weave, a binding or a selvedge stands elsewhere than the cloth file
//! says.

use super::support::{damask, deck, squares};
use cardwright::cloth::{Cloth, Squares, Weave, Woven};
use cardwright::deck::{Deck, Row};
use proptest::prelude::*;

/// A cloth of 100 hooks with these weaves of figure and ground.
fn small(figure: &str, ground: &str) -> Cloth {
    damask(&[
        ("format = \"400\"", "format = \"100\""),
        ("hooks = \"1-400\"", ""),
        ("repeats = 2", ""),
        ("weave = \"lift\"", figure),
        ("weave = \"leave\"", ground),
    ])
}

/// The ends of each pick as signs, x up, the first pick first.
fn drawn(cloth: &Cloth, deck: &Deck, columns: u32) -> Vec<String> {
    let mounting = cloth.mounting(columns).expect("it fits");
    let woven = Woven::new(deck, cloth, &mounting).expect("one format");
    let sign = |up| if up { 'x' } else { '.' };
    (0..woven.picks())
        .map(|pick| woven.pick(pick).take(columns as usize).map(sign).collect())
        .collect()
}

fn weave_drawn(words: &str) -> Vec<String> {
    let weave = Weave::parse(words).expect("a weave");
    let sign = |up: &bool| if *up { 'x' } else { '.' };
    (0..weave.picks())
        .map(|pick| weave.pick(pick).iter().map(sign).collect())
        .collect()
}

/// First pick first. The twill line rises to the right or to the left (from
/// memory).
#[test]
fn weaves_in_words_are_the_weaves() {
    assert_eq!(weave_drawn("plain"), ["x.", ".x"]);
    assert_eq!(weave_drawn("plain shift 1"), [".x", "x."]);
    assert_eq!(weave_drawn("twill 2/1 right"), ["xx.", ".xx", "x.x"]);
    assert_eq!(weave_drawn("twill 2/1 left"), ["xx.", "x.x", ".xx"]);
    assert_eq!(
        weave_drawn("twill 1/2/2/1 right")[..2],
        ["x..xx.", ".x..xx"]
    );
    assert_eq!(
        weave_drawn("satin 5 counter 2 weft shift 1")[..2],
        ["....x", ".x..."]
    );
    assert_eq!(
        weave_drawn("satin 5 counter 2 warp")[..2],
        [".xxxx", "xx.xx"]
    );
    let lines = ["x..".to_owned(), ".xx".to_owned()];
    let weave = Weave::drawn(&lines).expect("a weave");
    assert!(!weave.lifts(0, 0) && weave.lifts(1, 0) && weave.lifts(3, 1));
}

#[test]
fn each_colour_is_woven_in_its_weave_from_the_corner_of_the_paper() {
    let cloth = small("weave = \"twill 1/3 right\"", "weave = [\".x\", \"x.\"]");
    let lines = ["0000011111", "0000011111", "1111100000"];
    let deck = deck(&cloth, &squares(&lines));
    // the lowest line is woven first; columns are counted on across colours
    let wanted = ["x.x.x...x.", ".x...x.x.x", "..x...x.x."];
    assert_eq!(drawn(&cloth, &deck, 10), wanted);
}

#[test]
fn binding_started_afresh_begins_at_the_left_and_first_line_of_its_area() {
    let afresh = "weave = \"satin 5 counter 2 weft\"\nbinding = \"afresh\"";
    let cloth = small(afresh, "weave = \"leave\"");
    let lines = ["1111111111", "1100111111", "1100011111", "1110011000"];
    let deck = deck(&cloth, &squares(&lines));
    // the left area begins at column 2 of line 0, the right at column 7 of line 0:
    // pick by pick the ends 0, 2, 4, 1, 3 of it are lifted (Brooks' order)
    let wanted = [".......x..", "....x.....", "..........", ".........."];
    assert_eq!(drawn(&cloth, &deck, 10), wanted);
    let cloth = small("weave = \"satin 5 counter 2 weft\"", "weave = \"leave\"");
    // ends 0, 2, 4, 1 of five, counted from the corner of the paper
    let wanted = ["..........", "..x.......", "..........", ".........."];
    let deck = super::support::deck(&cloth, &squares(&lines));
    assert_eq!(drawn(&cloth, &deck, 10), wanted);
}

#[test]
fn a_binding_point_beside_the_edge_is_left_out_where_the_cloth_asks_for_it() {
    let lines = [
        "1111111111",
        "1000000001",
        "1000000001",
        "1000000001",
        "1111111111",
    ];
    let weave = "weave = \"satin 5 counter 2 warp\"";
    let kept = small(weave, "weave = \"leave\"");
    let clear = small(&format!("{weave}\nedges = \"clear\""), "weave = \"leave\"");
    let paper = squares(&lines);
    // line 1 binds ends 2 and 7, line 2 ends 4 and 9, line 3 ends 1 and 6
    let figure = [".x.xxxx.x.", ".xxx.xxxx.", "..xxxx.xx."];
    assert_eq!(drawn(&kept, &deck(&kept, &paper), 10)[1..4], figure);
    // only the point in the middle touches no edge
    let figure = [".xxxxxxxx.", ".xxx.xxxx.", ".xxxxxxxx."];
    assert_eq!(drawn(&clear, &deck(&clear, &paper), 10)[1..4], figure);
}

/// A thread with no point left floats for ever, however short the repeat beside the
/// longest float: 12, or 20, and repeats of 8 picks and of 10 ends.
#[test]
fn a_clear_edge_leaves_every_thread_a_point() {
    let warp = "weave = \"satin 8 counter 3 warp\"\nedges = \"clear\"";
    let cloth = small(warp, "weave = \"plain\"");
    let upright = drawn(&cloth, &deck(&cloth, &squares(&["0000011111"; 8])), 10);
    for end in 0..10 {
        let lifts = upright.iter().filter(|pick| pick.as_bytes()[end] == b'x');
        assert!((1..8).contains(&lifts.count()), "end {end}: {upright:?}");
    }
    let weft = "weave = \"satin 10 counter 3 weft\"\nedges = \"clear\"";
    let plain = "weave = \"plain\"\n";
    let cloth = damask(&[
        ("format = \"400\"", "format = \"100\""),
        ("hooks = \"1-400\"", ""),
        ("face = \"up\"", "face = \"up\"\nlongest_float = 20"),
        ("weave = \"lift\"", weft),
        ("weave = \"leave\"\n", plain),
    ]);
    let lines: Vec<String> = (0..20)
        .map(|line| if line % 4 < 2 { "0" } else { "1" }.repeat(10))
        .collect();
    let lying = drawn(&cloth, &deck(&cloth, &squares(&lines)), 10);
    assert!(lying.iter().all(|pick| pick.contains('x')), "{lying:?}");
}

/// The paper lies ten times side by side and the cards go round, so the four corners
/// are one area; it begins at column 8 of the last line.
#[test]
fn an_area_that_goes_on_over_the_edge_of_the_repeat_is_one() {
    let afresh = "weave = \"satin 5 counter 2 weft\"\nbinding = \"afresh\"";
    let cloth = small(afresh, "weave = \"leave\"");
    let lines = ["0011111100", "1111111111", "1111111111", "0011111100"];
    let deck = deck(&cloth, &squares(&lines));
    // ends 0, 2 of it at its first two picks (Brooks' order)
    let wanted = ["x.........", "..........", "..........", "........x."];
    assert_eq!(drawn(&cloth, &deck, 10), wanted);
}

/// What lies beyond the side: the paper again in a straight tie that repeats, its mirror
/// in a centred one (Bell ch. III), nothing where it is woven once.
#[test]
fn the_side_of_the_paper_is_an_edge_only_if_another_colour_lies_beyond() {
    let paper = squares(&["0".repeat(50) + &"1".repeat(50)]);
    let first = |tie: &str| {
        let cloth = damask(&[
            ("format = \"400\"", "format = \"100\""),
            ("hooks = \"1-400\"\nway = \"straight\"\nrepeats = 2", tie),
            (
                "weave = \"lift\"",
                "weave = \"satin 5 counter 2 warp\"\nedges = \"clear\"",
            ),
        ]);
        let drawn = drawn(&cloth, &deck(&cloth, &paper), 100);
        drawn[0][..6].to_owned()
    };
    assert_eq!(first("way = \"straight\"\nrepeats = 2"), "xxxxx.");
    assert_eq!(first("way = \"centred\"\nrepeats = 2"), ".xxxx.");
    assert_eq!(first("way = \"straight\""), ".xxxx.");
}

/// The spare row of a 400 card has eight holes; plain lifts every other end and
/// changes with every card, whatever its weft.
#[test]
fn the_spare_row_works_the_selvedges() {
    let selvedge = "[selvedge]\nleft = 3\nright = 4\nweave = \"plain\"\n\n[first_end]";
    let cloth = damask(&[("[first_end]", selvedge), ("hooks = \"1-400\"", "")]);
    let line = "1".repeat(400);
    let deck = deck(&cloth, &squares(&[&line; 2]));
    let spare: Vec<Row> = deck.cards().map(|(_, rows)| rows[0]).collect();
    // seven ends are worked by seven holes; the eighth works none and stays solid
    assert_eq!(
        spare,
        [Row::from_holes([1, 3, 5, 7]), Row::from_holes([2, 4, 6])]
    );
    let mounting = cloth.mounting(400).expect("it fits");
    let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
    assert_eq!((woven.ends(), woven.figure()), (807, 3..803));
    let first: Vec<bool> = woven.pick(0).collect();
    assert_eq!(first[..3], [true, false, true]);
    assert_eq!(first[803..], [false, true, false, true]);
}

/// The longest run of squares of colour 0 that are all so, in each line.
fn longest(lines: impl Iterator<Item = (Vec<u8>, Vec<bool>)>, floats: bool) -> usize {
    let of_line = |(colours, up): (Vec<u8>, Vec<bool>)| {
        let (mut run, mut longest) = (0, 0);
        for (colour, up) in colours.iter().zip(up) {
            run = if *colour == 0 && up == floats {
                run + 1
            } else {
                0
            };
            longest = longest.max(run);
        }
        longest
    };
    lines.map(of_line).max().unwrap_or_default()
}

/// Squares of two colours in blocks, so that there are long floats and short.
fn blocks() -> impl Strategy<Value = Squares> {
    let part = (0usize..25, 0usize..20, 1usize..25, 1usize..20);
    proptest::collection::vec(part, 1..6).prop_map(|parts| {
        let mut colours = vec![1; 25 * 20];
        for (left, top, wide, high) in parts {
            for line in top..(top + high).min(20) {
                for column in left..(left + wide).min(25) {
                    colours[line * 25 + column] = 0;
                }
            }
        }
        Squares::new(25, colours).expect("whole lines")
    })
}

proptest! {
    /// A float that is longer than the limit catches in use, whatever the shape
    /// of its area.
    #[test]
    fn no_float_in_an_area_is_longer_than_its_limit(
        squares in blocks(),
        ends in 3u32..12,
        picks in 3u32..12,
        lift in any::<bool>(),
        more in prop_oneof![
            Just(""),
            Just("\nedges = \"clear\""),
            Just("\nbinding = \"afresh\""),
            Just("\nedges = \"clear\"\nbinding = \"afresh\""),
        ],
    ) {
        let (weave, other) = if lift { ("lift", "leave") } else { ("leave", "lift") };
        let figure = format!("weave = \"{weave} bound {ends} ends {picks} picks\"{more}");
        let cloth = small(&figure, &format!("weave = \"{other}\""));
        let deck = deck(&cloth, &squares);
        let mounting = cloth.mounting(25).expect("it fits");
        let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
        let colour = |column: usize, line: u32| {
            squares.woven_line(line, cloth.first_line())[column]
        };
        let across = (0..20u32).map(|line| {
            let colours = (0..25).map(|column| colour(column, line)).collect();
            (colours, woven.pick(line).take(25).collect())
        });
        prop_assert!(longest(across, lift) <= ends as usize);
        let upwards = (0..25usize).map(|column| {
            let colours = (0..20u32).map(|line| colour(column, line)).collect();
            (colours, (0..20u32).map(|line| woven.is_up(line, column)).collect())
        });
        prop_assert!(longest(upwards, lift) <= picks as usize);
    }
}
