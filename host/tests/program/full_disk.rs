//! Risk: the disk fills up during a job, and the program loses what it had
//! recorded, goes on punching, or does not say what is full.
//!
//! A real small disk is mounted in a mount namespace of the shell's own, so
//! that nothing outside sees it and nothing is left behind.

use std::collections::BTreeSet;
use std::process::{Command, Stdio};

use super::support::{Done, Live, Place};

/// Mounts a small disk, fills it but for a little, cuts until it is full, makes
/// room, cuts on. Each run's lines go to a file, its exit status after them.
const SCRIPT: &str = r#"
set -e
mount -t tmpfs -o size=16m none "$DIR/disk"
"$PROGRAM" cut --json --data "$DIR/disk/data" "$DECK" --cards 1 >"$DIR/first" 2>"$DIR/first.err"
head -c 16180000 /dev/zero >"$DIR/disk/filler"
set +e
"$PROGRAM" cut --json --data "$DIR/disk/data" "$DECK" --speed 100 </dev/null >"$DIR/full" 2>"$DIR/full.err"
echo $? >"$DIR/full.status"
rm "$DIR/disk/filler"
"$PROGRAM" cut --json --data "$DIR/disk/data" "$DECK" --speed 100 --cards 1-60 </dev/null >"$DIR/rest" 2>"$DIR/rest.err"
echo $? >"$DIR/rest.status"
"#;

fn good(done: &Done) -> BTreeSet<u64> {
    let good = |line: &serde_json::Value| {
        (line["event"] == "card" && line["verdict"] == "good").then(|| line["card"].as_u64())
    };
    done.json().iter().filter_map(good).flatten().collect()
}

#[test]
fn a_full_disk_stops_the_job_and_loses_nothing_recorded() {
    let place = Place::new();
    let deck = place.deck_of("400", 400, "towel", 60, 1);
    std::fs::create_dir(place.file("disk")).expect("a place for the disk");
    let way = ["-m", "-rm"].into_iter().find(|way| {
        let trial = Command::new("unshare")
            .args([way, "mount", "-t", "tmpfs", "none"])
            .arg(place.file("disk"))
            .stderr(Stdio::null())
            .status();
        trial.is_ok_and(|status| status.success())
    });
    let way = way.expect(
        "this test needs `unshare` and `mount` (util-linux), and either root or user namespaces \
         (on some systems `sysctl kernel.unprivileged_userns_clone=1` allows them)",
    );
    let done = Live::start(
        Command::new("unshare")
            .args([way, "sh", "-c", SCRIPT])
            .env("DIR", place.path())
            .env("DECK", &deck)
            .env("PROGRAM", env!("CARGO_BIN_EXE_cardwright"))
            .env("CARDWRIGHT_RIG", "virtual")
            .stdin(Stdio::null()),
    )
    .end();
    assert_eq!(done.status, 0, "{done:?}");
    let read = |name: &str| std::fs::read_to_string(place.file(name)).expect("the run's file");
    let run = |name: &str| Done {
        status: read(&format!("{name}.status"))
            .trim()
            .parse()
            .expect("a status"),
        stdout: read(name),
        stderr: read(&format!("{name}.err")),
    };
    let (full, rest) = (run("full"), run("rest"));
    assert_eq!(full.status, 2, "{full:?}");
    let words = full
        .stderr
        .replace(&place.path().display().to_string(), "DIR");
    insta::assert_snapshot!(words);
    let (before, after) = (good(&full), good(&rest));
    assert!(
        before.len() < 59,
        "the disk was full before the end: {before:?}"
    );
    assert_eq!(rest.status, 0, "{rest:?}");
    assert!(
        before.is_disjoint(&after),
        "recorded cards are not cut again"
    );
    let all: BTreeSet<u64> = before.union(&after).copied().chain([1]).collect();
    assert_eq!(
        all,
        (1..=60).collect(),
        "nothing told as good was lost: {full:?}"
    );
}
