//! Risk: a command does not do what a person at the bench reads of it: cut,
//! go on, cut a part, pause, ask the rig, look into the ledger.

use std::process::{Command, Stdio};

use super::support::{Live, Place, cardwright, run};

fn cut(place: &Place, deck: &std::path::Path) -> Command {
    let mut command = cardwright(&["cut", "--json", "--speed", "40", "--data"]);
    command.arg(place.file("data")).arg(deck);
    command
}

#[test]
fn a_deck_that_is_good_is_not_cut_again() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 1);
    let first = run(&mut cut(&place, &deck));
    assert_eq!(first.status, 0, "{first:?}");
    assert_eq!(first.summary()["good"], 4);
    assert_eq!(first.summary()["stock"], 4);
    // 29 strokes a card: 25 rows, two blank, two laced ends (common practice,
    // no source)
    assert_eq!(first.summary()["strokes"], 4 * 29);
    let second = run(&mut cut(&place, &deck));
    assert_eq!(second.status, 0, "{second:?}");
    let summary = second.summary();
    assert_eq!(
        (&summary["good"], &summary["stock"]),
        (&4.into(), &0.into()),
        "{summary}"
    );
    assert!(
        summary["words"]
            .as_str()
            .is_some_and(|words| words.contains("nothing to cut"))
    );
    let plain = run(cardwright(&["cut", "--data"])
        .arg(place.file("data"))
        .arg(&deck));
    assert_eq!(plain.status, 0);
    let said = "every card asked for of towel is already good; nothing to cut (--again cuts \
                those that --cards names once more)\n";
    assert_eq!((plain.stdout.as_str(), plain.stderr.as_str()), (said, ""));
}

#[test]
fn a_part_is_cut_and_then_the_rest() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 2);
    let part = run(cut(&place, &deck).args(["--cards", "1-3"]));
    assert_eq!(
        (part.status, &part.summary()["cards"]),
        (0, &3.into()),
        "{part:?}"
    );
    let rest = run(&mut cut(&place, &deck));
    assert_eq!(
        (rest.status, &rest.summary()["cards"]),
        (0, &3.into()),
        "{rest:?}"
    );
    let begun: Vec<u64> = rest
        .json()
        .iter()
        .filter(|line| line["event"] == "begun")
        .filter_map(|line| line["card"].as_u64())
        .collect();
    assert_eq!(begun, [4, 5, 6], "what was good is left alone");
}

#[test]
fn a_person_pauses_goes_on_and_stops() {
    let place = Place::new();
    let deck = place.deck("towel", 30, 3);
    let mut job = Live::start(cut(&place, &deck).stdin(Stdio::piped()));
    job.event("begun");
    job.say("p");
    job.event("paused");
    job.say("g");
    job.event("resumed");
    job.event("card");
    job.say("what?");
    job.say("s");
    let stopped = job.end();
    assert_eq!(stopped.status, 1, "{stopped:?}");
    let summary = stopped.summary();
    let good = summary["good"].as_u64().unwrap_or_default();
    assert!((1..30).contains(&good), "{summary}");
    assert_eq!(
        summary["faults"], 0,
        "stopping after a card spoils none: {summary}"
    );
    let rest = run(&mut cut(&place, &deck));
    assert_eq!(
        (rest.status, &rest.summary()["cards"]),
        (0, &(30 - good).into()),
        "{rest:?}"
    );
}

/// Every stroke may open the guard; each time a person shuts it and says `r`.
#[test]
fn a_person_sees_to_the_machine_and_resets_it() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 4);
    let faults = place.write("faults.toml", "seed = 3\nguard_opened = 0.02\n");
    let mut job = Live::start(
        cut(&place, &deck)
            .arg("--faults")
            .arg(faults)
            .stdin(Stdio::piped()),
    );
    let stops = job.reset_to_the_end();
    let done = job.end();
    assert_eq!(done.status, 0, "{done:?}");
    assert!(
        stops > 0,
        "the seed opens the guard at least once: {done:?}"
    );
    let summary = done.summary();
    assert_eq!(summary["good"], 6, "{summary}");
    assert!(summary["stops"].as_u64() >= Some(stops), "{summary}");
}

