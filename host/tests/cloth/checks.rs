//! Risk: a designer is told a size, a float or a number of cards that is not so.

use super::support::{DAMASK, changed, cloth, damask, deck, squares};
use cardwright::cloth::checks::{Checks, Float, WeaveOf};
use cardwright::cloth::{Cloth, Squares, Woven};
use proptest::prelude::*;

fn checks(cloth: &Cloth, squares: &Squares) -> Checks {
    let deck = deck(cloth, squares);
    let mounting = cloth.mounting(squares.columns()).expect("it fits");
    cloth
        .check(&deck, &mounting, Some(squares))
        .expect("one format")
}

/// Posselt: 80 ends and 120 picks an inch need paper of 8 x 12. Taylor p. 225:
/// 134 to 100 needs 8 x 6 for a 400 machine. The first number is the holes of a
/// row (Brooks).
#[test]
fn paper_is_ruled_as_the_handbooks_rule_it() {
    let ruling = |ends: &str, picks: &str| {
        let ruling = damask(&[("ends = 80", ends), ("picks = 60", picks)]).ruling();
        (ruling.across, ruling.up)
    };
    assert_eq!(ruling("ends = 80", "picks = 120"), (8, 12));
    assert_eq!(ruling("ends = 134", "picks = 100"), (8, 6));
    // two ends a hook: the square is twice as wide, so half as many lie across
    let twice = damask(&[
        ("ends_per_hook = 1", "ends_per_hook = 2"),
        ("picks = 60", "picks = 80"),
    ]);
    assert_eq!(twice.ruling().up, 16);
    // lines of two wefts take twice the height
    let two = "[[weft]]\nname = \"silk\"\ncolour = \"#000000\"\n\n[[weft]]";
    let text = changed(DAMASK, "[[weft]]", two)
        .replace(
            "weave = \"lift\"",
            "weave = { silk = \"lift\", linen = \"leave\" }",
        )
        .replace(
            "weave = \"leave\"\n",
            "weave = { silk = \"leave\", linen = \"lift\" }\n",
        );
    let text = changed(&text, "picks = 60", "picks = 160");
    assert_eq!(cloth(&text).ruling().up, 8);
}

/// Bell chs. III, IV: 2 in at 100 ends an inch needs 200 hooks; cards are length
/// times picks an inch.
#[test]
fn sizes_follow_from_the_sett() {
    let cloth = damask(&[
        ("ends = 80", "ends = 100"),
        ("format = \"400\"", "format = \"200\""),
        ("hooks = \"1-400\"", ""),
        ("repeats = 2", ""),
    ]);
    let line = "01".repeat(100);
    let size = checks(&cloth, &squares(&[&line; 90])).size;
    assert!((size.width - 2.0).abs() < 1e-9, "{size:?}");
    assert!(
        (size.length - 1.5).abs() < 1e-9,
        "90 picks at 60 an inch: {size:?}"
    );
}

/// Brooks: 64 ends go 6 times into 400 with 16 over. Taylor p. 220: 12 use 396.
#[test]
fn how_a_design_divides_is_told() {
    let cloth = damask(&[("hooks = \"1-400\"", "")]);
    let division = cloth.division(64);
    assert_eq!((division.times, division.over), (6, 16));
    assert_eq!(
        (&division.rows[..], &division.holes[..]),
        (&[2, 27][..], &[][..])
    );
    let division = cloth.division(12);
    assert_eq!(
        (division.times * 12, division.over, division.holes.len()),
        (396, 4, 4)
    );
    assert_eq!(cloth.division(400).over, 0);
}

/// Bell ch. V: a good cutter cuts 100 to 150 cards of about 56 strokes an hour.
/// Bell ch. II: 16 to 18 cards of the 400 size go to the pound.
#[test]
fn the_work_of_cutting_is_told() {
    let line = "01".repeat(200);
    let checks = checks(&damask(&[]), &squares(&[&line; 300]));
    let work = &checks.work;
    assert_eq!((work.cards, work.strokes), (300, 300 * 56));
    assert_eq!(work.hours_by_hand, (2.0, 3.0));
    assert!((work.pounds.0 - 300.0 / 18.0).abs() < 1e-9);
    assert!((work.pounds.1 - 300.0 / 16.0).abs() < 1e-9);
    assert_eq!(work.blank_rows, [1], "the spare row");
    assert_eq!(
        (checks.lifts.mean, checks.lifts.most, checks.lifts.heaviest),
        (200.0, 200, 1)
    );
    assert_eq!(
        (checks.alike.count, &checks.alike.first[..]),
        (299, &[2, 3, 4, 5, 6][..])
    );
    insta::assert_snapshot!("checks_in_words", checks.lines().join("\n"));
}

