//! Risk: a mistake in a plan is taken for something else, or refused in words that
//! do not say what, where and what to do.

use super::made::by_name;
use cardwright::deck::{Deck, DeckFileError};
use cardwright::weave::{Plan, Walk};
use proptest::prelude::*;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

const TOWELS: &str = r##"name = "Towels"
length = "2.4 m"
sett = { picks = 30, per = "in" }
loom = "loom.toml"

[decks]
border = "40.deck"
field = "160.deck"

[wefts]
linen = "#efe6d0"
blue = "#1f4e79"

[[section]]
name = "heading"
ground = 12
weft = "linen"

[[section]]
name = "border"
deck = "border"
cards = "1-40"
weft = ["linen", "blue"]
marks = [{ before = 1, say = "change shuttle" }]

[[section]]
name = "field"
deck = "field"
cards = ["10-160", "159-11"]
repeat = "to length"
weft = "linen"
wefts_by_card = { "17" = "blue", "20-24" = "blue" }
ground_between = { every = 2, picks = 1 }
marks = [{ after = 160, say = "turn the chain back" }, { every = 80, say = "measure" }]
"##;

fn parse(text: &str) -> Result<Plan, String> {
    let deck = &mut |file: &Path| -> Result<Deck, DeckFileError> {
        match file.to_str() {
            Some("damaged.deck") => Deck::parse("deck = 1\nname =\n", file),
            _ => by_name(file),
        }
    };
    Plan::parse(text, Path::new("plan.toml"), deck).map_err(|error| error.to_string())
}

/// The text with one thing changed.
fn changed(from: &str, to: &str) -> String {
    assert!(TOWELS.contains(from), "{from:?} is in the text");
    TOWELS.replacen(from, to, 1)
}

const FIELD: &str = "cards = [\"10-160\", \"159-11\"]";
const GROUND: &str = "ground = 12";
const MARK: &str = "{ before = 1, say = \"change shuttle\" }";
const LENGTH: &str = "length = \"2.4 m\"";
const FILL: &str = "repeat = \"to length\"";

const HEAD: [(&str, &str); 31] = [
    ("name = \"Towels\"", ""),
    ("name = \"Towels\"", "name = \"\""),
    ("name = \"Towels\"", "name = 3"),
    ("name = \"Towels\"", "name = \"two\\nlines\""),
    ("name = \"Towels\"", "name = \"Towels"),
    ("name = \"Towels\"", "name = \"Towels\"\nname = \"more\""),
    ("name = \"Towels\"", "nmae = \"Towels\""),
    (LENGTH, "length = 2.4"),
    (LENGTH, "length = \"2,4 m\""),
    (LENGTH, "length = \"2.4\""),
    (LENGTH, "length = \"2.4 ells\""),
    (LENGTH, "length = \"0 m\""),
    (LENGTH, "length = \"-1 m\""),
    (LENGTH, "length = \"20000 m\""),
    (LENGTH, "length = \"2.4 m\"\npicks = 3000"),
    (LENGTH, "picks = 0"),
    (LENGTH, "picks = 3e3"),
    (LENGTH, "picks = 100000001"),
    (LENGTH, ""),
    ("picks = 30,", "picks = 0,"),
    ("picks = 30,", "picks = nan,"),
    ("picks = 30,", "picks = 99999999999999999999,"),
    ("picks = 30,", "picks = \"thirty\","),
    ("picks = 30,", ""),
    ("picks = 30, per = \"in\"", "picks = 30, per = \"ell\""),
    ("sett = { picks = 30, per = \"in\" }", "sett = 30"),
    ("sett = { picks = 30, per = \"in\" }", ""),
    ("loom = \"loom.toml\"", "loom = \"\""),
    ("linen = \"#efe6d0\"", "linen = \"cream\""),
    ("[wefts]", "[wefts]\n\"\" = \"#000000\""),
    ("field = \"160.deck\"", "field = [\"160.deck\"]"),
];

const SECTIONS: [(&str, &str); 34] = [
    ("field = \"160.deck\"", "field = \"gone.deck\""),
    ("field = \"160.deck\"", "field = \"damaged.deck\""),
    (
        "[[section]]\nname = \"heading\"",
        "[section]\nname = \"heading\"",
    ),
    ("name = \"heading\"", ""),
    (GROUND, ""),
    (GROUND, "ground = 0"),
    (GROUND, "ground = -3"),
    (GROUND, "ground = 12.5"),
    (GROUND, "ground = 12\ndeck = \"field\""),
    (GROUND, "ground = 12\ncards = \"1-4\""),
    (
        GROUND,
        "ground = 12\nground_between = { every = 1, picks = 1 }",
    ),
    (GROUND, "ground = 100000000\nrepeat = 2"),
    (GROUND, "ground = 12\nrepeat = \"to length\""),
    (GROUND, "ground = 2835"),
    (GROUND, "ground = 12\nrepeat = 0"),
    (GROUND, "ground = 12\nrepeat = \"often\""),
    (GROUND, "ground = 12\nrepeat = true"),
    (GROUND, "ground = 12\ncolour = \"blue\""),
    ("deck = \"border\"", "deck = \"boarder\""),
    (
        "weft = [\"linen\", \"blue\"]",
        "weft = [\"linen\", \"bleu\"]",
    ),
    ("weft = [\"linen\", \"blue\"]", "weft = []"),
    ("weft = [\"linen\", \"blue\"]", "weft = [1979-05-27]"),
    (
        "weft = \"linen\"\nwefts_by_card",
        "weft = [\"linen\", \"blue\"]\nwefts_by_card",
    ),
    (FIELD, "cards = \"0-4\""),
    (FIELD, "cards = \"1-161\""),
    (FIELD, "cards = \"99999999999\""),
    (FIELD, "cards = \"all\""),
    (FIELD, "cards = \"1-4-7\""),
    (FIELD, "cards = \"1-4,\""),
    (FIELD, "cards = [\"1-4\", \"\"]"),
    (FIELD, "cards = []"),
    (FIELD, "cards = 160"),
    (FILL, "repeat = 300000"),
    (LENGTH, "length = \"4.4 cm\""),
];

