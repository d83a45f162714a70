//! One card led past the light bar, without the machine or its firmware: what
//! the firmware would have read of it, for tests that need very many cards.
//!
//! Enters: a card, and the conditions it is read under. Leaves: the dark and
//! open levels, every line of levels, and the card's length, at the places and
//! by the sums of the firmware. It refuses settings the firmware would refuse.
//! Nothing moves in time: a scan takes the place the firmware means it to
//! take, and the unit's two decisions to stop are not made.

use crate::optics::{self, Dust, Light, Optics};
use crate::settings::WorldSettings;
use crate::stock::Card;
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::unit_to_host::{BadSetting, Levels};
use cardwright_rig::limits::{self, LEVEL_SCANS};
use cardwright_rig::plan::Plan;
use cardwright_rig::reader::LevelSum;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Stream of chance of the feed's errors.
const FEED_STREAM: u64 = 1;

/// Light from elsewhere, which may change while a card is read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stray {
    /// While the dark and open levels are taken, share of the open light.
    pub at_levels: f64,
    /// Where it goes to over the card.
    pub to: f64,
    /// Times it goes there and back over a card; at 0.5 it is there when the
    /// card is out.
    pub rounds: f64,
}

impl Stray {
    /// When this share of the card's way through the machine is done.
    #[must_use]
    pub fn at(&self, done: f64) -> f64 {
        let turn = (core::f64::consts::TAU * self.rounds * done).cos();
        self.at_levels + (self.to - self.at_levels) * (1.0 - turn) / 2.0
    }
}

/// What a card is read under. The default is a quiet, new, clean machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions {
    /// Noise of one reading (standard deviation, levels).
    pub noise_level: f64,
    /// The lamp's strength as the levels are taken: 1 when new.
    pub lamp: f64,
    /// Share of its light the lamp loses between the levels and the card.
    pub lamp_ageing: f64,
    /// Share of its light the lamp loses over the card's way, evenly.
    pub lamp_drift: f64,
    /// Dust that comes with the card.
    pub dust: Option<Dust>,
    /// Light from elsewhere.
    pub stray: Stray,
    /// How far behind its place the feed leads the whole card, in millimetres:
    /// play, or an edge seen too early.
    pub feed_lag_mm: f64,
    /// What the feed gains or loses on each row pitch of the card (standard
    /// deviation, millimetres): the errors add up from line to line.
    pub feed_walk_mm: f64,
    /// A second card under it, and how far its leading edge lies behind.
    pub under: Option<(Card, f64)>,
}

impl Default for Conditions {
    fn default() -> Conditions {
        Conditions {
            noise_level: 0.0,
            lamp: 1.0,
            lamp_ageing: 0.0,
            lamp_drift: 0.0,
            dust: None,
            stray: Stray::default(),
            feed_lag_mm: 0.0,
            feed_walk_mm: 0.0,
            under: None,
        }
    }
}

/// What was read of a card.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadCard {
    /// Levels with the lamp off.
    pub dark: Levels,
    /// Levels with the lamp on and no card.
    pub open: Levels,
    /// The lines one after the other, a byte for each hole of a row.
    pub lines: Vec<u8>,
    /// From leading to trailing edge as the feed measures it.
    pub length_um: u32,
}

/// The machine's reader on its own.
#[derive(Debug)]
pub struct ReaderModel {
    machine: WorldSettings,
    plan: Plan,
    strokes: u16,
    optics: Optics,
    chance: ChaCha8Rng,
}

impl ReaderModel {
    /// The reader of this machine, driven by a unit that was told so, for cards
    /// of so many strokes.
    ///
    /// # Errors
    /// The first setting that the unit would refuse.
    pub fn new(
        machine: WorldSettings,
        told: &Settings,
        strokes: u16,
    ) -> Result<ReaderModel, BadSetting> {
        limits::check(told)?;
        let mut model = ReaderModel {
            optics: Optics::new(&machine),
            plan: Plan::new(*told),
            chance: ChaCha8Rng::seed_from_u64(machine.seed),
            strokes,
            machine,
        };
        model.seed(model.machine.seed);
        Ok(model)
    }

