//! Sessions at the loom. Enters: a piece's records. Leaves: when each session began
//! and ended, and its pauses. A session that was never left, as the program was
//! killed in it, ends with its last record.

use super::records::{Entry, What};
use crate::ledger::UnixMillis;
use serde::Serialize;

/// How a session ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SessionEnd {
    /// The weaver left.
    Left,
    /// The plan's last pick was woven.
    Finished,
    /// It was not left: it goes on, or the program was killed.
    Open,
}

impl SessionEnd {
    /// In words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            SessionEnd::Left => "left",
            SessionEnd::Finished => "finished",
            SessionEnd::Open => "not left",
        }
    }
}

/// A session: from where weaving began or went on to where it was left.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Session {
    /// Its number in the piece, from 1.
    pub session: usize,
    /// When it began.
    pub began: UnixMillis,
    /// When it ended, or when something was written down in it last.
    pub ended: UnixMillis,
    /// How it ended.
    pub ending: SessionEnd,
    /// From its beginning to its end without the pauses, in milliseconds.
    pub at_loom_ms: i64,
    /// In pauses.
    pub paused_ms: i64,
    /// From pick to pick, without the stops.
    pub weaving_ms: i64,
    /// In stops.
    pub stopped_ms: i64,
    /// How many stops.
    pub stops: usize,
    /// Picks woven.
    pub picks: usize,
    /// Picks of these that were taken out again, in this session or later.
    pub taken_out: usize,
    /// Faults seen.
    pub faults: usize,
    /// The middle pace.
    pub picks_a_minute: Option<f64>,
    /// The pauses, each from and to, in milliseconds since 1970.
    #[serde(skip)]
    pub pauses: Vec<(i64, i64)>,
}

impl Session {
    fn new(session: usize, began: UnixMillis) -> Session {
        Session {
            session,
            began,
            ended: began,
            ending: SessionEnd::Open,
            at_loom_ms: 0,
            paused_ms: 0,
            weaving_ms: 0,
            stopped_ms: 0,
            stops: 0,
            picks: 0,
            taken_out: 0,
            faults: 0,
            picks_a_minute: None,
            pauses: Vec::new(),
        }
    }

    /// How much of this time was paused, in milliseconds.
    pub(super) fn paused_within(&self, from: i64, to: i64) -> i64 {
        let within = |(begin, end): &(i64, i64)| ((*end).min(to) - (*begin).max(from)).max(0);
        self.pauses.iter().map(within).sum()
    }

    /// Takes the end that this record makes it.
    fn reaches(&mut self, entry: &Entry) {
        match entry.what {
            What::Left(_) if self.ending == SessionEnd::Open => self.ending = SessionEnd::Left,
            What::Finished => self.ending = SessionEnd::Finished,
            _ => {}
        }
        self.ended = self.ended.max(entry.at);
    }

    fn close(&mut self, paused_since: Option<i64>) {
        if let Some(since) = paused_since {
            self.pauses.push((since, self.ended.0.max(since)));
        }
        self.paused_ms = self.paused_within(self.began.0, self.ended.0);
        self.at_loom_ms = self.ended.0 - self.began.0 - self.paused_ms;
    }
}

/// The sessions, and the session of each record.
pub(super) fn split(entries: &[Entry]) -> (Vec<Session>, Vec<usize>) {
    let mut sessions: Vec<Session> = Vec::new();
    let mut of_entry = Vec::with_capacity(entries.len());
    let mut paused_since = None;
    for entry in entries {
        if matches!(entry.what, What::Began(_)) || sessions.is_empty() {
            if let Some(last) = sessions.last_mut() {
                last.close(paused_since.take());
            }
            sessions.push(Session::new(sessions.len() + 1, entry.at));
        }
        let Some(session) = sessions.last_mut() else {
            continue;
        };
        match entry.what {
            What::Paused => paused_since = paused_since.or(Some(entry.at.0)),
            What::Resumed => {
                let since = paused_since.take();
                let pause = since.map(|since| (since, entry.at.0.max(since)));
                session.pauses.extend(pause);
            }
            _ => {}
        }
        session.reaches(entry);
        of_entry.push(sessions.len() - 1);
    }
    if let Some(last) = sessions.last_mut() {
        last.close(paused_since);
    }
    (sessions, of_entry)
}
