//! The emulator's process and the frames to and from it.
//!
//! Enters: requests. Leaves: the answer to each. A frame is a length of four
//! bytes (of all that follows), a kind and a body, little-endian.

use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// What a request asks for.
#[derive(Clone, Copy, Debug)]
#[repr(u8)]
pub(super) enum Request {
    Run = 1,
    UniqueNumber = 2,
    Power = 3,
    Cable = 4,
    Read = 5,
    Write = 6,
    Identity = 7,
    Counts = 8,
}

/// Where the emulator's program lies.
fn home() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("board")
}

fn node() -> std::ffi::OsString {
    std::env::var_os("CARDWRIGHT_NODE").unwrap_or_else(|| "node".into())
}

/// What is missing on this computer to run the board's firmware, if something
/// is: in words, with what to do.
#[must_use]
pub fn missing() -> Option<String> {
    let asked = Command::new(node()).arg("--version").output();
    if !asked.is_ok_and(|asked| asked.status.success()) {
        return Some(
            "no Node.js here; install version 18 or later, or name it in CARDWRIGHT_NODE".into(),
        );
    }
    let home = home();
    if home.join("node_modules/rp2040js/package.json").exists() {
        return None;
    }
    Some(format!(
        "the chip's emulator is not installed; run `npm ci` in {}",
        home.display()
    ))
}

/// The running process. It ends with this value.
#[derive(Debug)]
pub(super) struct Emulator {
    child: Child,
    to: Option<ChildStdin>,
    from: BufReader<ChildStdout>,
    frame: Vec<u8>,
    answer: Vec<u8>,
}

impl Emulator {
    /// Starts it.
    ///
    /// # Panics
    /// With what is missing.
    pub fn start() -> Emulator {
        if let Some(words) = missing() {
            panic!("{words}");
        }
        let mut child = Command::new(node())
            .arg(home().join("main.mjs"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|cause| panic!("cannot start the chip's emulator: {cause}"));
        let to = child.stdin.take();
        let from = child.stdout.take().expect("its output is a pipe");
        Emulator {
            child,
            to,
            from: BufReader::with_capacity(1 << 16, from),
            frame: Vec::new(),
            answer: Vec::new(),
        }
    }

    /// Asks, and waits for the answer.
    ///
    /// # Panics
    /// If the emulator refuses, in its words, or has ended.
    pub fn ask(&mut self, request: Request, body: &[u8]) -> &[u8] {
        let length = u32::try_from(body.len() + 1).expect("a request is short");
        self.frame.clear();
        self.frame.extend_from_slice(&length.to_le_bytes());
        self.frame.push(request as u8);
        self.frame.extend_from_slice(body);
        let to = self.to.as_mut().expect("it runs as long as this value");
        let told = to.write_all(&self.frame).and_then(|()| to.flush());
        let heard = told.and_then(|()| self.hear());
        if let Err(cause) = heard {
            panic!("the chip's emulator has ended: {cause}");
        }
        let (refused, body) = self.answer.split_first().expect("an answer has a kind");
        assert!(
            *refused == 0,
            "the chip's emulator refused {request:?}: {}",
            String::from_utf8_lossy(body)
        );
        body
    }

    fn hear(&mut self) -> std::io::Result<()> {
        let mut length = [0; 4];
        self.from.read_exact(&mut length)?;
        self.answer.resize(u32::from_le_bytes(length) as usize, 0);
        self.from.read_exact(&mut self.answer)
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // it ends with its input
        self.to = None;
        let _ = self.child.wait();
    }
}
