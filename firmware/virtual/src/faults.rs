//! The faults that can be made to happen, each with a rate and a seed.
//!
//! Enters: [`Faults`]. Leaves: the answers the world asks for, stroke by stroke
//! and card by card. What was injected is noted by the world in its truth.

use crate::chance::{Chance, Fault};

/// What can be made to go wrong. The number is the fault's stream of chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FaultKind {
    /// A locked punch made no hole: blunt, or it sprang out of its lock.
    MissingHole = 1,
    /// A chad stayed hanging in its hole.
    HangingChad,
    /// A punch that was not locked came along.
    ExtraHole,
    /// The feed slipped on the card.
    FeedSlip,
    /// Two cards were taken at once.
    DoubledFeed,
    /// A card stuck in the path.
    Jam,
    /// The block stuck on its way.
    StuckStroke,
    /// The lamp lost light while a card was under it.
    LampDrift,
    /// A grain of dust settled on a light channel.
    Dust,
    /// The guard was opened.
    GuardOpened,
    /// The stop button was pressed.
    StopPressed,
    /// The unit lost its power and came back.
    UnitRestarted,
    /// The cable was pulled.
    CablePulled,
}

/// What an event fault's rate is counted by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Per {
    /// Chance in each stroke begun; it then happens within the next 60 ms.
    #[default]
    Stroke,
    /// Chance in each second of the world's time.
    Second,
}

/// Every fault's rate and seed. The default is none of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faults {
    /// For each hole that should be cut.
    pub missing_hole: Fault,
    /// For each hole cut.
    pub hanging_chad: Fault,
    /// For each hole position of a stroke that should stay solid.
    pub extra_hole: Fault,
    /// For each stroke: the card moves 0.3 to 7 mm less after it.
    pub feed_slip: Fault,
    /// For each card picked or laid in: another lies under it, 0 to 40 mm back.
    pub doubled_feed: Fault,
    /// For each card: somewhere on its way it stops until it is taken out.
    pub jam: Fault,
    /// For each stroke: the block stops on its way until it is freed.
    pub stuck_stroke: Fault,
    /// For each card: the lamp loses 2 to 30 % of its light over its length.
    pub lamp_drift: Fault,
    /// For each card: a channel loses 5 to 60 % from some place on.
    pub dust: Fault,
    /// The guard is opened, by stroke or by second.
    pub guard_opened: Fault,
    /// The stop is pressed, by stroke or by second.
    pub stop_pressed: Fault,
    /// The unit restarts, by stroke or by second.
    pub unit_restarted: Fault,
    /// The cable is pulled, by stroke or by second.
    pub cable_pulled: Fault,
    /// What the last four are counted by.
    pub events_per: Per,
}

impl Faults {
    /// No fault, but every seed set from this one, so that setting a rate is
    /// enough.
    #[must_use]
    pub fn seeded(seed: u64) -> Faults {
        let mut faults = Faults::default();
        for (_, fault) in faults.each_mut() {
            fault.seed = seed;
        }
        faults
    }

    /// Every fault at this rate.
    #[must_use]
    pub fn all_at(rate: f64, seed: u64) -> Faults {
        let mut faults = Faults::seeded(seed);
        for (_, fault) in faults.each_mut() {
            fault.rate = rate;
        }
        faults
    }

    /// Every fault with its kind.
    pub fn each_mut(&mut self) -> [(FaultKind, &mut Fault); 13] {
        [
            (FaultKind::MissingHole, &mut self.missing_hole),
            (FaultKind::HangingChad, &mut self.hanging_chad),
            (FaultKind::ExtraHole, &mut self.extra_hole),
            (FaultKind::FeedSlip, &mut self.feed_slip),
            (FaultKind::DoubledFeed, &mut self.doubled_feed),
            (FaultKind::Jam, &mut self.jam),
            (FaultKind::StuckStroke, &mut self.stuck_stroke),
            (FaultKind::LampDrift, &mut self.lamp_drift),
            (FaultKind::Dust, &mut self.dust),
            (FaultKind::GuardOpened, &mut self.guard_opened),
            (FaultKind::StopPressed, &mut self.stop_pressed),
            (FaultKind::UnitRestarted, &mut self.unit_restarted),
            (FaultKind::CablePulled, &mut self.cable_pulled),
        ]
    }
}

/// The streams of chance, one a kind.
#[derive(Clone, Debug)]
pub(crate) struct Injectors {
    pub missing_hole: Chance,
    pub hanging_chad: Chance,
    pub extra_hole: Chance,
    pub feed_slip: Chance,
    pub doubled_feed: Chance,
    pub jam: Chance,
    pub stuck_stroke: Chance,
    pub lamp_drift: Chance,
    pub dust: Chance,
    /// Guard, stop, restart, cable.
    pub events: [(FaultKind, Chance); 4],
    pub events_per: Per,
}

impl Injectors {
    pub fn new(faults: &Faults) -> Injectors {
        let chance = |kind: FaultKind, fault: Fault| Chance::new(fault, kind as u64);
        Injectors {
            missing_hole: chance(FaultKind::MissingHole, faults.missing_hole),
            hanging_chad: chance(FaultKind::HangingChad, faults.hanging_chad),
            extra_hole: chance(FaultKind::ExtraHole, faults.extra_hole),
            feed_slip: chance(FaultKind::FeedSlip, faults.feed_slip),
            doubled_feed: chance(FaultKind::DoubledFeed, faults.doubled_feed),
            jam: chance(FaultKind::Jam, faults.jam),
            stuck_stroke: chance(FaultKind::StuckStroke, faults.stuck_stroke),
            lamp_drift: chance(FaultKind::LampDrift, faults.lamp_drift),
            dust: chance(FaultKind::Dust, faults.dust),
            events: [
                (FaultKind::GuardOpened, faults.guard_opened),
                (FaultKind::StopPressed, faults.stop_pressed),
                (FaultKind::UnitRestarted, faults.unit_restarted),
                (FaultKind::CablePulled, faults.cable_pulled),
            ]
            .map(|(kind, fault)| (kind, chance(kind, fault))),
            events_per: faults.events_per,
        }
    }

    /// Whether the world must wake every second to ask for events.
    pub fn by_second(&self) -> bool {
        self.events_per == Per::Second && self.events.iter().any(|(_, chance)| chance.possible())
    }
}
