//! If this fails, a rig is calibrated by cards or a reader that are not what they
//! should be, and everything that is held against it later is wrong.
//!
//! What cards and reader are like is known from the model that made them.

use cardwright::calibrate::{Calibration, Cards, Refusal};
use cardwright::deck::CardFormat;
use cardwright::judge::{Reading, UnreadReason};
use cardwright::rig::RigFile;
use cardwright_protocol::Stroke;
use cardwright_tests::trust::reading;
use cardwright_virtual::WorldSettings;
use cardwright_virtual::card_maker::{CardMaker, Flaw, Lay, Make, PEG, Placed, Punch};
use cardwright_virtual::reading::{Conditions, ReaderModel, Stray};
use cardwright_virtual::stock::Card;

/// A rig that makes and reads the two cards.
struct Rig {
    cards: Cards,
    maker: CardMaker,
    model: ReaderModel,
    blank: Make,
    full: Make,
    conditions: Conditions,
}

/// What makes a reader poor.
type Change = fn(&mut Conditions);

const QUIET: Conditions = Conditions {
    noise_level: 0.7,
    lamp: 1.0,
    lamp_ageing: 0.0,
    lamp_drift: 0.0,
    dust: None,
    stray: Stray {
        at_levels: 0.0,
        to: 0.0,
        rounds: 0.0,
    },
    feed_lag_mm: 0.0,
    feed_walk_mm: 0.005,
    under: None,
};

impl Rig {
    fn new(cut: bool) -> Rig {
        Rig::with(cut, |_| {})
    }

    fn with(cut: bool, change: impl Fn(&mut WorldSettings)) -> Rig {
        let format = CardFormat::named("400").expect("a built-in format");
        let mut machine = WorldSettings::for_card(8, format.strokes());
        change(&mut machine);
        let told = machine.as_told_to_unit(format.strokes());
        let (geometry, first_mm) = (RigFile::geometry(&format), format.first_stroke_mm());
        let model = ReaderModel::new(machine.clone(), &told, format.strokes());
        Rig {
            cards: Cards::new(
                format,
                geometry,
                cardwright::judge::Limits::default(),
                told.samples_per_row,
                cut,
            ),
            maker: CardMaker::new(machine, first_mm),
            model: model.unwrap_or_else(|setting| panic!("{setting:?}")),
            blank: Make::default(),
            full: Make::default(),
            conditions: QUIET,
        }
    }

    fn card(&mut self, strokes: &[Stroke], full: bool) -> Card {
        let make = if full { &self.full } else { &self.blank };
        self.maker.make(strokes, make).card
    }

    fn read(&mut self, full: bool) -> Reading {
        let strokes = if full {
            self.cards.full_strokes()
        } else {
            self.cards.blank_strokes()
        };
        let card = self.card(&strokes, full);
        reading(&self.model.read(&card, &self.conditions))
    }

    fn calibrate(&mut self) -> Result<Calibration, Refusal> {
        let (blank, full) = (self.read(false), self.read(true));
        self.cards.calibrate(&blank, &full)
    }

    fn refused(&mut self) -> Refusal {
        self.calibrate().expect_err("it is refused")
    }
}

fn placed(flaw: Flaw) -> Vec<Placed> {
    vec![Placed {
        stroke: 20,
        hole: 5,
        flaw,
    }]
}

#[test]
fn reader_and_punches_are_found_as_the_model_has_them() {
    let mut rig = Rig::new(true);
    let (narrow, behind) = (
        Punch {
            narrower_mm: 0.08,
            ..Punch::default()
        },
        Punch {
            along_mm: 0.06,
            ..Punch::default()
        },
    );
    rig.maker.set_punch(3, narrow);
    rig.maker.set_punch(6, behind);
    rig.maker.set_punch(PEG, narrow);
    let found = rig.calibrate().expect("sound cards");
    let machine = rig.model.machine();
    let span = machine.open_level - machine.dark_level;
    let lamp = span - machine.stray_level;
    let through = (machine.stray_level + rig.blank.paper * lamp) / span;
    assert_eq!(found.channels.len(), 8);
    for channel in &found.channels {
        // rounding to whole levels adds a twelfth of a level to the square
        let noise = f64::from(channel.noise_millilevels) / 1000.0;
        assert!((noise / 0.76 - 1.0).abs() < 0.15, "{channel:?}");
        // of whole levels dark and open one is 5 thousandths
        let off = f64::from(channel.card_permille) - 1000.0 * through;
        assert!(off.abs() < 6.0, "{channel:?} {through}");
        assert!((980..1020).contains(&channel.hole_permille), "{channel:?}");
    }
    for seen in &found.punches {
        let (wide, along) = match seen.hole {
            0 => (9_920, 0),
            3 => (4_320, 0),
            6 => (4_400, 60),
            _ => (4_400, 0),
        };
        let near = if seen.hole == 0 { 40 } else { 15 };
        assert!((seen.diameter_um - wide).abs() < near, "{seen:?}");
        assert!((seen.along_um - along).abs() < near, "{seen:?}");
    }
    assert!(found.length_off_ppm.abs() < 500, "{found:?}");
}

