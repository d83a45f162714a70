//! Lines from a client, none longer than the bound. What has come of a line is
//! kept when the wait for the rest of it is given up, so it can be waited for
//! beside other things.

use std::io::{Error, ErrorKind, Result};

use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, BufReader};

use super::MOST_LINE;

/// The lines of one client.
pub(super) struct ClientLines<R> {
    reader: BufReader<R>,
    line: Vec<u8>,
}

impl<R: AsyncRead + Unpin> ClientLines<R> {
    pub fn new(reader: R) -> ClientLines<R> {
        ClientLines {
            reader: BufReader::new(reader),
            line: Vec::new(),
        }
    }

    /// The next line; none when the client has gone.
    ///
    /// # Errors
    /// What the system says, or that the line is too long or no UTF-8.
    pub async fn next(&mut self) -> Result<Option<String>> {
        let room = (MOST_LINE + 1).saturating_sub(self.line.len()) as u64;
        (&mut self.reader)
            .take(room)
            .read_until(b'\n', &mut self.line)
            .await?;
        if self.line.len() > MOST_LINE {
            return Err(Error::new(ErrorKind::InvalidData, "the line is too long"));
        }
        if self.line.is_empty() {
            return Ok(None);
        }
        let line = std::mem::take(&mut self.line);
        match String::from_utf8(line) {
            Ok(line) => Ok(Some(line)),
            Err(_) => Err(Error::new(ErrorKind::InvalidData, "the line is no UTF-8")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runtime() -> tokio::runtime::Runtime {
        tokio::runtime::Builder::new_current_thread()
            .build()
            .expect("a runtime")
    }

    #[test]
    fn lines_come_one_by_one_and_then_the_end() {
        runtime().block_on(async {
            let mut lines = ClientLines::new(&b"one\ntwo\nhalf"[..]);
            for wanted in [Some("one\n"), Some("two\n"), Some("half"), None] {
                assert_eq!(lines.next().await.expect("text").as_deref(), wanted);
            }
        });
    }

    /// Else one client could fill the daemon's memory.
    #[test]
    fn a_line_without_end_is_refused_at_the_bound() {
        runtime().block_on(async {
            let mut lines = ClientLines::new(tokio::io::repeat(b'y'));
            assert!(lines.next().await.is_err());
            assert_eq!(lines.line.len(), MOST_LINE + 1);
        });
    }
}
