//! Risk: a wrong hole goes unnoticed, or is named at the wrong place.

#[path = "judge_synthetic/mod.rs"]
mod synthetic;

use cardwright::judge::{FaultKind, Fit, Report, Verdict};
use cardwright_protocol::{Row, Stroke};
use synthetic::{Chance, Made, Mark, PITCH, Shape, Tables, card_400, judged, random_card};

fn named(report: &Report) -> Vec<(usize, u8, FaultKind)> {
    let faults = report.verdict.faults().iter();
    faults
        .map(|fault| (usize::from(fault.stroke), fault.hole, fault.kind))
        .collect()
}

fn faulty(report: &Report) -> Vec<(usize, u8, FaultKind)> {
    assert!(
        matches!(report.verdict, Verdict::Faulty(_)),
        "{}",
        report.summary
    );
    named(report)
}

#[test]
fn every_single_missing_hole_is_named() {
    let (mut tables, mut chance) = (Tables::default(), Chance(1));
    let strokes = random_card(&mut chance);
    let whole = Made::new(&strokes);
    for left_out in 0..whole.marks.len() {
        let mut card = whole.clone();
        let mark = card.marks.remove(left_out);
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        assert_eq!(
            faulty(&report),
            [(mark.stroke, mark.hole, FaultKind::Missing)],
            "{mark:?}"
        );
        let fault = report.verdict.faults()[0];
        assert!(fault.open_permille < 60, "{fault:?}");
        let row = match mark.stroke {
            _ if mark.hole == 0 => None,
            stroke @ 2..=27 => Some(stroke as u16 - 1),
            stroke @ 29..=53 => Some(stroke as u16 - 2),
            _ => None,
        };
        assert_eq!(fault.row, row);
        assert_eq!(report.verdict.word(), "missing");
    }
}

#[test]
fn every_single_extra_hole_is_named() {
    let (mut tables, mut chance) = (Tables::default(), Chance(2));
    let strokes = random_card(&mut chance);
    let whole = Made::new(&strokes);
    for (stroke, what) in strokes.iter().enumerate() {
        for hole in (1..=8).filter(|hole| !what.punches().has(*hole)) {
            // Within a peg hole an extra hole changes nothing at all.
            if matches!((stroke, hole), (1 | 54, 4 | 5)) {
                continue;
            }
            let mut card = whole.clone();
            card.marks.push(Mark {
                stroke,
                hole,
                moved: 0.0,
                shape: Shape::NEEDLE,
            });
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            assert_eq!(faulty(&report), [(stroke, hole, FaultKind::Extra)]);
            assert_eq!(report.verdict.word(), "extra");
        }
    }
}

#[test]
fn a_hanging_chad_is_named_and_its_open_share_told() {
    let (mut tried, mut untold) = (0, 0);
    let (mut tables, mut chance) = (Tables::default(), Chance(3));
    let strokes = random_card(&mut chance);
    let whole = Made::new(&strokes);
    for edge in [-1.8, -1.2, -0.6, 0.0, 0.4, 0.8] {
        let shapes = [
            Shape::Covered { radius: 2.2, edge },
            Shape::CoveredAcross { radius: 2.2, edge },
        ];
        for shape in shapes {
            let left = shape.left();
            for number in (0..whole.marks.len()).filter(|n| whole.marks[*n].hole > 0) {
                let mut card = whole.clone();
                card.marks[number].shape = shape;
                let Mark { stroke, hole, .. } = card.marks[number];
                let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
                let open = report
                    .cells
                    .iter()
                    .find(|cell| usize::from(cell.stroke) == stroke && cell.hole == hole)
                    .map(|cell| f64::from(cell.open_permille) / 1000.0);
                let open = open.expect("every position is measured");
                assert!(
                    (open - left).abs() < 0.2,
                    "{shape:?}: {left} left, {open} told"
                );
                // on a channel's last holes little tells it from dust
                tried += 1;
                if left < 0.8 && matches!(report.verdict, Verdict::Unread(_)) {
                    untold += 1;
                    continue;
                }
                if left < 0.8 {
                    let kind = faulty(&report);
                    let told =
                        [FaultKind::Missing, FaultKind::Partial].map(|kind| [(stroke, hole, kind)]);
                    assert!(told.iter().any(|told| kind == told), "{shape:?}: {kind:?}");
                }
            }
        }
    }
    assert!(untold * 5 < tried, "{untold} of {tried} not told");
}

#[test]
fn a_small_tear_or_pinhole_in_solid_card_is_extra() {
    let (mut tables, mut chance) = (Tables::default(), Chance(4));
    let strokes = random_card(&mut chance);
    let blank = (0..8u8)
        .map(|hole| hole + 1)
        .find(|hole| !strokes[10].punches().has(*hole));
    let hole = blank.expect("a hole to add");
    for (radius, extra) in [(0.3, false), (0.7, true), (1.0, true), (1.5, true)] {
        let mut card = Made::new(&strokes);
        card.marks.push(Mark {
            stroke: 10,
            hole,
            moved: 0.3,
            shape: Shape::Whole { radius },
        });
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        let want: &[_] = if extra {
            &[(10, hole, FaultKind::Extra)]
        } else {
            &[]
        };
        assert_eq!(named(&report), want, "{radius} {}", report.summary);
    }
}

