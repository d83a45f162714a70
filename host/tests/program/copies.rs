//! Risk: what a person said of a copy is lost, a file of theirs is replaced, or a
//! machine moves for a copy that cannot be kept.

use std::process::Stdio;

use cardwright::deck::{CardNumber, Deck, Doubt, ReadFrom};

use super::old_cards::{cards, on, read};
use super::support::{Done, Live, Place, cardwright, run};

/// Hundreds of answers come through a pipe: one that is none must not cost the others,
/// and a file that its owner protected is not replaced.
#[test]
fn what_was_settled_before_a_wrong_answer_holds() {
    let place = Place::new();
    let deck = Deck::read(&place.deck("old", 2, 24)).expect("a deck");
    let doubt = |row| Doubt {
        card: CardNumber(1),
        row,
        hole: 2,
        open_permille: 400,
    };
    let reading = ReadFrom {
        passes: 1,
        gaps: Vec::new(),
        doubtful: (1..=4).map(doubt).collect(),
    };
    let copy = place.file("copy.deck");
    let deck = deck.with_reading(reading).expect("there");
    deck.write(&copy, false).expect("written");
    let settle = |answers: &[&str]| {
        let mut settle = Live::start(
            cardwright(&["deck", "settle", "--json"])
                .arg(&copy)
                .stdin(Stdio::piped()),
        );
        answers.iter().for_each(|answer| settle.say(answer));
        settle.end()
    };
    let left = || {
        let deck = Deck::read(&copy).expect("a deck");
        deck.reading().map_or(0, |reading| reading.doubtful.len())
    };
    let wrong = settle(&["Y", "N", "perhaps"]);
    assert_eq!(wrong.status, 2, "{wrong:?}");
    assert!(
        wrong
            .stderr
            .contains("`perhaps` is no answer for card 1, row 3")
    );
    assert_eq!(left(), 2, "{wrong:?}");
    let holes = |row: usize| cards(&copy)[0][row - 1].has(2);
    assert!(holes(1) && !holes(2));

    let protect = |mode| {
        let mode = std::os::unix::fs::PermissionsExt::from_mode(mode);
        std::fs::set_permissions(&copy, mode).expect("its owner may");
    };
    protect(0o444);
    let refused = run(cardwright(&["deck", "settle"]).arg(&copy));
    assert_eq!(refused.status, 2, "{refused:?}");
    assert!(refused.stderr.contains("chmod u+w"), "{refused:?}");
    assert_eq!(left(), 2);
    protect(0o644);
    let rest = settle(&["y", "y"]);
    assert_eq!((rest.status, left()), (0, 0), "{rest:?}");
}

/// Nothing moves for a deck that could not be written afterwards.
#[test]
fn where_a_copy_cannot_be_written_nothing_is_read() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 2, 25), place.file("copy.deck"));
    let stack = old.display().to_string();
    std::os::unix::fs::symlink(place.file("gone.deck"), &copy).expect("a link");
    let dead = run(read(&place, &copy, &stack).args(["--cards", "2"]));
    assert_eq!(dead.status, 2, "{dead:?}");
    assert!(
        dead.stderr.contains("copy.deck is a symbolic link to"),
        "{dead:?}"
    );
    assert!(!dead.stdout.contains("\"job\""), "{dead:?}");
    std::fs::remove_file(&copy).expect("the link");
    let first = run(read(&place, &copy, &stack).args(["--cards", "2"]));
    assert_eq!(first.status, 0, "{first:?}");
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o444);
    std::fs::set_permissions(&copy, mode).expect("its owner may");
    let more = run(read(&place, &copy, &stack).args(["--cards", "2", "--more"]));
    assert_eq!(more.status, 2, "{more:?}");
    assert!(more.stderr.contains("write-protected"), "{more:?}");
    assert!(!more.stdout.contains("\"job\""), "{more:?}");
}

