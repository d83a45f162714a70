//! Risk: a script that reads `--json` meets a line that is no JSON, or a last
//! line that is not the summary.

use super::support::{Done, Place, cardwright, run};
use serde_json::Value;

const COUNTS: [&str; 5] = ["cards", "good", "faults", "strokes", "waited_us"];

fn counted(done: &Done) -> Value {
    let summary = done.summary();
    for count in COUNTS {
        assert!(summary[count].is_u64(), "{count} is no number: {summary}");
    }
    assert_eq!(summary["event"], "summary");
    assert_eq!(summary["exit"], done.status, "{summary}");
    summary
}

#[test]
fn the_working_commands_end_with_their_counts() {
    let place = Place::new();
    let data = place.file("data");
    let deck = place.deck("towel", 3, 1);
    let cut = run(cardwright(&["--json", "cut", "--data"])
        .arg(&data)
        .arg(&deck));
    assert_eq!(counted(&cut)["good"], 3);
    assert_eq!(cut.stderr, "", "a script is not talked to beside its JSON");
    let again = run(cardwright(&["cut", "--json", "--data"])
        .arg(&data)
        .arg(&deck));
    counted(&again);
    let verify = run(cardwright(&["verify", "--json", "--data"])
        .arg(&data)
        .arg(&deck));
    assert_eq!(counted(&verify)["good"], 3);
}

#[test]
fn the_demo_ends_with_every_card_good_and_its_counts() {
    let place = Place::new();
    let out = place.file("demo");
    let demo = run(cardwright(&["demo", "--json", "--out"]).arg(&out));
    assert_eq!(demo.status, 0, "{}", demo.stderr);
    let summary = counted(&demo);
    assert_eq!(
        (&summary["cards"], &summary["good"]),
        (&160.into(), &160.into())
    );
    assert!(
        summary["faults"].as_u64() > Some(0),
        "the demo shows faults: {summary}"
    );
    let woven = &summary["woven"];
    assert_eq!(
        (&woven["picks"], &woven["open_faults"]),
        (&woven["of"], &0.into()),
        "the sample is woven to its end: {woven}"
    );
    for file in [
        "curlew.deck",
        "design.png",
        "deck.png",
        "faulty-card.svg",
        "faulty-card.png",
        "sample-plan.toml",
        "woven.svg",
    ] {
        assert!(out.join(file).is_file(), "{file} is left");
    }
}

#[test]
fn every_other_command_speaks_json_too() {
    let place = Place::new();
    let data = place.file("data");
    let deck = place.deck("towel", 3, 1);
    let other = place.deck("other", 3, 2);
    assert_eq!(
        run(cardwright(&["cut", "--json", "--data"])
            .arg(&data)
            .arg(&deck))
        .status,
        0
    );
    let path = deck.to_str().expect("a plain path");
    let other = other.to_str().expect("a plain path");
    let made = place.file("made.deck");
    let picture = place.file("towel.pbm");
    let (made, picture) = (
        made.to_str().expect("plain"),
        picture.to_str().expect("plain"),
    );
    let commands: &[(&[&str], i32)] = &[
        (
            &["deck", "make", picture, "--format", "100", "--out", made],
            0,
        ),
        (&["deck", "show", path], 0),
        (&["deck", "show", path, "--card", "2"], 0),
        (&["deck", "compare", path, path], 0),
        (&["deck", "compare", path, other], 1),
        (&["rig", "find"], 0),
        (&["rig", "info"], 0),
        (&["rig", "exercise", "--part", "lamp"], 0),
        (&["rig", "settings"], 0),
        (&["ledger"], 0),
        (&["ledger", "jobs"], 0),
        (&["ledger", "show", "1"], 0),
        (&["ledger", "cards", path], 0),
        (&["ledger", "units"], 0),
        (&["ledger", "export"], 0),
        (&["ledger", "export", "--columns"], 0),
        (&["deck", "show", "nowhere.deck"], 2),
        (&["ledger", "show", "77"], 2),
        (&["cut", "nowhere.deck"], 2),
        (&["rig", "info", "--rig", "/dev/nowhere"], 2),
        (&["cut", path, "--frobnicate"], 2),
    ];
    for (command, status) in commands {
        let done = run(cardwright(command).arg("--json").arg("--data").arg(&data));
        assert_eq!(done.status, *status, "{command:?}: {done:?}");
        let last = done.summary();
        assert!(last.is_object(), "{command:?}: {done:?}");
        if *status > 1 {
            assert_eq!(last["exit"], *status, "{command:?}: {last}");
            assert!(
                last["words"]
                    .as_str()
                    .is_some_and(|words| !words.is_empty()),
                "{last}"
            );
        }
    }
}

#[test]
fn the_ledger_goes_out_as_csv() {
    let place = Place::new();
    let data = place.file("data");
    let deck = place.deck("towel", 3, 1);
    assert_eq!(
        run(cardwright(&["cut", "--json", "--data"])
            .arg(&data)
            .arg(&deck))
        .status,
        0
    );
    let csv = run(cardwright(&["ledger", "export", "--format", "csv", "--data"]).arg(&data));
    let lines: Vec<&str> = csv.stdout.lines().collect();
    assert_eq!(lines.len(), 4, "column names and three attempts: {csv:?}");
    assert!(
        lines[1..].iter().all(|line| line.contains("good")),
        "{csv:?}"
    );
    let columns = lines[0].split(',').count();
    assert!(
        lines.iter().all(|line| line.split(',').count() == columns),
        "{csv:?}"
    );
}
