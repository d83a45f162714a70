//! Cards cut by punches that wear, read and judged as a job would.
//!
//! Enters: what each punch is like at each card, a seed. Leaves: the report on
//! every card. A card depends on the seed and its number alone.

use crate::trust::{FIRST_MM, PER_ROW, STROKES, Worst, random_card, reading};
use cardwright::judge::{Fit, Geometry, Judge, Limits, Report};
use cardwright_protocol::Stroke;
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Make, Punch};
use cardwright_virtual::optics::Dust;
use cardwright_virtual::reading::{Conditions, ReadCard, ReaderModel, Stray};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A rig at work.
pub struct Shop {
    worst: Worst,
    seed: u64,
    maker: CardMaker,
    model: ReaderModel,
    judge: Judge,
    read: ReadCard,
    /// What the lamp has left of its light, if that is not chance.
    lamp: Option<f64>,
}

impl Shop {
    /// A rig whose cards are read under such conditions.
    ///
    /// # Panics
    /// Settings that the unit refuses, which these are not.
    #[must_use]
    pub fn new(worst: Worst, seed: u64) -> Shop {
        let machine = WorldSettings::for_card(8, STROKES);
        let told = machine.as_told_to_unit(STROKES);
        let model = ReaderModel::new(machine.clone(), &told, STROKES);
        Shop {
            worst,
            seed,
            maker: CardMaker::new(machine, FIRST_MM),
            model: model.unwrap_or_else(|setting| panic!("{setting:?}")),
            judge: Judge::new(&Geometry::card_400(), &Limits::default(), PER_ROW),
            read: ReadCard::default(),
            lamp: None,
        }
    }

    /// The same, with a lamp of this strength.
    #[must_use]
    pub fn with_lamp(worst: Worst, seed: u64, lamp: f64) -> Shop {
        Shop {
            lamp: Some(lamp),
            ..Shop::new(worst, seed)
        }
    }

    /// The punch of hole `hole` (from 1) is like this from now on.
    pub fn set_punch(&mut self, hole: u8, punch: Punch) {
        self.maker.set_punch(hole, punch);
    }

    /// Card number `number` with rows by chance.
    pub fn card(&mut self, number: u64) -> Report {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(number);
        let strokes = random_card(&mut rng);
        self.cut(&strokes, &mut rng)
    }

    /// Cut and read in one pass: the card lies as it lay, and the feed's errors
    /// up to the punch are those up to the reader.
    fn cut(&mut self, strokes: &[Stroke], rng: &mut ChaCha8Rng) -> Report {
        let make = Make {
            paper: 0.06 * rng.random_range(0.8..1.2),
            ..Make::default()
        };
        let made = self.maker.make(strokes, &make);
        let conditions = self.conditions(rng);
        self.model.seed(rng.random());
        self.model
            .read_into(&made.card, &conditions, &mut self.read);
        self.judge.judge(strokes, &reading(&self.read), Fit::None)
    }

    fn conditions(&self, rng: &mut ChaCha8Rng) -> Conditions {
        let worst = &self.worst;
        let dust = rng.random_bool(worst.dusty).then(|| Dust {
            channel: rng.random_range(0..8),
            loss: rng.random_range(0.05..0.6),
            from_mm: rng.random_range(-40.0..470.0),
        });
        let drifts = rng.random_bool(worst.drifts);
        let at_levels = rng.random_range(0.0..=1.0) * worst.stray;
        let by_chance = 1.0 - rng.random_range(0.0..=1.0) * worst.ageing;
        Conditions {
            noise_level: worst.noise,
            lamp: self.lamp.unwrap_or(by_chance),
            lamp_drift: if drifts {
                rng.random_range(0.02..0.3)
            } else {
                0.0
            },
            dust,
            stray: Stray {
                at_levels,
                to: at_levels * rng.random_range(0.8..1.2),
                rounds: 0.5,
            },
            feed_walk_mm: worst.walk_mm,
            ..Conditions::default()
        }
    }
}
