//! If this fails, the program does not work with the board as it does with any
//! serial device: its daemon and commands, over a terminal, in wall time.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use cardwright_virtual::pty::{Serving, VirtualRig};
use cardwright_virtual::{Attendant, Faults, World};

use crate::bench::{NUMBER, board, deck, dry};

/// The program, where the workspace's build leaves it.
fn program() -> PathBuf {
    let here = std::env::current_exe().expect("this test is a file");
    let program = here
        .parent()
        .and_then(Path::parent)
        .expect("in target/")
        .join("cardwright");
    assert!(
        program.exists(),
        "{} is not built; run cargo build",
        program.display()
    );
    program
}

struct Daemon(Child);

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn run(data: &Path, args: &[&str]) -> Output {
    let output = Command::new(program())
        .args(args)
        .arg("--data")
        .arg(data)
        .stdin(Stdio::null())
        .output();
    output.expect("the program starts")
}

fn words(output: &Output) -> String {
    let all = [&output.stdout[..], &output.stderr[..]].concat();
    String::from_utf8_lossy(&all).into_owned()
}

#[test]
fn the_daemon_cuts_a_deck_on_the_board_over_a_terminal() {
    let dir = tempfile::tempdir().expect("a directory");
    let (link, data) = (dir.path().join("board"), dir.path().join("data"));
    let deck = deck("200-half", 2, 81);
    let file = dir.path().join("two.deck");
    deck.write(&file, false).expect("the deck is written");
    let serving = Serving {
        factor: 1.0,
        link: Some(link.clone()),
        attendant: Attendant::ABSENT,
    };
    let dry = dry(deck.format());
    let handle = VirtualRig::serve_unit(serving, move || {
        let mut world = World::new(dry, &Faults::default());
        world.fill_magazine(5);
        board(world)
    });
    let handle = handle.expect("the system gives a terminal");
    let daemon = Command::new(program())
        .args(["serve", "--data"])
        .arg(&data)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let _daemon = Daemon(daemon.expect("the daemon starts"));
    let began = Instant::now();
    while !data.join("daemon.sock").exists() {
        assert!(began.elapsed() < Duration::from_secs(20), "no daemon");
        std::thread::sleep(Duration::from_millis(50));
    }
    let port = link.to_str().expect("a plain name");
    let info = run(&data, &["rig", "info", "--rig", port]);
    assert!(info.status.success(), "{}", words(&info));
    let number: String = NUMBER.iter().map(|byte| format!("{byte:02x}")).collect();
    let said = words(&info).to_lowercase();
    assert!(said.contains(&number), "{said}");
    let file = file.to_str().expect("a plain name");
    let cut = run(&data, &["cut", file, "--rig", port, "--json", "--yes"]);
    assert!(cut.status.success(), "{}", words(&cut));
    let last = words(&cut).lines().last().unwrap_or_default().to_string();
    let summary: serde_json::Value = serde_json::from_str(&last).expect("JSON");
    assert_eq!(summary["good"], 2, "{last}");
    let truth = handle.stop().expect("the board ran to the end");
    for (n, (_, card)) in (0..).zip(truth.cards.iter().enumerate()) {
        let strokes = deck
            .strokes(cardwright_protocol::CardNumber(n + 1))
            .expect("a card");
        let world = crate::bench::dry(deck.format());
        assert_eq!(card.matches(&strokes, world.holes, world.pitch_mm, 0.1), []);
    }
}
