//! Cards cut with known flaws. If one of these fails, a verdict is held against
//! a truth that is not the card's.

mod common;

use cardwright_protocol::Stroke;
use cardwright_protocol::card::Row;
use cardwright_virtual::card_maker::{Flaw, Lay, Made, Make, PEG, Placed, Punch, Rates};
use cardwright_virtual::reading::{Conditions, ReaderModel};
use cardwright_virtual::stock::{Card, Hole};
use cardwright_virtual::{CardMaker, WorldSettings};
use common::card_400;
use std::f64::consts::FRAC_PI_2;

fn strokes() -> Vec<Stroke> {
    card_400(|row| Row((row * 37) & 0xff))
}

fn maker() -> CardMaker {
    CardMaker::new(WorldSettings::default(), 14.2)
}

/// Holes meant to be, without the peg holes.
fn meant(strokes: &[Stroke]) -> usize {
    strokes
        .iter()
        .map(|stroke| stroke.punches().0.count_ones() as usize)
        .sum()
}

fn by_chance(rates: Rates) -> Made {
    let mut maker = maker();
    maker.chances(rates, 3);
    maker.make(&strokes(), &Make::default())
}

/// The holes of punch 1 of a card.
fn holes_of_one(card: &Card) -> Vec<Hole> {
    let across = WorldSettings::default().across_mm(1);
    let all = card.holes.iter().copied();
    all.filter(|hole| (hole.y_mm - across).abs() < 3.0)
        .collect()
}

#[test]
fn sharp_punches_and_no_chance_cut_the_card_as_drawn() {
    let made = maker().make(&strokes(), &Make::default());
    let drawn = Card::cut(&WorldSettings::default(), &strokes(), 14.2);
    assert_eq!((made.card, made.wrong), (drawn, vec![]));
    let made = by_chance(Rates {
        covered: (0.3, 0.6),
        ..Rates::default()
    });
    assert_eq!(made.wrong, []);
}

#[test]
fn at_rate_one_every_hole_has_its_flaw() {
    let all = meant(&strokes());
    let pegs = strokes().iter().filter(|stroke| stroke.peg()).count();
    let rates = Rates {
        covered: (0.3, 0.6),
        ..Rates::default()
    };
    let none = by_chance(Rates {
        missing: 1.0,
        ..rates
    });
    assert_eq!((none.card.holes.len(), none.wrong.len()), (pegs, all));
    let extra = by_chance(Rates {
        extra: 1.0,
        ..rates
    });
    assert_eq!(extra.card.holes.len(), 56 * 8 + pegs);
    assert_eq!(extra.wrong.len(), 56 * 8 - all);
    for rates in [
        Rates { chad: 1.0, ..rates },
        Rates {
            half_cut: 1.0,
            ..rates
        },
    ] {
        let made = by_chance(rates);
        assert_eq!((made.card.holes.len(), made.wrong.len()), (all + pegs, all));
        for hole in made.card.holes.iter().filter(|hole| hole.r_mm < 3.0) {
            assert!((0.4 - 1e-9..=0.7 + 1e-9).contains(&hole.open()), "{hole:?}");
        }
    }
}

#[test]
fn flaws_are_as_frequent_as_their_rates() {
    let rate = 0.01;
    let mut maker = maker();
    let rates = Rates {
        missing: rate,
        extra: rate,
        chad: rate,
        half_cut: rate,
        covered: (0.3, 0.6),
    };
    maker.chances(rates, 11);
    let mut found = [0usize; 4];
    let cards = 400;
    for _ in 0..cards {
        for placed in maker.make(&strokes(), &Make::default()).wrong {
            let kind = match placed.flaw {
                Flaw::Missing => 0,
                Flaw::Extra => 1,
                Flaw::Chad { .. } => 2,
                Flaw::HalfCut { .. } => 3,
                Flaw::Blunt { .. } => panic!("no punch is blunt"),
            };
            found[kind] += 1;
        }
    }
    let all = meant(&strokes());
    // A hole has one flaw only: the first that is hit.
    let left = 1.0 - rate;
    let chances = [rate, rate, rate * left, rate * left * left];
    for (kind, chance) in chances.into_iter().enumerate() {
        let places = if kind == 1 { 56 * 8 - all } else { all } * cards;
        let wanted = places as f64 * chance;
        // Standard deviation of a binomial count.
        let spread = (wanted * (1.0 - chance)).sqrt();
        let off = (found[kind] as f64 - wanted).abs();
        assert!(
            off < 5.0 * spread,
            "{kind}: {} of {wanted}, seed 11",
            found[kind]
        );
    }
}

