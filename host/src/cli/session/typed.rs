//! What is typed or piped in, and the orders it stands for on their way to the work.
//!
//! Enters: bytes. Leaves: lines of text, and orders in the order they were given: none
//! is lost, whoever types waits for room. Refuses a line that is no text or has no
//! end, with words, and goes on with the next.

use std::collections::VecDeque;
use std::io::{BufRead, Read as _};

use tokio::sync::mpsc;

use crate::job::Person;

/// Longest line, in bytes: no order and no note is nearly as long.
const LONGEST: u64 = 1 << 20;

/// Most orders that wait: whoever types more waits too.
const MOST_WAITING: usize = 64;

/// A line, or why it cannot be taken.
pub(super) type Typed = Result<String, &'static str>;

/// Lines typed or piped in. A blocked read must not hold up the end of the
/// program, so it has a thread of its own.
pub(super) fn typed_lines() -> mpsc::Receiver<Typed> {
    let (to, lines) = mpsc::channel(16);
    std::thread::spawn(move || {
        let mut from = std::io::stdin().lock();
        while let Some(line) = next_line(&mut from) {
            if to.blocking_send(line).is_err() {
                return;
            }
        }
    });
    lines
}

/// The next line; none at the end.
fn next_line(from: &mut impl BufRead) -> Option<Typed> {
    let mut bytes = Vec::new();
    let read = from.by_ref().take(LONGEST).read_until(b'\n', &mut bytes);
    if read.ok()? == 0 {
        return None;
    }
    if bytes.len() as u64 == LONGEST && bytes.last() != Some(&b'\n') {
        from.skip_until(b'\n').ok()?;
        return Some(Err("that line is too long; it is left out"));
    }
    Some(match String::from_utf8(bytes) {
        Ok(line) => Ok(line.trim_end_matches(['\n', '\r']).to_string()),
        Err(_) => Err("that line is no text (UTF-8); it is left out, type it again"),
    })
}

/// The next line of those that are waited for, if any are.
pub(super) async fn next(lines: &mut Option<mpsc::Receiver<Typed>>) -> Option<Typed> {
    match lines {
        Some(lines) => lines.recv().await,
        None => std::future::pending().await,
    }
}

/// Orders on their way to the work.
pub(in crate::cli) struct Orders {
    to: mpsc::Sender<Person>,
    waiting: VecDeque<Person>,
}

impl Orders {
    pub fn new(to: mpsc::Sender<Person>) -> Orders {
        Orders {
            to,
            waiting: VecDeque::new(),
        }
    }

    /// Gives an order, after those given before.
    pub fn give(&mut self, order: Person) {
        self.waiting.push_back(order);
    }

    /// Whether more may be given; until then no more is read.
    pub fn has_room(&self) -> bool {
        self.waiting.len() < MOST_WAITING
    }

    /// Passes the next one on once there is room; waits for ever if there is none.
    pub async fn pass(&mut self) {
        if self.waiting.is_empty() {
            std::future::pending::<()>().await;
        }
        match self.to.reserve().await {
            Ok(room) => {
                if let Some(order) = self.waiting.pop_front() {
                    room.send(order);
                }
            }
            // the work is done: nobody takes orders
            Err(_) => self.waiting.clear(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> Vec<Typed> {
        let mut from = bytes;
        std::iter::from_fn(|| next_line(&mut from)).collect()
    }

    /// Else one wrong byte would make the program deaf for good.
    #[test]
    fn a_line_that_is_no_text_is_refused_and_the_next_one_taken() {
        let lines = all(b"c 1\nt caf\xe9\nq\r\n\nhalf");
        let text = |text: &str| Ok(text.to_string());
        assert_eq!(lines[0], text("c 1"));
        assert!(lines[1].is_err());
        assert_eq!(lines[2..], [text("q"), text(""), text("half")]);
    }

    #[test]
    fn a_line_without_end_is_refused_and_the_next_one_taken() {
        let mut bytes = vec![b't'; LONGEST as usize * 2 + 3];
        bytes.extend(b"\nq\n");
        let lines = all(&bytes);
        assert!(lines[0].is_err());
        assert_eq!(lines[1..], [Ok("q".to_string())]);
    }

    #[test]
    fn orders_wait_for_room_and_keep_their_order() {
        let runtime = tokio::runtime::Builder::new_current_thread().build();
        runtime.expect("a runtime").block_on(async {
            let (to, mut taken) = mpsc::channel(1);
            let mut orders = Orders::new(to);
            let given = [Person::Pause, Person::Resume, Person::Stop];
            given.iter().for_each(|order| orders.give(order.clone()));
            let mut got = Vec::new();
            while got.len() < given.len() {
                tokio::select! {
                    Some(order) = taken.recv() => got.push(order),
                    () = orders.pass() => {}
                }
            }
            assert_eq!(got, given);
            drop(taken);
            orders.give(Person::Stop);
            orders.pass().await;
            assert!(orders.waiting.is_empty(), "nobody takes it any more");
        });
    }
}