/// A card that was cut elsewhere, has swollen, and lies askew.
#[test]
fn how_a_card_that_was_laid_in_lies_is_told() {
    let mut rig = Rig::new(false);
    rig.full.read = Lay {
        stretch: 1.001,
        skew: 0.0005,
    };
    rig.full.cut_offset_mm = 0.25;
    let found = rig.calibrate().expect("sound cards");
    assert!((found.stretch_ppm - 1000).abs() < 60, "{found:?}");
    assert!((found.skew_urad.abs() - 500).abs() < 60, "{found:?}");
    assert!((found.offset_um - 250).abs() < 60, "{found:?}");
}

#[test]
fn cards_that_are_not_those_two_are_refused() {
    let mut rig = Rig::new(true);
    let (blank, full) = (rig.read(false), rig.read(true));
    assert_eq!(rig.cards.calibrate(&full, &blank), Err(Refusal::FullFirst));
    assert_eq!(
        rig.cards.calibrate(&blank, &blank),
        Err(Refusal::BlankSecond)
    );
    assert_eq!(rig.cards.calibrate(&full, &full), Err(Refusal::FullFirst));

    let mut rig = Rig::new(true);
    rig.blank.flaws = placed(Flaw::Extra);
    assert!(matches!(rig.refused(), Refusal::Holes(places) if places.contains("hole 5")));

    let half = Flaw::HalfCut {
        share: 0.4,
        leading: true,
    };
    for flaw in [Flaw::Missing, half] {
        let mut rig = Rig::new(true);
        rig.full.flaws = placed(flaw);
        assert!(matches!(rig.refused(), Refusal::NotFull(places) if places.contains("hole 5")));
    }

    // two cards together, and stock so thin that it is none
    for paper in [0.06 * 0.06, 0.6] {
        let mut rig = Rig::new(true);
        rig.blank.paper = paper;
        let refused = rig.refused();
        let Refusal::Unread { card, reason } = &refused else {
            panic!("{refused:?}");
        };
        assert_eq!(*card, "blank");
        let named = matches!(
            reason,
            UnreadReason::TwoCards { .. } | UnreadReason::NoCard { .. }
        );
        assert!(named, "{refused:?}");
    }

    for longer_mm in [-2.0, 2.0] {
        let mut rig = Rig::with(true, |machine| machine.stock.length_mm += longer_mm);
        assert!(matches!(
            rig.refused(),
            Refusal::Astray { card: "blank", .. }
        ));
    }
}

#[test]
fn a_poor_reader_is_refused() {
    let changes: [(&str, Change); 4] = [
        ("lamp", |now| now.lamp = 0.25),
        ("lamp", |now| now.lamp = 0.1),
        ("noisy", |now| now.noise_level = 1.6),
        ("shade", |now| {
            (now.lamp, now.stray.at_levels, now.stray.to) = (0.55, 0.35, 0.35);
        }),
    ];
    for (word, change) in changes {
        let mut rig = Rig::new(true);
        change(&mut rig.conditions);
        let refused = rig.refused().to_string();
        assert!(refused.contains(word), "{word}: {refused}");
    }
}

#[test]
fn punches_that_are_far_from_right_are_refused() {
    let narrow = Punch {
        narrower_mm: 0.25,
        ..Punch::default()
    };
    let astray = Punch {
        along_mm: -0.25,
        ..Punch::default()
    };
    for hole in [2, PEG] {
        let in_ledger = if hole == PEG { 0 } else { hole };
        let mut rig = Rig::new(true);
        rig.maker.set_punch(hole, narrow);
        let refused = rig.refused();
        assert!(
            matches!(refused, Refusal::Size { hole, .. } if hole == in_ledger),
            "{refused:?}"
        );
        let mut rig = Rig::new(true);
        rig.maker.set_punch(hole, astray);
        let refused = rig.refused();
        assert!(
            matches!(refused, Refusal::Place { hole, .. } if hole == in_ledger),
            "{refused:?}"
        );
    }
}
