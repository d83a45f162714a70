//! Risk: poor light turns a good card into a bad one, or, worse, a bad card
//! into a good one instead of an unread one.

#[path = "judge_synthetic/mod.rs"]
mod synthetic;

use cardwright::judge::{Fit, UnreadReason, Verdict};
use synthetic::{Chance, Made, TWO_CARDS, Tables, judged, random_card};

fn unread(verdict: &Verdict) -> UnreadReason {
    match verdict {
        Verdict::Unread(reason) => *reason,
        other => panic!("{other:?}"),
    }
}

#[test]
fn clean_cards_are_good() {
    let (mut tables, mut chance) = (Tables::default(), Chance(21));
    let mut alarms = 0;
    let cards = 5_000;
    for _ in 0..cards {
        let strokes = random_card(&mut chance);
        let mut card = Made::new(&strokes);
        card.length_mm += 0.2 * chance.normal();
        for mark in &mut card.marks {
            mark.moved = 0.05 * chance.normal();
        }
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        if !report.verdict.is_good() {
            alarms += 1;
            println!("{}", report.summary);
        }
    }
    println!("false alarms: {alarms} of {cards}");
    assert_eq!(alarms, 0);
}

#[test]
fn noise_never_hides_a_fault() {
    let (mut tables, mut chance) = (Tables::default(), Chance(22));
    let cards = 300;
    // Noise in levels, of some 190 between dark and open; whether the card is
    // still judged.
    for (noise, judges) in [
        (0.0, true),
        (1.0, true),
        (1.6, true),
        (2.6, false),
        (4.0, false),
        (16.0, false),
    ] {
        let (mut alarms, mut missed) = (0, 0);
        for round in 0..cards {
            let strokes = random_card(&mut chance);
            let mut card = Made::new(&strokes);
            card.noise = noise;
            let clean = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            alarms += usize::from(!clean.verdict.is_good());
            assert!(judges || !clean.verdict.is_good(), "noise {noise}");
            if round % 2 == 0 {
                let lost = chance.below(card.marks.len());
                card.marks.remove(lost);
            } else {
                let lost = chance.below(56);
                card.move_stroke(lost, 1.2);
                if strokes[lost].punches().count() == 0 {
                    continue;
                }
            }
            let bad = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
            missed += usize::from(bad.verdict.is_good());
        }
        println!("noise {noise}: {alarms} false alarms, {missed} missed, of {cards}");
        assert_eq!(missed, 0, "noise {noise}");
        assert!(
            !judges || alarms == 0,
            "noise {noise}: {alarms} false alarms"
        );
    }
}

#[test]
fn an_old_lamp_stray_light_and_dust_cancel() {
    let (mut tables, mut chance) = (Tables::default(), Chance(23));
    for _ in 0..200 {
        let strokes = random_card(&mut chance);
        let mut card = Made::new(&strokes);
        for (dark, open) in card.dark.iter_mut().zip(&mut card.open) {
            *open = *dark + 0.7 * (*open - *dark);
        }
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        assert!(report.verdict.is_good(), "lamp at 70 %: {}", report.summary);
        let lost = chance.below(card.marks.len());
        let mark = card.marks.remove(lost);
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        let faults = report.verdict.faults();
        assert_eq!(faults.len(), 1, "lamp at 70 %: {}", report.summary);
        assert_eq!(
            (usize::from(faults[0].stroke), faults[0].hole),
            (mark.stroke, mark.hole)
        );

        let mut card = Made::new(&strokes);
        let channel = chance.below(8);
        card.open[channel] = card.dark[channel] + 0.65 * (card.open[channel] - card.dark[channel]);
        for (dark, open) in card.dark.iter_mut().zip(&mut card.open) {
            *dark += 25.0;
            *open += 25.0;
        }
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        assert!(
            report.verdict.is_good(),
            "dust and stray light: {}",
            report.summary
        );
    }
}

#[test]
fn dust_that_falls_while_the_card_is_read_is_not_good() {
    let (mut tables, mut chance) = (Tables::default(), Chance(24));
    let strokes = random_card(&mut chance);
    let mut reading = Made::new(&strokes).read(&mut tables, &mut chance);
    reading.began.open[3] = 250;
    let half = reading.began.dark[3];
    for level in reading.samples.iter_mut().skip(3).step_by(8) {
        *level = half + (level.saturating_sub(half)) / 2;
    }
    assert!(!judged(&strokes, &reading, Fit::None).verdict.is_good());
}

#[test]
fn two_cards_together_are_unread() {
    let (mut tables, mut chance) = (Tables::default(), Chance(25));
    for round in 0..200 {
        let strokes = random_card(&mut chance);
        let mut card = Made::new(&strokes);
        card.solid = TWO_CARDS;
        if round % 2 == 0 {
            for (dark, open) in card.dark.iter().zip(&mut card.open) {
                *open = dark + 0.4 * (*open - dark);
            }
        }
        if round % 4 == 0 {
            card.marks.clear();
        }
        let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
        assert!(matches!(
            unread(&report.verdict),
            UnreadReason::TwoCards { .. }
        ));
    }
}

