//! The daemon's side of the socket. The only place that spawns a task for each
//! client.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::net::unix::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{mpsc, oneshot};
use tracing::{info, warn};

use super::lines::ClientLines;
use super::{ToClient, ToDaemon, socket};
use crate::deck::Deck;
use crate::engine::Hub;
use crate::job::Person;
use crate::ledger::{Ledger, LedgerError, START_AGAIN};
use crate::service::{self, Outcome, Request, ServiceError};

/// How long a client may take to say what it wants.
const FIRST_LINE: Duration = Duration::from_secs(10);

/// How long a client may take to read a line before it counts as gone.
const SLOW_CLIENT: Duration = Duration::from_secs(10);

/// Clients served at a time.
const MOST_CLIENTS: usize = 16;

/// Why the daemon cannot run.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The socket.
    #[error(
        "the daemon's socket {path} cannot be opened: {cause}; give a --data DIR that can be written and whose path is short (sockets allow some 100 bytes)"
    )]
    Socket {
        /// Its path.
        path: String,
        /// What the system says.
        cause: String,
    },
}

/// Ports, decks and files to be written in use, so that two requests do not fight for one.
type Busy = Arc<Mutex<BTreeSet<String>>>;

/// Serves the data directory until `stop` comes.
///
/// # Errors
/// As [`DaemonError`] says; a second daemon on the same ledger is refused by
/// the ledger's lock.
pub async fn serve(
    data: &Path,
    ready: impl FnOnce(),
    stop: oneshot::Receiver<()>,
) -> Result<(), DaemonError> {
    let hub = Hub::start(Ledger::open(data)?)?;
    let path = socket(data);
    let fail = |cause: std::io::Error| DaemonError::Socket {
        path: path.display().to_string(),
        cause: cause.to_string(),
    };
    // the ledger's lock is ours, so a socket that lies here belongs to nobody
    match std::fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(fail(error)),
        _ => {}
    }
    let listener = UnixListener::bind(&path).map_err(fail)?;
    ready();
    let busy = Busy::default();
    let clients = Arc::new(tokio::sync::Semaphore::new(MOST_CLIENTS));
    let accept = async {
        loop {
            let Ok(permit) = Arc::clone(&clients).acquire_owned().await else {
                return;
            };
            match listener.accept().await {
                Ok((stream, _)) => {
                    let (hub, busy) = (hub.clone(), Arc::clone(&busy));
                    tokio::spawn(async move {
                        client(stream, &hub, &busy).await;
                        drop(permit);
                    });
                }
                Err(error) => warn!(%error, "a client could not be accepted"),
            }
        }
    };
    tokio::select! {
        () = accept => {}
        _ = stop => info!("the daemon stops"),
    }
    let _ = std::fs::remove_file(&path);
    Ok(())
}

async fn client(stream: UnixStream, hub: &Hub, busy: &Busy) {
    let (reader, mut writer) = stream.into_split();
    let mut lines = ClientLines::new(reader);
    let outcome = match first_line(&mut lines).await {
        Ok(request) => attend(request, &mut lines, &mut writer, hub, busy).await,
        Err(error) => Err(error),
    };
    let mut outcome = Outcome::of(outcome);
    if hub.is_broken() && !outcome.words.is_empty() && !outcome.words.ends_with(START_AGAIN) {
        outcome.words = format!(
            "{}; until then the daemon writes no more: {START_AGAIN}",
            outcome.words
        );
    }
    let _ = say(&mut writer, &ToClient::Outcome(outcome)).await;
}

async fn first_line(lines: &mut ClientLines<OwnedReadHalf>) -> Result<Request, ServiceError> {
    let wrong =
        |why: String| ServiceError::Request(format!("the request is not understood: {why}"));
    let line = match tokio::time::timeout(FIRST_LINE, lines.next()).await {
        Ok(line) => line.map_err(|error| wrong(error.to_string()))?,
        Err(_) => return Err(wrong("nothing came".to_string())),
    };
    match serde_json::from_str(&line.unwrap_or_default()) {
        Ok(ToDaemon::Request(request)) => Ok(*request),
        Ok(ToDaemon::Person(_)) => Err(wrong("an order came before the request".to_string())),
        Err(error) => Err(wrong(error.to_string())),
    }
}

