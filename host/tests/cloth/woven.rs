//! Risk: an end of the cloth is worked by another hook than the tie says, so
//! that the figure comes out torn or turned.

use super::support::{damask, deck};
use cardwright::cloth::{Squares, Tie, Woven};
use cardwright::deck::CardFormat;
use proptest::prelude::*;

/// The column that stands over each end, by counting one end after another as a
/// person would who ties a harness.
fn counted(sections: &[(u32, u32, &str, bool, u32)], per_hook: u32) -> Vec<u32> {
    let mut ends = Vec::new();
    for (first, last, way, single, repeats) in sections {
        for _ in 0..*repeats {
            let mut hooks: Vec<u32> = Vec::new();
            let mut hook = *first;
            while *way != "reversed" && hook <= *last {
                hooks.push(hook);
                hook += 1;
            }
            let mut hook = *last;
            while *way != "straight" && hook >= *first {
                let turns = hook == *last || hook == *first;
                if !(*way == "centred" && *single && turns) {
                    hooks.push(hook);
                }
                hook -= 1;
            }
            for hook in hooks {
                (0..per_hook).for_each(|_| ends.push(hook - 1));
            }
        }
    }
    ends
}

fn section() -> impl Strategy<Value = (u32, u32, &'static str, bool, u32)> {
    let way = prop_oneof![Just("straight"), Just("reversed"), Just("centred")];
    (1u32..=100, 1u32..=100, way, any::<bool>(), 1u32..4)
        .prop_map(|(a, b, way, single, repeats)| (a.min(b), a.max(b), way, single, repeats))
}

proptest! {
    #[test]
    fn every_end_is_worked_by_the_hook_that_the_tie_names(
        sections in proptest::collection::vec(section(), 0..4),
        per_hook in 1u32..4,
        seed in any::<u64>(),
        (card_end, hole, along) in corner(),
    ) {
        // all hooks are worked at least once
        let mut sections = sections;
        sections.push((1, 100, "straight", false, 1));
        let mut text = String::new();
        for (first, last, way, single, repeats) in &sections {
            text += &format!("[[tie]]\nhooks = \"{first}-{last}\"\nway = \"{way}\"\nrepeats = {repeats}\n");
            if *way == "centred" && *single {
                text += "turning = \"single\"\n";
            }
        }
        let cloth = damask(&[
            ("format = \"400\"", "format = \"100\""),
            ("[[tie]]\nhooks = \"1-400\"\nway = \"straight\"\nrepeats = 2\n", &text),
            ("ends_per_hook = 1", &format!("ends_per_hook = {per_hook}")),
            ("card_end = \"numbered\"", &format!("card_end = \"{card_end}\"")),
            ("hole = \"first\"", &format!("hole = \"{hole}\"")),
            ("along = \"row\"", &format!("along = \"{along}\"")),
        ]);
        let noise = |square: u64| u8::from(seed.rotate_left((square % 61) as u32) ^ square & 1 == 1);
        let paper = Squares::new(100, (0..300).map(|s| noise(s) & 1).collect()).expect("lines");
        let deck = deck(&cloth, &paper);
        let mounting = cloth.mounting(100).expect("it fits");
        let woven = Woven::new(&deck, &cloth, &mounting).expect("one format");
        let wanted = counted(&sections, per_hook);
        prop_assert_eq!(woven.ends(), wanted.len());
        for pick in 0..3 {
            // colour 0 is lifted; the lowest line is woven first
            let line = &paper.colours()[(2 - pick as usize) * 100..][..100];
            for (end, hook) in wanted.iter().enumerate() {
                prop_assert_eq!(woven.is_up(pick, end), line[*hook as usize] == 0);
            }
            let by_end: Vec<bool> = (0..woven.ends()).map(|end| woven.is_up(pick, end)).collect();
            prop_assert_eq!(woven.pick(pick).collect::<Vec<_>>(), by_end);
        }
    }

    /// A hook's place, found by walking over the card.
    #[test]
    fn hooks_are_counted_from_the_corner_in_the_direction_named(
        (card_end, hole, along) in corner(),
        format in prop_oneof![Just("100"), Just("300"), Just("400"), Just("600"), Just("200-half")],
    ) {
        let cloth = damask(&[
            ("format = \"400\"", &format!("format = \"{format}\"")),
            ("hooks = \"1-400\"", ""),
            ("card_end = \"numbered\"", &format!("card_end = \"{card_end}\"")),
            ("hole = \"first\"", &format!("hole = \"{hole}\"")),
            ("along = \"row\"", &format!("along = \"{along}\"")),
        ]);
        let card = CardFormat::named(format).expect("built in");
        let (rows, holes) = (card.rows(), card.holes_per_row());
        let spare = card.spare_row();
        let first_row = if spare.is_some() { 2 } else { 1 };
        let mounting = cloth.mounting(cloth.hooks_of_card()).expect("it fits");
        let (mut row, mut place) = (first_row, 1);
        for hook in mounting.hooks() {
            let at_row = if card_end == "numbered" { row } else { rows + first_row - row };
            let at_hole = if hole == "first" { place } else { holes + 1 - place };
            prop_assert_eq!((hook.row, hook.hole), (at_row, at_hole));
            if along == "row" {
                place += 1;
                if place > holes { (row, place) = (row + 1, 1); }
            } else {
                row += 1;
                if row > rows { (row, place) = (first_row, place + 1); }
            }
        }
    }
}

