//! A stack of old cards whose truth is known, read several times in poor
//! conditions.
//!
//! Enters: how many cards, how much of them is damaged, a seed. Leaves: the deck
//! as it was when it was new, and what was seen of the stack in each pass. Damage
//! stays on the card: chads that hang in their holes, parts that never were cut
//! through, tears and pinholes. A hole of which more
//! than four fifths is closed and a tear the size of a hole cannot be told by light
//! from what was meant, and are left out.

use crate::trust::{Worst, reading};
use cardwright::copy::Sight;
use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::judge::{Judge, Limits};
use cardwright::rig::RigFile;
use cardwright_protocol::Stroke;
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Flaw, Make, Placed};
use cardwright_virtual::reading::{ReadCard, ReaderModel};
use cardwright_virtual::stock::{Card, Hole};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// Lines a row.
const PER_ROW: u8 = 8;

/// A stack of old cards.
pub struct OldDeck {
    /// As it was when it was new.
    pub truth: Deck,
    /// Positions that are damaged.
    pub damaged: usize,
    cards: Vec<Card>,
    judge: Judge,
    model: ReaderModel,
    worst: Worst,
    rng: ChaCha8Rng,
}

impl OldDeck {
    /// So many cards of a 400 head, `damage` of whose positions are damaged.
    ///
    /// # Panics
    /// If the built-in format is not there.
    #[must_use]
    pub fn new(cards: usize, damage: f64, worst: Worst, seed: u64) -> OldDeck {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let format = CardFormat::named("400").expect("built in");
        let rows: Vec<Vec<Row>> = (0..cards).map(|_| figured(&mut rng)).collect();
        let truth = Deck::new("old", format.clone(), None, Cutting::default(), rows);
        let truth = truth.expect("rows of 8");
        let machine = WorldSettings::for_card(8, format.strokes());
        let told = machine.as_told_to_unit(format.strokes());
        let model = ReaderModel::new(machine.clone(), &told, format.strokes());
        let mut maker = CardMaker::new(machine, format.first_stroke_mm());
        let mut old = OldDeck {
            damaged: 0,
            cards: Vec::new(),
            judge: Judge::new(&RigFile::geometry(&format), &Limits::default(), PER_ROW),
            model: model.expect("the model's own settings"),
            worst,
            rng,
            truth,
        };
        for (number, _) in old.truth.clone().cards() {
            let strokes = old.truth.strokes(number).unwrap_or_default();
            let make = Make {
                cut_offset_mm: old.rng.random_range(-0.2..0.2),
                paper: old.rng.random_range(0.05..0.07),
                flaws: old.chads(&strokes, damage),
                ..Make::default()
            };
            let made = maker.make(&strokes, &make);
            old.damaged += made.wrong.len();
            let torn = old.tears(made.card, &strokes, damage);
            old.cards.push(torn);
        }
        old
    }

    /// Chads and uncut parts in a share of the holes that the needles meet.
    fn chads(&mut self, strokes: &[Stroke], damage: f64) -> Vec<Placed> {
        let mut flaws = Vec::new();
        for (what, stroke) in strokes.iter().zip(0u16..) {
            if !is_row(what) {
                continue;
            }
            for hole in what.punches().holes() {
                if !self.rng.random_bool(damage) {
                    continue;
                }
                let share = self.rng.random_range(0.3..0.8);
                let flaw = if self.rng.random_bool(0.5) {
                    let direction = self.rng.random_range(0.0..TAU);
                    Flaw::Chad { share, direction }
                } else {
                    let leading = self.rng.random_bool(0.5);
                    Flaw::HalfCut { share, leading }
                };
                flaws.push(Placed { stroke, hole, flaw });
            }
        }
        flaws
    }

    /// Tears and pinholes in a share of the places that should be solid.
    fn tears(&mut self, mut card: Card, strokes: &[Stroke], damage: f64) -> Card {
        let format = self.truth.format().clone();
        for (what, stroke) in strokes.iter().zip(0u16..) {
            if !is_row(what) {
                continue;
            }
            for hole in 1..=8 {
                if what.punches().has(hole) || !self.rng.random_bool(damage) {
                    continue;
                }
                let r_mm = self.rng.random_range(0.4..1.4);
                card.add(Hole {
                    x_mm: format.position_mm(stroke) + self.rng.random_range(-0.8..0.8),
                    y_mm: format.hole_across_mm(hole) + self.rng.random_range(-0.8..0.8),
                    r_mm,
                    flap: None,
                    stroke: None,
                });
                self.damaged += 1;
            }
        }
        card
    }

    /// What is seen of the stack when it is read once more.
    pub fn pass(&mut self) -> Vec<Option<Sight>> {
        (0..self.cards.len()).map(|card| self.look(card)).collect()
    }

    /// What is seen of one card.
    ///
    /// # Panics
    /// If there is no such card.
    pub fn look(&mut self, card: usize) -> Option<Sight> {
        let mut lay = self.cards[card].clone();
        lay.stretch = 1.0 + self.rng.random_range(-1.0..1.0) * self.worst.stretch;
        lay.skew = self.rng.random_range(-1.0..1.0) * self.worst.skew;
        let conditions = self.worst.conditions(&mut self.rng);
        let mut read = ReadCard::default();
        self.model.seed(self.rng.random());
        self.model.read_into(&lay, &conditions, &mut read);
        let format = self.truth.format();
        let blank = format.programme(&vec![Row(0); usize::from(format.rows())]);
        let look = self.judge.look(&blank, &reading(&read)).ok()?;
        Sight::of(&look, format)
    }
}

fn is_row(stroke: &Stroke) -> bool {
    matches!(stroke, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_))
}

/// A card of a figured deck: runs of holes and of solid card.
fn figured(rng: &mut impl Rng) -> Vec<Row> {
    let density: f64 = [0.15, 0.3, 0.5, 0.7][rng.random_range(0..4)];
    let row = |_| {
        Row::from_holes(
            (1..=8u8)
                .filter(|_| rng.random_bool(density))
                .collect::<Vec<_>>(),
        )
    };
    (0..51).map(row).collect()
}