#[test]
fn a_hole_between_two_rows_is_extra() {
    let (mut tables, mut chance) = (Tables::default(), Chance(5));
    let strokes = card_400(|row| {
        Row(if row % 2 == 0 {
            0b0101_0101
        } else {
            0b0011_0011
        })
    });
    for stroke in 2..50 {
        for hole in 1..=8 {
            let mut card = Made::new(&strokes);
            let shape = Shape::NEEDLE;
            card.marks.push(Mark {
                stroke,
                hole,
                moved: PITCH / 2.0,
                shape,
            });
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            assert!(!report.verdict.is_good());
            let near = |(at, which, _): &(usize, u8, FaultKind)| {
                (*at == stroke || *at == stroke + 1) && *which == hole
            };
            let found = named(&report);
            // on the last hole of a channel nothing tells it from dust
            assert!(
                (!found.is_empty() || stroke > 40) && found.iter().all(near),
                "{stroke} {hole} {found:?}"
            );
        }
    }
}

#[test]
fn every_displaced_row_is_named() {
    let (mut tables, mut chance) = (Tables::default(), Chance(6));
    let strokes = card_400(|_| {
        loop {
            let row = Row((chance.next() & 0xff) as u16);
            if row.count() > 0 {
                break row;
            }
        }
    });
    let mut chance = Chance(7);
    // a peg hole, or a row beside one, runs into the other when it is far out
    let beside_peg = |stroke: &usize| (0..=2).contains(stroke) || (53..=55).contains(stroke);
    let cut = |stroke: &usize| strokes[*stroke].punches().count() > 0;
    for stroke in (0..strokes.len()).filter(|stroke| cut(stroke) && !beside_peg(stroke)) {
        for mm in [-2.0, -1.5, -1.0, -0.8, 0.8, 1.0, 1.5, 2.0] {
            let mut card = Made::new(&strokes);
            card.move_stroke(stroke, mm);
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            let Verdict::OutOfRegister(out) = &report.verdict else {
                panic!("stroke {stroke} by {mm}: {}", report.summary)
            };
            assert_eq!(out.strokes, [stroke as u16], "{mm}: {}", report.summary);
            assert!(
                (f64::from(out.worst_um) / 1000.0 - mm).abs() < 0.12,
                "{mm} {}",
                out.worst_um
            );
            assert!(
                out.faults.is_empty(),
                "{stroke} by {mm}: {}",
                report.summary
            );
            assert_eq!(out.length_off_um, None);
        }
        for mm in [-0.55, 0.55] {
            let mut card = Made::new(&strokes);
            card.move_stroke(stroke, mm);
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            assert!(
                report.verdict.is_good(),
                "stroke {stroke} by {mm}: {}",
                report.summary
            );
        }
    }
}

#[test]
fn a_far_displaced_row_is_never_good() {
    let (mut tables, mut chance) = (Tables::default(), Chance(8));
    for round in 0..400 {
        let strokes = random_card(&mut chance);
        let mut card = Made::new(&strokes);
        let stroke = chance.below(56);
        let mm = (1.0 + chance.unit() * 5.8) * if round % 2 == 0 { 1.0 } else { -1.0 };
        card.move_stroke(stroke, mm);
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        let holes = strokes[stroke].punches().count() > 0 || strokes[stroke].peg();
        assert_eq!(
            report.verdict.is_good(),
            !holes,
            "{stroke} {mm} {}",
            report.summary
        );
    }
}

/// The feed slips between two strokes: rows between punch and reader are then
/// read displaced, and the card measures longer.
fn slipped(strokes: &[Stroke], after: usize, mm: f64) -> Made {
    let mut card = Made::new(strokes);
    for stroke in after.saturating_sub(5)..=after {
        card.move_stroke(stroke, mm);
    }
    card.length_mm += mm;
    card
}

#[test]
fn a_slip_anywhere_is_out_of_register() {
    let (mut tables, mut chance) = (Tables::default(), Chance(9));
    for after in 0..55 {
        let strokes = random_card(&mut chance);
        for mm in [0.95, 1.5, 2.5, PITCH / 2.0, PITCH, -PITCH] {
            let card = slipped(&strokes, after, mm);
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            let Verdict::OutOfRegister(out) = &report.verdict else {
                panic!("after {after} by {mm}: {}", report.summary)
            };
            assert!(out.length_off_um.is_some());
            if mm.abs() < 2.0 {
                let rows = after.saturating_sub(5)..=after;
                let cut = |s: &u16| {
                    let what = strokes[usize::from(*s)];
                    what.punches().count() > 0 || what.peg()
                };
                let want: Vec<u16> = rows.map(|stroke| stroke as u16).filter(cut).collect();
                assert_eq!(
                    out.strokes, want,
                    "after {after} by {mm}: {}",
                    report.summary
                );
            }
            // With the length unknown the rows alone must give it away.
            let mut card = card;
            card.length_mm = 0.0;
            let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            assert!(
                !report.verdict.is_good(),
                "after {after} by {mm}, length unknown"
            );
        }
    }
}