const DETAILS: [(&str, &str); 24] = [
    ("\"20-24\" = \"blue\"", "\"17-18\" = \"linen\""),
    ("\"20-24\" = \"blue\"", "\"4-12\" = \"blue\""),
    ("\"20-24\" = \"blue\"", "\"20-240\" = \"blue\""),
    ("\"20-24\" = \"blue\"", "\"some\" = \"blue\""),
    ("\"20-24\" = \"blue\"", "\"20-24\" = \"bleu\""),
    ("\"20-24\" = \"blue\"", "\"20-24\" = 3"),
    ("every = 2,", "every = 0,"),
    ("every = 2,", "every = 302,"),
    ("every = 2,", ""),
    ("every = 2, picks = 1", "every = 2, picks = 10001"),
    ("every = 2, picks = 1", "every = 2, picks = 1, cards = 3"),
    (MARK, "{ before = 41, say = \"change shuttle\" }"),
    (MARK, "{ before = 0, say = \"change shuttle\" }"),
    (MARK, "{ before = 1, after = 2, say = \"change shuttle\" }"),
    (MARK, "{ say = \"change shuttle\" }"),
    (MARK, "{ before = 1 }"),
    (MARK, "{ before = 1, say = \" \" }"),
    (
        MARK,
        "{ before = 1, way = \"back\", say = \"change shuttle\" }",
    ),
    (
        MARK,
        "{ before = 1, way = \"down\", say = \"change shuttle\" }",
    ),
    (
        MARK,
        "{ every = 4, way = \"back\", say = \"change shuttle\" }",
    ),
    (MARK, "{ after_pick = 41, say = \"change shuttle\" }"),
    (MARK, "{ every = 41, say = \"measure\" }"),
    (MARK, "\"change shuttle\""),
    (GROUND, "ground = 12\nmarks = [{ before = 1, say = \"x\" }]"),
];

#[test]
fn every_fault_in_a_plan_has_its_own_error() {
    parse(TOWELS).expect("the plan is right");
    let mut messages = String::new();
    for (from, to) in HEAD.iter().chain(&SECTIONS).chain(&DETAILS) {
        let error = parse(&changed(from, to)).expect_err(to);
        let _ = writeln!(messages, "{from} -> {to}\n    {error}\n");
    }
    let without_sections = &TOWELS[..TOWELS.find("[[section]]").expect("sections")];
    let without_length = changed(LENGTH, "").replace("sett =", "#");
    let without_decks = changed("[decks]\nborder = \"40.deck\"\nfield = \"160.deck\"", "");
    let one_section = format!("{without_sections}[section]\nname = \"g\"\nground = 3\n");
    for text in [
        without_sections,
        &one_section,
        &without_length,
        &without_decks,
        "",
    ] {
        let error = parse(text).expect_err("something is missing");
        let _ = writeln!(messages, "    {error}\n");
    }
    insta::assert_snapshot!("plan_errors", messages);
}

/// A sett may come from nothing but the plan, and only a length needs one.
#[test]
fn what_may_be_left_out_may() {
    let plain = "name = \"x\"\n[[section]]\nname = \"g\"\nground = 3\n";
    let plan = parse(plain).expect("a plan");
    assert_eq!(
        (plan.wanted(), plan.sett(), plan.loom()),
        (None, None, None)
    );
    let walk = Walk::new(Arc::new(plan));
    assert_eq!((walk.len(), walk.length_of(3)), (3, None));
    // without a list of colours, wefts are names
    let named = plain.replace("ground = 3", "ground = 3\nweft = [\"flax\", \"tow\"]");
    let plan = parse(&named).expect("a plan");
    let names: Vec<&str> = plan.wefts().iter().map(|weft| weft.name.as_str()).collect();
    assert_eq!(names, ["flax", "tow"]);
}

#[test]
fn files_that_are_no_plans_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plan.toml");
    std::fs::write(&file, [0xff, 0xfe, 0]).expect("written");
    let missing = folder.path().join("none.toml");
    for (file, words) in [
        (file.as_path(), "is not a weave plan: a plan is a text file"),
        (missing.as_path(), "cannot read the weave plan"),
        (folder.path(), "cannot read the weave plan"),
        (Path::new("/dev/zero"), "a pipe or a device"),
    ] {
        let error = Plan::read(file).expect_err(words).to_string();
        assert!(error.contains(words), "{error}");
        assert!(error.contains(&file.display().to_string()), "{error}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    /// Whatever is written, it is a plan with all its picks or refused at a line.
    #[test]
    fn a_spoiled_plan_is_refused_at_a_line_or_woven(
        at in any::<proptest::sample::Index>(),
        length in 0_usize..12,
        other in "[-0-9a-z\"\\[\\]{}=,. \n]{0,12}",
    ) {
        let at = at.index(TOWELS.len());
        let end = (at + length).min(TOWELS.len());
        let text = format!("{}{other}{}", &TOWELS[..at], &TOWELS[end..]);
        match parse(&text) {
            Err(error) => prop_assert!(error.starts_with("plan.toml, line "), "{error}"),
            Ok(plan) => {
                let walk = Walk::new(Arc::new(plan));
                for number in [0, walk.len() / 2, walk.len() - 1] {
                    prop_assert!(walk.pick(number).is_some());
                }
                prop_assert!(walk.pick(walk.len()).is_none());
            }
        }
    }
}
