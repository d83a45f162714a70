//! If this fails, a punch blunts or drifts unnoticed until cards are spoiled, or a
//! sharp one is taken out for nothing.
//!
//! The cards are cut by a model whose punches are known, and read and judged as
//! a job's are.

use cardwright::judge::{Report, Verdict};
use cardwright::ledger::{PunchRow, UnixMillis};
use cardwright::wear::{Finding, judge_punch, punch_states, punches_seen};
use cardwright_protocol::{Attempt, CardNumber, JobNumber};
use cardwright_tests::trust::Worst;
use cardwright_tests::worn::Shop;
use cardwright_virtual::card_maker::{PEG, Punch};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What the punches' holes in this card were like, as the ledger gives it.
fn rows(report: &Report, card: u32) -> Vec<PunchRow> {
    let row = |seen| PunchRow {
        job: JobNumber(1),
        card: CardNumber(card),
        attempt: Attempt(1),
        ended: UnixMillis(i64::from(card)),
        seen,
    };
    punches_seen(report).into_iter().map(row).collect()
}

/// As it is written down.
fn in_ledger(hole: u8) -> u8 {
    if hole == PEG { 0 } else { hole }
}

/// No wear is told of steady punches in poor conditions, at no time over 80 rigs'
/// first 160 cards.
#[test]
fn a_steady_punch_is_never_told_of() {
    let mut shop = Shop::new(Worst::RANGE, 601);
    let pool: Vec<Vec<PunchRow>> = (0..1500).map(|card| rows(&shop.card(card), 0)).collect();
    let mut rng = ChaCha8Rng::seed_from_u64(602);
    let mut looks = 0;
    for rig in 0..80 {
        let mut history = Vec::new();
        for card in 1..=160u32 {
            let chosen = &pool[rng.random_range(0..pool.len())];
            history.extend(chosen.iter().map(|row| PunchRow {
                card: CardNumber(card),
                ..*row
            }));
            if card % 8 != 0 {
                continue;
            }
            for state in punch_states(&history, &[]) {
                looks += 1;
                assert_eq!(state.findings, [], "rig {rig} card {card}: {state:?}");
            }
        }
    }
    assert!(looks > 10_000, "{looks}");
}

/// A lamp that ages and dust that stays are no wear.
#[test]
fn a_steady_punch_is_not_told_of_while_the_lamp_ages() {
    let mut history = Vec::new();
    for card in 1..=400u32 {
        let lost = 0.4 * f64::from(card) / 400.0;
        let worst = Worst {
            dusty: if card > 200 { 1.0 } else { 0.0 },
            ..Worst::RANGE
        };
        let mut shop = Shop::with_lamp(worst, 603, 1.0 - lost);
        history.extend(rows(&shop.card(u64::from(card)), card));
        if card % 20 == 0 {
            for state in punch_states(&history, &[]) {
                assert_eq!(state.findings, [], "card {card}: {state:?}");
            }
        }
    }
}

/// Cards that would be good with a sharp punch and are not with this one, of 100.
fn lost_to(hole: u8, punch: Punch) -> usize {
    let (mut worn, mut sharp) = (Shop::new(Worst::RANGE, 604), Shop::new(Worst::RANGE, 604));
    worn.set_punch(hole, punch);
    let lost =
        |card: &u64| sharp.card(*card).verdict.is_good() && !worn.card(*card).verdict.is_good();
    (0..100u64).filter(lost).count()
}

/// Where cards are said to fail they do not yet, and not far beyond they do.
#[test]
fn the_limits_told_are_where_cards_begin_to_fail() {
    let narrower = |narrower_mm| Punch {
        narrower_mm,
        ..Punch::default()
    };
    let along = |along_mm| Punch {
        along_mm,
        ..Punch::default()
    };
    for (hole, within, beyond) in [
        (3, narrower(0.3), narrower(0.55)),
        (3, along(0.25), along(0.4)),
        (3, along(-0.25), along(-0.4)),
        (PEG, along(0.5), along(0.65)),
    ] {
        assert_eq!(lost_to(hole, within), 0, "{hole} {within:?}");
        assert!(lost_to(hole, beyond) > 3, "{hole} {beyond:?}");
    }
}

