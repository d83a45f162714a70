//! Risk: a rig on a port that comes and goes is not picked up again, or is
//! picked up and not cut safely.

use std::process::Stdio;

use cardwright::deck::{CardNumber, Deck};
use cardwright_virtual::Attendant;

use super::support::{Live, Place, cardwright, rig_for, run, serve};

#[test]
fn a_rig_served_by_the_program_is_used_by_the_program() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 1);
    let link = place.file("rig");
    let mut rig = Live::start(
        cardwright(&[
            "rig", "virtual", "--json", "--format", "100", "--speed", "8", "--link",
        ])
        .arg(&link),
    );
    rig.event("ready");
    let info = run(cardwright(&["rig", "info", "--rig"])
        .arg(&link)
        .arg("--data")
        .arg(place.file("data")));
    assert_eq!(info.status, 0, "{info:?}");
    let cut = run(cardwright(&["cut", "--json", "--yes", "--rig"])
        .arg(&link)
        .arg("--data")
        .arg(place.file("data"))
        .arg(&deck));
    assert_eq!(cut.status, 0, "{cut:?}");
    assert_eq!(cut.summary()["strokes"], 3 * 29);
    rig.signal("TERM");
    assert_eq!(rig.end().status, 0);
    assert!(
        std::fs::symlink_metadata(&link).is_err(),
        "the link goes with the rig"
    );
}

/// The cable is out for `out_s`; a person resets the rig whenever that is
/// asked for. Every card is good in the end, none is cut twice.
fn cable_out(out_s: f64) {
    let place = Place::new();
    let file = place.deck("towel", 8, 1);
    let deck = Deck::read(&file).expect("a deck");
    let link = place.file("rig");
    let factor = 4.0;
    let mut options = rig_for(&deck, factor, link.clone(), 1);
    options.attendant = Attendant {
        refills: Some(1000),
        takes_out_stopped_us: Some(500_000),
        ..Attendant::ABSENT
    };
    let rig = serve(options);
    let mut job = Live::start(
        cardwright(&["cut", "--json", "--yes", "--rig"])
            .arg(&link)
            .arg("--data")
            .arg(place.file("data"))
            .arg(&file)
            .stdin(Stdio::piped()),
    );
    job.event("card");
    job.event("begun");
    rig.at_the_machine(move |unit| unit.unplug(Some((out_s * factor * 1e6) as u64)))
        .expect("the rig runs");
    loop {
        let line = job.line(|line| {
            ["needs_reset", "summary"]
                .iter()
                .any(|e| line.starts_with(&format!("{{\"event\":\"{e}\"")))
        });
        if line.contains("\"summary\"") {
            break;
        }
        job.say("r");
    }
    let done = job.end();
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert_eq!(summary["good"], 8, "{summary}");
    assert!(
        summary["faults"].as_u64() <= Some(1),
        "at most the card in the head: {summary}"
    );
    // the world's own account: as many whole cards as the deck has, or one more
    // if the card in the head was whole and not yet read when the cable went
    let truth = rig.stop().expect("the rig ran to the end");
    let format = deck.format();
    let mut pieces = 0;
    for card in &truth.cards {
        let is = |number: &u32| {
            let strokes = deck
                .strokes(CardNumber(*number))
                .expect("a card of the deck");
            card.matches(&strokes, format.holes_per_row(), format.row_pitch_mm(), 0.7)
                .is_empty()
        };
        pieces += usize::from((1..=8).any(|number| is(&number)));
    }
    assert!(
        (7..=9).contains(&pieces),
        "{pieces} whole cards have left the rig"
    );
}

#[test]
fn a_cable_out_for_a_moment() {
    cable_out(0.3);
}

#[test]
fn a_cable_out_for_three_seconds() {
    cable_out(3.0);
}

#[test]
fn a_unit_that_stays_away_ends_the_job_with_status_3() {
    let place = Place::new();
    let file = place.deck("towel", 8, 1);
    let deck = Deck::read(&file).expect("a deck");
    let link = place.file("rig");
    let rig = serve(rig_for(&deck, 4.0, link.clone(), 1));
    let mut job = Live::start(
        cardwright(&["cut", "--json", "--yes", "--patience", "1", "--rig"])
            .arg(&link)
            .arg("--data")
            .arg(place.file("data"))
            .arg(&file)
            .stdin(Stdio::piped()),
    );
    job.event("card");
    rig.at_the_machine(|unit| unit.unplug(None))
        .expect("the rig runs");
    let done = job.end();
    assert_eq!(done.status, 3, "{done:?}");
    let words = done
        .stderr
        .replace(&place.path().display().to_string(), "DIR");
    insta::assert_snapshot!(words);
}
