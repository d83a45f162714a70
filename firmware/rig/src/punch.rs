//! The punch block: locks the punches of a stroke, drives the block down and
//! up, and says when it is done or what went wrong. Enters: a stroke and the
//! time. Leaves: pin changes, and an end: done, or a reason to stop.

use cardwright_protocol::Micros;
use cardwright_protocol::card::{Row, Stroke};
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::unit_to_host::StopReason;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiBus;

use crate::coils::{CoilSet, Coils, PEG, next_group};
use crate::hardware::{Board, Wiring};
use crate::limits::LEAST_STAGGER_US;

/// How far a stroke has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Rest,
    /// Waiting for a hot coil.
    Cooling {
        until: Micros,
    },
    /// Switching the locks on, group by group.
    Locking {
        next_at: Micros,
    },
    /// Everything is locked; waiting for the locks to engage.
    Settling {
        until: Micros,
    },
    Down {
        since: Micros,
        left_top: bool,
    },
    Up {
        since: Micros,
        down_us: u32,
    },
}

/// What a poll of the punch came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Nothing is being done.
    Rest,
    /// Waiting for a coil to cool; the stroke has not begun.
    Cooling,
    /// On its way.
    Busy,
    /// The block is back at the top.
    Done {
        /// From start to bottom.
        down_us: u32,
        /// From bottom to top.
        up_us: u32,
    },
    /// It cannot be finished.
    Failed(StopReason),
}

/// The punch block's state.
#[derive(Debug)]
pub struct Punch {
    /// The coils' use, kept over stops and new settings.
    pub coils: Coils,
    phase: Phase,
    wanted: CoilSet,
    on: CoilSet,
    timeout_us: u64,
    lock_settle_us: u64,
    stagger_us: u64,
    at_once: u8,
}

impl Punch {
    /// A block at rest.
    #[must_use]
    pub fn new() -> Punch {
        Punch {
            coils: Coils::new(),
            phase: Phase::Rest,
            wanted: 0,
            on: 0,
            timeout_us: 0,
            lock_settle_us: 0,
            stagger_us: 0,
            at_once: 1,
        }
    }

    /// Takes checked settings.
    pub fn configure(&mut self, s: &Settings) {
        self.coils.configure(s);
        self.timeout_us = u64::from(s.stroke_timeout_us);
        self.lock_settle_us = u64::from(s.lock_settle_us);
        self.stagger_us = u64::from(s.coil_stagger_us.max(LEAST_STAGGER_US));
        self.at_once = s.coils_at_once;
    }

    /// Begins a stroke. The caller sees to it that the card is in register.
    pub fn begin(&mut self, stroke: Stroke, now: Micros) {
        self.wanted = CoilSet::from(stroke.punches().0) | CoilSet::from(stroke.peg()) << PEG;
        self.phase = Phase::Cooling {
            until: self.coils.ready_at(self.wanted, now),
        };
    }

    /// Begins to bring a block that stands anywhere back to the top, nothing
    /// locked.
    pub fn begin_raise(&mut self, now: Micros) {
        self.wanted = 0;
        self.phase = Phase::Up {
            since: now,
            down_us: 0,
        };
    }

    /// Whether a stroke is in hand: begun, and not yet back at the top.
    #[must_use]
    pub fn in_stroke(&self) -> bool {
        matches!(self.phase, Phase::Down { .. } | Phase::Up { .. })
    }

    /// When it wants to be polled again at the latest.
    #[must_use]
    pub fn next_at(&self) -> Micros {
        let phase = match self.phase {
            Phase::Rest | Phase::Down { .. } | Phase::Up { .. } => Micros::NEVER,
            Phase::Cooling { until } | Phase::Settling { until } => until,
            Phase::Locking { next_at } => next_at,
        };
        phase.min(self.coils.on_limit_at())
    }