#[test]
fn the_heaviest_card_is_named() {
    let (light, heavy) = ("1".repeat(400), "0".repeat(399) + "1");
    let checks = checks(&damask(&[]), &squares(&[&light, &heavy, &light]));
    assert_eq!((checks.lifts.most, checks.lifts.heaviest), (399, 2));
    assert_eq!(checks.alike.count, 0);
    assert!((checks.lifts.mean - 133.0).abs() < 1e-9);
}

#[test]
fn weaves_that_break_at_the_edge_are_told() {
    let cloth = damask(&[
        ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
        ("weave = \"leave\"", "weave = \"satin 5 counter 2 weft\""),
    ]);
    let line = "01".repeat(200);
    let told = |lines: usize| -> Vec<(String, bool, usize, u32)> {
        let checks = checks(&cloth, &squares(&vec![line.as_str(); lines]));
        let breaks = checks.breaks.into_iter();
        breaks
            .map(|b| match b.of {
                WeaveOf::Colour { name, .. } => (name, b.across, b.repeat, b.size),
                WeaveOf::Selvedges => panic!("there are none"),
            })
            .collect()
    };
    assert_eq!(told(40), []);
    assert_eq!(
        told(44),
        [
            ("figure".to_owned(), false, 8, 44),
            ("ground".to_owned(), false, 5, 44)
        ]
    );
    // 25 columns go 16 times into 400 hooks; the satin of 8 does not go into 25
    let cloth = damask(&[
        ("hooks = \"1-400\"", ""),
        ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
    ]);
    let checks = checks(&cloth, &squares(&["0".repeat(25).as_str(); 8]));
    let breaks: Vec<(bool, usize, u32)> = checks
        .breaks
        .iter()
        .map(|b| (b.across, b.repeat, b.size))
        .collect();
    assert_eq!(breaks, [(true, 8, 25)]);
}

/// Plain weave comes again every second card (common practice, no source): an odd number
/// of cards has two alike at its edges in the cloth.
#[test]
fn selvedges_that_break_at_the_edge_are_told() {
    let selvedge = "[selvedge]\nleft = 2\nright = 3\nweave = \"plain\"\n\n[first_end]";
    let cloth = damask(&[("[first_end]", selvedge)]);
    let told = |lines: usize| {
        let line = "01".repeat(200);
        let mut checks = checks(&cloth, &squares(&vec![line.as_str(); lines]));
        checks.breaks.retain(|b| b.of == WeaveOf::Selvedges);
        let lines = checks.lines();
        let told = lines
            .into_iter()
            .find(|line| line.contains("weave of the selvedges"));
        (checks.breaks.len(), told)
    };
    let words = "the weave of the selvedges breaks at the edge of the repeat along the cloth: it \
                 repeats on 2, and the deck has 7 cards";
    assert_eq!(told(7), (1, Some(words.to_owned())));
    assert_eq!(told(8).0, 0);
}

/// A satin of 8 goes on over an edge if the columns between are a multiple of 8, counted
/// by hand: hooks 42 to 80 once more are 39 columns on, 41 to 80 are 40, and 40 follows
/// 39 whatever the section. At a turn it is mirrored, which is no break.
#[test]
fn weaves_that_break_where_the_tie_leaves_the_paper_are_told() {
    let told = |sections: &[(&str, &str)]| -> Vec<u32> {
        let tie: Vec<String> = sections
            .iter()
            .map(|(hooks, way)| format!("[[tie]]\nhooks = \"{hooks}\"\n{way}\n"))
            .collect();
        let cloth = damask(&[
            (
                "[[tie]]\nhooks = \"1-400\"\nway = \"straight\"\nrepeats = 2\n",
                &tie.join("\n"),
            ),
            (
                "format = \"400\"",
                "format = \"400\"\nhooks = 80\ncast_out = \"auto\"",
            ),
            ("weave = \"lift\"", "weave = \"satin 8 counter 3 warp\""),
        ]);
        let breaks = checks(&cloth, &squares(&["0".repeat(80).as_str(); 8])).breaks;
        breaks.iter().filter(|b| b.across).map(|b| b.size).collect()
    };
    let straight = "way = \"straight\"";
    let thrice = "way = \"straight\"\nrepeats = 3";
    let back = "way = \"reversed\"";
    assert_eq!(
        told(&[("1-41", straight), ("42-80", thrice), ("1-41", back)]),
        [39]
    );
    assert_eq!(
        told(&[("1-40", straight), ("41-80", thrice), ("1-40", back)]),
        Vec::<u32>::new()
    );
    assert_eq!(
        told(&[("1-39", straight), ("40-80", straight)]),
        Vec::<u32>::new()
    );
    assert_eq!(
        told(&[("1-80", straight), ("1-80", back)]),
        Vec::<u32>::new()
    );
}

