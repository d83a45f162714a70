//! The events that the host has not stored yet: numbered, four bytes each.
//!
//! Enters: events. Leaves: the same in order, from any number that is still
//! here. When there is no room the oldest is let go; what it counted stays
//! counted.

use cardwright_protocol::loom::{EVENTS_HELD, GRAIN_US, Happening, LoomCounts, LoomEvent};
use heapless::Deque;

/// Entries: the events, and room for rests so long that they take one of their
/// own.
const ROOM: usize = EVENTS_HELD + 16;

/// Bits of an entry that say what it is; the others are grains of time since the
/// entry before.
const WHAT_BITS: u32 = 4;

/// A rest: its grains count for this many each.
const REST_GRAINS: u64 = 1 << (u32::BITS - WHAT_BITS);

/// What an entry with no event says: time has passed.
const REST: u32 = (1 << WHAT_BITS) - 1;

/// What an entry can be, by the number it is kept under.
const KINDS: [Happening; 9] = [
    Happening::CardForward,
    Happening::CardBack,
    Happening::CylinderUnclear,
    Happening::Lift,
    Happening::Beat,
    Happening::ShuttleLeft,
    Happening::ShuttleRight,
    Happening::TakenUp,
    Happening::LetOff,
];

/// Events kept for the host.
#[derive(Debug)]
pub struct Store {
    entries: Deque<u32, ROOM>,
    /// Number of the oldest event here.
    first: u32,
    /// Number of the next to come.
    next: u32,
    /// Grains at the entry before the oldest.
    base: u64,
    /// Grains at the newest.
    newest: u64,
    counts: LoomCounts,
}

/// A place between two events, from which they are read on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Cursor {
    /// Number of the next event.
    pub number: u32,
    /// Its entry, or one of a rest before it.
    entry: usize,
    /// Grains at the entry before.
    grains: u64,
}

impl Store {
    /// An empty store.
    #[must_use]
    pub const fn new() -> Store {
        Store {
            entries: Deque::new(),
            first: 0,
            next: 0,
            base: 0,
            newest: 0,
            counts: LoomCounts {
                forward: 0,
                back: 0,
                unclear: 0,
                lifts: 0,
                beats: 0,
                left: 0,
                right: 0,
                take_up: 0,
            },
        }
    }

    /// Keeps an event. One before the newest is taken to be at its time. How many
    /// entries had to be let go.
    pub(super) fn push(&mut self, event: LoomEvent) -> usize {
        let grains = (event.at_us / GRAIN_US).max(self.newest);
        let passed = grains - self.newest;
        let mut gone = 0;
        while ROOM - self.entries.len() < 2 {
            self.pop();
            gone += 1;
        }
        let rests = (passed / REST_GRAINS).min(REST_GRAINS - 1) as u32;
        if rests > 0 {
            let _ = self.entries.push_back(rests << WHAT_BITS | REST);
        }
        let kind = KINDS.iter().position(|kind| *kind == event.what);
        let grains_on = (passed % REST_GRAINS) as u32;
        let entry = grains_on << WHAT_BITS | kind.unwrap_or_default() as u32;
        let _ = self.entries.push_back(entry);
        self.newest = grains;
        self.next = self.next.wrapping_add(1);
        self.counts.add(event.what);
        gone
    }

    /// Forgets all before `number`, which must be among those here or the next
    /// to come. How many entries that were; nothing if there is no such number.
    pub(super) fn drop_before(&mut self, number: u32) -> Option<usize> {
        let events = number.wrapping_sub(self.first);
        if events > self.next.wrapping_sub(self.first) {
            return None;
        }
        let before = self.entries.len();
        while self.first != number && !self.entries.is_empty() {
            self.pop();
        }
        Some(before - self.entries.len())
    }

    fn pop(&mut self) {
        let Some(entry) = self.entries.pop_front() else {
            return;
        };
        self.base += grains_of(entry);
        if entry & REST != REST {
            self.first = self.first.wrapping_add(1);
        }
    }

    /// The place before the oldest event.
    pub(super) fn oldest(&self) -> Cursor {
        Cursor {
            number: self.first,
            entry: 0,
            grains: self.base,
        }
    }

    /// The event after `cursor`, which moves on.
    pub(super) fn read(&self, cursor: &mut Cursor) -> Option<LoomEvent> {
        loop {
            let entry = self.entry(cursor.entry)?;
            cursor.entry += 1;
            cursor.grains += grains_of(entry);
            if let Some(what) = KINDS.get((entry & REST) as usize) {
                cursor.number = cursor.number.wrapping_add(1);
                return Some(LoomEvent {
                    at_us: cursor.grains * GRAIN_US,
                    what: *what,
                });
            }
        }
    }

    fn entry(&self, at: usize) -> Option<u32> {
        let (front, back) = self.entries.as_slices();
        front
            .get(at)
            .or_else(|| back.get(at.checked_sub(front.len())?))
            .copied()
    }

    /// Number of the oldest event here.
    #[must_use]
    pub fn first(&self) -> u32 {
        self.first
    }

    /// Number that the next event will get.
    #[must_use]
    pub fn next(&self) -> u32 {
        self.next
    }

    /// What was counted since the start.
    #[must_use]
    pub fn counts(&self) -> &LoomCounts {
        &self.counts
    }
}

impl Cursor {
    /// So many entries before it are gone; those that are gone with it unread are
    /// passed over.
    pub fn after_dropping(self, gone: usize, store: &Store) -> Cursor {
        match self.entry.checked_sub(gone) {
            Some(entry) => Cursor { entry, ..self },
            None => store.oldest(),
        }
    }
}

impl Default for Store {
    fn default() -> Store {
        Store::new()
    }
}

fn grains_of(entry: u32) -> u64 {
    let value = u64::from(entry >> WHAT_BITS);
    if entry & REST == REST {
        value * REST_GRAINS
    } else {
        value
    }
}
