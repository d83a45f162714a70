//! Risk: an old deck is copied wrongly or not at all, a loose card is not found,
//! a card that could be mended is cut anew, or one is spoiled by mending.

use std::path::Path;
use std::process::{Command, Stdio};

use cardwright::deck::Deck;

use super::support::{Live, Place, cardwright, run};

pub(super) fn on(place: &Place, what: &[&str]) -> Command {
    let mut command = cardwright(&["--speed", "40", "--data"]);
    command.arg(place.file("data")).args(what);
    command
}

pub(super) fn read(place: &Place, out: &Path, stack: &str) -> Command {
    let mut command = on(place, &["read", "--json", "--format", "100", "--stack"]);
    command.arg(stack).arg(out);
    command
}

pub(super) fn cards(file: &Path) -> Vec<Vec<cardwright::deck::Row>> {
    let deck = Deck::read(file).expect("a deck");
    deck.cards().map(|(_, rows)| rows.to_vec()).collect()
}

#[test]
fn a_stack_is_copied_card_for_card_and_can_be_cut() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 6, 11), place.file("copy.deck"));
    let stack = old.display().to_string();
    let done = run(read(&place, &copy, &stack).args(["--cards", "6", "--passes", "2"]));
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert_eq!(
        (&summary["cards"], &summary["passes"]),
        (&6.into(), &2.into())
    );
    assert_eq!(cards(&copy), cards(&old));
    // what is there is left alone, unless more is wanted
    let again = run(read(&place, &copy, &stack).args(["--cards", "6"]));
    assert_eq!(again.status, 2, "{again:?}");
    assert!(again.summary()["words"].to_string().contains("--more"));
    // the same stack: as many cards as before
    let more = run(read(&place, &copy, &stack).arg("--more"));
    assert_eq!(
        (more.status, &more.summary()["passes"]),
        (0, &3.into()),
        "{more:?}"
    );
    let cut = run(on(&place, &["cut", "--json", "--cards", "1-2"]).arg(&copy));
    assert_eq!(
        (cut.status, &cut.summary()["good"]),
        (0, &2.into()),
        "{cut:?}"
    );
}

/// The format is seen by the first card, which is not read twice.
#[test]
fn a_stack_is_copied_without_naming_its_format() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 3, 24), place.file("copy.deck"));
    let read = |more: &[&str]| {
        let mut command = on(&place, &["read", "--json", "--cards", "3", "--stack"]);
        run(command.arg(&old).arg(&copy).args(more))
    };
    let done = read(&["--passes", "2"]);
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert_eq!(
        (&summary["cards"], &summary["passes"]),
        (&3.into(), &2.into())
    );
    let note = |line: &serde_json::Value| line["words"].to_string().contains("format 100");
    assert!(done.json().iter().any(note), "{done:?}");
    let begun = done
        .json()
        .iter()
        .filter(|line| line["event"] == "begun")
        .count();
    assert_eq!(begun, 6, "{done:?}");
    assert_eq!(cards(&copy), cards(&old));
    assert_eq!(
        Deck::read(&copy).expect("a deck").format(),
        Deck::read(&old).expect("a deck").format()
    );
    // the deck is made again of what the ledger keeps, the first card among it
    let more = read(&["--more", "--passes", "0"]);
    assert_eq!(more.status, 0, "{more:?}");
    assert_eq!(cards(&copy), cards(&old));
    // one card is a stack as well
    let single = place.file("single.deck");
    let mut command = on(&place, &["read", "--json", "--cards", "1", "--stack"]);
    let one = run(command.arg(format!("{}:2", old.display())).arg(&single));
    assert_eq!(one.status, 0, "{one:?}");
    assert_eq!(cards(&single), cards(&old)[1..2]);
}

/// A deck in the ledger has a format with the same holes as a built-in one.
#[test]
fn formats_with_the_same_holes_are_asked_about_and_nothing_is_lost() {
    let place = Place::new();
    let text = include_str!("../../formats/100.toml").replace("\"100\"", "\"like-100\"");
    let format = place.write("like-100.toml", &text);
    let old = place.deck("old", 2, 25);
    let like = place.file("like.deck");
    let own = cardwright::deck::CardFormat::read(&format).expect("a format");
    let rows = cards(&old);
    let deck = Deck::new("like", own, None, Default::default(), rows).expect("a deck");
    deck.write(&like, false).expect("written");
    let cut = run(on(&place, &["cut", "--json", "--cards", "1"]).arg(&like));
    assert_eq!(cut.status, 0, "{cut:?}");
    let copy = place.file("copy.deck");
    let mut command = on(&place, &["read", "--json", "--cards", "2", "--stack"]);
    let asked = run(command.arg(&old).arg(&copy));
    assert_eq!(asked.status, 2, "{asked:?}");
    let words = asked.summary()["words"].to_string();
    assert!(words.contains("100 or like-100"), "{words}");
    assert!(words.contains("--format"), "{words}");
    assert!(!copy.exists());
    let told = run(read(&place, &copy, &old.display().to_string()).args(["--cards", "2"]));
    assert_eq!(told.status, 0, "{told:?}");
    assert_eq!(cards(&copy), cards(&old));
}

