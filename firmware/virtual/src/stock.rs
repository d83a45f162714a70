//! Card stock: one card with its paper, its stretch and the holes in it.
//!
//! Enters: where a punch came down, in the machine's millimetres. Leaves: where
//! that is on the card, and back. A card's own millimetres are those of the
//! dry card: x from its leading edge, y from its middle line.

use crate::chance::{Chance, Fault};
use crate::geometry::Flap;
use crate::settings::{StockSettings, WorldSettings};
use cardwright_protocol::Stroke;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;

/// A hole in a card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hole {
    /// Centre from the leading edge, in the dry card's millimetres.
    pub x_mm: f64,
    /// Centre from the middle line.
    pub y_mm: f64,
    /// Radius.
    pub r_mm: f64,
    /// What a hanging chad covers; its direction is the card's own.
    pub flap: Option<Flap>,
    /// Which stroke of the world made it; none if the card came with it.
    pub stroke: Option<u64>,
}

impl Hole {
    /// The share of it that is open.
    #[must_use]
    pub fn open(&self) -> f64 {
        1.0 - self.flap.map_or(0.0, |flap| flap.share(self.r_mm))
    }
}

/// A patch of thicker paper or a stain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// Middle from the leading edge, in the dry card's millimetres.
    pub x_mm: f64,
    /// Middle from the middle line.
    pub y_mm: f64,
    /// Radius.
    pub r_mm: f64,
    /// How much of the paper's light still comes through.
    pub factor: f64,
}

/// One card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Which piece of stock, from 1 in the order they were taken.
    pub serial: u64,
    /// Length when dry.
    pub length_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Present length over dry length.
    pub stretch: f64,
    /// How far it lies turned in the feed, in radians.
    pub skew: f64,
    /// Light through it, share of the open light.
    pub paper: f64,
    /// Patches.
    pub patches: Vec<Patch>,
    /// Holes in order of `x_mm`.
    pub holes: Vec<Hole>,
    /// Whether it was moved while punches were in it.
    pub torn: bool,
}

impl Card {
    /// A flat, dry, clean card with no hole.
    #[must_use]
    pub fn plain(length_mm: f64, width_mm: f64) -> Card {
        Card {
            serial: 0,
            length_mm,
            width_mm,
            stretch: 1.0,
            skew: 0.0,
            paper: 0.06,
            patches: Vec::new(),
            holes: Vec::new(),
            torn: false,
        }
    }

    /// A dry card with these strokes' holes exactly in their places, the first
    /// of them `first_mm` from the leading edge.
    #[must_use]
    pub fn cut(machine: &WorldSettings, strokes: &[Stroke], first_mm: f64) -> Card {
        let mut card = Card::plain(machine.stock.length_mm, machine.stock.width_mm);
        let hole = |x_mm, y_mm, d_mm: f64| Hole {
            x_mm,
            y_mm,
            r_mm: d_mm / 2.0,
            flap: None,
            stroke: None,
        };
        for (at, stroke) in (0u32..).zip(strokes) {
            let x = first_mm + f64::from(at) * machine.pitch_mm;
            for number in stroke.punches().holes() {
                card.add(hole(
                    x,
                    machine.across_mm(number),
                    machine.needle_diameter_mm,
                ));
            }
            if stroke.peg() {
                card.add(hole(x + machine.pitch_mm, 0.0, machine.peg_diameter_mm));
            }
        }
        card
    }

    /// The card after long use: chads and shreds of paper close a part of some
    /// of its holes, one trial a hole.
    #[must_use]
    pub fn worn(mut self, wear: &mut Chance) -> Card {
        for hole in &mut self.holes {
            if wear.hit() {
                let (share, direction) = (wear.amount(0.3, 0.8), wear.amount(0.0, TAU));
                hole.flap = Some(Flap::covering(share, hole.r_mm, direction));
            }
        }
        self
    }

    /// Length as it lies in the feed.
    #[must_use]
    pub fn length_in_feed_mm(&self) -> f64 {
        self.length_mm * self.stretch
    }

    /// The card's own place under a point of the machine that is `along` behind
    /// the leading edge and `across` from the middle.
    #[must_use]
    pub fn from_machine(&self, along: f64, across: f64) -> (f64, f64) {
        let (sin, cos) = self.skew.sin_cos();
        (
            (along * cos + across * sin) / self.stretch,
            across * cos - along * sin,
        )
    }

    /// The other way round.
    #[must_use]
    pub fn to_machine(&self, x: f64, y: f64) -> (f64, f64) {
        self.to_machine_by(self.skew.sin_cos(), x, y)
    }