#[test]
fn a_flaw_in_its_place_is_cut_and_listed_and_one_that_cannot_be_is_neither() {
    let mut strokes = vec![Stroke::Needles(Row(0b1011)); 56];
    strokes[9] = Stroke::NeedlesAndPeg(Row(0b1011));
    let place = |stroke, hole, flaw| Placed { stroke, hole, flaw };
    let possible = [
        place(4, 1, Flaw::Missing),
        place(4, 3, Flaw::Extra),
        place(
            7,
            2,
            Flaw::Chad {
                share: 0.25,
                direction: 1.0,
            },
        ),
        place(
            8,
            4,
            Flaw::HalfCut {
                share: 0.5,
                leading: true,
            },
        ),
        place(9, PEG, Flaw::Missing),
    ];
    let impossible = [
        place(5, 3, Flaw::Missing),
        place(5, 1, Flaw::Extra),
        place(
            6,
            PEG,
            Flaw::HalfCut {
                share: 0.5,
                leading: true,
            },
        ),
        place(56, 1, Flaw::Missing),
        place(5, 9, Flaw::Extra),
    ];
    let make = Make {
        flaws: impossible.into_iter().chain(possible).collect(),
        ..Make::default()
    };
    let made = maker().make(&strokes, &make);
    assert_eq!(made.wrong, possible);
    // one more, two fewer than meant
    assert_eq!(made.card.holes.len(), 56 * 3 + 1 + 1 - 2);
    let partly: Vec<f64> = made
        .card
        .holes
        .iter()
        .map(Hole::open)
        .filter(|open| *open < 1.0)
        .collect();
    assert_eq!(partly.len(), 2);
    assert!((partly[0] - 0.75).abs() < 1e-9 && (partly[1] - 0.5).abs() < 1e-9);
}

#[test]
fn a_card_that_lies_as_it_was_cut_has_its_holes_where_the_machine_has_them() {
    for (stretch, skew) in [(1.007, 0.0), (0.993, 0.0), (1.0, 0.004), (1.004, -0.003)] {
        let lay = Lay { stretch, skew };
        let make = Make {
            cut: lay,
            read: lay,
            ..Make::default()
        };
        let card = maker().make(&strokes(), &make).card;
        let drawn = Card::cut(&WorldSettings::default(), &strokes(), 14.2);
        let mut places: Vec<_> = card
            .holes
            .iter()
            .map(|hole| card.to_machine(hole.x_mm, hole.y_mm))
            .collect();
        for hole in drawn.holes {
            let at = places
                .iter()
                .position(|(x, y)| (x - hole.x_mm).hypot(y - hole.y_mm) < 1e-9);
            places.swap_remove(at.expect("a hole in each place"));
        }
        assert_eq!(places, []);
    }
}

#[test]
fn a_card_cut_dry_and_read_damp_is_longer_by_its_stretch() {
    let make = Make {
        read: Lay {
            stretch: 1.007,
            skew: 0.0,
        },
        cut_offset_mm: 0.5,
        ..Make::default()
    };
    let card = maker().make(&strokes(), &make).card;
    let (first, last) = (card.holes[0], card.holes[card.holes.len() - 1]);
    assert!((first.x_mm - 14.7).abs() < 1e-9);
    let apart = card.to_machine(last.x_mm, last.y_mm).0 - card.to_machine(first.x_mm, first.y_mm).0;
    // Thermal and damp stretch alike: length times one plus the strain.
    let pitch = WorldSettings::default().pitch_mm;
    assert!((apart - 55.0 * pitch * 1.007).abs() < 1e-9, "{apart}");
}

