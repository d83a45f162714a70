//! Many cards whose truth is known, read in poor conditions and judged: how
//! often the verdict is wrong.
//!
//! Enters: how poor, how many, a seed. Leaves: counts. A card depends on the
//! seed and its number alone, so any one can be made again.

use cardwright::judge::{Fit, Geometry, Judge, Limits, Reading, Report, Verdict};
use cardwright_protocol::unit_to_host::{CardBegan, CardEnded};
use cardwright_protocol::{CardId, Row, Stroke};
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Flaw, Lay, Make, Placed};
use cardwright_virtual::optics::Dust;
use cardwright_virtual::reading::{Conditions, ReadCard, ReaderModel, Stray};
use cardwright_virtual::stock::Patch;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// Strokes of a 400 card.
pub(crate) const STROKES: u16 = 56;

/// Lines a row.
pub(crate) const PER_ROW: u8 = 8;

/// From the leading edge to the first stroke, in millimetres.
pub(crate) const FIRST_MM: f64 = 14.2;

/// Positions of a card that are judged: those within peg holes are not.
pub const POSITIONS: u64 = 56 * 8 - 4 + 2;

/// What a chad or an uncut part covers of a hole at least: what is left clear of one
/// that covers less lets a needle's point of 2 mm pass (common practice, no source).
pub const LEAST_COVERED: f64 = 0.3;

/// How poor conditions are: each card's are drawn evenly from nothing to these.
#[derive(Clone, Copy, Debug)]
pub struct Worst {
    /// Noise of one level, in levels; this one is the same for every card.
    pub noise: f64,
    /// Stretch or shrinking, a share.
    pub stretch: f64,
    /// Skew, in radians.
    pub skew: f64,
    /// Share of its light that the lamp has lost for good.
    pub ageing: f64,
    /// Chance that it loses up to 30 % while a card is read.
    pub drifts: f64,
    /// Chance that dust falls upon a channel.
    pub dusty: f64,
    /// Share of the open light that comes from elsewhere; it changes by a fifth.
    pub stray: f64,
    /// What the feed gains or loses on each row (standard deviation, mm).
    pub walk_mm: f64,
}

impl Worst {
    /// Clean scans: a quiet light bar and a clean machine.
    pub const CLEAN: Worst = Worst {
        noise: 0.7,
        stretch: 0.003,
        skew: 0.0003,
        ageing: 0.0,
        drifts: 0.0,
        dusty: 0.0,
        stray: 0.0,
        walk_mm: 0.0,
    };

    /// The range that the program is made for.
    pub const RANGE: Worst = Worst {
        noise: 0.7,
        stretch: 0.007,
        skew: 0.0007,
        ageing: 0.4,
        drifts: 0.1,
        dusty: 0.1,
        stray: 0.02,
        walk_mm: 0.01,
    };

    /// Conditions by chance, within these.
    pub(crate) fn conditions(&self, rng: &mut ChaCha8Rng) -> Conditions {
        let worst = self;
        let dust = rng.random_bool(worst.dusty).then(|| Dust {
            channel: rng.random_range(0..8),
            loss: rng.random_range(0.05..0.6),
            from_mm: rng.random_range(-40.0..470.0),
        });
        let drifts = rng.random_bool(worst.drifts);
        let at_levels = rng.random_range(0.0..=1.0) * worst.stray;
        Conditions {
            noise_level: worst.noise,
            lamp: 1.0 - rng.random_range(0.0..=1.0) * worst.ageing,
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
            feed_lag_mm: rng.random_range(-0.1..0.1),
            feed_walk_mm: worst.walk_mm,
            ..Conditions::default()
        }
    }
}

/// What came of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Cards without a flaw.
    pub sound: u64,
    /// Of these, called faulty or out of register.
    pub alarms: u64,
    /// Of these, not judged.
    pub sound_unread: u64,
    /// Cards with one.
    pub flawed: u64,
    /// Of these, called good.
    pub missed: u64,
    /// Of these, not judged.
    pub flawed_unread: u64,
}

