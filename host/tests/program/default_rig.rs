//! Risk: a person who names no rig does not learn which one works.

use cardwright::rig::ports;

use super::bad_input::said;
use super::support::{Done, Place, cardwright, run};

/// Whether a board hangs on this computer: then another rig is the right one.
fn a_board_is_attached() -> bool {
    ports().is_ok_and(|ports| ports.iter().any(|port| port.board.is_some()))
}

fn info(place: &Place, more: &[&str]) -> Done {
    run(cardwright(&["rig", "info", "--data"])
        .arg(place.file("data"))
        .args(more)
        .env_remove("CARDWRIGHT_RIG"))
}

#[test]
fn without_a_board_the_virtual_rig_works_and_it_is_said() {
    if a_board_is_attached() {
        return;
    }
    let place = Place::new();
    let done = info(&place, &[]);
    // the link and the clock count as they like
    let counted = ["waited", "link", "worst", "coils"];
    let lines = done.stdout.lines();
    let lines = lines.filter(|line| !counted.iter().any(|word| line.starts_with(word)));
    let lines: Vec<&str> = lines.collect();
    insta::assert_snapshot!(said(&place, &done) + &lines.join("\n"));
    let json = info(&place, &["--json"]);
    assert_eq!(json.json()[0]["event"], "rig");
    assert_eq!(json.json()[0]["port"], "virtual");
    assert_eq!(json.stderr, "");
}

#[test]
fn a_board_that_is_asked_for_and_not_there() {
    if a_board_is_attached() {
        return;
    }
    let place = Place::new();
    let words = ["usb", "usb:E6616408431F00AB", "usb:", ""]
        .map(|rig| said(&place, &info(&place, &["--rig", rig])));
    insta::assert_snapshot!(words.join("\n"));
}

/// A rig that was named, in the surroundings too, needs no words.
#[test]
fn a_named_rig_is_used_without_words() {
    let place = Place::new();
    assert_eq!(info(&place, &["--rig", "virtual"]).stderr, "");
    let by_surroundings = run(cardwright(&["rig", "info", "--data"])
        .arg(place.file("data"))
        .env("CARDWRIGHT_RIG", "/dev/nowhere"));
    assert_eq!(by_surroundings.status, 2);
    assert!(by_surroundings.stderr.contains("/dev/nowhere"));
}
