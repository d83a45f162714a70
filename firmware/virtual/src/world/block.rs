//! The punch block, its locks and the holes it makes.
//!
//! Enters: the lock register, the peg's and the block's drive. Leaves: the top
//! and bottom sensors, and holes in whatever lies under the punches when they
//! come down. The block turns a crank: it moves only while driven, one turn a
//! stroke, and stops where it is let go; at the top a catch draws it home.

use super::{EVENT_WITHIN_US, NEVER, Output, World};
use crate::faults::FaultKind;
use crate::geometry::Flap;
use crate::settings::WorldSettings;
use crate::stock::Hole;
use crate::truth::{Stroke, StrokeEnd, Truth};
use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::time::Micros;

/// Coils that lock a punch: the needle punches', then the peg punch's.
pub const LOCK_COILS: usize = MOST_HOLES as usize + 1;

const PEG: u8 = MOST_HOLES + 1;

#[derive(Debug)]
pub(super) struct Block {
    cycle: u64,
    zone: u64,
    /// Where in its turn it was at `since`, in microseconds of driving.
    phase: u64,
    since: u64,
    driven: bool,
    stuck: bool,
    /// Where in this turn it will stick.
    stick_at: u64,
    /// Whether the stroke under way has an entry at the end of the truth.
    open: bool,
    latched: u16,
    /// Coils driven now, and since when each.
    coils: u32,
    coil_since: [u64; LOCK_COILS],
}

impl Block {
    pub fn new(settings: &WorldSettings) -> Block {
        let cycle = settings.stroke_cycle_us.max(100);
        Block {
            cycle,
            zone: settings.sensor_zone_us.clamp(1, cycle / 4),
            phase: 0,
            since: 0,
            driven: false,
            stuck: false,
            stick_at: NEVER,
            open: false,
            latched: 0,
            coils: 0,
            coil_since: [0; LOCK_COILS],
        }
    }

    fn moving(&self) -> bool {
        self.driven && !self.stuck
    }

    fn phase_at(&self, now: u64) -> u64 {
        if self.moving() {
            self.phase + (now - self.since)
        } else {
            self.phase
        }
    }

    pub fn up(&self, now: u64) -> bool {
        self.phase_at(now) % self.cycle < self.zone
    }

    pub fn down(&self, now: u64) -> bool {
        let phase = self.phase_at(now);
        let bottom = self.cycle / 2;
        (bottom..bottom + self.zone).contains(&phase)
    }

    /// Punches meet the card here on their way down, and leave it as far
    /// before the top on their way up.
    fn contact(&self) -> u64 {
        self.cycle * 35 / 100
    }

    /// Whether punches are in the card. Exact to the last event passed.
    pub fn in_card(&self) -> bool {
        (self.contact()..self.cycle - self.contact()).contains(&self.phase)
    }

    pub fn stuck(&self) -> bool {
        self.stuck
    }

    /// Places in a turn at which something happens, in order.
    fn marks(&self) -> [u64; 6] {
        let bottom = self.cycle / 2;
        [
            self.zone,
            self.contact(),
            bottom,
            bottom + self.zone,
            self.cycle - self.contact(),
            self.cycle,
        ]
    }

    fn next_mark(&self) -> u64 {
        let mark = self
            .marks()
            .into_iter()
            .find(|mark| *mark > self.phase)
            .unwrap_or(self.cycle);
        mark.min(self.stick_at)
    }

    pub fn next_at(&self, _now: u64) -> u64 {
        if self.moving() {
            self.since + (self.next_mark() - self.phase)
        } else {
            NEVER
        }
    }

    pub fn latch(&mut self, bits: u16) {
        self.latched = bits;
    }

    /// The stroke that is under way.
    pub fn stroke_in_hand(&self, truth: &Truth) -> Option<u64> {
        if self.open {
            truth.strokes.last().map(|stroke| stroke.number)
        } else {
            None
        }
    }