impl Counts {
    fn add(&mut self, other: &Counts) {
        self.sound += other.sound;
        self.alarms += other.alarms;
        self.sound_unread += other.sound_unread;
        self.flawed += other.flawed;
        self.missed += other.missed;
        self.flawed_unread += other.flawed_unread;
    }

    /// All cards.
    #[must_use]
    pub fn cards(&self) -> u64 {
        self.sound + self.flawed
    }
}

/// A card, and what was read of it.
#[derive(Debug)]
pub struct Trial {
    /// What it should show.
    pub strokes: Vec<Stroke>,
    /// What is wrong with it.
    pub wrong: Vec<Placed>,
    /// What it was read under.
    pub conditions: Conditions,
    /// What was read.
    pub reading: Reading,
}

/// A card and what was said of it.
#[derive(Debug)]
pub struct Case {
    /// What is wrong with it.
    pub wrong: Vec<Placed>,
    /// What was said.
    pub report: Report,
    /// What it was read under.
    pub conditions: Conditions,
}

/// Makes cards, reads and judges them.
pub struct Bench {
    worst: Worst,
    seed: u64,
    maker: CardMaker,
    model: ReaderModel,
    judge: Judge,
    read: ReadCard,
}

impl Bench {
    /// A bench for such conditions.
    ///
    /// # Panics
    /// Settings that the unit refuses, which these are not.
    #[must_use]
    pub fn new(worst: Worst, limits: &Limits, seed: u64) -> Bench {
        let machine = WorldSettings::for_card(8, STROKES);
        let told = machine.as_told_to_unit(STROKES);
        let model = ReaderModel::new(machine.clone(), &told, STROKES);
        Bench {
            worst,
            seed,
            maker: CardMaker::new(machine, FIRST_MM),
            model: model.unwrap_or_else(|setting| panic!("{setting:?}")),
            judge: Judge::new(&Geometry::card_400(), limits, PER_ROW),
            read: ReadCard::default(),
        }
    }

    /// Card number `number`, judged.
    pub fn card(&mut self, number: u64) -> Case {
        let trial = self.trial(number);
        Case {
            report: self.judge(&trial),
            wrong: trial.wrong,
            conditions: trial.conditions,
        }
    }

    /// Card number `number`: every second has one flaw, the others none.
    pub fn trial(&mut self, number: u64) -> Trial {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(number);
        let strokes = random_card(&mut rng);
        let make = self.make(&strokes, number % 2 == 1, &mut rng);
        let made = self.maker.make(&strokes, &make);
        let conditions = self.worst.conditions(&mut rng);
        self.model.seed(rng.random());
        self.model
            .read_into(&made.card, &conditions, &mut self.read);
        Trial {
            reading: reading(&self.read),
            strokes,
            wrong: made.wrong,
            conditions,
        }
    }

    /// What is said of a card that was cut earlier.
    #[must_use]
    pub fn judge(&self, trial: &Trial) -> Report {
        self.judge
            .judge(&trial.strokes, &trial.reading, Fit::OffsetAndStretch)
    }

    fn make(&self, strokes: &[Stroke], flawed: bool, rng: &mut ChaCha8Rng) -> Make {
        let worst = &self.worst;
        let mut even = |most: f64| rng.random_range(-1.0..=1.0) * most;
        let read = Lay {
            stretch: 1.0 + even(worst.stretch),
            skew: even(worst.skew),
        };
        let cut_offset_mm = even(0.3);
        let paper = 0.06 * (1.0 + even(0.2));
        let patch = |rng: &mut ChaCha8Rng| Patch {
            x_mm: rng.random_range(0.0..400.0),
            y_mm: rng.random_range(-35.0..35.0),
            r_mm: rng.random_range(2.0..12.0),
            factor: rng.random_range(0.5..0.9),
        };
        let patches = (0..rng.random_range(0..=3)).map(|_| patch(rng)).collect();
        let flaws = flawed.then(|| flaw(strokes, rng)).into_iter().collect();
        Make {
            read,
            cut_offset_mm,
            paper,
            patches,
            flaws,
            ..Make::default()
        }
    }
}

