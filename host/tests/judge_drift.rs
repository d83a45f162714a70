//! Risk: a lamp that dims over one card makes good cards look faulty, or, worse,
//! allowing for it lets a chad pass.

#[path = "judge_synthetic/mod.rs"]
mod synthetic;

use cardwright::judge::{Fit, Reading, Verdict};
use synthetic::{Chance, Made, Shape, Tables, judged, random_card};

/// Dust takes `loss` of one channel's light from line `from` on.
fn dusty(reading: &Reading, channel: usize, from: usize, loss: f64) -> Reading {
    let mut dusty = reading.clone();
    let dark = f64::from(reading.began.dark[channel]);
    for level in dusty.samples.iter_mut().skip(from * 8 + channel).step_by(8) {
        *level = (dark + (1.0 - loss) * (f64::from(*level) - dark)).round() as u8;
    }
    dusty
}

#[test]
fn a_good_card_under_a_drifting_lamp_is_good() {
    let (mut tables, mut chance) = (Tables::default(), Chance(41));
    for loss in [-0.1, 0.02, 0.1, 0.2, 0.25, 0.3] {
        let (mut alarms, cards) = (0, 200);
        for _ in 0..cards {
            let strokes = random_card(&mut chance);
            let mut card = Made::new(&strokes);
            card.open = card.open.map(|open| open - 5.0);
            card.drift = loss;
            let reading = card.read(&mut tables, &mut chance);
            let report = judged(&strokes, &reading, Fit::None);
            alarms += usize::from(!report.verdict.is_good());
            if !report.verdict.is_good() {
                println!("{}", report.summary);
            }
        }
        println!("drift {loss}: {alarms} false alarms of {cards}");
        assert!(alarms <= cards / 50, "drift {loss}: {alarms} false alarms");
    }
}

#[test]
fn no_chad_of_any_size_passes_under_a_drifting_lamp() {
    let mut all = (0, 0);
    let (mut tables, mut chance) = (Tables::default(), Chance(42));
    for loss in [0.1, 0.2, 0.3] {
        for edge in [-3.0, -1.8, -1.2, -0.6, 0.0, 0.4, 0.8] {
            let forms = [
                Shape::Covered { radius: 2.2, edge },
                Shape::CoveredAcross { radius: 2.2, edge },
            ];
            for shape in forms.into_iter().filter(|shape| shape.left() < 0.7) {
                let strokes = random_card(&mut chance);
                let whole = Made::new(&strokes);
                let needles = (0..whole.marks.len()).filter(|n| whole.marks[*n].hole > 0);
                for number in needles.step_by(5) {
                    let mut card = whole.clone();
                    card.marks[number].shape = shape;
                    let mark = card.marks[number];
                    card.drift = loss;
                    let reading = card.read(&mut tables, &mut chance);
                    let report = judged(&strokes, &reading, Fit::None);
                    let named = report.verdict.faults().iter().any(|fault| {
                        usize::from(fault.stroke) == mark.stroke && fault.hole == mark.hole
                    });
                    // where the paper does not bear the lamp out, nothing is judged
                    let unread = matches!(report.verdict, Verdict::Unread(_));
                    assert!(
                        named || unread,
                        "drift {loss}, {mark:?}: {}",
                        report.summary
                    );
                    all.1 += 1;
                    all.0 += u32::from(named);
                }
            }
        }
    }
    println!("{} of {} named", all.0, all.1);
    assert!(all.0 * 4 > all.1 * 3, "{all:?}");
}

/// Blunt punches leave every hole of some rows, of one channel, or of the whole
/// card partly covered: no lamp dims like that.
#[test]
fn many_chads_together_do_not_pass_for_a_dim_lamp() {
    let (mut tables, mut chance) = (Tables::default(), Chance(43));
    for edge in [0.0, 0.4, 0.8] {
        let shape = Shape::CoveredAcross { radius: 2.2, edge };
        if shape.left() >= 0.7 {
            continue;
        }
        for loss in [0.0, 0.15, 0.3] {
            for round in 0..60 {
                let strokes = random_card(&mut chance);
                let mut card = Made::new(&strokes);
                let (first, channel) = (2 + chance.below(45), 1 + chance.below(8) as u8);
                for mark in card.marks.iter_mut().filter(|mark| mark.hole > 0) {
                    let blunt = match round % 4 {
                        0 => (first..first + 3).contains(&mark.stroke),
                        1 => mark.stroke >= first,
                        2 => mark.hole == channel,
                        _ => true,
                    };
                    if blunt {
                        mark.shape = shape;
                    }
                }
                let blunt = card.marks.iter().any(|mark| mark.shape == shape);
                card.drift = loss;
                let reading = card.read(&mut tables, &mut chance);
                let report = judged(&strokes, &reading, Fit::None);
                assert!(!blunt || !report.verdict.is_good(), "{edge} {loss} {round}");
            }
        }
    }
}

/// Punches that wear from a card's beginning to its end dim the holes much as a
/// lamp would, and are told apart by one rule or another: solid card that stays
/// as bright, channels that disagree, change that is too fast.
#[test]
fn holes_that_shrink_row_by_row_do_not_pass_for_a_dim_lamp() {
    let (mut tables, mut chance) = (Tables::default(), Chance(44));
    for _ in 0..20 {
        let strokes = random_card(&mut chance);
        let mut card = Made::new(&strokes);
        for mark in card.marks.iter_mut().filter(|mark| mark.hole > 0) {
            let edge = 1.6 - 1.3 * (mark.stroke / 4) as f64 / 14.0;
            mark.shape = Shape::CoveredAcross { radius: 2.2, edge };
        }
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        assert!(!report.verdict.is_good());
    }
}

#[test]
fn a_chad_under_dust_is_never_good() {
    let (mut tables, mut chance) = (Tables::default(), Chance(45));
    for loss in [0.05, 0.2, 0.4, 0.6] {
        for edge in [-3.0, -0.6, 0.0, 0.4] {
            let shape = Shape::Covered { radius: 2.2, edge };
            for _ in 0..40 {
                let strokes = random_card(&mut chance);
                let mut card = Made::new(&strokes);
                let number = chance.below(card.marks.len());
                if shape.left() >= 0.7 || card.marks[number].hole == 0 {
                    continue;
                }
                card.marks[number].shape = shape;
                let (channel, from) = (chance.below(8), chance.below(464));
                let reading = card.read(&mut tables, &mut chance);
                let reading = dusty(&reading, channel, from, loss);
                assert!(!judged(&strokes, &reading, Fit::None).verdict.is_good());
                card.drift = 0.3;
                let reading = dusty(&card.read(&mut tables, &mut chance), channel, from, loss);
                assert!(!judged(&strokes, &reading, Fit::None).verdict.is_good());
            }
        }
    }
}