#[test]
fn a_punch_that_is_off_or_blunt_shows_in_its_own_holes_only() {
    let sharp = maker().make(&strokes(), &Make::default()).card;
    let mut maker = maker();
    let punch = Punch {
        narrower_mm: 0.6,
        along_mm: 0.3,
        across_mm: -0.2,
        torn: 0.2,
    };
    maker.set_punch(1, punch);
    let made = maker.make(&strokes(), &Make::default());
    let (before, after) = (holes_of_one(&sharp), holes_of_one(&made.card));
    assert_eq!(before.len(), after.len());
    assert!(!before.is_empty());
    for (one, other) in before.iter().zip(&after) {
        assert!((one.r_mm - other.r_mm - 0.3).abs() < 1e-9);
        assert!((other.x_mm - one.x_mm - 0.3).abs() < 1e-9);
        assert!((other.y_mm - one.y_mm + 0.2).abs() < 1e-9);
        assert!((other.open() - 0.8).abs() < 1e-9);
    }
    let blunt = Flaw::Blunt {
        narrower_mm: 0.6,
        torn: 0.2,
    };
    assert!(
        made.wrong
            .iter()
            .all(|placed| placed.hole == 1 && placed.flaw == blunt)
    );
    assert_eq!(made.wrong.len(), before.len());
    let rest = |card: &Card| {
        let own = holes_of_one(card);
        let mut rest = card.holes.clone();
        rest.retain(|hole| !own.contains(hole));
        rest
    };
    assert_eq!(rest(&sharp), rest(&made.card));
    maker.set_punch(1, Punch::default());
    maker.set_punch(0, punch);
    maker.set_punch(18, punch);
    assert_eq!(maker.make(&strokes(), &Make::default()).card, sharp);
}

/// The middle, in millimetres from its place, of the light of a single hole
/// with this flaw.
fn light_of(flaw: Flaw) -> f64 {
    let machine = WorldSettings {
        gain_spread: 0.0,
        ..WorldSettings::default()
    };
    let mut strokes = [Stroke::Blank; 56];
    strokes[20] = Stroke::Needles(Row(1));
    let make = Make {
        flaws: vec![Placed {
            stroke: 20,
            hole: 1,
            flaw,
        }],
        ..Make::default()
    };
    let card = maker().make(&strokes, &make).card;
    let mut reader =
        ReaderModel::new(machine.clone(), &machine.as_told_to_unit(56), 56).expect("settings");
    let read = reader.read(&card, &Conditions::default());
    let lines = (21 * 8 - 8)..=(21 * 8 + 8);
    let light = |line: usize| f64::from(read.lines[line * 8]) - f64::from(read.lines[0]);
    let all: f64 = lines.clone().map(light).sum();
    let middle: f64 = lines
        .map(|line| light(line) * (line as f64 - 168.0))
        .sum::<f64>()
        / all;
    middle * machine.pitch_mm / 8.0
}

#[test]
fn half_a_hole_is_seen_where_its_open_half_is() {
    // Each line y across the aperture (radius 1.5) sees the half hole's chord,
    // from 0 to c = sqrt(2.2^2 - y^2), for as long as it is itself: the middle
    // of all the light is that of c / 2 weighted by aperture and chord
    // (Cavalieri's principle).
    let lines = (0..1000).map(|n| -1.5 + (f64::from(n) + 0.5) * 0.003);
    let (light, moment) = lines.fold((0.0, 0.0), |(light, moment), y: f64| {
        let (aperture, chord) = ((2.25 - y * y).sqrt(), (4.84 - y * y).sqrt());
        let seen = aperture * chord;
        (light + seen, moment + seen * chord / 2.0)
    });
    let off: f64 = moment / light;
    let leading = light_of(Flaw::HalfCut {
        share: 0.5,
        leading: true,
    });
    let trailing = light_of(Flaw::HalfCut {
        share: 0.5,
        leading: false,
    });
    assert!((leading - off).abs() < 0.02, "{leading}, {off}");
    assert!((trailing + off).abs() < 0.02, "{trailing}, {off}");
    let aside = light_of(Flaw::Chad {
        share: 0.5,
        direction: FRAC_PI_2,
    });
    assert!(aside.abs() < 0.02, "{aside}");
}
