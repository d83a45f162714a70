//! Risk: at the loom a line that is typed is lost, the program never ends or does not
//! say what it waits for.

use std::fs::File;
use std::io::{ErrorKind, Read as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rustix::fs::{Mode, OFlags, fcntl_setfl};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};

use super::support::{Done, Live, PATIENCE, Place, cardwright, run};

/// Ground, four cards there and back, ground: 16 picks.
const PLAN: &str = r#"
name = "Sample"
sett = { picks = 20, per = "cm" }

[decks]
four = "four.deck"

[[section]]
name = "hem"
ground = 2

[[section]]
name = "figure"
deck = "four"
cards = ["1-4", "3-2"]
repeat = 2

[[section]]
name = "hem"
ground = 2
"#;

fn plan(place: &Place) -> PathBuf {
    place.deck("four", 4, 1);
    place.write("plan.toml", PLAN)
}

fn weave(place: &Place, plan: &Path, more: &[&str]) -> Command {
    let mut command = cardwright(&["--rig", "virtual", "weave"]);
    command.arg(plan).arg("--data").arg(place.file("data"));
    command.args(more).stdin(Stdio::piped());
    command
}

/// Types these bytes and then leaves.
fn typed(place: &Place, plan: &Path, bytes: &[u8]) -> Done {
    let mut live = Live::start(&mut weave(place, plan, &["--plain", "--speed", "1"]));
    live.line(|line| line.starts_with("unit "));
    live.type_bytes(bytes);
    live.say("q");
    live.end()
}

#[test]
fn every_line_of_a_large_paste_is_taken_in_order() {
    let place = Place::new();
    let plan = plan(&place);
    let notes: Vec<String> = (1..=300).map(|n| format!("note: {n}")).collect();
    let paste: String = (1..=300).map(|n| format!("t {n}\n")).collect();
    let done = typed(&place, &plan, paste.as_bytes());
    let lines = done.stdout.lines();
    let told: Vec<&str> = lines.filter(|line| line.starts_with("note: ")).collect();
    assert_eq!(told, notes, "{done:?}");
}

#[test]
fn a_line_that_is_no_text_is_refused_and_the_next_is_taken() {
    let place = Place::new();
    let plan = plan(&place);
    let done = typed(&place, &plan, b"t caf\xe9\nt after it\n");
    assert!(done.stderr.contains("that line is no text"), "{done:?}");
    assert!(done.stdout.contains("note: after it"), "{done:?}");
}

#[test]
fn other_programs_learn_what_is_asked_and_what_is_next() {
    let place = Place::new();
    let plan = plan(&place);
    let done = run(&mut weave(&place, &plan, &["--json", "--speed", "50"]));
    assert_eq!(done.status, 0, "{done:?}");
    let all = done.json();
    let of = |event: &'static str| all.iter().filter(move |line| line["event"] == event);
    let chain = |line: &serde_json::Value| line["asking"]["asks"] == "chain";
    assert!(of("asked").any(chain), "{done:?}");
    let next: Vec<u64> = of("next")
        .filter_map(|line| line["pick"]["number"].as_u64())
        .collect();
    assert_eq!(
        (next.first(), next.last()),
        (Some(&1), Some(&16)),
        "{next:?}"
    );
    let cards: Vec<Option<u64>> = of("next")
        .map(|line| line["pick"]["card"].as_u64())
        .collect();
    assert!(
        cards.contains(&Some(4)) && cards.contains(&None),
        "{cards:?}"
    );
    assert_eq!(all.last().expect("a summary")["event"], "summary");
}

/// One error, and nothing is made.
#[test]
fn a_plan_or_a_loom_file_that_is_wrong_is_told_of_before_anything_else() {
    let place = Place::new();
    let good = plan(&place);
    let loom = place.write("loom.toml", b"name = \"caf\xe9\"\n");
    let loom = loom.to_string_lossy();
    let bad = place.write("bad.toml", "name = 3\n");
    for (plan, more, words) in [
        (&bad, vec!["--plain"], "bad.toml, line 1"),
        (
            &good,
            vec!["--plain", "--loom", loom.as_ref()],
            "is no text",
        ),
    ] {
        let done = run(&mut weave(&place, plan, &more));
        assert_eq!((done.status, done.stdout.as_str()), (2, ""), "{done:?}");
        assert!(done.stderr.starts_with("cardwright: "), "{done:?}");
        assert!(done.stderr.contains(words), "{done:?}");
        assert_eq!(done.stderr.lines().count(), 1, "{done:?}");
        assert!(!place.file("data").exists());
    }
}

