//! Answers of reference libraries, computed by `tests/reference/reference.py`.
//!
//! Enters: a command and its problem, or a list of problems. Leaves: the answer,
//! or a list of answers. It panics, as a test does, where there is no
//! interpreter or the problem is refused.

use serde_json::Value;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

/// Names the interpreter that has the libraries; `tests/run` sets it.
pub const PYTHON: &str = "CARDWRIGHT_REFERENCE_PYTHON";

/// What the reference answers. The commands are told in `reference.py`. To
/// start it takes a second or so: many problems are best given as one list.
///
/// # Panics
/// Without an interpreter in the environment variable [`PYTHON`], and if the
/// problem is refused.
#[must_use]
pub fn reference(command: &str, input: Value) -> Value {
    let python = std::env::var_os(PYTHON).unwrap_or_else(|| {
        panic!(
            "{PYTHON} is not set: run tests/run, which installs the reference libraries and sets it"
        )
    });
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference");
    let asked = Command::new(&python)
        .arg(home.join("reference.py"))
        .arg(command)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut asked =
        asked.unwrap_or_else(|why| panic!("{PYTHON} names {python:?}, which cannot be run: {why}"));
    // It reads all before it writes anything. A pipe it has shut is told by its
    // status, below.
    if let Some(mut stdin) = asked.stdin.take() {
        let _ = stdin.write_all(input.to_string().as_bytes());
    }
    let answer = asked
        .wait_with_output()
        .unwrap_or_else(|why| panic!("reference.py {command}: {why}"));
    let said = String::from_utf8_lossy(&answer.stderr);
    assert!(
        answer.status.success(),
        "reference.py {command} failed: {said}"
    );
    serde_json::from_slice(&answer.stdout)
        .unwrap_or_else(|why| panic!("reference.py {command} answered no JSON: {why}"))
}
