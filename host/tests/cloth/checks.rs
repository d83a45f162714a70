//! Risk: a designer is told a size, a float or a number of cards that is not so.

use super::support::{DAMASK, changed, checks, cloth, damask, deck, squares};
use cardwright::cloth::checks::Float;
use cardwright::cloth::{Cloth, Squares, Woven};
use proptest::prelude::*;

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

/// A single row, a single hole, and work of minutes, as a person says them.
#[test]
fn little_is_told_as_little() {
    let told = |columns: usize| {
        let cloth = damask(&[
            ("format = \"400\"", "format = \"400\"\ncast_out = \"auto\""),
            ("hooks = \"1-400\"", ""),
        ]);
        checks(
            &cloth,
            &squares(&["01".repeat(columns)[..columns].to_owned()]),
        )
        .lines()
        .join("\n")
    };
    assert!(told(49).contains("casts out row 2\n"), "{}", told(49));
    assert!(
        told(57).contains("casts out row 2 hole 1\n"),
        "{}",
        told(57)
    );
    assert!(told(48).contains("casts out rows 2,27\n"), "{}", told(48));
    assert!(
        told(79).contains("casts out row 2 holes 1-5\n"),
        "{}",
        told(79)
    );
    let work = "by hand less than 0.1 hours, 0.1 lb of paper";
    assert!(told(48).contains(work), "{}", told(48));
}

#[test]
fn the_heaviest_card_is_named() {
    let (light, heavy) = ("1".repeat(400), "0".repeat(399) + "1");
    let checks = checks(&damask(&[]), &squares(&[&light, &heavy, &light]));
    assert_eq!((checks.lifts.most, checks.lifts.heaviest), (399, 2));
    assert_eq!(checks.alike.count, 0);
    assert!((checks.lifts.mean - 133.0).abs() < 1e-9);
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
