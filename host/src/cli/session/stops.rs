//! Signals by which a person, or the system, asks the program to end.

use std::io;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;

/// Passes on that a signal asks the program to end, until nobody listens any more: an
/// interrupt, a request to terminate, a terminal that hangs up. Inside a runtime.
///
/// # Errors
/// The system lets no signal be caught.
pub(in crate::cli) fn stops() -> io::Result<mpsc::Receiver<()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let (to, stops) = mpsc::channel(4);
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = hang_up.recv() => {}
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
