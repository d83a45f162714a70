//! Wall time, virtual time and the terminal, kept in step.
//!
//! Enters: one turn after the other. Leaves: a world that has come on by the
//! wall time passed times the factor, at most [`MOST_JUMP_US`] a turn.

use super::PtyError;
use super::terminal::Terminal;
use crate::bench::Bench;
use cardwright_protocol::Micros;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

/// Virtual time never jumps further in one turn.
const MOST_JUMP_US: f64 = 5_000.0;

/// Virtual time the world may be behind and still catch up; more is lost. A
/// sleep that was a little too long is made good in the next turns, a stall of
/// the machine is not.
const MOST_BEHIND_US: f64 = 20_000.0;

/// Bytes waiting for the unit beyond which the host has to wait.
const MOST_BACKLOG: u64 = 512;

/// Bytes waiting for a host that does not read; more are lost.
const MOST_UNREAD: usize = 65_536;

/// How often a dead host's claim on the terminal is cleared, in turns.
const CLEAR_EVERY: u32 = 100;

/// Longest wait in one turn, in microseconds of wall time.
const LONGEST_WAIT_US: f64 = 2_000.0;

pub(super) struct Server<'a> {
    terminal: Option<Terminal>,
    link: Option<PathBuf>,
    path: &'a Mutex<PathBuf>,
    factor: f64,
    last: Instant,
    /// Virtual time that is due but has not passed yet.
    behind_us: f64,
    unread: Vec<u8>,
    turns: u32,
}

impl<'a> Server<'a> {
    pub fn new(
        terminal: Terminal,
        link: Option<PathBuf>,
        factor: f64,
        path: &'a Mutex<PathBuf>,
    ) -> Server<'a> {
        let factor = if factor.is_finite() && factor > 0.0 {
            factor
        } else {
            1.0
        };
        Server {
            terminal: Some(terminal),
            link,
            path,
            factor,
            last: Instant::now(),
            behind_us: 0.0,
            unread: Vec::new(),
            turns: 0,
        }
    }

    /// Waits a little, takes what the host wrote, lets time pass, gives the
    /// host what has arrived.
    pub fn turn(&mut self, cabled: &mut impl Bench) -> Result<(), PtyError> {
        self.cable(cabled)?;
        let listening = cabled.backlog() < MOST_BACKLOG;
        self.wait(listening)?;
        let until = cabled.now().plus(self.passed_us());
        if listening {
            self.hear(cabled)?;
        }
        self.run(cabled, until);
        self.tell()
    }

    /// The terminal follows the cable.
    fn cable(&mut self, cabled: &impl Bench) -> Result<(), PtyError> {
        match (&self.terminal, cabled.connected()) {
            (Some(_), false) => {
                self.terminal = None;
                self.unread.clear();
            }
            (None, true) => {
                let terminal = Terminal::open(self.link.as_deref())?;
                *self.path.lock().unwrap_or_else(PoisonError::into_inner) = terminal.path();
                self.terminal = Some(terminal);
            }
            _ => {}
        }
        self.turns = self.turns.wrapping_add(1);
        if let Some(terminal) = self
            .terminal
            .as_ref()
            .filter(|_| self.turns.is_multiple_of(CLEAR_EVERY))
        {
            terminal.let_others_open();
        }
        Ok(())
    }

    /// Waits for the host's bytes, but no longer than the world can spare.
    fn wait(&self, listening: bool) -> Result<(), PtyError> {
        let spare_us = (0.8 * MOST_JUMP_US - self.behind_us).max(0.0);
        let wait_us = (spare_us / self.factor).min(LONGEST_WAIT_US);
        let timeout = Timespec {
            tv_sec: 0,
            tv_nsec: (wait_us * 1000.0) as _,
        };
        let waited = match self.terminal.as_ref().filter(|_| listening) {
            Some(terminal) => {
                let fd = terminal.fd();
                poll(
                    &mut [PollFd::from_borrowed_fd(fd, PollFlags::IN)],
                    Some(&timeout),
                )
            }
            None => poll(&mut [], Some(&timeout)),
        };
        match waited {
            Ok(_) | Err(rustix::io::Errno::INTR) => Ok(()),
            Err(cause) => Err(PtyError::Terminal {
                doing: "wait for",
                cause,
            }),
        }
    }

    /// Virtual time that has passed since the last turn.
    fn passed_us(&mut self) -> u64 {
        let now = Instant::now();
        let wall_us = now.duration_since(self.last).as_nanos() as f64 / 1000.0;
        self.last = now;
        self.behind_us = (self.behind_us + wall_us * self.factor).min(MOST_BEHIND_US);
        let passed = self.behind_us.min(MOST_JUMP_US).floor();
        self.behind_us -= passed;
        passed as u64
    }

    fn hear(&self, cabled: &mut impl Bench) -> Result<(), PtyError> {
        let Some(terminal) = &self.terminal else {
            return Ok(());
        };
        let mut bytes = [0; MOST_BACKLOG as usize];
        let count = terminal.read(&mut bytes)?;
        cabled.send(&bytes[..count]);
        Ok(())
    }

    fn run(&mut self, cabled: &mut impl Bench, until: Micros) {
        loop {
            let reached = cabled.run_until_heard(until);
            while let Some(bytes) = cabled.take() {
                if self.unread.len() + bytes.len() <= MOST_UNREAD {
                    self.unread.extend_from_slice(&bytes);
                }
            }
            if reached >= until {
                return;
            }
        }
    }

    fn tell(&mut self) -> Result<(), PtyError> {
        if let Some(terminal) = self.terminal.as_ref().filter(|_| !self.unread.is_empty()) {
            let count = terminal.write(&self.unread)?;
            self.unread.drain(..count);
        }
        Ok(())
    }
}