async fn attend(
    request: Request,
    lines: &mut ClientLines<OwnedReadHalf>,
    writer: &mut OwnedWriteHalf,
    hub: &Hub,
    busy: &Busy,
) -> Result<Outcome, ServiceError> {
    let _hold = Hold::of(&request, busy)?;
    let (news_to, mut news) = mpsc::channel(64);
    let (person_to, mut persons) = mpsc::channel(16);
    // a task of its own: a client that is slow to read must not hold it up
    let hub = hub.clone();
    let mut work =
        tokio::spawn(async move { service::serve(request, &hub, &news_to, &mut persons).await });
    let mut there = true;
    // a client that has gone is nobody to see to the machine
    let mut stop_due = false;
    // an order there was no room for yet; no other is read before it is taken
    let mut waits = None;
    loop {
        tokio::select! {
            outcome = &mut work => {
                while let Ok(item) = news.try_recv() {
                    let _ = say(writer, &ToClient::News(item)).await;
                }
                return outcome.unwrap_or_else(|error| {
                    let words = format!("the daemon has a fault of its own: {error}");
                    Err(ServiceError::Request(words))
                });
            }
            Some(item) = news.recv() => {
                if there && !say(writer, &ToClient::News(item)).await {
                    (there, stop_due) = (false, true);
                }
            }
            Ok(permit) = person_to.reserve(), if stop_due || waits.is_some() => {
                match waits.take() {
                    Some(order) => permit.send(order),
                    None => {
                        permit.send(Person::Interrupt);
                        stop_due = false;
                    }
                }
            }
            line = lines.next(), if there && waits.is_none() => match line {
                Ok(Some(line)) => match serde_json::from_str(&line) {
                    Ok(ToDaemon::Person(order)) => waits = Some(order),
                    _ => warn!("a client's line is not understood"),
                },
                _ => {
                    (there, stop_due) = (false, true);
                }
            },
        }
    }
}

async fn say(writer: &mut OwnedWriteHalf, message: &ToClient) -> bool {
    let Ok(mut line) = serde_json::to_string(message) else {
        return false;
    };
    line.push('\n');
    let written = tokio::time::timeout(SLOW_CLIENT, writer.write_all(line.as_bytes()));
    matches!(written.await, Ok(Ok(())))
}

/// A port, a deck and a file to be written held while a request is served: two jobs on
/// one deck would take each other's cards up, two copies one file.
struct Hold {
    held: Vec<String>,
    busy: Busy,
}

impl Hold {
    fn of(request: &Request, busy: &Busy) -> Result<Hold, ServiceError> {
        let mut hold = Hold {
            held: Vec::new(),
            busy: Arc::clone(busy),
        };
        if let Some(port) = request.port() {
            hold.take(format!("the rig on {port}"))?;
        }
        if let Some(file) = request.new_file() {
            hold.take(format!("the file {}", file.display()))?;
        }
        // a deck that cannot be read is told of when it is served
        if let Some(deck) = request.deck().and_then(|file| Deck::read(file).ok()) {
            hold.take(format!("the deck {} ({})", deck.name(), deck.sha256()))?;
        }
        Ok(hold)
    }

    fn take(&mut self, what: String) -> Result<(), ServiceError> {
        let mut busy = self.busy.lock().unwrap_or_else(PoisonError::into_inner);
        if !busy.insert(what.clone()) {
            return Err(ServiceError::Request(format!(
                "{what} is busy with another job of the daemon; wait for its end or stop it"
            )));
        }
        self.held.push(what);
        Ok(())
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        let mut busy = self.busy.lock().unwrap_or_else(PoisonError::into_inner);
        self.held.iter().for_each(|what| {
            busy.remove(what);
        });
    }
}
