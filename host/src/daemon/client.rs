//! The client's side of the socket.

use std::path::Path;

use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::UnixStream;
use tokio::sync::mpsc;

use super::{ToClient, ToDaemon, socket};
use crate::job::{News, Person};
use crate::service::{Outcome, Request, ServiceError};

/// A connection to a running daemon.
pub struct Client {
    stream: UnixStream,
}

/// Connects to the daemon of this data directory; none if none runs.
pub async fn connect(data: &Path) -> Option<Client> {
    UnixStream::connect(socket(data))
        .await
        .ok()
        .map(|stream| Client { stream })
}

impl Client {
    /// Has the daemon do what is asked.
    ///
    /// # Errors
    /// [`ServiceError::Request`] if the daemon goes away.
    pub async fn serve(
        self,
        request: Request,
        news: &mpsc::Sender<News>,
        persons: &mut mpsc::Receiver<Person>,
    ) -> Result<Outcome, ServiceError> {
        let again = request.again();
        let gone = || gone(again);
        let (reader, mut writer) = self.stream.into_split();
        let mut lines = BufReader::new(reader).lines();
        let request = ToDaemon::Request(Box::new(request));
        send(&mut writer, &request).await.map_err(|_| gone())?;
        let mut persons_gone = false;
        loop {
            tokio::select! {
                line = lines.next_line() => {
                    let line = line.ok().flatten().ok_or_else(gone)?;
                    match serde_json::from_str(&line) {
                        Ok(ToClient::News(item)) => {
                            let _ = news.send(item).await;
                        }
                        Ok(ToClient::Outcome(outcome)) => return Ok(outcome),
                        Err(error) => return Err(ServiceError::Request(format!(
                            "the daemon says something this program does not understand ({error}); \
                             they are of different versions: restart the daemon"
                        ))),
                    }
                }
                order = persons.recv(), if !persons_gone => match order {
                    // a daemon that has done its work takes no orders: its last
                    // word is on the way
                    Some(order) => {
                        persons_gone = send(&mut writer, &ToDaemon::Person(order)).await.is_err();
                    }
                    None => persons_gone = true,
                },
            }
        }
    }
}

async fn send(
    writer: &mut tokio::net::unix::OwnedWriteHalf,
    message: &ToDaemon,
) -> std::io::Result<()> {
    let mut line = serde_json::to_string(message)?;
    line.push('\n');
    writer.write_all(line.as_bytes()).await
}

fn gone(again: &str) -> ServiceError {
    ServiceError::Request(format!(
        "the daemon has gone away; start it again, or run the command without it: {again}"
    ))
}
