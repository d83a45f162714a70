//! Risk: with a daemon on the ledger the other commands do not work, or a
//! client that goes away leaves a machine running, or a daemon's end leaves
//! something in the way.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use cardwright::deck::Deck;
use cardwright_virtual::pty::Handle;

use super::support::{Live, PATIENCE, Place, cardwright, rig_for, run, serve};

fn daemon(data: &Path) -> Live {
    let mut daemon = Live::start(cardwright(&["serve", "--json", "--data"]).arg(data));
    daemon.event("ready");
    daemon
}

fn cut(place: &Place, deck: &Path) -> Command {
    let mut command = cardwright(&["cut", "--json", "--yes", "--data"]);
    command.arg(place.file("data")).arg(deck);
    command
}

fn rig(place: &Place, deck: &Path) -> (Handle, PathBuf) {
    let link = place.file("rig");
    let deck = Deck::read(deck).expect("a deck");
    (serve(rig_for(&deck, 8.0, link.clone(), 1)), link)
}

#[test]
fn commands_go_through_the_daemon() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 1);
    let daemon = daemon(&place.file("data"));
    let info = run(cardwright(&["rig", "info", "--json", "--data"]).arg(place.file("data")));
    assert_eq!(info.status, 0, "{info:?}");
    let done = run(&mut cut(&place, &deck));
    assert_eq!(done.status, 0, "{done:?}");
    let events: Vec<String> = done
        .json()
        .iter()
        .filter_map(|line| line["event"].as_str().map(str::to_string))
        .collect();
    for event in [
        "job", "unit", "started", "begun", "progress", "card", "summary",
    ] {
        assert!(
            events.iter().any(|e| e == event),
            "{event} did not come: {events:?}"
        );
    }
    let again = run(&mut cut(&place, &deck));
    assert_eq!(
        (again.status, &again.summary()["stock"]),
        (0, &0.into()),
        "{again:?}"
    );
    let wrong = run(&mut cut(&place, &place.file("gone.deck")));
    assert_eq!(wrong.status, 2, "{wrong:?}");
    assert!(wrong.stderr.contains("gone.deck"), "{wrong:?}");
    let jobs = run(cardwright(&["ledger", "--json", "--data"]).arg(place.file("data")));
    assert_eq!(
        jobs.summary()["jobs"],
        1,
        "the ledger can be read meanwhile: {jobs:?}"
    );
    daemon.signal("TERM");
    let ended = daemon.end();
    assert_eq!(ended.status, 0, "{ended:?}");
    assert!(
        !place.file("data/daemon.sock").exists(),
        "the socket is gone"
    );
}

#[test]
fn a_persons_orders_reach_a_job_of_the_daemon() {
    let place = Place::new();
    let deck = place.deck("towel", 30, 1);
    let _daemon = daemon(&place.file("data"));
    let mut job = Live::start(
        cut(&place, &deck)
            .arg("--speed")
            .arg("10")
            .stdin(Stdio::piped()),
    );
    job.event("begun");
    job.say("p");
    job.event("paused");
    job.say("g");
    job.event("resumed");
    job.say("s");
    let done = job.end();
    assert_eq!(done.status, 1, "{done:?}");
    assert!(done.summary()["good"].as_u64() < Some(30), "{done:?}");
}

#[test]
fn a_job_whose_client_is_killed_stops_after_its_card() {
    let place = Place::new();
    let deck = place.deck("towel", 40, 1);
    let (rig, link) = rig(&place, &deck);
    let _daemon = daemon(&place.file("data"));
    let mut job = Live::start(
        cut(&place, &deck)
            .arg("--rig")
            .arg(&link)
            .stdin(Stdio::piped()),
    );
    job.event("card");
    job.event("begun");
    job.kill();
    // a deadline for the failure; the job ends as its card does
    let started = Instant::now();
    let ending = loop {
        let jobs = run(cardwright(&["ledger", "--json", "--data"]).arg(place.file("data")));
        let job = jobs.json().swap_remove(0);
        if job["ending"].is_string() {
            break job;
        }
        assert!(started.elapsed() < PATIENCE, "{job}");
        std::thread::sleep(Duration::from_millis(50));
    };
    assert_eq!(ending["ending"], "stopped", "{ending}");
    let strokes = rig.truth().expect("the rig runs").strokes_begun;
    assert_eq!(
        strokes % 29,
        0,
        "the card in the rig was finished, and no other begun"
    );
    assert!(strokes < 40 * 29, "the job was stopped");
    let rest = run(cut(&place, &deck)
        .arg("--cards")
        .arg("1-6")
        .arg("--rig")
        .arg(&link));
    assert_eq!(rest.status, 0, "the next client goes on: {rest:?}");
    assert_eq!(rest.summary()["faults"], 0, "{rest:?}");
}