/// What was spoiled and cut again is told; nothing is wrong with the deck.
#[test]
fn faults_that_were_cut_again_end_with_status_0() {
    let place = Place::new();
    let deck = place.deck("towel", 6, 5);
    let faults = place.write("faults.toml", "seed = 3\nmissing_hole = 0.005\n");
    let done = run(cut(&place, &deck).arg("--faults").arg(faults));
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert!(summary["faults"].as_u64() > Some(0), "{summary}");
    assert_eq!(summary["good"], 6, "{summary}");
    assert_ne!(summary["take_out"], serde_json::json!([]), "{summary}");
}

#[test]
fn faults_that_cannot_be_mended_end_with_status_1() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 5);
    let faults = place.write("faults.toml", "seed = 3\nmissing_hole = 0.05\n");
    let done = run(cut(&place, &deck)
        .args(["--recut", "never", "--faults"])
        .arg(faults));
    assert_eq!(done.status, 1, "{done:?}");
    let summary = done.summary();
    assert!(summary["faults"].as_u64() > Some(0), "{summary}");
    let card = done
        .json()
        .into_iter()
        .find(|line| line["event"] == "card" && line["verdict"] != "good");
    let card = card.unwrap_or_else(|| panic!("{done:?}"));
    assert!(
        card["faults"][0]["words"]
            .as_str()
            .is_some_and(|words| words.contains("hole")),
        "{card}"
    );
}

#[test]
fn nobody_at_standard_input_when_the_rig_stops_ends_with_status_3() {
    let place = Place::new();
    let deck = place.deck("towel", 20, 6);
    let faults = place.write("faults.toml", "seed = 3\nguard_opened = 0.05\n");
    let done = run(cut(&place, &deck).arg("--faults").arg(faults));
    assert_eq!(done.status, 3, "{done:?}");
    assert!(
        done.stderr.contains("nobody was there to see to it"),
        "{done:?}"
    );
}

#[test]
fn a_clean_stack_is_verified() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 7);
    let done = run(cardwright(&["verify", "--json", "--data"])
        .arg(place.file("data"))
        .arg(&deck));
    assert_eq!(done.status, 0, "{done:?}");
    let summary = done.summary();
    assert_eq!(
        (&summary["good"], &summary["faults"]),
        (&4.into(), &0.into()),
        "{summary}"
    );
    assert_eq!(
        summary["strokes"], 0,
        "verifying punches nothing: {summary}"
    );
}

#[test]
fn the_rig_is_asked_and_exercised() {
    let place = Place::new();
    let data = place.file("data");
    let info = run(cardwright(&["rig", "info", "--data"]).arg(&data));
    assert_eq!(info.status, 0, "{info:?}");
    for word in ["board", "firmware", "limits", "guard shut"] {
        assert!(
            info.stderr.contains(word) || info.stdout.contains(word),
            "{info:?}"
        );
    }
    assert!(
        info.stdout.contains("firmware"),
        "what was asked for is on standard output: {info:?}"
    );
    let all = run(cardwright(&["rig", "exercise", "--json", "--data"]).arg(&data));
    assert_eq!(all.status, 0, "{all:?}");
    let parts = all
        .json()
        .iter()
        .filter(|line| line["event"] == "exercised")
        .count();
    // switches, lamp, feed, a blank stroke, 8 punches, the peg punch
    assert_eq!(parts, 13, "{all:?}");
    let none = run(cardwright(&["rig", "exercise", "--part", "feed:2000", "--data"]).arg(&data));
    assert_eq!(none.status, 2, "{none:?}");
    assert!(none.stderr.contains("rig info"), "{none:?}");
    let find = run(&mut cardwright(&["rig", "find"]));
    assert_eq!(find.status, 0, "{find:?}");
    let settings = run(&mut cardwright(&["rig", "settings"]));
    let file = place.write("rig.toml", &settings.stdout);
    let with = run(cardwright(&["rig", "exercise", "--part", "lamp", "--data"])
        .arg(&data)
        .arg("--rig-file")
        .arg(file));
    assert_eq!(with.status, 0, "the printed rig file is one: {with:?}");
}