#[test]
fn a_cloth_file_that_is_wrong_is_told_of() {
    let place = Place::new();
    place.write("cloth.toml", "hooks = \"many\"\n");
    place.deck("four", 4, 1);
    let plan = place.write("plan.toml", format!("cloth = \"cloth.toml\"\n{PLAN}"));
    let done = typed(&place, &plan, b"");
    assert!(done.stdout.contains("cloth.toml"), "{done:?}");
}

#[test]
fn where_there_is_no_ledger_pieces_come_of_weaving() {
    let place = Place::new();
    let done = run(cardwright(&["ledger", "pieces", "--data"]).arg(place.file("data")));
    assert_eq!(done.status, 2);
    assert!(done.stderr.contains("weave by a plan first"), "{done:?}");
    assert!(!done.stderr.contains("cut a deck"), "{done:?}");
}

/// A terminal of 80 by 24 with the program on it, and what it shows.
struct OnTerminal {
    ours: Option<File>,
    child: std::process::Child,
}

impl OnTerminal {
    fn start(command: &mut Command) -> OnTerminal {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC);
        let ours = ours.expect("the system gives a pseudo-terminal");
        grantpt(&ours).expect("it is granted");
        unlockpt(&ours).expect("it is unlocked");
        fcntl_setfl(&ours, OFlags::RDWR | OFlags::NONBLOCK).expect("it never waits");
        let name = ptsname(&ours, Vec::new()).expect("it has a name");
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let theirs = rustix::fs::open(&*name, flags, Mode::empty()).expect("it opens");
        let size = Winsize {
            ws_row: 24,
            ws_col: 80,
            ws_xpixel: 0,
            ws_ypixel: 0,
        };
        tcsetwinsize(&theirs, size).expect("it takes a size");
        let theirs = File::from(theirs);
        let side = || Stdio::from(theirs.try_clone().expect("it is there"));
        let child = command
            .env("TERM", "xterm")
            .stdin(side())
            .stdout(side())
            .stderr(side())
            .spawn()
            .expect("the program starts");
        OnTerminal {
            ours: Some(File::from(ours)),
            child,
        }
    }

    /// What is shown until these words are, or until the end.
    fn until(&mut self, words: &str) -> String {
        let started = Instant::now();
        let mut shown = Vec::new();
        let mut part = [0; 4096];
        let ours = self.ours.as_mut().expect("the terminal is open");
        while started.elapsed() < PATIENCE {
            match ours.read(&mut part) {
                Ok(length) => shown.extend(&part[..length]),
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    std::thread::sleep(Duration::from_millis(10));
                }
                // the far end is closed, which is the end
                Err(_) => break,
            }
            if String::from_utf8_lossy(&shown).contains(words) {
                break;
            }
        }
        String::from_utf8_lossy(&shown).into_owned()
    }

    fn ends(&mut self) -> bool {
        let started = Instant::now();
        while started.elapsed() < PATIENCE {
            if let Ok(Some(status)) = self.child.try_wait() {
                // not by a signal
                return status.code().is_some();
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        false
    }
}

impl Drop for OnTerminal {
    fn drop(&mut self) {
        // it may have ended by itself
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn closing_the_terminal_ends_the_full_screen() {
    let place = Place::new();
    let plan = plan(&place);
    let mut shown = OnTerminal::start(&mut weave(&place, &plan, &["--speed", "1"]));
    // only what changes is sent: a word, not the spaces around it
    let text = shown.until("Sample,");
    assert!(text.contains("Sample,"), "{text}");
    shown.ours = None;
    assert!(shown.ends(), "it goes on without a terminal");
}

#[test]
fn a_piece_that_is_done_is_called_that() {
    let place = Place::new();
    let plan = plan(&place);
    let mut shown = OnTerminal::start(&mut weave(&place, &plan, &["--speed", "200"]));
    let text = shown.until("tells of it");
    assert!(
        text.contains("piece 1: 16 picks in the cloth, the piece is done"),
        "{text}"
    );
    assert!(text.contains("`cardwright ledger piece 1`"), "{text}");
    assert!(!text.contains("lists what is on the loom"), "{text}");
    assert!(shown.ends());
}