fn corner() -> impl Strategy<Value = (&'static str, &'static str, &'static str)> {
    (
        prop_oneof![Just("numbered"), Just("other")],
        prop_oneof![Just("first"), Just("last")],
        prop_oneof![Just("row"), Just("card")],
    )
}

/// Turned over, 400 hooks work 800 ends (Bell ch. III: it halves the hooks).
#[test]
fn a_centred_tie_halves_the_hooks() {
    let cloth = damask(&[("way = \"straight\"\nrepeats = 2", "way = \"centred\"")]);
    let ends = cloth.mounting(400).expect("it fits").ends().to_vec();
    assert_eq!(ends.len(), 800);
    assert!(
        ends.iter().eq(ends.iter().rev()),
        "one half is the other in a mirror"
    );
}

#[test]
fn a_tie_that_does_not_fit_the_hooks_is_refused() {
    let refused = |tie: &str| {
        let cloth = damask(&[("hooks = \"1-400\"", tie)]);
        cloth.mounting(400).expect_err(tie).to_string()
    };
    let error = refused("hooks = \"1-401\"");
    assert!(
        error.contains("section 1 of the tie works hooks 1-401, and hooks 1 to 400"),
        "{error}"
    );
    let error = refused("hooks = \"101-390\"");
    assert!(
        error.contains("hooks 1-100 of 400 in use work no end"),
        "{error}"
    );
    let cloth = damask(&[("repeats = 2", "repeats = 9999")]);
    let error = cloth.mounting(400).expect_err("too wide").to_string();
    assert!(error.contains("makes 3999600 ends"), "{error}");
    assert_eq!(Tie::straight().ends(3, 2), Ok(vec![0, 0, 1, 1, 2, 2]));
}

#[test]
fn a_deck_for_other_cards_is_not_woven() {
    let small = damask(&[
        ("format = \"400\"", "format = \"100\""),
        ("hooks = \"1-400\"", ""),
    ]);
    let paper = Squares::new(100, vec![0; 100]).expect("one line");
    let deck = deck(&small, &paper);
    let cloth = damask(&[]);
    let mounting = cloth.mounting(400).expect("it fits");
    let error = Woven::new(&deck, &cloth, &mounting).expect_err("other cards");
    assert!(
        error
            .to_string()
            .contains("of format 100, and the cloth file names format 400")
    );
}