    /// Punches whose coils have been on long enough.
    fn locked(&self, now: u64, lock_us: u64) -> u32 {
        (0..LOCK_COILS)
            .filter(|coil| self.coils >> coil & 1 == 1 && self.coil_since[*coil] + lock_us <= now)
            .fold(0, |bits, coil| bits | 1 << coil)
    }
}

impl World {
    /// The coils follow the register and the pins.
    pub(super) fn switch_coils(&mut self) {
        let mut coils = if self.output(Output::LocksOn) {
            u32::from(self.block.latched)
        } else {
            0
        };
        if self.output(Output::Peg) {
            coils |= 1 << MOST_HOLES;
        }
        let changed = coils ^ self.block.coils;
        for coil in (0..LOCK_COILS).filter(|coil| changed >> coil & 1 == 1) {
            if coils >> coil & 1 == 1 {
                self.block.coil_since[coil] = self.now;
                self.safety.coil_on(self.now, coil);
            } else {
                self.safety.coil_off(self.now, coil);
            }
        }
        self.block.coils = coils;
    }

    /// The drive of the block is switched.
    pub(super) fn drive_block(&mut self, on: bool) {
        let now = self.now;
        self.block.phase = self.block.phase_at(now);
        self.block.since = now;
        self.block.driven = on;
        if on {
            if self.block.phase == 0 && !self.block.stuck {
                self.begin_stroke();
            }
        } else if !self.block.stuck && self.block.phase < self.block.zone {
            self.block.phase = 0;
            self.end_stroke(StrokeEnd::NotBegun);
        }
        self.plan();
    }

    /// Moves the block on to the present moment, mark by mark.
    pub(super) fn run_block(&mut self) {
        while self.block.next_at(self.now) <= self.now {
            let mark = self.block.next_mark();
            self.block.since += mark - self.block.phase;
            self.block.phase = mark;
            self.block_at(mark);
        }
    }

    fn block_at(&mut self, mark: u64) {
        if mark == self.block.stick_at {
            self.block.stuck = true;
            self.block.stick_at = NEVER;
            self.note(
                FaultKind::StuckStroke,
                0,
                mark as f64 / self.block.cycle as f64,
            );
        } else if mark == self.block.zone && !self.block.open {
            // Driven on past the top: another stroke, wanted or not.
            self.begin_stroke();
        }
        if mark == self.block.contact() {
            self.punch();
        } else if mark == self.block.cycle {
            self.end_stroke(StrokeEnd::Done);
            self.block.phase = 0;
        }
    }

    fn begin_stroke(&mut self) {
        let number = self.truth.strokes_begun;
        self.truth.strokes_begun += 1;
        self.block.open = true;
        self.truth.strokes.push(Stroke {
            number,
            at: Micros(self.now),
            card: None,
            along_mm: 0.0,
            locked: 0,
            made: 0,
            peg_locked: false,
            peg_made: false,
            came_down: false,
            end: StrokeEnd::Open,
        });
        self.block.stick_at = NEVER;
        if self.chance.stuck_stroke.hit() {
            let share = self.chance.stuck_stroke.amount(0.05, 0.95);
            let at = (self.block.cycle as f64 * share) as u64;
            self.block.stick_at = at.max(self.block.phase + 1);
        }
        if self.chance.events_per == crate::faults::Per::Stroke {
            self.draw_events(EVENT_WITHIN_US);
        }
    }

    pub(super) fn end_stroke(&mut self, end: StrokeEnd) {
        if !self.block.open {
            return;
        }
        if let Some(stroke) = self.truth.strokes.last_mut() {
            stroke.end = end;
        }
        if end != StrokeEnd::NotBegun && self.chance.feed_slip.hit() {
            let mm = self.chance.feed_slip.amount(0.3, 7.0);
            self.feed.slip_by(mm);
            self.note(FaultKind::FeedSlip, 0, mm);
        }
        self.block.open = false;
        self.block.stick_at = NEVER;
    }