/// The order and the doubles of `--stack` are what a verified stack is found wrong by.
#[test]
fn the_cards_of_a_stack_lie_as_they_were_named() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 26);
    let verify = |cards: &str| {
        let stack = format!("{}:{cards}", deck.display());
        run(on(&place, &["verify", "--json", "--stack", &stack]).arg(&deck))
    };
    let right = verify("1-4");
    assert_eq!(right.status, 0, "{right:?}");
    let exchanged = verify("3,2,1,4");
    assert_eq!(exchanged.status, 1, "{exchanged:?}");
    let doubled = verify("1,1,3,4");
    assert_eq!(doubled.status, 1, "{doubled:?}");
    assert_eq!(
        cards_told(&exchanged),
        ["out of order", "good", "out of order", "good"]
    );
    assert_eq!(
        cards_told(&doubled),
        ["good", "out of order", "good", "good"]
    );
}

/// A sound card in another's place is not to be cut into, nor called owed.
#[test]
fn a_card_in_anothers_place_is_not_to_be_mended() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 1);
    let stack = format!("{}:2,1", deck.display());
    let verify = |more: &[&str]| {
        let args = [&["verify", "--cards", "1-2", "--stack", &stack], more].concat();
        run(on(&place, &args).arg(&deck))
    };
    let done = verify(&[]);
    assert_eq!(done.status, 1, "{done:?}");
    for words in ["To be mended", "cut the missing holes"] {
        assert!(
            !done.stdout.contains(words) && !done.stderr.contains(words),
            "{done:?}"
        );
    }
    assert!(done.stdout.contains("Not checked: 1-4"), "{done:?}");
    assert!(done.stderr.contains("deck which"), "{done:?}");
}

fn cards_told(done: &Done) -> Vec<String> {
    let cards = done
        .json()
        .into_iter()
        .filter(|line| line["event"] == "card");
    cards
        .map(|card| card["verdict"].as_str().unwrap_or("").to_string())
        .collect()
}

/// How many cards there are nobody has said, and who interrupts does not say it
/// either: no second pass begins, and the copy of a part is not taken for the whole.
#[test]
fn an_interrupt_ends_no_stack_and_begins_no_pass() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 8, 27), place.file("copy.deck"));
    let stack = old.display().to_string();
    let mut command = read(&place, &copy, &stack);
    let mut job = Live::start(command.args(["--passes", "2"]).stdin(Stdio::piped()));
    job.event("card");
    job.signal("INT");
    let done = job.end();
    assert_eq!(done.status, 1, "{done:?}");
    let jobs = done.json();
    let jobs = jobs.iter().filter(|line| line["event"] == "job");
    assert_eq!(jobs.count(), 1, "{done:?}");
    assert!(!copy.exists());
    // what the command does when it is run again is what is said
    let words = done.summary()["words"].to_string();
    assert!(
        words.contains("run the command again: it reads the stack from its first card"),
        "{words}"
    );
    let again = run(read(&place, &copy, &stack).args(["--cards", "8"]));
    assert_eq!(again.status, 0, "{again:?}");
    assert_eq!(cards(&copy), cards(&old));
}

/// Two cards were fed together and taken out: nobody but a person knows that the gap
/// stands for both.
#[test]
fn a_gap_of_two_cards_is_made_two() {
    let place = Place::new();
    let (old, copy) = (place.deck("old", 6, 28), place.file("copy.deck"));
    let faults = place.write("faults.toml", "seed = 1\ndoubled_feed = 0.2\n");
    let stack = old.display().to_string();
    let mut command = read(&place, &copy, &stack);
    let mut job = Live::start(
        command
            .args(["--cards", "5", "--faults"])
            .arg(faults)
            .stdin(Stdio::piped()),
    );
    let stops = job.reset_to_the_end();
    let done = job.end();
    assert_eq!((done.status, stops), (1, 1), "{done:?}");
    let gaps = |done: &Done| done.summary()["gaps"].clone();
    let gap = gaps(&done)[0].as_u64().expect("a gap");
    assert!(
        done.stdout.contains("--passes 0 --lacking NUMBER"),
        "{done:?}"
    );
    let second = (gap + 1).to_string();
    let again = ["--more", "--passes", "0"];
    let two = run(read(&place, &copy, &stack)
        .args(again)
        .args(["--lacking", &second]));
    assert_eq!(gaps(&two), serde_json::json!([gap, gap + 1]), "{two:?}");
    let (copied, right) = (cards(&copy), cards(&old));
    assert_eq!(copied.len(), right.len());
    for (number, (copied, right)) in (1..).zip(copied.iter().zip(&right)) {
        let in_gap = number == gap || number == gap + 1;
        assert!(in_gap || copied == right, "card {number}");
    }
    // it stays so until something else is said
    let same = run(read(&place, &copy, &stack).args(again));
    assert_eq!(gaps(&same), gaps(&two), "{same:?}");
    let one = run(read(&place, &copy, &stack)
        .args(again)
        .args(["--lacking", "none"]));
    assert_eq!(gaps(&one), gaps(&done), "{one:?}");
    assert!(one.stdout.contains("have to be named again"), "{one:?}");
}