#[test]
fn a_slip_in_a_blank_region_shows_by_length_or_leaves_the_card_unread() {
    let (mut tables, mut chance) = (Tables::default(), Chance(10));
    let strokes = card_400(|row| {
        if (10..20).contains(&row) {
            Row::BLANK
        } else {
            Row(0x5a)
        }
    });
    let mut card = slipped(&strokes, 17, 1.2);
    let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
    assert_eq!(report.verdict.word(), "out of register");
    card.length_mm = 0.0;
    let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
    assert_eq!(report.verdict.word(), "unread", "{}", report.summary);
    let card = Made::new(&strokes);
    let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
    assert!(report.verdict.is_good(), "{}", report.summary);
}

#[test]
fn another_card_and_a_blank_card_are_faulty() {
    let (mut tables, mut chance) = (Tables::default(), Chance(11));
    let mut lost = 0;
    for _ in 0..200 {
        let (wanted, got) = (random_card(&mut chance), random_card(&mut chance));
        let reading = Made::new(&got).read(&mut tables, &mut chance);
        let report = judged(&wanted, &reading, Fit::None);
        lost += usize::from(!matches!(report.verdict, Verdict::Faulty(_)));
        let wrong: u32 = wanted
            .iter()
            .zip(&got)
            .map(|(a, b)| (a.punches().0 ^ b.punches().0).count_ones())
            .sum();
        assert_eq!(
            report.verdict.faults().len(),
            wrong as usize,
            "{}",
            report.summary
        );
    }
    assert_eq!(lost, 0);
    let strokes = random_card(&mut chance);
    let mut blank = Made::new(&strokes);
    let holes = blank.marks.len();
    blank.marks.clear();
    let report = judged(&strokes, &blank.read(&mut tables, &mut chance), Fit::None);
    let found = faulty(&report);
    assert_eq!(found.len(), holes);
    assert!(found.iter().all(|(_, _, kind)| *kind == FaultKind::Missing));
}

#[test]
fn a_single_changed_hole_between_two_cards_is_seen() {
    let (mut tables, mut chance) = (Tables::default(), Chance(12));
    for _ in 0..300 {
        let wanted = random_card(&mut chance);
        let mut got = wanted.clone();
        let stroke = 2 + chance.below(26);
        let hole = 1 + chance.below(8) as u8;
        got[stroke] = Stroke::Needles(Row(got[stroke].punches().0 ^ 1 << (hole - 1)));
        let reading = Made::new(&got).read(&mut tables, &mut chance);
        let kind = if wanted[stroke].punches().has(hole) {
            FaultKind::Missing
        } else {
            FaultKind::Extra
        };
        assert_eq!(
            faulty(&judged(&wanted, &reading, Fit::None)),
            [(stroke, hole, kind)]
        );
    }
}

#[test]
fn a_card_cut_earlier_may_be_shifted_and_stretched_but_not_torn_apart() {
    let (mut tables, mut chance) = (Tables::default(), Chance(13));
    let strokes = random_card(&mut chance);
    for (shift, stretch) in [(0.0, 0.003), (1.2, 0.003), (-1.2, -0.003), (0.8, 0.0)] {
        let mut card = Made::new(&strokes);
        card.length_mm *= 1.0 + stretch;
        for mark in &mut card.marks {
            let rows = mark.stroke as f64 + f64::from(u8::from(mark.hole == 0));
            mark.moved = shift + stretch * rows * PITCH;
        }
        let report = judged(
            &strokes,
            &card.read(&mut tables, &mut chance),
            Fit::OffsetAndStretch,
        );
        assert!(
            report.verdict.is_good(),
            "{shift} {stretch} {}",
            report.summary
        );
        assert!((f64::from(report.stretch_ppm) / 1e6 - stretch).abs() < 2e-4);
        assert!((f64::from(report.offset_um) / 1e3 - shift).abs() < 0.05);
        for stroke in (0..56).filter(|stroke| strokes[*stroke].punches().count() > 0) {
            for mm in [-1.0, 1.0] {
                let mut bad = card.clone();
                bad.move_stroke(stroke, mm);
                let reading = bad.read(&mut tables, &mut chance);
                let report = judged(&strokes, &reading, Fit::OffsetAndStretch);
                let Verdict::OutOfRegister(out) = &report.verdict else {
                    panic!("{shift} {stretch} {stroke} {mm}: {}", report.summary)
                };
                assert_eq!(
                    out.strokes,
                    [stroke as u16],
                    "{shift} {stretch} {mm} {}",
                    report.summary
                );
            }
        }
    }
}
