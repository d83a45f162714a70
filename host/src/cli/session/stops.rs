//! Signals by which a person, or the system, asks the program to end.

use std::io;

use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::mpsc;

/// Passes on that a signal asks the program to end, until nobody listens any more: an
/// interrupt, a request to terminate, a terminal that hangs up unless that is ignored, as
/// under nohup. Inside a runtime.
///
/// # Errors
/// The system lets no signal be caught.
pub(in crate::cli) fn stops() -> io::Result<mpsc::Receiver<()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = match hang_up_is_ignored() {
        true => None,
        false => Some(signal(SignalKind::hangup())?),
    };
    let mut interrupt = signal(SignalKind::interrupt())?;
    let (to, stops) = mpsc::channel(4);
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => {}
                // a terminal goes away once, and its signal may come twice
                () = received(&mut hang_up) => hang_up = None,
                _ = interrupt.recv() => {}
                () = to.closed() => return,
            }
            if to.send(()).await.is_err() {
                return;
            }
        }
    });
    Ok(stops)
}

/// Waits for the signal, for ever where it is not caught.
async fn received(signal: &mut Option<Signal>) {
    match signal {
        Some(signal) => {
            signal.recv().await;
        }
        None => std::future::pending().await,
    }
}

/// Whether the program was begun so that it outlives its terminal. The lowest bit of the
/// mask is SIGHUP's (proc(5), SigIgn).
fn hang_up_is_ignored() -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok());
    mask.is_some_and(|mask| mask & 1 == 1)
}