#[test]
fn a_second_card_drawn_in_halfway_is_unread() {
    let (mut tables, mut chance) = (Tables::default(), Chance(26));
    let strokes = random_card(&mut chance);
    let single = Made::new(&strokes);
    let mut double = single.clone();
    double.solid = TWO_CARDS;
    let mut reading = single.read(&mut tables, &mut chance);
    let second = double.read(&mut tables, &mut chance);
    let from = 25 * 8 * 8;
    reading.samples[from..].copy_from_slice(&second.samples[from..]);
    let report = judged(&strokes, &reading, Fit::None);
    assert!(matches!(
        unread(&report.verdict),
        UnreadReason::TwoCards { stroke: 24.., .. }
    ));
}

#[test]
fn no_card_is_unread() {
    let (mut tables, mut chance) = (Tables::default(), Chance(27));
    let strokes = random_card(&mut chance);
    let mut card = Made::new(&strokes);
    card.solid = 1.0;
    let report = judged(&strokes, &card.read(&mut tables, &mut chance), Fit::None);
    assert!(matches!(
        unread(&report.verdict),
        UnreadReason::NoCard { permille: 900.. }
    ));
}

#[test]
fn a_lamp_that_fails_is_never_a_good_card() {
    let (mut tables, mut chance) = (Tables::default(), Chance(28));
    let strokes = random_card(&mut chance);
    let whole = Made::new(&strokes).read(&mut tables, &mut chance);
    for from in (0..whole.samples.len()).step_by(100) {
        let mut reading = whole.clone();
        for (n, level) in reading.samples.iter_mut().enumerate().skip(from) {
            *level = whole.began.dark[n % 8];
        }
        let report = judged(&strokes, &reading, Fit::None);
        // Two lines past the middle of the last stroke's lace holes, less of
        // their light is still to come than a whole hole may lack.
        let after_holes = from >= (56 * 8 + 2) * 8;
        assert!(after_holes || !report.verdict.is_good(), "from {from}");
    }
}

#[test]
fn what_cannot_be_read_is_refused_with_its_reason() {
    let (mut tables, mut chance) = (Tables::default(), Chance(29));
    let strokes = random_card(&mut chance);
    let whole = Made::new(&strokes).read(&mut tables, &mut chance);
    let verdict = |change: &dyn Fn(&mut cardwright::judge::Reading)| {
        let mut reading = whole.clone();
        change(&mut reading);
        judged(&strokes, &reading, Fit::None).verdict
    };
    assert!(verdict(&|_| ()).is_good());
    let short = verdict(&|r| r.samples.truncate(r.samples.len() - 8));
    assert_eq!(
        unread(&short),
        UnreadReason::Lines {
            got: 463,
            want: 464
        }
    );
    let long = verdict(&|r| r.samples.extend([0; 8]));
    assert_eq!(
        unread(&long),
        UnreadReason::Lines {
            got: 465,
            want: 464
        }
    );
    assert!(matches!(
        unread(&verdict(&|r| r.ended.lines -= 1)),
        UnreadReason::Lines { .. }
    ));
    assert_eq!(
        unread(&verdict(&|r| r.ended.place += 1)),
        UnreadReason::Mixed
    );
    assert_eq!(
        unread(&verdict(&|r| r.ended.id.attempt.0 += 1)),
        UnreadReason::Mixed
    );
    let dim = verdict(&|r| r.began.open[4] = r.began.dark[4] + 20);
    assert_eq!(
        unread(&dim),
        UnreadReason::TooLittleLight {
            hole: 5,
            levels: 20
        }
    );
    assert_eq!(
        unread(&verdict(&|r| r.began.open[7] = 255)),
        UnreadReason::Clipped { hole: 8 }
    );
    let flash = verdict(&|r| {
        r.began.open[2] = 150;
        r.samples[100 * 8 + 2] = 255;
    });
    assert!(matches!(
        unread(&flash),
        UnreadReason::Unsteady { hole: 3, .. }
    ));
    assert!(matches!(
        unread(&verdict(&|r| r.samples_per_row = 7)),
        UnreadReason::SamplesPerRow { .. }
    ));
    assert!(matches!(
        unread(&verdict(&|r| r.holes = 12)),
        UnreadReason::Channels { .. }
    ));
    let cut_off = verdict(&|r| {
        r.ended.complete = false;
        r.ended.strokes = 31;
    });
    assert_eq!(cut_off, Verdict::Interrupted { strokes: 31 });
    assert_eq!(
        verdict(&|r| r.ended.strokes = 55),
        Verdict::Interrupted { strokes: 55 }
    );
    for verdict in [short, dim, cut_off] {
        assert!(!verdict.remedy().is_empty());
    }
}