/// Behind a missing card every other stands one place further on: that is one thing to
/// see to, none of them is to be taken out, and each is judged as the card that it is.
#[test]
fn cards_behind_a_missing_one_are_not_told_one_by_one() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 26);
    let stack = format!("{}:1,3-6", deck.display());
    let ran = run(on(&place, &["verify", "--stack", &stack]).arg(&deck));
    assert_eq!(ran.status, 1, "{ran:?}");
    let words = ran.stdout.clone() + &ran.stderr;
    assert!(words.contains("this is card 3"), "{words}");
    assert!(!words.contains("this is card 4"), "{words}");
    assert!(words.contains("card 2 is missing"), "{words}");
    assert!(
        ran.stdout.contains("6 asked for, 5 good\nowed         2\n"),
        "{words}"
    );
    let (_, taken_out) = ran
        .stdout
        .split_once("take out of the stack")
        .unwrap_or_default();
    assert!(!taken_out.contains("out of order"), "{words}");
    let (_, sheet) = ran.stdout.split_once("Lacing sheet").unwrap_or_default();
    assert!(sheet.contains("  Owed: 2\n"), "{words}");
    assert!(!sheet.contains("Not checked"), "{words}");
}

/// Two cards that have changed places, and one of them has lost a hole: it is told and
/// drawn as the card that it is.
#[test]
fn a_faulty_card_in_another_ones_place_is_told_by_its_own_holes() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 26);
    let flawed = place.file("flawed.deck");
    let whole = std::fs::read_to_string(&deck).expect("a deck");
    let lines = whole.lines().map(|line| match line.strip_prefix("5 = \"") {
        // the first hole of some row
        Some(rows) => {
            let mut rows: Vec<String> = rows.split(' ').map(str::to_owned).collect();
            let group = |row: &String| u8::from_str_radix(row, 16).unwrap_or(0);
            let row = rows.iter_mut().skip(1).find(|row| group(row) > 0);
            let row = row.expect("a row with a hole");
            let left = group(row) & (group(row) - 1);
            *row = format!("{left:0digits$x}", digits = row.len());
            format!("5 = \"{}", rows.join(" "))
        }
        None => line.to_owned(),
    });
    let lines: Vec<String> = lines.collect();
    std::fs::write(&flawed, lines.join("\n") + "\n").expect("written");
    let stack = format!("{}:1-3,5,4,6", flawed.display());
    let ran = run(on(&place, &["verify", "--stack", &stack]).arg(&deck));
    assert_eq!(ran.status, 1, "{ran:?}");
    let words = ran.stdout.clone() + &ran.stderr;
    assert!(
        words.contains("card 5 (no. 4 out of the rig): missing hole"),
        "{words}"
    );
    let (_, sheet) = ran.stdout.split_once("Lacing sheet").unwrap_or_default();
    assert!(sheet.contains("To be mended: 5\n"), "{words}");
    assert!(!sheet.contains("Not checked"), "{words}");
}

/// What damp has destroyed is good in the ledger all the same.
#[test]
fn a_good_card_is_cut_again_when_it_is_asked_for() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 26);
    let cut = |more: &[&str]| run(on(&place, &["cut"]).args(more).arg(&deck));
    assert_eq!(cut(&[]).status, 0);
    let refused = cut(&["--cards", "2"]);
    let words = refused.stdout + &refused.stderr;
    assert!(words.contains("--again"), "{words}");
    let again = cut(&["--cards", "2", "--again", "--json"]);
    assert_eq!(again.status, 0, "{again:?}");
    assert_eq!(cards_told(&again), ["good"]);
    let without = cut(&["--again"]);
    assert_eq!(without.status, 2, "{without:?}");
}
