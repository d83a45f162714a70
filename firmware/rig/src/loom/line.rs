//! One line of a sensor that bounces.
//!
//! Enters: its level with the time. Leaves: an edge once the new level has
//! lasted, with the moment at which the line first left its old level.

use cardwright_protocol::Micros;

/// A change that has lasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Edge {
    pub level: bool,
    /// When the line first left its level before.
    pub at: Micros,
}

/// A line.
#[derive(Debug, Default)]
pub(super) struct Line {
    settle_us: u32,
    level: bool,
    raw: bool,
    changed: Micros,
    /// When it first left `level`, while it has not settled since.
    left: Option<Micros>,
}

impl Line {
    /// A line that has this level for good.
    pub fn settled(level: bool, settle_us: u32, now: Micros) -> Line {
        Line {
            settle_us,
            level,
            raw: level,
            changed: now,
            left: None,
        }
    }

    #[inline(never)] // eight times in a row would be much flash for little time
    pub fn look(&mut self, now: Micros, raw: bool) -> Option<Edge> {
        if raw != self.raw {
            self.raw = raw;
            self.changed = now;
            self.left.get_or_insert(now);
        }
        let at = self.left?;
        if now.since(self.changed) < u64::from(self.settle_us) {
            return None;
        }
        self.left = None;
        if self.raw == self.level {
            return None;
        }
        self.level = self.raw;
        Some(Edge {
            level: self.level,
            at,
        })
    }

    pub fn level(&self) -> bool {
        self.level
    }

    /// Since when it has not settled, if it has not.
    pub fn unsettled_since(&self) -> Option<Micros> {
        self.left
    }

    /// When it will have settled if it stays as it is.
    pub fn settles_at(&self) -> Option<Micros> {
        self.left.map(|_| self.changed.plus(self.settle_us.into()))
    }
}