#[test]
fn two_clients_do_not_get_one_port() {
    let place = Place::new();
    let deck = place.deck("towel", 30, 1);
    let (_rig, link) = rig(&place, &deck);
    let _daemon = daemon(&place.file("data"));
    let mut first = Live::start(
        cut(&place, &deck)
            .arg("--rig")
            .arg(&link)
            .stdin(Stdio::piped()),
    );
    first.event("begun");
    let second = run(cardwright(&["rig", "info", "--rig"])
        .arg(&link)
        .arg("--data")
        .arg(place.file("data")));
    let words = super::bad_input::said(&place, &second);
    insta::assert_snapshot!(words);
    first.event("card");
    first.say("s");
    assert_eq!(first.end().status, 1);
}

/// Two jobs on one deck would take each other's cards up: a good card would be
/// cut again, and its stack would hold two.
#[test]
fn two_clients_do_not_work_on_one_deck() {
    let place = Place::new();
    let deck = place.deck("towel", 30, 1);
    let (_rig, link) = rig(&place, &deck);
    let _daemon = daemon(&place.file("data"));
    let mut first = Live::start(
        cut(&place, &deck)
            .arg("--rig")
            .arg(&link)
            .stdin(Stdio::piped()),
    );
    first.event("begun");
    let second = run(&mut cut(&place, &deck));
    assert_eq!(second.status, 2, "{second:?}");
    assert!(
        second.stderr.contains("is busy with another job"),
        "{second:?}"
    );
    first.say("s");
    assert_eq!(first.end().status, 1);
    let later = run(&mut cut(&place, &deck));
    assert_eq!(later.status, 0, "the deck is free again: {later:?}");
}

/// The second would read a whole stack and then find the file there.
#[test]
fn two_clients_do_not_copy_into_one_file() {
    let place = Place::new();
    let old = place.deck("old", 10, 1);
    std::fs::create_dir(place.file("sub")).expect("a folder");
    let _daemon = daemon(&place.file("data"));
    let read = |out: &str| {
        let what = [
            "read", "--json", "--format", "100", "--cards", "10", "--data",
        ];
        let mut command = cardwright(&what);
        command
            .arg(place.file("data"))
            .arg("--stack")
            .arg(&old)
            .arg(place.file(out));
        command
    };
    let mut first = Live::start(read("copy.deck").stdin(Stdio::piped()));
    first.event("begun");
    let second = run(&mut read("sub/../copy.deck"));
    assert_eq!(second.status, 2, "{second:?}");
    assert!(
        second.stderr.contains("copy.deck is busy with another job"),
        "{second:?}"
    );
    first.say("s");
    assert_eq!(first.end().status, 1);
    let later = run(&mut read("copy.deck"));
    assert_eq!(later.status, 0, "the file is free again: {later:?}");
}

#[test]
fn a_killed_daemon_leaves_nothing_in_the_way() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let data = place.file("data");
    let mut first = daemon(&data);
    first.kill();
    assert!(data.join("daemon.sock").exists(), "it could not clear up");
    let done = run(&mut cut(&place, &deck));
    assert_eq!(
        done.status, 0,
        "a stale socket is no obstacle to a command: {done:?}"
    );
    let second = daemon(&data);
    let info = run(cardwright(&["rig", "info", "--data"]).arg(&data));
    assert_eq!(info.status, 0, "nor to a daemon: {info:?}");
    second.signal("INT");
    assert_eq!(second.end().status, 0);
}

/// What the kernel counts of a process: ticks of processor time, resident KiB.
fn load(id: u32) -> (u64, u64) {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).expect("the process runs");
    // the name in brackets may hold spaces
    let fields: Vec<&str> = stat
        .rsplit(')')
        .next()
        .unwrap_or("")
        .split_whitespace()
        .collect();
    let ticks = |at: usize| {
        fields
            .get(at)
            .and_then(|field| field.parse().ok())
            .unwrap_or(0u64)
    };
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("the process runs");
    let resident = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))
        .and_then(|line| line.split_whitespace().next())
        .and_then(|kib| kib.parse().ok())
        .expect("the kernel tells the resident size");
    (ticks(11) + ticks(12), resident)
}

/// A bound on resources, not a speed: an idle daemon must not poll.
#[test]
fn an_idle_daemon_costs_next_to_nothing() {
    let place = Place::new();
    let deck = place.deck("towel", 4, 1);
    let daemon = daemon(&place.file("data"));
    assert_eq!(run(&mut cut(&place, &deck)).status, 0);
    let watched = Duration::from_secs(5);
    let (before, _) = load(daemon.id());
    std::thread::sleep(watched);
    let (after, resident_kib) = load(daemon.id());
    // a tick is a hundredth of a second wherever Linux runs
    let used_ms = (after - before) * 10;
    println!("idle daemon: {used_ms} ms of processor in {watched:?}, {resident_kib} KiB resident");
    assert!(
        used_ms * 100 <= watched.as_millis() as u64,
        "{used_ms} ms in {watched:?}"
    );
    assert!(resident_kib < 40 * 1024, "{resident_kib} KiB");
}
