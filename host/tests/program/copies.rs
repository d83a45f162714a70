//! Risk: what a person said of a copy is lost, a file of theirs is replaced, or a
//! machine moves for a copy that cannot be kept.

use super::old_cards::{on, read};
use super::support::{Done, Place, run};

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

fn cards_told(done: &Done) -> Vec<String> {
    let cards = done
        .json()
        .into_iter()
        .filter(|line| line["event"] == "card");
    cards
        .map(|card| card["verdict"].as_str().unwrap_or("").to_string())
        .collect()
}