    /// [`Card::to_machine`] with the skew's sine and cosine at hand, for many
    /// holes at once.
    #[must_use]
    pub(crate) fn to_machine_by(&self, (sin, cos): (f64, f64), x: f64, y: f64) -> (f64, f64) {
        let x = x * self.stretch;
        (x * cos - y * sin, x * sin + y * cos)
    }

    /// Whether this place is on the card.
    #[must_use]
    pub fn covers(&self, x: f64, y: f64) -> bool {
        (0.0..=self.length_mm).contains(&x) && y.abs() <= self.width_mm / 2.0
    }

    /// Adds a hole in its place in the order.
    pub fn add(&mut self, hole: Hole) {
        let at = self.holes.partition_point(|other| other.x_mm <= hole.x_mm);
        self.holes.insert(at, hole);
    }

    /// Light through the paper at this place of the card.
    #[must_use]
    pub fn paper_at(&self, x: f64, y: f64) -> f64 {
        self.patches
            .iter()
            .filter(|patch| {
                let (dx, dy) = (x - patch.x_mm, y - patch.y_mm);
                dx * dx + dy * dy < patch.r_mm * patch.r_mm
            })
            .fold(self.paper, |light, patch| light * patch.factor)
    }
}

/// Where cards come from: those put in by hand first, then blank ones.
#[derive(Clone, Debug)]
pub(crate) struct Stock {
    settings: StockSettings,
    rng: ChaCha8Rng,
    patches: Chance,
    served: u64,
}

impl Stock {
    pub fn new(settings: &StockSettings) -> Stock {
        Stock {
            settings: settings.clone(),
            rng: ChaCha8Rng::seed_from_u64(settings.seed),
            patches: Chance::new(Fault::new(1.0, settings.seed), 100),
            served: 0,
        }
    }

    /// The next blank card.
    pub fn blank(&mut self) -> Card {
        let mut card = Card::plain(self.settings.length_mm, self.settings.width_mm);
        let mut normal = || -> f64 { StandardNormal.sample(&mut self.rng) };
        card.stretch = 1.0 + self.settings.stretch_spread * normal().clamp(-3.0, 3.0);
        card.skew = self.settings.skew_spread * normal().clamp(-3.0, 3.0);
        let spread = self.settings.paper_spread * normal().clamp(-3.0, 3.0);
        card.paper = (self.settings.paper * (1.0 + spread)).clamp(0.0, 1.0);
        for _ in 0..self
            .patches
            .below(u64::from(self.settings.most_patches) + 1)
        {
            card.patches.push(Patch {
                x_mm: self.patches.amount(0.0, card.length_mm),
                y_mm: self
                    .patches
                    .amount(-card.width_mm / 2.0, card.width_mm / 2.0),
                r_mm: self.patches.amount(2.0, 12.0),
                factor: self.patches.amount(0.5, 0.9),
            });
        }
        self.named(card)
    }

    /// The card with the next serial number.
    pub fn named(&mut self, mut card: Card) -> Card {
        self.served += 1;
        card.serial = self.served;
        card.holes
            .reserve(256usize.saturating_sub(card.holes.len()));
        card
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn to_machine_undoes_from_machine() {
        let card = Card {
            stretch: 1.002,
            skew: 0.01,
            ..Card::plain(400.0, 70.0)
        };
        let (x, y) = card.from_machine(200.0, 20.0);
        let (along, across) = card.to_machine(x, y);
        assert!((along - 200.0).abs() < 1e-9 && (across - 20.0).abs() < 1e-9);
    }

    #[test]
    fn holes_stay_in_order_and_patches_dim() {
        let mut card = Card::plain(400.0, 70.0);
        for x_mm in [5.0, 1.0, 3.0] {
            card.add(Hole {
                x_mm,
                y_mm: 0.0,
                r_mm: 2.2,
                flap: None,
                stroke: None,
            });
        }
        assert!(card.holes.is_sorted_by(|a, b| a.x_mm <= b.x_mm));
        card.patches.push(Patch {
            x_mm: 10.0,
            y_mm: 0.0,
            r_mm: 3.0,
            factor: 0.5,
        });
        assert!((card.paper_at(10.0, 1.0) - 0.03).abs() < 1e-12);
        assert!((card.paper_at(14.0, 1.0) - 0.06).abs() < 1e-12);
    }

    #[test]
    fn stock_differs_from_card_to_card_but_not_from_run_to_run() {
        let mut one = Stock::new(&StockSettings::default());
        let mut two = Stock::new(&StockSettings::default());
        let (a, b) = (one.blank(), one.blank());
        assert_ne!((a.stretch, a.skew, a.paper), (b.stretch, b.skew, b.paper));
        assert_eq!(a, two.blank());
    }
}