    /// Goes on with the stroke in hand.
    pub fn poll<B: Board>(&mut self, now: Micros, w: &mut Wiring<B>) -> Progress {
        if now >= self.coils.on_limit_at() {
            return Progress::Failed(StopReason::StrokeNotDown);
        }
        match self.phase {
            Phase::Rest => Progress::Rest,
            Phase::Cooling { until } if now < until => Progress::Cooling,
            Phase::Cooling { .. } => {
                self.phase = Phase::Locking { next_at: now };
                self.lock_next_group(now, w)
            }
            Phase::Locking { next_at } if now >= next_at => self.lock_next_group(now, w),
            Phase::Settling { until } if now >= until => {
                let Ok(up) = w.block_up.is_high();
                if !up {
                    // it has sunk, or been moved by hand: a stroke begins at the top
                    return Progress::Failed(StopReason::StrokeNotUp);
                }
                let Ok(()) = w.stroke.set_high();
                self.phase = Phase::Down {
                    since: now,
                    left_top: false,
                };
                Progress::Busy
            }
            Phase::Down { since, left_top } => self.go_down(since, left_top, now, w),
            Phase::Up { since, down_us } => self.go_up(since, down_us, now, w),
            Phase::Locking { .. } | Phase::Settling { .. } => Progress::Busy,
        }
    }

    /// Everything off, in the order in which it can hurt: the block's drive,
    /// then the locks, then the peg punch.
    pub fn off<B: Board>(&mut self, now: Micros, w: &mut Wiring<B>) {
        let Ok(()) = w.stroke.set_low();
        let Ok(()) = w.locks_on.set_low();
        let Ok(()) = w.peg.set_low();
        self.coils.switched(0, now);
        self.on = 0;
        self.phase = Phase::Rest;
    }

    fn lock_next_group<B: Board>(&mut self, now: Micros, w: &mut Wiring<B>) -> Progress {
        if self.on == self.wanted {
            self.phase = Phase::Settling {
                until: if self.wanted == 0 {
                    now
                } else {
                    now.plus(self.lock_settle_us)
                },
            };
            return Progress::Busy;
        }
        let set = next_group(self.on, self.wanted, self.at_once);
        if !shift_out(Row((set & 0xffff) as u16), w) {
            return Progress::Failed(StopReason::Internal);
        }
        let Ok(()) = w.locks_on.set_high();
        let Ok(()) = w.peg.set_state((set >> PEG & 1 == 1).into());
        self.coils.switched(set, now);
        self.on = set;
        self.phase = Phase::Locking {
            next_at: if set == self.wanted {
                now
            } else {
                now.plus(self.stagger_us)
            },
        };
        Progress::Busy
    }

    fn go_down<B: Board>(
        &mut self,
        since: Micros,
        left_top: bool,
        now: Micros,
        w: &mut Wiring<B>,
    ) -> Progress {
        let (Ok(up), Ok(down)) = (w.block_up.is_high(), w.block_down.is_high());
        let took = now.since(since);
        if down && up {
            Progress::Failed(StopReason::StrokeSensors)
        } else if down {
            // the punches are through: the locks have done their work
            let Ok(()) = w.locks_on.set_low();
            let Ok(()) = w.peg.set_low();
            self.coils.switched(0, now);
            self.on = 0;
            self.phase = Phase::Up {
                since: now,
                down_us: took as u32,
            };
            Progress::Busy
        } else if took >= self.timeout_us || up && left_top {
            // at the top again without having been seen at the bottom, it would
            // begin another turn
            Progress::Failed(StopReason::StrokeNotDown)
        } else {
            self.phase = Phase::Down {
                since,
                left_top: !up,
            };
            Progress::Busy
        }
    }

    fn go_up<B: Board>(
        &mut self,
        since: Micros,
        down_us: u32,
        now: Micros,
        w: &mut Wiring<B>,
    ) -> Progress {
        let (Ok(up), Ok(down)) = (w.block_up.is_high(), w.block_down.is_high());
        let took = now.since(since);
        if down && up {
            Progress::Failed(StopReason::StrokeSensors)
        } else if up {
            let Ok(()) = w.stroke.set_low();
            self.phase = Phase::Rest;
            Progress::Done {
                down_us,
                up_us: took as u32,
            }
        } else if took >= self.timeout_us {
            Progress::Failed(StopReason::StrokeNotUp)
        } else {
            let Ok(()) = w.stroke.set_high();
            Progress::Busy
        }
    }
}

impl Default for Punch {
    fn default() -> Punch {
        Punch::new()
    }
}

/// Shifts a row into the lock registers and latches it. Whether the bus took it.
fn shift_out<B: Board>(row: Row, w: &mut Wiring<B>) -> bool {
    if w.locks
        .write(&row.0.to_be_bytes())
        .and_then(|()| w.locks.flush())
        .is_err()
    {
        return false;
    }
    let Ok(()) = w.locks_latch.set_high();
    let Ok(()) = w.locks_latch.set_low();
    true
}
