//! One direction of a serial line, in memory and in virtual time.
//!
//! Enters: bytes, each taking ten bit times at the baud rate. Leaves: bytes, a
//! frame at a time (up to its 0x00), when the last of them has arrived. On the
//! way frames can be lost, repeated or delayed past others, and bytes damaged,
//! dropped or doubled, each with its rate and seed. Bytes without any 0x00 are
//! passed on in pieces of [`MOST_PIECE`]. What does not fit the queue is lost,
//! as on a line that nobody reads.

use crate::chance::{Chance, Fault};
use cardwright_protocol::Micros;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Bytes after which a piece is passed on though no 0x00 has come.
pub const MOST_PIECE: usize = 1024;

/// Most pieces on their way.
const MOST_ON_THE_WAY: usize = 4096;

/// How a line behaves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineSettings {
    /// Bits a second, ten to a byte; 0 for no limit.
    pub baud: u32,
    /// Added to every byte's time on the way, in microseconds.
    pub delay_us: u64,
    /// For each frame: it never arrives.
    pub frame_lost: Fault,
    /// For each frame: it arrives twice.
    pub frame_repeated: Fault,
    /// For each frame: it comes later, past others behind it, by up to
    /// `most_delay_us`.
    pub frame_delayed: Fault,
    /// The longest such delay, in microseconds.
    pub most_delay_us: u64,
    /// For each byte: some of its bits turn over.
    pub byte_damaged: Fault,
    /// For each byte: it never arrives.
    pub byte_dropped: Fault,
    /// For each byte: it arrives twice.
    pub byte_repeated: Fault,
}

impl LineSettings {
    /// A sound line at this baud rate with this delay.
    #[must_use]
    pub fn sound(baud: u32, delay_us: u64) -> LineSettings {
        LineSettings {
            baud,
            delay_us,
            ..LineSettings::default()
        }
    }
}

/// What a line has done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LineCounts {
    /// Bytes put in.
    pub bytes: u64,
    /// Pieces put in: frames, most of them.
    pub frames: u64,
    /// Frames lost by chance.
    pub frames_lost: u64,
    /// Frames repeated.
    pub frames_repeated: u64,
    /// Frames delayed.
    pub frames_delayed: u64,
    /// Bytes damaged.
    pub bytes_damaged: u64,
    /// Bytes dropped.
    pub bytes_dropped: u64,
    /// Bytes doubled.
    pub bytes_repeated: u64,
    /// Pieces lost because nobody took them or the cable was out.
    pub overrun: u64,
}

/// One direction of the line.
#[derive(Debug)]
pub struct Line {
    byte_ns: u64,
    delay_ns: u64,
    most_delay_us: u64,
    frame_lost: Chance,
    frame_repeated: Chance,
    frame_delayed: Chance,
    byte_damaged: Chance,
    byte_dropped: Chance,
    byte_repeated: Chance,
    building: Vec<u8>,
    /// When the last byte put in is on the line, in nanoseconds.
    busy_until: u64,
    /// Arrival, order of entry, bytes.
    on_the_way: BinaryHeap<Reverse<(u64, u64, Vec<u8>)>>,
    entered: u64,
    stalled_until: Micros,
    plugged: bool,
    counts: LineCounts,
}

impl Line {
    /// An idle line. Two lines of one cable take different `stream` numbers.
    #[must_use]
    pub fn new(settings: &LineSettings, stream: u64) -> Line {
        let chance = |fault, kind| Chance::new(fault, 1000 + 16 * stream + kind);
        Line {
            byte_ns: 10_000_000_000u64
                .checked_div(u64::from(settings.baud))
                .unwrap_or(0),
            delay_ns: settings.delay_us.saturating_mul(1000),
            most_delay_us: settings.most_delay_us,
            frame_lost: chance(settings.frame_lost, 0),
            frame_repeated: chance(settings.frame_repeated, 1),
            frame_delayed: chance(settings.frame_delayed, 2),
            byte_damaged: chance(settings.byte_damaged, 3),
            byte_dropped: chance(settings.byte_dropped, 4),
            byte_repeated: chance(settings.byte_repeated, 5),
            building: Vec::new(),
            busy_until: 0,
            on_the_way: BinaryHeap::new(),
            entered: 0,
            stalled_until: Micros(0),
            plugged: true,
            counts: LineCounts::default(),
        }
    }

