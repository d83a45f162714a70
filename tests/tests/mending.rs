//! If this fails, a card that was worth mending is thrown away, or one is spoiled
//! by a hole cut beside its place.
//!
//! The truth is the model's: where the hole lies that the punch cuts into a card
//! that has swollen since.

use cardwright::judge::{Fit, Geometry, Judge, Limits, NoMending, Verdict, mending};
use cardwright_tests::trust::{random_card, reading};
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Flaw, Lay, Make, Placed};
use cardwright_virtual::reading::{Conditions, ReadCard, ReaderModel};
use cardwright_virtual::stock::{Card, Hole};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SEED: u64 = 61;
const STROKES: u16 = 56;

struct Bench {
    maker: CardMaker,
    model: ReaderModel,
    judge: Judge,
    geometry: Geometry,
    limits: Limits,
}

impl Bench {
    fn new() -> Bench {
        let machine = WorldSettings::for_card(8, STROKES);
        let told = machine.as_told_to_unit(STROKES);
        let (geometry, limits) = (Geometry::card_400(), Limits::default());
        Bench {
            model: ReaderModel::new(machine.clone(), &told, STROKES).expect("sound"),
            maker: CardMaker::new(machine, geometry.first_stroke_mm),
            judge: Judge::new(&geometry, &limits, 8),
            geometry,
            limits,
        }
    }

    fn judged(
        &mut self,
        card: &Card,
        strokes: &[cardwright_protocol::Stroke],
        seed: u64,
    ) -> cardwright::judge::Report {
        let mut read = ReadCard::default();
        self.model.seed(seed);
        self.model
            .read_into(card, &Conditions::default(), &mut read);
        self.judge
            .judge(strokes, &reading(&read), Fit::OffsetAndStretch)
    }

    /// The punch comes down at its place in the machine, wherever the card's own
    /// holes have gone.
    fn punch(&self, card: &mut Card, stroke: u16, hole: u8) {
        let along = self.geometry.first_stroke_mm + f64::from(stroke) * self.geometry.row_pitch_mm;
        let (x_mm, y_mm) = card.from_machine(along, self.geometry.across_mm(hole));
        card.add(Hole {
            x_mm,
            y_mm,
            r_mm: self.geometry.hole_diameter_mm / 2.0,
            flap: None,
            stroke: None,
        });
    }
}

#[test]
fn a_card_is_mended_only_where_the_new_hole_lines_up() {
    let mut bench = Bench::new();
    let (mut mended, mut refused) = (0, 0);
    for number in 0..400 {
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        rng.set_stream(number);
        let strokes = random_card(&mut rng);
        let place = loop {
            let (stroke, hole) = (rng.random_range(0..STROKES), rng.random_range(1..=8u8));
            if strokes[usize::from(stroke)].punches().has(hole) {
                break (stroke, hole);
            }
        };
        let (stroke, hole) = place;
        let lay = Lay {
            stretch: 1.0 + rng.random_range(-0.0025..0.0025),
            skew: rng.random_range(-0.0004..0.0004),
        };
        let made = bench.maker.make(
            &strokes,
            &Make {
                read: lay,
                flaws: vec![Placed {
                    stroke,
                    hole,
                    flaw: Flaw::Missing,
                }],
                ..Make::default()
            },
        );
        let report = bench.judged(&made.card, &strokes, number);
        if matches!(report.verdict, Verdict::Unread(_)) {
            continue;
        }
        let along =
            bench.geometry.first_stroke_mm + f64::from(stroke) * bench.geometry.row_pitch_mm;
        let off_mm = (lay.stretch - 1.0) * along - lay.skew * bench.geometry.across_mm(hole);
        let found = mending(&strokes, &bench.geometry, &bench.limits, &report);
        match found {
            Ok(strokes_to_cut) => {
                mended += 1;
                let cut = strokes_to_cut.iter().enumerate();
                let cut: Vec<_> = cut.filter(|(_, what)| what.punches().count() > 0).collect();
                assert_eq!(cut.len(), 1, "card {number}");
                assert_eq!(cut[0].0, usize::from(stroke), "card {number}");
                let mut card = made.card;
                bench.punch(&mut card, stroke, hole);
                let after = bench.judged(&card, &strokes, 1_000 + number);
                assert!(
                    after.verdict.is_good(),
                    "card {number}: {off_mm} mm: {}",
                    after.summary
                );
            }
            Err(NoMending::Register { .. }) => {
                refused += 1;
                // it is refused for what is so: the card lies otherwise, or turned
                let across =
                    (lay.stretch - 1.0) * bench.geometry.across_mm(hole) + lay.skew * along;
                assert!(
                    off_mm.abs().max(across.abs()) > 0.1,
                    "card {number}: {off_mm} {across}"
                );
            }
            Err(other) => panic!("card {number}: {other}"),
        }
    }
    println!("{mended} mended, {refused} refused");
    assert!(
        mended > 50 && refused > 50,
        "{mended} mended, {refused} refused"
    );
}