/// How many cards there are nobody has counted: a person says when it is the end.
#[test]
fn a_stack_ends_where_a_person_says() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 3, 12), place.file("copy.deck"));
    let mut command = read(&place, &copy, &old.display().to_string());
    let mut job = Live::start(command.stdin(Stdio::piped()));
    // the virtual attendant fills the magazine with blank cards then, as a person
    // must not: the fourth card is one
    for _ in 0..3 {
        job.event("card");
    }
    job.say("s");
    let done = job.end();
    assert!(done.status <= 1, "{done:?}");
    let copied = cards(&copy);
    assert!(copied.len() >= 3, "{done:?}");
    assert_eq!(copied[..3], cards(&old)[..]);
    // a blank card is no card of the deck
    let gaps = done.summary()["gaps"].as_array().map_or(0, Vec::len);
    assert_eq!(gaps, copied.len() - 3, "{done:?}");
}

#[test]
fn what_is_worn_is_doubtful_until_it_is_settled_and_gaps_are_not_cut() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 8, 13), place.file("copy.deck"));
    let worn = place.write("worn.toml", "seed = 5\nworn_hole = 0.03\n");
    let stack = format!("{}:1-3,5-8", old.display());
    let done = run(read(&place, &copy, &stack)
        .args([
            "--cards",
            "7",
            "--passes",
            "2",
            "--lacking",
            "4",
            "--faults",
        ])
        .arg(worn));
    assert_eq!(done.status, 1, "{done:?}");
    let summary = done.summary();
    assert_eq!(
        (&summary["cards"], &summary["gaps"][0]),
        (&8.into(), &4.into())
    );
    let doubtful = summary["doubtful"].as_u64().expect("how many");
    assert!(doubtful > 0, "{summary}");

    let cut = run(on(&place, &["cut", "--json"]).arg(&copy));
    assert_eq!(cut.status, 2, "{cut:?}");
    assert!(
        cut.summary()["words"]
            .to_string()
            .contains("--cards 1-3,5-8"),
        "{cut:?}"
    );

    let pictures = run(cardwright(&["deck", "settle", "--pictures"])
        .arg(place.file("pictures"))
        .arg(&copy));
    assert_eq!(pictures.status, 1, "{pictures:?}");
    assert!(place.file("pictures/doubtful-1.png").is_file());

    // which of the guesses is right, nobody has said: an old card is not cut by them
    let verify = run(
        on(&place, &["verify", "--json", "--cards", "1-3", "--stack"])
            .arg(format!("{}:1-3", old.display()))
            .arg(&copy),
    );
    assert!(verify.status <= 1, "{verify:?}");

    // every closed hole was a hole
    let mut settle = Live::start(
        cardwright(&["deck", "settle", "--json"])
            .arg(&copy)
            .stdin(Stdio::piped()),
    );
    for _ in 0..doubtful {
        settle.say("y");
    }
    let settled = settle.end();
    assert_eq!(
        (settled.status, &settled.summary()["doubtful"]),
        (0, &0.into()),
        "{settled:?}"
    );
    let (copied, right) = (cards(&copy), cards(&old));
    for (number, (copied, right)) in copied.iter().zip(&right).enumerate() {
        assert!(number == 3 || copied == right, "card {}", number + 1);
    }
}

#[test]
fn a_loose_card_is_found_in_the_decks_that_were_cut() {
    let place = Place::new();
    let (first, second) = (place.deck("first", 5, 14), place.deck("second", 5, 15));
    for deck in [&first, &second] {
        let cut = run(on(&place, &["cut", "--json", "--cards", "1"]).arg(deck));
        assert_eq!(cut.status, 0, "{cut:?}");
    }
    let which = |stack: String| {
        let ask = ["deck", "which", "--json", "--format", "100", "--stack"];
        run(on(&place, &ask).arg(stack))
    };
    let found = which(format!("{}:4", second.display()));
    assert_eq!(found.status, 0, "{found:?}");
    let place_of = &found.summary()["found"][0];
    assert_eq!(
        (&place_of["deck"], &place_of["cards"][0]),
        (&"second".into(), &4.into())
    );
    let stranger = place.deck("stranger", 2, 16);
    let lost = which(format!("{}:1", stranger.display()));
    assert_eq!(
        (lost.status, &lost.summary()["decks"]),
        (1, &2.into()),
        "{lost:?}"
    );
}

