//! The daemon: one process that owns the ledger and does what other commands
//! ask it to, over a Unix socket in the data directory.
//!
//! On the socket both sides write lines of JSON. A client sends a [`Request`],
//! then the person's orders; the daemon sends news as it comes and ends with
//! the [`Outcome`]. If the client goes away, the card in the rig is finished
//! and the job stopped: nobody would be there to see to the machine.

mod client;
mod lines;
mod server;

pub use client::{Client, connect};
pub use server::{DaemonError, serve};

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::job::{News, Person};
use crate::service::{Outcome, Request};

/// Longest line taken from the socket, in bytes.
const MOST_LINE: usize = 1 << 20;

/// The socket's place.
#[must_use]
pub fn socket(data: &Path) -> PathBuf {
    data.join("daemon.sock")
}

/// From client to daemon.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ToDaemon {
    /// The first line.
    Request(Box<Request>),
    /// Any later line.
    Person(Person),
}

/// From daemon to client.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ToClient {
    /// Something has happened.
    News(News),
    /// The last line.
    Outcome(Outcome),
}
