//! What is typed on the terminal of the full screen.
//!
//! Enters: keys and new sizes, as the terminal sends them. Leaves: the same, until
//! nobody listens any more. Refuses a terminal that has gone away, which is its end.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use ratatui::crossterm::event::{self, Event};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use tokio::sync::mpsc;

/// How often the thread that waits for keys looks whether it is still wanted.
const LOOK: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 100_000_000,
};

/// What is heard of a terminal that has gone away.
const GONE: PollFlags = PollFlags::HUP.union(PollFlags::ERR).union(PollFlags::NVAL);

/// How long that thread is waited for.
const PARTING: Duration = Duration::from_millis(500);

/// A wait before a terminal is asked again that had something and gave nothing.
const AGAIN: Duration = Duration::from_millis(10);

/// What is typed. A read that waits must not hold up the end of the program, so it
/// has a thread of its own.
pub(super) struct Typed {
    /// What was typed.
    pub events: mpsc::Receiver<Event>,
    wanted: Arc<AtomicBool>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Typed {
    /// Listens to standard input, which is a terminal.
    pub fn listen() -> Typed {
        let (to, events) = mpsc::channel(64);
        let wanted = Arc::new(AtomicBool::new(true));
        let still = Arc::clone(&wanted);
        let thread = std::thread::spawn(
            move || {
                while still.load(Ordering::Relaxed) && pass_on(&to) {}
            },
        );
        Typed {
            events,
            wanted,
            thread: Some(thread),
        }
    }
}

impl Drop for Typed {
    fn drop(&mut self) {
        self.wanted.store(false, Ordering::Relaxed);
        // a thread that waits for room would wait for ever
        self.events.close();
        let Some(thread) = self.thread.take() else {
            return;
        };
        // one that reads from a terminal that went away meanwhile never ends
        let since = std::time::Instant::now();
        while !thread.is_finished() && since.elapsed() < PARTING {
            std::thread::sleep(AGAIN);
        }
    }
}

/// Where the terminal has gone away, what is still written to it goes nowhere: giving it
/// back would fail, and saying so too.
pub(super) fn let_go_if_gone() {
    let terminal = io::stdin();
    let mut looked = [PollFd::new(&terminal, PollFlags::IN)];
    let there = poll(&mut looked, Some(&Timespec::default())).is_ok_and(|there| there > 0);
    if !there || !looked[0].revents().intersects(GONE) {
        return;
    }
    if let Ok(nowhere) = std::fs::File::options().write(true).open("/dev/null") {
        let _ = rustix::stdio::dup2_stdout(&nowhere);
        let _ = rustix::stdio::dup2_stderr(&nowhere);
    }
}

/// Waits a while for what is typed and passes it on. Whether more may come: not from a
/// terminal that has gone away. That is looked at before each read, as a read from
/// there would go on for ever.
fn pass_on(to: &mpsc::Sender<Event>) -> bool {
    let terminal = io::stdin();
    let mut looked = [PollFd::new(&terminal, PollFlags::IN)];
    let there = match poll(&mut looked, Some(&LOOK)) {
        Ok(there) => there > 0,
        // a signal came, perhaps of a new size
        Err(rustix::io::Errno::INTR) => false,
        Err(_) => return false,
    };
    if there && looked[0].revents().intersects(GONE) {
        return false;
    }
    let mut came = false;
    loop {
        let event = match event::poll(Duration::ZERO) {
            Ok(false) => break,
            Ok(true) => event::read(),
            Err(error) => Err(error),
        };
        if event.map_or(true, |event| to.blocking_send(event).is_err()) {
            return false;
        }
        came = true;
    }
    if there && !came {
        std::thread::sleep(AGAIN);
    }
    true
}
