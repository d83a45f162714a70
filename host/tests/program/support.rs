//! Starts the program, gives it lines, takes its lines, and never waits for
//! ever.

use std::io::{BufRead as _, BufReader, Read, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use cardwright::deck::Deck;
use cardwright_virtual::pty::{Handle, Options, VirtualRig};
use cardwright_virtual::{Attendant, WorldSettings};
use rand::{RngExt as _, SeedableRng as _};
use serde_json::Value;

/// Long enough for the slowest machine; only a failure takes it.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// A directory of the test's own.
pub struct Place(tempfile::TempDir);

impl Place {
    pub fn new() -> Place {
        Place(tempfile::tempdir().expect("a directory for the test"))
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let file = self.file(name);
        std::fs::write(&file, content).expect("the test's file is written");
        file
    }

    /// A picture of chance, one pixel a hook by a pick (PBM, the plain form).
    pub fn picture(&self, name: &str, hooks: u32, picks: u32, seed: u64) -> PathBuf {
        let mut chance = rand::rngs::Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut text = format!("P1\n{hooks} {picks}\n");
        for _ in 0..picks {
            let line: Vec<&str> = (0..hooks)
                .map(|_| if chance.random_bool(0.4) { "1" } else { "0" })
                .collect();
            text.push_str(&line.join(" "));
            text.push('\n');
        }
        self.write(name, text)
    }

    /// A deck of `cards` cards of chance for the 100 head.
    pub fn deck(&self, name: &str, cards: u32, seed: u64) -> PathBuf {
        self.deck_of("100", 100, name, cards, seed)
    }

    pub fn deck_of(&self, format: &str, hooks: u32, name: &str, cards: u32, seed: u64) -> PathBuf {
        let picture = self.picture(&format!("{name}.pbm"), hooks, cards, seed);
        let deck = self.file(&format!("{name}.deck"));
        let made = run(cardwright(&["deck", "make"])
            .arg(picture)
            .args(["--format", format, "--out"])
            .arg(&deck));
        assert_eq!(made.status, 0, "{made:?}");
        deck
    }
}

/// The program with these arguments, cut off from the tester's surroundings: a
/// board that happens to be attached is not moved by a test.
pub fn cardwright(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cardwright"));
    command
        .args(args)
        .env("CARDWRIGHT_RIG", "virtual")
        .env_remove("CARDWRIGHT_LOG")
        .env_remove("COLUMNS");
    command
}

/// A run that is over.
#[derive(Debug)]
pub struct Done {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Done {
    /// Every line of standard output as JSON; fails if one is not.
    pub fn json(&self) -> Vec<Value> {
        let parse = |line: &str| {
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}\n{self:?}"))
        };
        self.stdout.lines().map(parse).collect()
    }

    /// The last line.
    pub fn summary(&self) -> Value {
        self.json()
            .pop()
            .unwrap_or_else(|| panic!("no summary: {self:?}"))
    }
}

/// Runs it to its end, with nobody at its standard input.
pub fn run(command: &mut Command) -> Done {
    Live::start(command.stdin(Stdio::null())).end()
}

/// A run that goes on.
pub struct Live {
    child: Child,
    stdin: Option<ChildStdin>,
    lines: Receiver<String>,
    stdout: String,
    stderr: Option<JoinHandle<String>>,
}

impl Live {
    pub fn start(command: &mut Command) -> Live {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let stdin = child.stdin.take();
        let out = child.stdout.take().expect("standard output is a pipe");
        let mut errors = child.stderr.take().expect("standard error is a pipe");
        let (to, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        let stderr = Some(std::thread::spawn(move || {
            let mut bytes = Vec::new();
            // what came before an error is enough
            let _ = errors.read_to_end(&mut bytes);
            String::from_utf8_lossy(&bytes).into_owned()
        }));
        Live {
            child,
            stdin,
            lines,
            stdout: String::new(),
            stderr,
        }
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Types a line.
    pub fn say(&mut self, line: &str) {
        let stdin = self.stdin.as_mut().expect("standard input is a pipe");
        writeln!(stdin, "{line}").expect("the program takes the line");
    }

    /// Types bytes as they are.
    pub fn type_bytes(&mut self, bytes: &[u8]) {
        let stdin = self.stdin.as_mut().expect("standard input is a pipe");
        stdin.write_all(bytes).expect("the program takes them");
    }

    /// Waits for a line of standard output that `wanted` accepts.
    pub fn line(&mut self, wanted: impl Fn(&str) -> bool) -> String {
        let started = Instant::now();
        while started.elapsed() < PATIENCE {
            let Ok(line) = self.lines.recv_timeout(PATIENCE) else {
                break;
            };
            self.stdout.push_str(&line);
            self.stdout.push('\n');
            if wanted(&line) {
                return line;
            }
        }
        self.kill();
        panic!("the line never came; standard output: {}", self.stdout);
    }

    /// Resets the rig whenever it stops, until the summary; how often it was.
    pub fn reset_to_the_end(&mut self) -> u64 {
        let mut stops = 0;
        loop {
            let line = self.line(|line| {
                line.starts_with("{\"event\":\"needs_reset\"")
                    || line.starts_with("{\"event\":\"summary\"")
            });
            if line.contains("summary") {
                return stops;
            }
            stops += 1;
            // the person at the virtual machine takes a virtual second
            std::thread::sleep(Duration::from_millis(100));
            self.say("r");
        }
    }

    /// Waits for an event of this name.
    pub fn event(&mut self, name: &str) -> Value {
        let start = format!("{{\"event\":\"{name}\"");
        let line = self.line(|line| line.starts_with(&start));
        serde_json::from_str(&line).expect("a line of JSON")
    }

    /// Kills it outright.
    pub fn kill(&mut self) {
        // it may have ended by itself
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Sends it a signal by name.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill")
            .arg(format!("-{name}"))
            .arg(self.id().to_string())
            .status();
        assert!(sent.is_ok_and(|status| status.success()), "kill is there");
    }

    /// Whether it runs still.
    pub fn runs(&mut self) -> bool {
        self.child.try_wait().is_ok_and(|ended| ended.is_none())
    }

    /// Waits for its end.
    pub fn end(mut self) -> Done {
        let started = Instant::now();
        while self.runs() {
            if started.elapsed() > PATIENCE {
                self.kill();
                panic!("it does not end; standard output: {}", self.rest());
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        self.result()
    }

    fn rest(&mut self) -> String {
        while let Ok(line) = self.lines.recv_timeout(Duration::from_secs(5)) {
            self.stdout.push_str(&line);
            self.stdout.push('\n');
        }
        std::mem::take(&mut self.stdout)
    }

    fn result(&mut self) -> Done {
        let status = self.child.wait().expect("it has ended");
        let stdout = self.rest();
        let stderr = self
            .stderr
            .take()
            .and_then(|thread| thread.join().ok())
            .unwrap_or_default();
        assert!(!stderr.contains("panicked"), "{stderr}");
        Done {
            status: status.code().unwrap_or(-1),
            stdout,
            stderr,
        }
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.kill();
    }
}

/// How a virtual rig is served for a deck: dry stock of its format, plenty of
/// it, a person who only fills the magazine.
pub fn rig_for(deck: &Deck, factor: f64, link: PathBuf, seed: u64) -> Options {
    let format = deck.format();
    let mut world = WorldSettings {
        holes: format.holes_per_row(),
        pitch_mm: format.row_pitch_mm(),
        needle_diameter_mm: format.needle_hole_mm(),
        peg_diameter_mm: format.peg_hole_mm(),
        seed,
        ..WorldSettings::default()
    };
    world.stock.length_mm = format.card_length_mm();
    world.stock.width_mm = format.card_width_mm();
    world.stock.seed = seed;
    let attendant = Attendant {
        refills: Some(1000),
        ..Attendant::ABSENT
    };
    Options {
        world,
        factor,
        link: Some(link),
        attendant,
        blanks: 1000,
        ..Options::default()
    }
}

pub fn serve(options: Options) -> Handle {
    VirtualRig::serve(options).expect("the system gives a pseudo-terminal")
}
