//! Risk: a rig is calibrated by the wrong cards, or a sound one refused; nobody is
//! told that a calibration is missing or that a punch wears.

use super::support::{Done, Live, Place, cardwright, run};
use serde_json::Value;
use std::process::Stdio;

fn calibrate(place: &Place, more: &[&str]) -> Done {
    run(
        cardwright(&["rig", "calibrate", "--json", "--speed", "60", "--data"])
            .arg(place.file("data"))
            .args(more),
    )
}

fn event(done: &Done, name: &str) -> Value {
    let lines = done.json();
    let found = lines.into_iter().find(|line| line["event"] == name);
    found.unwrap_or_else(|| panic!("no {name}: {done:?}"))
}

/// A table of the ledger's export.
fn table(place: &Place, name: &str) -> Vec<Value> {
    let done = run(cardwright(&["ledger", "export", "--data"]).arg(place.file("data")));
    let whole: Value = serde_json::from_str(&done.stdout).expect("an export");
    whole[name].as_array().cloned().unwrap_or_default()
}

fn info(place: &Place) -> Done {
    run(cardwright(&["rig", "info", "--json", "--data"]).arg(place.file("data")))
}

#[test]
fn a_blank_and_a_full_card_calibrate_a_rig() {
    let place = Place::new();
    let done = calibrate(&place, &["--format", "400"]);
    assert_eq!(done.status, 0, "{done:?}");
    let found = &event(&done, "calibration")["found"];
    // what the virtual rig's world is made with: gains within 3 times 2 %, holes of
    // 4.4 and 10 mm in their places
    let channels = found["channels"].as_array().expect("channels");
    assert_eq!(channels.len(), 8, "{found}");
    for channel in channels {
        let permille = channel["hole_permille"].as_u64().expect("light");
        assert!((950..=1050).contains(&permille), "{channel}");
        assert!(
            channel["noise_millilevels"].as_u64() < Some(1000),
            "{channel}"
        );
    }
    for punch in found["punches"].as_array().expect("punches") {
        let nominal = if punch["hole"] == 0 { 10_000 } else { 4_400 };
        let off = punch["diameter_um"].as_i64().expect("a diameter") - nominal;
        assert!(off.abs() < 60, "{punch}");
    }
    let stored = table(&place, "calibrations");
    assert_eq!(stored.len(), 1, "{stored:?}");
    assert_eq!(&stored[0]["detail"], found);
    let known = event(&info(&place), "upkeep");
    assert_eq!(known["calibrated"], stored[0]["at"], "{known}");
    assert_eq!(known["advice"], serde_json::json!([]), "{known}");
}

#[test]
fn a_full_card_cut_here_begins_the_punches_history() {
    let place = Place::new();
    let advice = event(&info(&place), "upkeep")["advice"].to_string();
    assert!(advice.contains("not calibrated"), "{advice}");
    let done = calibrate(&place, &["--format", "100", "--cut"]);
    assert_eq!(done.status, 0, "{done:?}");
    assert_eq!(event(&done, "calibration")["found"]["cut"], true);
    // two cards of chance were cut after it: 4 needle punches and the peg punch
    let deck = place.deck("towel", 8, 1);
    let cut = run(cardwright(&["cut", "--json", "--speed", "60", "--data"])
        .arg(place.file("data"))
        .arg(deck));
    assert_eq!(cut.status, 0, "{cut:?}");
    assert!(
        !cut.stdout.contains("\"advice\""),
        "nothing to advise: {cut:?}"
    );
    let seen = table(&place, "punches");
    assert!(seen.len() >= 8 * 4, "{seen:?}");
    let known = event(&info(&place), "upkeep");
    assert_eq!(
        known["words"],
        serde_json::json!(["all steady over 8 cards"]),
        "{known}"
    );
    let told = run(cardwright(&["ledger", "punches", "--data"]).arg(place.file("data")));
    assert!(told.stdout.contains("all steady over 8 cards"), "{told:?}");
    let plain = run(cardwright(&["rig", "info", "--data"]).arg(place.file("data")));
    assert!(plain.stdout.contains("calibrated   on "), "{plain:?}");
    assert!(
        plain.stdout.contains("punches      all steady"),
        "{plain:?}"
    );
}

#[test]
fn a_card_that_is_not_fully_cut_is_refused() {
    let place = Place::new();
    let faults = place.write("faults.toml", "seed = 3\nmissing_hole = 0.3\n");
    let faults = faults.to_string_lossy();
    let done = calibrate(&place, &["--cut", "--format", "400", "--faults", &faults]);
    assert_eq!(done.status, 1, "{done:?}");
    let came = event(&done, "calibration");
    assert_eq!(came["stored"], false);
    let words = came["refusal"].as_str().unwrap_or_default();
    assert!(
        words.contains("not fully cut") && words.contains("missing hole"),
        "{words}"
    );
    assert!(table(&place, "calibrations").is_empty());
    // it was read and judged all the same, and the unit may forget it
    let attempts = table(&place, "attempts");
    let verdicts: Vec<&Value> = attempts.iter().map(|row| &row["verdict"]).collect();
    assert_eq!(verdicts, ["good", "missing"], "{attempts:?}");
    let jobs = table(&place, "jobs");
    assert_eq!(
        (&jobs[0]["kind"], &jobs[0]["ending"]),
        (&"calibrate".into(), &"done".into())
    );
}

#[test]
fn a_rig_that_stops_or_must_not_move_stores_nothing() {
    let place = Place::new();
    let jam = place.write("jam.toml", "seed = 1\njam = 1.0\n");
    let done = calibrate(&place, &["--faults", &jam.to_string_lossy()]);
    assert_eq!(done.status, 3, "{done:?}");
    assert!(done.stderr.contains("calibrate again"), "{done:?}");
    assert!(table(&place, "calibrations").is_empty());
    let asked = calibrate(&place, &["--rig", "/dev/null"]);
    assert_eq!(asked.status, 2, "{asked:?}");
    assert!(asked.stderr.contains("--yes"), "{asked:?}");
    let unknown = calibrate(&place, &["--format", "401"]);
    assert_eq!(unknown.status, 2, "{unknown:?}");
}

/// A job that looks as if it went on for ever is looked for in vain.
#[test]
fn a_calibration_that_was_killed_is_ended_by_the_next() {
    let place = Place::new();
    let mut killed = Live::start(
        cardwright(&["rig", "calibrate", "--json", "--speed", "1", "--data"])
            .arg(place.file("data"))
            .stdin(Stdio::piped()),
    );
    killed.event("started");
    killed.kill();
    assert_eq!(table(&place, "jobs")[0]["ending"], Value::Null);
    let done = calibrate(&place, &[]);
    assert_eq!(done.status, 0, "{done:?}");
    let jobs = table(&place, "jobs");
    let endings: Vec<&Value> = jobs.iter().map(|job| &job["ending"]).collect();
    assert_eq!(endings, ["failed", "done"], "{jobs:?}");
}

/// Nobody lays a card in: it ends, and says so.
#[test]
fn cards_that_nobody_lays_in_end_it() {
    let place = Place::new();
    let by_hand = cardwright::rig::RigFile::BENCH.replace("magazine = true", "magazine = false");
    let rig = place.write("rig.toml", by_hand);
    let done = calibrate(&place, &["--cut", "--rig-file", &rig.to_string_lossy()]);
    assert_eq!(done.status, 3, "{done:?}");
    assert!(table(&place, "calibrations").is_empty());
}