#[test]
fn a_real_port_does_not_move_unasked() {
    let place = Place::new();
    let deck = place.deck("towel", 1, 8);
    let done = run(cardwright(&["cut", "--rig", "/dev/null", "--data"])
        .arg(place.file("data"))
        .arg(&deck));
    assert_eq!(done.status, 2, "{done:?}");
    assert!(done.stderr.contains("--yes"), "{done:?}");
    assert!(!place.file("data").exists(), "nothing was begun");
}

#[test]
fn a_closed_pipe_is_no_error() {
    let place = Place::new();
    let deck = place.deck("towel", 3, 9);
    assert_eq!(run(&mut cut(&place, &deck)).status, 0);
    for what in [
        "ledger export",
        "ledger jobs",
        "--json ledger export",
        "ledger export --format csv",
    ] {
        // the reader is gone before the first byte comes
        let write = format!("{{ sleep 0.2; \"$0\" {what} --data \"$1\"; }}");
        let script = format!("{write} | true; echo ${{PIPESTATUS[0]}}");
        let out = Command::new("bash")
            .args(["-c", &script, env!("CARGO_BIN_EXE_cardwright")])
            .arg(place.file("data"))
            .output()
            .expect("a shell");
        let text = String::from_utf8_lossy(&out.stdout);
        assert_eq!(text.trim(), "0", "{what}: {out:?}");
        assert!(out.stderr.is_empty(), "{what}: {out:?}");
    }
}

/// The list of cards to take out counts from the switching-on in which the card
/// was begun, not from the one after the unit has restarted.
#[test]
fn a_card_lost_to_a_restart_is_named_by_its_own_switching_on() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 8);
    let faults = place.write("faults.toml", "seed = 3\nunit_restarted = 1.0\n");
    let done = run(cut(&place, &deck).arg("--faults").arg(faults));
    assert_eq!(done.status, 3, "{done:?}");
    let lost = &done.summary()["take_out"][0];
    assert_eq!(
        (&lost["place"], &lost["boot"]),
        (&1.into(), &1.into()),
        "{lost}"
    );
}

/// A card already cut is not thrown away because the reader stopped. Where a
/// card sticks is chance: before its edge is found it has not been begun.
#[test]
fn a_card_that_stops_in_the_reader_is_to_be_read_again() {
    let mut begun = 0;
    for seed in 1..=6 {
        let place = Place::new();
        let deck = place.deck("towel", 3, 9);
        let faults = place.write("faults.toml", format!("seed = {seed}\njam = 1.0\n"));
        let done = run(cardwright(&["--json", "verify", "--data"])
            .arg(place.file("data"))
            .arg(&deck)
            .arg("--faults")
            .arg(faults));
        for card in done.json().iter().filter(|line| line["event"] == "card") {
            assert_ne!(card["verdict"], "interrupted", "{card}");
            if card["verdict"] != "unread" {
                continue;
            }
            begun += 1;
            let remedy = card["remedy"].as_str().unwrap_or_default();
            assert!(
                remedy.contains("read it again") && !remedy.contains("throw"),
                "{card}"
            );
        }
    }
    assert!(begun > 0, "no card stopped in the reader");
}

#[test]
fn a_card_that_nobody_lays_in_ends_with_status_3() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 10);
    let by_hand = cardwright::rig::RigFile::BENCH.replace("magazine = true", "magazine = false");
    let rig = place.write("rig.toml", by_hand);
    let done = run(cut(&place, &deck).arg("--rig-file").arg(rig));
    assert_eq!(done.status, 3, "{done:?}");
    assert!(
        done.json()
            .iter()
            .any(|line| line["event"] == "wants_cards"),
        "{done:?}"
    );
}

/// A terminal must not take a name from a file for an order.
#[test]
fn escape_sequences_in_names_do_not_reach_the_terminal() {
    let place = Place::new();
    let done = run(&mut cardwright(&[
        "deck",
        "make",
        "no.png",
        "--format",
        "\u{1b}[2Jx",
    ]));
    assert_eq!(done.status, 2, "{done:?}");
    assert!(!done.stderr.contains('\u{1b}'), "{done:?}");
    drop(place);
}