    /// The punches meet what lies under them.
    fn punch(&mut self) {
        let locked = self.block.locked(self.now, self.settings.lock_us);
        let needles = locked as u16;
        let peg = locked >> MOST_HOLES & 1 == 1;
        let mut made = 0u16;
        for hole in 1..=self.settings.holes {
            let wanted = needles >> (hole - 1) & 1 == 1;
            let y = self.settings.across_mm(hole);
            if self.punch_one(hole, wanted, 0.0, y, self.settings.needle_diameter_mm / 2.0) {
                made |= 1 << (hole - 1);
            }
        }
        let back = self.settings.pitch_mm;
        let peg_made =
            peg && self.punch_one(PEG, true, back, 0.0, self.settings.peg_diameter_mm / 2.0);
        let place = self.feed.cards.iter().find_map(|card| {
            let along = self.feed.lead_mm(card) - self.settings.edge_to_punch_mm;
            (0.0..card.card.length_in_feed_mm())
                .contains(&along)
                .then_some((card.card.serial, along))
        });
        if let Some(stroke) = self.truth.strokes.last_mut() {
            stroke.came_down = true;
            stroke.locked = needles;
            stroke.made = made;
            stroke.peg_locked = peg;
            stroke.peg_made = peg_made;
            stroke.card = place.map(|(serial, _)| serial);
            stroke.along_mm = place.map_or(0.0, |(_, along)| along);
        }
    }

    /// One punch comes down, `back` behind the needle line: whether it made a
    /// hole in any card.
    fn punch_one(&mut self, hole: u8, wanted: bool, back: f64, across: f64, r_mm: f64) -> bool {
        let at = self.settings.edge_to_punch_mm - back;
        let under = self.feed.cards.iter().any(|card| {
            let (x, y) = card.card.from_machine(self.feed.lead_mm(card) - at, across);
            card.card.covers(x, y)
        });
        if !under {
            return false;
        }
        if wanted && self.chance.missing_hole.hit() {
            self.note(FaultKind::MissingHole, hole, 0.0);
            return false;
        }
        if !wanted {
            if !self.chance.extra_hole.hit() {
                return false;
            }
            self.note(FaultKind::ExtraHole, hole, 0.0);
        }
        let mut flap = None;
        if self.chance.hanging_chad.hit() {
            let share = self.chance.hanging_chad.amount(0.2, 0.95);
            let direction = self.chance.hanging_chad.amount(0.0, core::f64::consts::TAU);
            flap = Some(Flap::covering(share, r_mm, direction));
            self.note(FaultKind::HangingChad, hole, share);
        }
        self.make_hole(at, across, r_mm, flap);
        true
    }

    /// A hole through every card under this place of the machine. A chad hangs
    /// in the lowest card only.
    fn make_hole(&mut self, at: f64, across: f64, r_mm: f64, flap: Option<Flap>) {
        let stroke = self.truth.strokes.last().map(|stroke| stroke.number);
        let moved = self.feed.moved_mm();
        let mut flap = flap;
        for card in self.feed.cards.iter_mut().rev() {
            let lead = card.start_mm + moved;
            let (x_mm, y_mm) = card.card.from_machine(lead - at, across);
            if card.card.covers(x_mm, y_mm) {
                card.card.add(Hole {
                    x_mm,
                    y_mm,
                    r_mm,
                    flap: flap.take(),
                    stroke,
                });
            }
        }
    }

    /// The block is freed by hand and wound up to the top.
    pub(super) fn wind_up_block(&mut self) {
        let stuck = self.block.stuck;
        self.end_stroke(if stuck {
            StrokeEnd::Stuck
        } else {
            StrokeEnd::Done
        });
        self.block.stuck = false;
        self.block.phase = 0;
        self.block.since = self.now;
        if self.block.driven {
            self.begin_stroke();
        }
        self.plan();
    }
}