#[test]
fn a_verified_stack_tells_which_other_deck_a_card_is_of() {
    let place = Place::new();
    let (deck, other) = (place.deck("towel", 4, 17), place.deck("napkin", 4, 18));
    let cut = run(on(&place, &["cut", "--json", "--cards", "1"]).arg(&other));
    assert_eq!(cut.status, 0, "{cut:?}");
    let stack = format!("{}:3", other.display());
    let mut verify = on(&place, &["verify", "--json", "--stack", &stack]);
    let mut job = Live::start(verify.arg(&deck).stdin(Stdio::piped()));
    let card = job.event("card");
    job.say("s");
    let done = job.end();
    assert_eq!(done.status, 1, "{done:?}");
    let summary = card["summary"].to_string();
    assert!(summary.contains("card 3 of the deck napkin"), "{card}");
}

#[test]
fn missing_holes_are_cut_into_the_same_cards() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 19);
    let faults = place.write("faults.toml", "seed = 2\nmissing_hole = 0.01\n");
    let cut = run(
        on(&place, &["cut", "--json", "--recut", "never", "--faults"])
            .arg(faults)
            .arg(&deck),
    );
    assert_eq!(cut.status, 1, "{cut:?}");
    let owed = cut.summary()["owed"].as_array().map_or(0, Vec::len) as u64;
    assert!(owed > 0, "{cut:?}");
    let mend = run(on(&place, &["cut", "--json", "--mend"]).arg(&deck));
    assert_eq!(
        (mend.status, &mend.summary()["good"]),
        (0, &owed.into()),
        "{mend:?}"
    );
    let order = mend
        .json()
        .iter()
        .find(|line| line["event"] == "note")
        .cloned();
    assert!(order.is_some_and(|note| note["words"].to_string().contains("in this order")));
    // nothing is owed now
    let rest = run(on(&place, &["cut", "--json"]).arg(&deck));
    assert_eq!(
        (rest.status, &rest.summary()["stock"]),
        (0, &0.into()),
        "{rest:?}"
    );
}

/// What lies in the rig is not what the stack's reading found in its place.
#[test]
fn a_card_that_was_read_in_anothers_place_is_not_mended() {
    let place = Place::new();
    let (deck, other) = (place.deck("towel", 2, 21), place.deck("napkin", 2, 22));
    let stack = format!("{}:1", other.display());
    let mut verify = on(&place, &["verify", "--json", "--stack", &stack]);
    let mut job = Live::start(verify.arg(&deck).stdin(Stdio::piped()));
    job.event("card");
    job.say("s");
    assert_eq!(job.end().status, 1);
    let mend = run(on(&place, &["cut", "--mend", "--cards", "1"]).arg(&deck));
    assert_eq!(mend.status, 1, "{mend:?}");
    assert!(
        mend.stderr.contains("no card of towel can be mended"),
        "{mend:?}"
    );
}

#[test]
fn more_of_a_reading_does_not_undo_what_a_person_settled() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 4, 23), place.file("copy.deck"));
    let worn = place.write("worn.toml", "seed = 6\nworn_hole = 0.04\n");
    let stack = old.display().to_string();
    let first = run(read(&place, &copy, &stack)
        .args(["--cards", "4", "--faults"])
        .arg(worn));
    assert_eq!(first.status, 1, "{first:?}");
    let mut settle = Live::start(
        cardwright(&["deck", "settle", "--json"])
            .arg(&copy)
            .stdin(Stdio::piped()),
    );
    settle.say("y");
    settle.say("q");
    settle.end();
    let before = std::fs::read(&copy).expect("the copy");
    let more = run(read(&place, &copy, &stack).args(["--cards", "4", "--more"]));
    assert_eq!(more.status, 2, "{more:?}");
    assert!(
        more.summary()["words"].to_string().contains("settled"),
        "{more:?}"
    );
    assert_eq!(std::fs::read(&copy).expect("the copy"), before);
}

#[test]
fn a_card_with_a_hole_too_many_is_not_mended() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 20);
    let faults = place.write("faults.toml", "seed = 2\nextra_hole = 0.05\n");
    let cut = run(
        on(&place, &["cut", "--json", "--recut", "never", "--faults"])
            .arg(faults)
            .arg(&deck),
    );
    assert_eq!(cut.status, 1, "{cut:?}");
    let mend = run(on(&place, &["cut", "--mend"]).arg(&deck));
    assert_eq!(mend.status, 1, "{mend:?}");
    assert!(mend.stderr.contains("holes too many"), "{mend:?}");
    assert!(
        mend.stderr.contains("no card of towel can be mended"),
        "{mend:?}"
    );
}