    /// Begins noise and feed errors anew, so that the next card's depend on
    /// nothing before. The channels' gains stay.
    pub fn seed(&mut self, seed: u64) {
        self.optics.seed_noise(seed);
        self.chance = ChaCha8Rng::seed_from_u64(seed);
        self.chance.set_stream(FEED_STREAM);
    }

    /// The machine.
    #[must_use]
    pub fn machine(&self) -> &WorldSettings {
        &self.machine
    }

    /// Lines of a card.
    #[must_use]
    pub fn lines(&self) -> u16 {
        self.plan.lines(self.strokes)
    }

    /// How far behind the leading edge line `line`, from 0, is meant to be
    /// taken, to the feed's step.
    #[must_use]
    pub fn line_mm(&self, line: u16) -> f64 {
        f64::from(self.plan.line_at(line)) * self.machine.step_mm()
            - self.machine.edge_to_reader_mm()
    }

    /// Reads a card.
    pub fn read(&mut self, card: &Card, conditions: &Conditions) -> ReadCard {
        let mut read = ReadCard::default();
        self.read_into(card, conditions, &mut read);
        read
    }

    /// [`ReaderModel::read`] into the room of a card read before.
    pub fn read_into(&mut self, card: &Card, conditions: &Conditions, read: &mut ReadCard) {
        let light = Light {
            lamp: 0.0,
            ambient: conditions.stray.at_levels,
            noise_level: conditions.noise_level,
            dust: None,
        };
        read.dark = self.level(&light);
        read.open = self.level(&Light {
            lamp: conditions.lamp,
            ..light
        });
        read.length_um = self.length_um(card, conditions);
        read.lines.clear();
        let pitches = 1.0 / f64::from(self.plan.settings.samples_per_row);
        let walk = conditions.feed_walk_mm * pitches.sqrt();
        let mut off = -conditions.feed_lag_mm;
        for line in 0..self.lines() {
            let along = self.line_mm(line) + off;
            let levels = self.line(card, conditions, along);
            let holes = usize::from(self.plan.settings.holes);
            read.lines.extend_from_slice(&levels[..holes]);
            if walk > 0.0 {
                let step: f64 = StandardNormal.sample(&mut self.chance);
                off += walk * step;
            }
        }
    }

    /// The mean of so many scans with no card.
    fn level(&mut self, light: &Light) -> Levels {
        let mut sum = LevelSum::default();
        let mut mean = None;
        for _ in 0..LEVEL_SCANS {
            mean = sum.add(&self.optics.levels(&self.machine, light, []));
        }
        mean.unwrap_or_default()
    }

    /// The levels with the bar so far behind the card's leading edge.
    fn line(&mut self, card: &Card, conditions: &Conditions, along: f64) -> Levels {
        let machine = &self.machine;
        let lead = machine.edge_to_reader_mm() + along;
        let done = optics::way_done(machine, card, -machine.rollers_to_edge_mm, lead);
        let aged = conditions.lamp * (1.0 - conditions.lamp_ageing);
        let light = Light {
            lamp: aged * (1.0 - conditions.lamp_drift * done),
            ambient: conditions.stray.at(done),
            noise_level: conditions.noise_level,
            dust: conditions.dust.filter(|dust| lead >= dust.from_mm),
        };
        let under = conditions.under.as_ref();
        let under = under.map(|(under, back_mm)| (under, along - back_mm.max(0.0)));
        let cards = core::iter::once((card, along)).chain(under);
        self.optics.levels(machine, &light, cards)
    }

    /// What the feed measures between the edges: whole steps until nothing
    /// covers the edge sensor any more.
    fn length_um(&self, card: &Card, conditions: &Conditions) -> u32 {
        let under = conditions.under.as_ref();
        let end = under.map_or(0.0, |(under, back_mm)| {
            under.length_in_feed_mm() + back_mm.max(0.0)
        });
        let covered = card.length_in_feed_mm().max(end);
        self.plan
            .um((covered / self.machine.step_mm()).ceil() as u32)
    }
}