    /// What it has done.
    #[must_use]
    pub fn counts(&self) -> LineCounts {
        self.counts
    }

    /// Puts bytes on the line at `now`, behind those before.
    pub fn send(&mut self, bytes: &[u8], now: Micros) {
        self.counts.bytes += bytes.len() as u64;
        self.busy_until = self.busy_until.max(now.0.saturating_mul(1000));
        for piece in bytes.split_inclusive(|byte| *byte == 0) {
            self.busy_until += self.byte_ns * piece.len() as u64;
            self.building.extend_from_slice(piece);
            if piece.ends_with(&[0]) || self.building.len() >= MOST_PIECE {
                self.set_off();
            }
        }
    }

    /// When all bytes put in are on the line.
    #[must_use]
    pub fn clear_at(&self) -> Micros {
        Micros(self.busy_until.div_ceil(1000))
    }

    /// How many bytes put in are not on the line yet at `now`.
    #[must_use]
    pub fn backlog(&self, now: Micros) -> u64 {
        let left = self.busy_until.saturating_sub(now.0.saturating_mul(1000));
        left.checked_div(self.byte_ns).unwrap_or(0)
    }

    /// The piece that has been built sets off, or meets its fate.
    fn set_off(&mut self) {
        let mut piece = std::mem::take(&mut self.building);
        self.counts.frames += 1;
        if !self.plugged || self.on_the_way.len() >= MOST_ON_THE_WAY {
            self.counts.overrun += 1;
            return;
        }
        if self.frame_lost.hit() {
            self.counts.frames_lost += 1;
            return;
        }
        self.spoil(&mut piece);
        let mut arrival = self.busy_until + self.delay_ns;
        if self.frame_delayed.hit() {
            self.counts.frames_delayed += 1;
            arrival += 1000 * (1 + self.frame_delayed.below(self.most_delay_us.max(1)));
        }
        if self.frame_repeated.hit() {
            self.counts.frames_repeated += 1;
            self.enter(arrival + self.byte_ns * piece.len() as u64, piece.clone());
        }
        self.enter(arrival, piece);
    }

    fn enter(&mut self, arrival: u64, piece: Vec<u8>) {
        self.entered += 1;
        self.on_the_way
            .push(Reverse((arrival, self.entered, piece)));
    }

    /// Damages, drops and doubles bytes.
    fn spoil(&mut self, piece: &mut Vec<u8>) {
        if self.byte_damaged.possible() {
            for byte in piece.iter_mut() {
                if self.byte_damaged.hit() {
                    *byte ^= 1 + self.byte_damaged.below(255) as u8;
                    self.counts.bytes_damaged += 1;
                }
            }
        }
        if !self.byte_dropped.possible() && !self.byte_repeated.possible() {
            return;
        }
        let sent = std::mem::take(piece);
        for byte in sent {
            if self.byte_dropped.hit() {
                self.counts.bytes_dropped += 1;
                continue;
            }
            piece.push(byte);
            if self.byte_repeated.hit() {
                self.counts.bytes_repeated += 1;
                piece.push(byte);
            }
        }
    }

    /// When the next bytes can be taken out.
    #[must_use]
    pub fn next_arrival(&self) -> Micros {
        self.on_the_way
            .peek()
            .map_or(Micros::NEVER, |Reverse((at, _, _))| {
                Micros(at.div_ceil(1000)).max(self.stalled_until)
            })
    }

    /// Takes out the next piece that has arrived by `now`.
    pub fn take(&mut self, now: Micros) -> Option<Vec<u8>> {
        if self.next_arrival() > now {
            return None;
        }
        self.on_the_way.pop().map(|Reverse((_, _, piece))| piece)
    }

    /// Nothing arrives until then; what is on the way waits.
    pub fn stall_until(&mut self, moment: Micros) {
        self.stalled_until = moment;
    }

    /// Pulls the plug: what is on the way is lost, and all that is put in.
    pub fn unplug(&mut self) {
        self.plugged = false;
        self.on_the_way.clear();
        self.building.clear();
        self.busy_until = 0;
    }

    /// Puts the plug back.
    pub fn plug(&mut self) {
        self.plugged = true;
    }

    /// Whether the plug is in.
    #[must_use]
    pub fn plugged(&self) -> bool {
        self.plugged
    }
}

#[cfg(test)]
mod tests;
