//! Risk: a port that is no unit, or a unit of another time, is waited for
//! without end, or refused in words that do not help.

use std::fs::File;
use std::io::Write as _;
use std::os::fd::OwnedFd;
use std::path::PathBuf;

use cardwright::deck::Deck;
use cardwright_protocol::link::Versions;
use cardwright_virtual::unit::Nameplate;
use rand::{RngExt as _, SeedableRng as _};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use super::bad_input::said;
use super::support::{Live, Place, cardwright, rig_for, run, serve};

/// A terminal with nobody at its far end.
fn terminal() -> (OwnedFd, PathBuf) {
    let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&ours).expect("it is ours");
    unlockpt(&ours).expect("it opens");
    let path = ptsname(&ours, Vec::new()).expect("it has a name");
    let path = PathBuf::from(path.to_string_lossy().into_owned());
    (ours, path)
}

#[test]
fn a_port_that_is_not_there() {
    let place = Place::new();
    let done = run(cardwright(&["rig", "info", "--rig"])
        .arg(place.file("no-port"))
        .arg("--data")
        .arg(place.file("data")));
    insta::assert_snapshot!(said(&place, &done));
}

/// Else the ledger lists jobs for ever that never were.
#[test]
fn no_job_stays_open_for_a_port_that_is_not_there() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let (deck, copy) = (deck.display().to_string(), place.file("copy.deck"));
    let copy = copy.display().to_string();
    for command in [
        &["cut", "--yes", &deck][..],
        &["verify", "--yes", &deck],
        &["read", "--yes", &copy],
        &["deck", "which", "--yes", "--deck", &deck],
        &["rig", "calibrate", "--yes"],
    ] {
        let done = run(cardwright(command)
            .arg("--rig")
            .arg(place.file("no-port"))
            .arg("--data")
            .arg(place.file("data")));
        assert_eq!(done.status, 2, "{done:?}");
        assert!(done.stderr.contains("cannot be opened"), "{done:?}");
    }
    let export = run(cardwright(&["ledger", "export", "--data"]).arg(place.file("data")));
    let export: serde_json::Value = serde_json::from_str(&export.stdout).expect("an export");
    let jobs = export["jobs"].as_array().expect("jobs");
    assert_eq!(jobs.len(), 5, "{jobs:?}");
    assert!(jobs.iter().all(|job| job["ending"] == "failed"), "{jobs:?}");
}

#[test]
fn a_port_that_is_a_plain_file() {
    let place = Place::new();
    let file = place.write("letter", "dear weaver");
    let done = run(cardwright(&["rig", "info", "--rig"])
        .arg(&file)
        .arg("--data")
        .arg(place.file("data")));
    insta::assert_snapshot!(said(&place, &done));
    assert_eq!(
        std::fs::read(&file).expect("it is still there"),
        b"dear weaver"
    );
}

#[test]
fn a_port_that_stays_silent() {
    let place = Place::new();
    let (_ours, path) = terminal();
    let done = run(cardwright(&["rig", "info", "--rig"])
        .arg(&path)
        .arg("--data")
        .arg(place.file("data")));
    let name = path.display().to_string();
    insta::assert_snapshot!(said(&place, &done).replace(&name, "PORT"));
}

#[test]
fn a_port_that_sends_garbage() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let (ours, path) = terminal();
    let garbage = std::thread::spawn(move || {
        let mut ours = File::from(ours);
        let mut chance = rand::rngs::Xoshiro256PlusPlus::seed_from_u64(1);
        // until the program has let go of the terminal: 8 s at 100 B a ms is
        // longer than its patience
        for _ in 0..80 {
            let bytes: Vec<u8> = (0..1000).map(|_| chance.random()).collect();
            if ours.write_all(&bytes).is_err() {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
    });
    let done = run(cardwright(&["cut", "--yes", "--rig"])
        .arg(&path)
        .arg("--data")
        .arg(place.file("data"))
        .arg(deck));
    let name = path.display().to_string();
    insta::assert_snapshot!(said(&place, &done).replace(&name, "PORT"));
    drop(garbage);
}

#[test]
fn a_unit_of_a_later_protocol() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let link = place.file("rig");
    let like = Deck::read(&deck).expect("a deck");
    let mut options = rig_for(&like, 4.0, link.clone(), 1);
    options.nameplate = Nameplate {
        versions: Versions {
            lowest: Versions::CURRENT.highest + 1,
            highest: Versions::CURRENT.highest + 2,
        },
        ..Nameplate::default()
    };
    let rig = serve(options);
    let done = run(cardwright(&["cut", "--yes", "--rig"])
        .arg(&link)
        .arg("--data")
        .arg(place.file("data"))
        .arg(deck));
    insta::assert_snapshot!(said(&place, &done));
    assert_eq!(rig.truth().expect("the rig runs").strokes_begun, 0);
}

#[test]
fn settings_beyond_the_units_own_limits() {
    let place = Place::new();
    let deck = place.deck("towel", 2, 1);
    let bench = run(&mut cardwright(&["rig", "settings"])).stdout;
    let bold = bench.replace("coils_at_once = 4", "coils_at_once = 9");
    assert_ne!(bold, bench);
    let file = place.write("bold.toml", bold);
    let done = run(cardwright(&["cut", "--data"])
        .arg(place.file("data"))
        .arg("--rig-file")
        .arg(file)
        .arg(&deck));
    insta::assert_snapshot!(said(&place, &done));
}

/// A unit that is switched off while its port stays is given up after the
/// patience asked for, and a third interrupt ends the program at once.
#[test]
fn a_unit_that_falls_silent_is_given_up() {
    for interrupts in [0, 3] {
        let place = Place::new();
        let deck = place.deck("towel", 20, 11);
        let link = place.file("rig");
        let mut rig = Live::start(
            cardwright(&[
                "--json", "--speed", "5", "rig", "virtual", "--format", "100", "--link",
            ])
            .arg(&link),
        );
        rig.event("ready");
        let patience = if interrupts == 0 { "2" } else { "60" };
        let mut job = Live::start(
            cardwright(&["--json", "cut", "--yes", "--patience", patience, "--data"])
                .arg(place.file("data"))
                .arg("--rig")
                .arg(&link)
                .arg(&deck),
        );
        job.event("begun");
        rig.signal("STOP");
        job.event("unit_silent");
        for _ in 0..interrupts {
            job.signal("INT");
            std::thread::sleep(std::time::Duration::from_millis(300));
        }
        let done = job.end();
        rig.signal("CONT");
        assert_eq!(done.status, 3, "{done:?}");
        assert!(done.stderr.contains("run the command again"), "{done:?}");
    }
}