/// A 400 card (Taylor pp. 122-123) with rows as dense as chance will have it.
#[must_use]
pub fn random_card(rng: &mut ChaCha8Rng) -> Vec<Stroke> {
    let lace = Row::from_holes([2, 7]);
    let density = [0.1, 0.3, 0.5, 0.7, 0.9][rng.random_range(0..5)];
    let mut row = || {
        let holes = (1..=8u8).filter(|_| rng.random_bool(density));
        Row::from_holes(holes.collect::<Vec<_>>())
    };
    let mut strokes = vec![Stroke::LaceAndPeg(lace), Stroke::Blank];
    strokes.extend((1..=26).map(|_| Stroke::Needles(row())));
    strokes.push(Stroke::Lace(lace));
    strokes.extend((27..=50).map(|_| Stroke::Needles(row())));
    strokes.push(Stroke::NeedlesAndPeg(row()));
    strokes.extend([Stroke::Blank, Stroke::Lace(lace)]);
    strokes
}

/// One flaw at a place by chance.
fn flaw(strokes: &[Stroke], rng: &mut ChaCha8Rng) -> Placed {
    loop {
        let stroke = rng.random_range(0..STROKES);
        let hole = rng.random_range(1..=8u8);
        // an extra hole within a peg hole is none
        let within_peg = matches!((stroke, hole), (1 | 54, 4 | 5));
        let cut = strokes[usize::from(stroke)].punches().has(hole);
        let share = rng.random_range(LEAST_COVERED..0.95);
        let flaw = match rng.random_range(0..4) {
            0 if cut => Flaw::Missing,
            1 if !cut && !within_peg => Flaw::Extra,
            2 if cut => Flaw::Chad {
                share,
                direction: rng.random_range(0.0..TAU),
            },
            3 if cut => Flaw::HalfCut {
                share,
                leading: rng.random_bool(0.5),
            },
            _ => continue,
        };
        return Placed { stroke, hole, flaw };
    }
}

/// A reading of a 400 card as the unit would have sent it.
#[must_use]
pub fn reading(read: &ReadCard) -> Reading {
    reading_of(read.clone(), STROKES, 8)
}

/// A reading as the unit would have sent it.
#[must_use]
pub fn reading_of(read: ReadCard, strokes: u16, holes: u8) -> Reading {
    let id = CardId::default();
    Reading {
        began: CardBegan {
            id,
            place: 0,
            dark: read.dark,
            open: read.open,
        },
        ended: CardEnded {
            id,
            place: 0,
            complete: true,
            strokes,
            lines: (read.lines.len() / usize::from(holes)) as u16,
            length_um: read.length_um,
        },
        samples_per_row: PER_ROW,
        holes,
        samples: read.lines,
    }
}

/// Judges so many cards, on all cores, and tells of every wrong verdict.
///
/// # Panics
/// If a core's part panics.
#[must_use]
pub fn judge_many(worst: Worst, limits: &Limits, cards: u64, seed: u64, tell: bool) -> Counts {
    let cores = std::thread::available_parallelism().map_or(1, |cores| cores.get() as u64);
    let part = |core: u64| {
        let mut bench = Bench::new(worst, limits, seed);
        let mut counts = Counts::default();
        for number in (core..cards).step_by(cores as usize) {
            let case = bench.card(number);
            let unread = matches!(case.report.verdict, Verdict::Unread(_));
            let good = case.report.verdict.is_good();
            let wrong = if case.wrong.is_empty() {
                counts.sound += 1;
                counts.sound_unread += u64::from(unread);
                counts.alarms += u64::from(!good && !unread);
                !good && !unread
            } else {
                counts.flawed += 1;
                counts.flawed_unread += u64::from(unread);
                counts.missed += u64::from(good);
                good
            };
            if wrong && tell {
                println!(
                    "seed {seed} card {number}: {:?}: {}; {:?}",
                    case.wrong, case.report.summary, case.conditions
                );
            }
        }
        counts
    };
    std::thread::scope(|scope| {
        let parts: Vec<_> = (0..cores)
            .map(|core| scope.spawn(move || part(core)))
            .collect();
        let mut all = Counts::default();
        for part in parts {
            match part.join() {
                Ok(counts) => all.add(&counts),
                Err(cause) => std::panic::resume_unwind(cause),
            }
        }
        all
    })
}
