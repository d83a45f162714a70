//! What the firmware's outputs did, watched from outside for tests.
//!
//! Enters: every edge. Leaves: how long coils were on, how many were switched
//! on together, and what still moved after the guard was opened or the stop
//! pressed. Only the last edges are kept; the extremes are kept for good.

use super::block::LOCK_COILS;
use super::{OUTPUTS, Output};
use cardwright_protocol::time::Micros;
use std::collections::VecDeque;

/// Edges kept.
const EDGES_KEPT: usize = 4096;

/// Feed steps kept.
const STEPS_KEPT: usize = 1024;

/// Coils switched on within this time count as switched on at once.
const AT_ONCE_US: u64 = 200;

/// An output changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// When.
    pub at: Micros,
    /// Which.
    pub output: Output,
    /// To high or to low.
    pub high: bool,
}

/// The watch.
#[derive(Clone, Debug)]
pub struct Safety {
    edges: VecDeque<Edge>,
    steps: VecDeque<u64>,
    step_count: u64,
    on_since: [Option<u64>; OUTPUTS],
    longest_on: [u64; OUTPUTS],
    coil_since: [Option<u64>; LOCK_COILS],
    coil_longest: [u64; LOCK_COILS],
    coil_total: [u64; LOCK_COILS],
    switched_on: VecDeque<u64>,
    most_at_once: usize,
    unsafe_since: Option<u64>,
    worst_step_us: Option<u64>,
    worst_drive_us: Option<u64>,
    last_step: Option<u64>,
    shortest_step_us: u64,
}

impl Safety {
    pub(super) fn new() -> Safety {
        Safety {
            edges: VecDeque::with_capacity(EDGES_KEPT),
            steps: VecDeque::with_capacity(STEPS_KEPT),
            step_count: 0,
            on_since: [None; OUTPUTS],
            longest_on: [0; OUTPUTS],
            coil_since: [None; LOCK_COILS],
            coil_longest: [0; LOCK_COILS],
            coil_total: [0; LOCK_COILS],
            switched_on: VecDeque::new(),
            most_at_once: 0,
            unsafe_since: None,
            worst_step_us: None,
            worst_drive_us: None,
            last_step: None,
            shortest_step_us: u64::MAX,
        }
    }

    pub(super) fn edge(&mut self, now: u64, output: Output, high: bool) {
        if self.edges.len() == EDGES_KEPT {
            self.edges.pop_front();
        }
        self.edges.push_back(Edge {
            at: Micros(now),
            output,
            high,
        });
        let at = output as usize;
        if high {
            self.on_since[at] = Some(now);
            if output == Output::Stroke && self.unsafe_since.is_some() {
                self.drive_late(now);
            }
        } else if let Some(since) = self.on_since[at].take() {
            self.longest_on[at] = self.longest_on[at].max(now - since);
            if output == Output::Stroke {
                self.drive_late(now);
            }
        }
    }

    fn drive_late(&mut self, now: u64) {
        if let Some(since) = self.unsafe_since {
            let late = now - since;
            self.worst_drive_us = Some(self.worst_drive_us.map_or(late, |worst| worst.max(late)));
        }
    }

    pub(super) fn step(&mut self, now: u64, working: bool) {
        self.step_count += 1;
        if self.steps.len() == STEPS_KEPT {
            self.steps.pop_front();
        }
        self.steps.push_back(now);
        if let Some(last) = self.last_step {
            self.shortest_step_us = self.shortest_step_us.min(now - last);
        }
        self.last_step = Some(now);
        if let (Some(since), true) = (self.unsafe_since, working) {
            let late = now - since;
            self.worst_step_us = Some(self.worst_step_us.map_or(late, |worst| worst.max(late)));
        }
    }

    pub(super) fn coil_on(&mut self, now: u64, coil: usize) {
        self.coil_since[coil] = Some(now);
        while self
            .switched_on
            .front()
            .is_some_and(|at| at + AT_ONCE_US <= now)
        {
            self.switched_on.pop_front();
        }
        self.switched_on.push_back(now);
        self.most_at_once = self.most_at_once.max(self.switched_on.len());
    }

    pub(super) fn coil_off(&mut self, now: u64, coil: usize) {
        if let Some(since) = self.coil_since[coil].take() {
            self.coil_longest[coil] = self.coil_longest[coil].max(now - since);
            self.coil_total[coil] += now - since;
        }
    }

    /// People may reach in, or no longer. A drive still on when they no longer
    /// can was on all the time they could.
    pub(super) fn people_near(&mut self, now: u64, since: Option<u64>) {
        if since.is_none() && self.on_since[Output::Stroke as usize].is_some() {
            self.drive_late(now);
        }
        self.unsafe_since = since;
    }

    /// The last edges, oldest first; feed steps are not among them.
    pub fn edges(&self) -> impl Iterator<Item = &Edge> {
        self.edges.iter()
    }

    /// The moments of the last feed steps, oldest first.
    pub fn steps(&self) -> impl Iterator<Item = Micros> {
        self.steps.iter().map(|at| Micros(*at))
    }

    /// Feed steps so far, with or without current.
    #[must_use]
    pub fn step_count(&self) -> u64 {
        self.step_count
    }

    /// When the last feed step was.
    #[must_use]
    pub fn last_step(&self) -> Option<Micros> {
        self.last_step.map(Micros)
    }

    /// Shortest time between two feed steps.
    #[must_use]
    pub fn shortest_step_us(&self) -> u64 {
        self.shortest_step_us
    }

    /// Longest time this output was high, counting to `now` if it still is.
    #[must_use]
    pub fn longest_on_us(&self, output: Output, now: Micros) -> u64 {
        let at = output as usize;
        self.longest_on[at].max(self.on_since[at].map_or(0, |since| now.0.saturating_sub(since)))
    }

    /// Longest time the lock coil of this hole (1 to 16; 17 is the peg punch)
    /// was on, counting to `now` if it still is; 0 for any other number.
    #[must_use]
    pub fn coil_longest_us(&self, hole: u8, now: Micros) -> u64 {
        let coil = usize::from(hole).wrapping_sub(1);
        let open = self.coil_since.get(coil).copied().flatten();
        let running = open.map_or(0, |since| now.0.saturating_sub(since));
        self.coil_longest
            .get(coil)
            .map_or(0, |longest| running.max(*longest))
    }

    /// Time the lock coil of this hole (as above) was on in all, up to the last
    /// time it went off.
    #[must_use]
    pub fn coil_total_us(&self, hole: u8) -> u64 {
        self.coil_total
            .get(usize::from(hole).wrapping_sub(1))
            .copied()
            .unwrap_or(0)
    }

    /// Most lock coils switched on within 200 us.
    #[must_use]
    pub fn most_coils_at_once(&self) -> usize {
        self.most_at_once
    }

    /// The latest feed step with current on after the guard was opened or the
    /// stop pressed, in microseconds after that; none if there was none.
    #[must_use]
    pub fn worst_step_after_us(&self) -> Option<u64> {
        self.worst_step_us
    }

    /// How long the block was driven on, or begun to be driven, after the guard
    /// was opened or the stop pressed; none if it was not. A drive still on
    /// counts to `now`.
    #[must_use]
    pub fn worst_drive_after_us(&self, now: Micros) -> Option<u64> {
        let running = match (self.unsafe_since, self.on_since[Output::Stroke as usize]) {
            (Some(since), Some(_)) => Some(now.0.saturating_sub(since)),
            _ => None,
        };
        self.worst_drive_us.max(running)
    }
}
