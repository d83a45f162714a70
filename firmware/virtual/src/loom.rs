//! A hand loom with sensors at it, and the weaver who works it.
//!
//! Enters: one [`Act`] after the other, and time. Leaves: the eight lines as
//! their sensors show them, bounce and all, and apart from that the truth: what
//! was really done ([`Counts`]) and what really lies in the cloth ([`Pick`]). It
//! refuses an act while another is under way, and to run backwards: an earlier
//! moment is taken as the present one.
//!
//! Every change of a line has a moment of its own, so that whoever looks at
//! each [`Loom::next_change`] sees them all, one at a time.

mod act;
mod changes;
mod cloth;
mod mistakes;
mod movement;
mod place;
mod rhythm;
mod script;
mod settings;
mod weaver;

pub use act::{Act, Direction};
pub use cloth::{Cloth, Pick};
pub use mistakes::{Mistake, MistakeKind, Mistakes, Stand};
pub use place::{LoomOptions, LoomPlace};
pub use script::{Script, Step};
pub use settings::{FULL_RATE, LoomWorld};
pub use weaver::{Weaver, WeaverSettings};

use crate::chance::{Chance, Fault};
use cardwright_protocol::Micros;
use cardwright_protocol::loom::LoomLine;
use changes::Changes;

/// Stream of chance of the bounces and of how long each movement takes.
const STREAM: u64 = 64;

/// What was really done at the loom.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counts {
    /// Cards turned on.
    pub forward: u64,
    /// Cards turned back.
    pub back: u64,
    /// Turns that fell back half-way.
    pub half_turns: u64,
    /// The griffe went up.
    pub lifts: u64,
    /// The batten came to the cloth.
    pub beats: u64,
    /// The shuttle was thrown, whether the weft was laid in or taken out.
    pub throws: u64,
    /// It arrived in the left box.
    pub left: u64,
    /// It arrived in the right box.
    pub right: u64,
    /// Edges of the take-up's tracks as cloth was wound on.
    pub edges_on: u64,
    /// Edges as it was let off.
    pub edges_off: u64,
    /// Length of the cloth wound on.
    pub wound_mm: f64,
}

/// The loom.
#[derive(Clone, Debug)]
pub struct Loom {
    settings: LoomWorld,
    chance: Chance,
    now: u64,
    lines: u8,
    changes: Changes,
    /// The act under way, and when it will be done.
    under_way: Option<(u64, Act)>,
    griffe_up: bool,
    shuttle_left: bool,
    counts: Counts,
    cloth: Cloth,
}

impl Loom {
    /// A loom at rest: griffe down, batten back, the shuttle in the left box.
    #[must_use]
    pub fn new(settings: LoomWorld, seed: u64) -> Loom {
        let cloth = Cloth::new(settings.keep_cloth);
        Loom {
            settings,
            chance: Chance::new(Fault::new(0.0, seed), STREAM),
            now: 0,
            lines: LoomLine::BoxLeft.bit(),
            changes: Changes::default(),
            under_way: None,
            griffe_up: false,
            shuttle_left: true,
            counts: Counts::default(),
            cloth,
        }
    }

    /// How the loom really is.
    #[must_use]
    pub fn settings(&self) -> &LoomWorld {
        &self.settings
    }

    /// What the sensors show, in the bits of [`LoomLine`].
    #[must_use]
    pub fn lines(&self) -> u8 {
        self.lines
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        Micros(self.now)
    }

    /// The next moment at which a line changes.
    #[must_use]
    pub fn next_change(&self) -> Micros {
        Micros(self.changes.next_at())
    }

    /// Until when the act under way lasts; a moment that has passed if there is
    /// none.
    #[must_use]
    pub fn busy_until(&self) -> Micros {
        Micros(self.under_way.map_or(self.now, |(done, _)| done))
    }

    /// Lets time pass until `now`.
    pub fn advance(&mut self, now: Micros) {
        self.now = self.now.max(now.0);
        self.lines ^= self.changes.until(self.now);
        if let Some((_, act)) = self.under_way.filter(|(done, _)| *done <= self.now) {
            self.under_way = None;
            self.done(act);
        }
    }

    /// Begins an act. When it will be done; `None` if another is under way.
    pub fn begin(&mut self, act: Act, now: Micros) -> Option<Micros> {
        self.advance(now);
        if self.under_way.is_some() {
            return None;
        }
        let done = self.now.saturating_add(self.movement(act).max(1));
        self.under_way = Some((done, act));
        Some(Micros(done))
    }

    /// What was really done so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Cards the chain stands on from where it began.
    #[must_use]
    pub fn card(&self) -> i64 {
        self.counts.forward as i64 - self.counts.back as i64
    }

    /// What really lies in the cloth.
    #[must_use]
    pub fn cloth(&self) -> &Cloth {
        &self.cloth
    }

    /// Whether the griffe is up.
    #[must_use]
    pub fn griffe_up(&self) -> bool {
        self.griffe_up
    }

    /// Whether the shuttle is in the left box, or on its way from it.
    #[must_use]
    pub fn shuttle_left(&self) -> bool {
        self.shuttle_left
    }

    /// An act is done: what it has made of the loom and the cloth.
    fn done(&mut self, act: Act) {
        let counts = &mut self.counts;
        match act {
            Act::Turn(Direction::Forwards) => counts.forward += 1,
            Act::Turn(Direction::Back) => counts.back += 1,
            Act::TurnHalfAndBack(_) => counts.half_turns += 1,
            Act::Lift => {
                counts.lifts += u64::from(!self.griffe_up);
                self.griffe_up = true;
            }
            Act::Lower => self.griffe_up = false,
            Act::Throw => {
                self.thrown();
                self.cloth.lay_in(self.shed());
            }
            Act::ThrowBack => {
                self.thrown();
                self.cloth.take_out(self.shed());
            }
            Act::Beat | Act::BeatLightly => {
                counts.beats += 1;
                self.cloth.beat();
            }
            Act::TakeUp(_) | Act::LetOff(_) => self.wind(act),
            Act::Wait(_) => {}
        }
    }

    /// The card that makes the shed: none if the griffe is down.
    fn shed(&self) -> Option<i32> {
        self.griffe_up
            .then(|| i32::try_from(self.card()).unwrap_or(i32::MAX))
    }

    fn thrown(&mut self) {
        self.counts.throws += 1;
        self.shuttle_left = !self.shuttle_left;
        if self.shuttle_left {
            self.counts.left += 1;
        } else {
            self.counts.right += 1;
        }
    }

    fn wind(&mut self, act: Act) {
        let before = self.settings.edge_at(self.counts.wound_mm);
        self.counts.wound_mm += act.wound_mm();
        let edges = self.settings.edge_at(self.counts.wound_mm) - before;
        if edges < 0 {
            self.counts.edges_off += edges.unsigned_abs();
        } else {
            self.counts.edges_on += edges.unsigned_abs();
        }
    }
}