/// The longest float found by trying every square as a beginning.
fn tried(woven: &Woven<'_>, along: bool, warp_up: bool) -> Float {
    let (picks, ends) = (woven.picks(), woven.ends() as u32);
    let at = |pick: u32, end: u32| woven.warp_on_face(pick, end as usize) == warp_up;
    let mut longest = Float::default();
    for pick in 0..picks {
        for end in 0..ends {
            let mut length = 0;
            if along {
                // it begins here unless the square before it is alike, or all are
                let all = (0..picks).all(|pick| at(pick, end));
                let begins = !at((pick + picks - 1) % picks, end) || (all && pick == 0);
                while begins && length < picks && at((pick + length) % picks, end) {
                    length += 1;
                }
            } else if end == 0 || !at(pick, end - 1) {
                while end + length < ends && at(pick, end + length) {
                    length += 1;
                }
            }
            if length > longest.length {
                let whole = if along { picks } else { ends };
                longest = Float {
                    length,
                    end: end + 1,
                    pick: pick + 1,
                    unbound: length == whole,
                };
            }
        }
    }
    longest
}

proptest! {
    #[test]
    fn the_longest_floats_are_those_that_trying_every_square_finds(
        lines in 1usize..9,
        runs in proptest::collection::vec((0u8..2, 1usize..40), 40..120),
        down in any::<bool>(),
        centred in any::<bool>(),
        selvedge in any::<bool>(),
    ) {
        let spare = "[selvedge]\nleft = 2\nright = 3\nweave = \"plain\"\n\n[first_end]";
        let cloth = damask(&[
            ("format = \"400\"", "format = \"200-half\""),
            ("hooks = \"1-400\"", ""),
            ("way = \"straight\"\nrepeats = 2", if centred { "way = \"centred\"" } else { "repeats = 1" }),
            ("face = \"up\"", if down { "face = \"down\"" } else { "face = \"up\"" }),
            ("[first_end]", if selvedge { spare } else { "[first_end]" }),
        ]);
        let noise = runs.iter().flat_map(|(colour, run)| std::iter::repeat_n(*colour, *run));
        let colours: Vec<u8> = noise.cycle().take(100 * lines).collect();
        let squares = Squares::new(100, colours).expect("whole lines");
        let floats = checks(&cloth, &squares).floats;
        let deck = deck(&cloth, &squares);
        let mounting = cloth.mounting(100).expect("it fits");
        let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
        prop_assert_eq!(floats.warp_face, tried(&woven, true, true));
        prop_assert_eq!(floats.warp_back, tried(&woven, true, false));
        prop_assert_eq!(floats.weft_back, tried(&woven, false, true));
        prop_assert_eq!(floats.weft_face, tried(&woven, false, false));
    }
}

/// A thread catches in use by how far it floats, however many ends a hook works: limits
/// are in ends.
#[test]
fn limits_of_floats_hold_in_ends() {
    for each in [1, 2, 4] {
        let ends = format!("ends_per_hook = {each}");
        let with = |weave: &str| {
            let cloth = damask(&[
                ("ends_per_hook = 1", &ends),
                ("weave = \"lift\"", weave),
                ("face = \"up\"", "face = \"up\"\nlongest_float = 16"),
            ]);
            checks(&cloth, &squares(&["0".repeat(400).as_str(); 24])).floats
        };
        let bound = with("weave = \"lift bound 16 ends\"").weft_back.length;
        assert!(bound <= 16 && bound > 16 - 2 * each, "{each}: {bound}");
        // without its satin's points a figure 16 ends wide floats no further than that
        let blocks: Vec<String> = (0..24)
            .map(|_| ("0".repeat(16) + &"1".repeat(24)).repeat(10))
            .collect();
        let clear = damask(&[
            ("ends_per_hook = 1", &ends),
            (
                "weave = \"lift\"",
                "weave = \"satin 8 counter 3 warp\"\nedges = \"clear\"",
            ),
            ("weave = \"leave\"", "weave = \"plain\""),
            ("face = \"up\"", "face = \"up\"\nlongest_float = 16"),
        ]);
        let floats = checks(&clear, &squares(&blocks)).floats;
        assert!(
            floats.weft_back.length <= 16.max(8 * each),
            "{each}: {floats:?}"
        );
    }
    let short = changed(DAMASK, "weave = \"lift\"", "weave = \"lift bound 8 ends\"");
    let short = changed(&short, "ends_per_hook = 1", "ends_per_hook = 4");
    let error = Cloth::parse(&short, std::path::Path::new("short.toml"));
    let error = error.expect_err("two hooks").to_string();
    assert!(error.contains("over 12 ends or more"), "{error}");
}
