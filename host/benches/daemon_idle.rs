//! What an idle daemon costs: processor time over 20 s and resident memory, as
//! the kernel counts them (`/proc`, Linux only). Prints; asserts nothing.

use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};
use std::time::Duration;

const WATCHED: Duration = Duration::from_secs(20);

fn field(text: &str, at: usize) -> u64 {
    text.rsplit(')')
        .next()
        .and_then(|rest| rest.split_whitespace().nth(at))
        .and_then(|field| field.parse().ok())
        .unwrap_or(0)
}

fn ticks(id: u32) -> std::io::Result<u64> {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat"))?;
    // user and system time, in hundredths of a second
    Ok(field(&stat, 11) + field(&stat, 12))
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let data = tempfile::tempdir()?;
    let mut daemon = Command::new(env!("CARGO_BIN_EXE_cardwright"))
        .args(["serve", "--data"])
        .arg(data.path())
        .stdout(Stdio::piped())
        .spawn()?;
    let out = daemon.stdout.take().ok_or("standard output is a pipe")?;
    let mut ready = String::new();
    BufReader::new(out).read_line(&mut ready)?;
    let before = ticks(daemon.id())?;
    std::thread::sleep(WATCHED);
    let used_ms = (ticks(daemon.id())? - before) * 10;
    let status = std::fs::read_to_string(format!("/proc/{}/status", daemon.id()))?;
    daemon.kill()?;
    daemon.wait()?;
    let seconds = WATCHED.as_secs();
    let percent = used_ms as f64 / 10.0 / seconds as f64;
    println!("processor: {used_ms} ms in {seconds} s ({percent:.2} % of a core)");
    for line in status
        .lines()
        .filter(|line| line.starts_with("VmRSS") || line.starts_with("VmHWM"))
    {
        println!("{}", line.split_whitespace().collect::<Vec<_>>().join(" "));
    }
    Ok(())
}
