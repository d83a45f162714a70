//! Risk: a damaged reading or a wrong format brings the program down, or is
//! called good.

use cardwright::judge::{Fit, Geometry, Limits, Reading, Verdict, judge};
use cardwright_protocol::unit_to_host::{CardBegan, CardEnded};
use cardwright_protocol::{CardId, Row, Stroke};
use proptest::collection::vec;
use proptest::prelude::*;

fn stroke() -> impl Strategy<Value = Stroke> {
    prop_oneof![
        Just(Stroke::Blank),
        Just(Stroke::Peg),
        any::<u16>().prop_map(|row| Stroke::Needles(Row(row))),
        any::<u16>().prop_map(|row| Stroke::NeedlesAndPeg(Row(row))),
        any::<u16>().prop_map(|row| Stroke::Lace(Row(row))),
        any::<u16>().prop_map(|row| Stroke::LaceAndPeg(Row(row))),
        (0u16..256).prop_map(|row| Stroke::Needles(Row(row))),
    ]
}

fn levels() -> impl Strategy<Value = [u8; 16]> {
    prop_oneof![
        any::<[u8; 16]>(),
        Just([0; 16]),
        Just([10; 16]),
        Just([200; 16]),
        Just([255; 16])
    ]
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        0.0..20.0f64,
        Just(0.0),
        Just(-1.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(1e-300),
        Just(6.804)
    ]
}

fn ended(lines: usize, strokes: usize, complete: bool, length_um: u32) -> CardEnded {
    CardEnded {
        id: CardId::default(),
        place: 0,
        complete,
        strokes: strokes as u16,
        lines: lines as u16,
        length_um,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2500))]

    /// Anything at all: an answer, and never a good one.
    #[test]
    fn anything_at_all(
        strokes in vec(stroke(), 0..140),
        samples in prop_oneof![vec(any::<u8>(), 0..4000), Just(vec![0; 3712]), Just(vec![255; 3712])],
        dark in levels(),
        open in levels(),
        holes in 0u8..20,
        per_row in prop_oneof![Just(8u8), any::<u8>()],
        length_um in any::<u32>(),
        complete in prop::bool::weighted(0.9),
        measures in vec(number(), 7),
        real in any::<bool>(),
        aperture in number(),
    ) {
        let geometry = if real {
            Geometry { holes, ..Geometry::card_400() }
        } else {
            Geometry {
                holes,
                row_pitch_mm: measures[0],
                needle_pitch_mm: measures[1],
                hole_diameter_mm: measures[2],
                peg_diameter_mm: measures[3],
                peg_offset_rows: measures[4],
                first_stroke_mm: measures[5],
                card_length_mm: measures[6],
            }
        };
        let limits = Limits { aperture_mm: if real { 3.0 } else { aperture }, ..Limits::default() };
        let lines = samples.len() / usize::from(holes.max(1));
        let began = CardBegan { id: CardId::default(), place: 0, dark, open };
        let ended = ended(lines, strokes.len(), complete, length_um);
        let reading = Reading { began, ended, samples_per_row: per_row, holes, samples };
        for fit in [Fit::None, Fit::OffsetAndStretch] {
            let report = judge(&strokes, &geometry, &reading, &limits, fit);
            prop_assert!(!report.verdict.is_good());
            prop_assert!(!report.summary.is_empty() && !report.remedy.is_empty());
        }
    }

}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Random light in a reading that is otherwise whole reaches the
    /// measurement itself.
    #[test]
    fn random_light_of_the_right_size(
        strokes in vec((0u16..256, any::<bool>()), 1..128),
        seed in vec(any::<u8>(), 512),
        most in 20u8..=255,
        per_row in prop_oneof![Just(4u8), Just(8), Just(10), Just(16)],
        peg_offset_rows in -3.0..3.0f64,
        pitch in 3.0..8.0f64,
        length_um in prop_oneof![Just(0u32), Just(402_600), any::<u32>()],
    ) {
        let strokes: Vec<Stroke> = strokes
            .into_iter()
            .map(|(row, peg)| if peg { Stroke::NeedlesAndPeg(Row(row)) } else { Stroke::Needles(Row(row)) })
            .collect();
        let lines = (strokes.len() + 2) * usize::from(per_row);
        let margin = usize::from(per_row) * 8;
        let samples: Vec<u8> = (0..lines * 8)
            .map(|n| if n < margin { 22 } else { 10 + seed[(n * 7 + n / 509) % 512] % most.min(200) })
            .collect();
        let began = CardBegan { id: CardId::default(), place: 0, dark: [10; 16], open: [200; 16] };
        let ended = ended(lines, strokes.len(), true, length_um);
        let reading = Reading { began, ended, samples_per_row: per_row, holes: 8, samples };
        let geometry = Geometry { peg_offset_rows, row_pitch_mm: pitch, ..Geometry::card_400() };
        for fit in [Fit::None, Fit::OffsetAndStretch] {
            let report = judge(&strokes, &geometry, &reading, &Limits::default(), fit);
            prop_assert_eq!(&report, &judge(&strokes, &geometry, &reading, &Limits::default(), fit));
            let holes: u32 = strokes.iter().map(|stroke| stroke.punches().count()).sum();
            if holes > 20 {
                let good = matches!(report.verdict, Verdict::Good);
                prop_assert!(!good);
            }
        }
    }
}

/// The most there can be of everything: strokes, lines a row, peg holes in
/// sight of one another. It must be answered, and not with "good".
#[test]
fn a_peg_hole_at_every_stroke_and_64_lines_a_row() {
    let strokes = vec![Stroke::NeedlesAndPeg(Row::full(8)); 128];
    let lines = (strokes.len() + 2) * 64;
    let samples = (0..lines * 8)
        .map(|n| {
            if n < 64 * 8 {
                22
            } else {
                120 + (n * 37 % 80) as u8
            }
        })
        .collect();
    let began = CardBegan {
        id: CardId::default(),
        place: 0,
        dark: [10; 16],
        open: [200; 16],
    };
    let reading = Reading {
        began,
        ended: ended(lines, strokes.len(), true, 0),
        samples_per_row: 64,
        holes: 8,
        samples,
    };
    let geometry = Geometry::card_400();
    for fit in [Fit::None, Fit::OffsetAndStretch] {
        let report = judge(&strokes, &geometry, &reading, &Limits::default(), fit);
        assert!(!report.verdict.is_good());
    }
}