/// How many cards were cut when wear was first told, and when a card was first
/// spoiled by it: one that would have been good with a sharp punch.
fn told_and_spoiled(hole: u8, seed: u64, wear: impl Fn(f64) -> Punch) -> (Option<u32>, u32) {
    let (mut worn, mut sharp) = (Shop::new(Worst::RANGE, seed), Shop::new(Worst::RANGE, seed));
    let (mut history, mut told) = (Vec::new(), None);
    for card in 1..=1500u32 {
        worn.set_punch(hole, wear(f64::from(card)));
        let report = worn.card(u64::from(card));
        let spoiled = !matches!(report.verdict, Verdict::Good | Verdict::Unread(_))
            && sharp.card(u64::from(card)).verdict.is_good();
        if spoiled {
            return (told, card);
        }
        history.extend(rows(&report, card));
        if told.is_none() && card % 4 == 0 {
            told = punch_states(&history, &[])
                .iter()
                .any(|state| state.hole == in_ledger(hole) && !state.findings.is_empty())
                .then_some(card);
        }
        for state in punch_states(&history[history.len().saturating_sub(9)..], &[]) {
            assert_eq!(state.findings, [], "too few cards to tell");
        }
    }
    panic!("no card was ever spoiled");
}

#[test]
fn blunting_is_told_before_the_first_card_is_spoiled() {
    // from sharp to half a millimetre narrower in 1000, 250 and 60 cards
    for (seed, per_card) in [(611, 0.0005), (612, 0.002), (613, 0.008)] {
        let wear = |card: f64| Punch {
            narrower_mm: per_card * card,
            ..Punch::default()
        };
        let (told, spoiled) = told_and_spoiled(4, seed, wear);
        println!("{per_card} mm a card: told at {told:?}, spoiled at {spoiled}");
        assert!(told.is_some_and(|told| told < spoiled), "{per_card}");
    }
}

#[test]
fn drifting_is_told_before_the_first_card_is_spoiled() {
    for hole in [1, PEG] {
        for (seed, per_card) in [(621, 0.001), (622, -0.004), (623, 0.01)] {
            let wear = |card: f64| Punch {
                along_mm: per_card * card,
                ..Punch::default()
            };
            let (told, spoiled) = told_and_spoiled(hole, seed, wear);
            println!("hole {hole} {per_card} mm a card: told at {told:?}, spoiled at {spoiled}");
            assert!(told.is_some_and(|told| told < spoiled), "{hole} {per_card}");
        }
    }
}

/// The rate and the rest that are told are those of the model.
#[test]
fn how_long_it_will_last_is_told_about_right() {
    let mut shop = Shop::new(Worst::RANGE, 631);
    let mut history = Vec::new();
    for card in 1..=300u32 {
        shop.set_punch(
            6,
            Punch {
                narrower_mm: 0.0005 * f64::from(card),
                ..Punch::default()
            },
        );
        history.extend(rows(&shop.card(u64::from(card)), card));
    }
    let punch: Vec<PunchRow> = history
        .into_iter()
        .filter(|row| row.seen.hole == 6)
        .collect();
    let strokes: u32 = punch.iter().map(|row| u32::from(row.seen.holes)).sum();
    let a_card = f64::from(strokes) / punch.len() as f64;
    let findings = judge_punch(&punch, None);
    let [Finding::Narrowing(wear)] = findings.as_slice() else {
        panic!("{findings:?}");
    };
    let (rate, mm) = (-0.0005 / a_card * 1000.0, -0.0005 * 290.0);
    assert!((wear.mm_per_thousand / rate - 1.0).abs() < 0.15, "{wear:?}");
    assert!((wear.mm - mm).abs() < 0.01, "{wear:?}");
    let left = (wear.limit_mm - 0.15) / 0.0005 * a_card;
    let told = f64::from(wear.strokes_left.expect("it goes on"));
    assert!((told / left - 1.0).abs() < 0.2, "{wear:?} {left}");
}

/// A new punch is not taken for wear, and is judged by its own cards.
#[test]
fn a_change_of_punch_is_told_as_such() {
    for (seed, punch) in [
        (
            641,
            Punch {
                narrower_mm: 0.12,
                ..Punch::default()
            },
        ),
        (
            642,
            Punch {
                narrower_mm: -0.08,
                along_mm: 0.1,
                ..Punch::default()
            },
        ),
    ] {
        let mut shop = Shop::new(Worst::RANGE, seed);
        let mut history = Vec::new();
        for card in 1..=90u32 {
            if card == 41 {
                shop.set_punch(2, punch);
            }
            history.extend(rows(&shop.card(u64::from(card)), card));
        }
        for state in punch_states(&history, &[]) {
            if state.hole != 2 {
                assert_eq!(state.findings, [], "{state:?}");
                continue;
            }
            let [
                Finding::Changed {
                    card,
                    wider_mm,
                    along_mm,
                    ..
                },
            ] = state.findings.as_slice()
            else {
                panic!("{state:?}");
            };
            assert!((40..=42).contains(card), "{state:?}");
            assert!((wider_mm + punch.narrower_mm).abs() < 0.02, "{state:?}");
            assert!((along_mm - punch.along_mm).abs() < 0.02, "{state:?}");
        }
    }
}
