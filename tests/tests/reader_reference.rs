//! The reader against libraries that others keep. If one of these fails, holes are
//! told from solid card, or a swollen card is straightened, by a rule of our own
//! that nobody else would draw.

use cardwright::judge::{Limits, Place, Plane};
use cardwright_tests::reference::reference;
use cardwright_tests::trust::{Bench, Worst};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// numpy.linalg.lstsq on the same holes, with the same weights.
#[test]
fn the_plane_of_least_squares_is_numpys() {
    let mut rng = ChaCha8Rng::seed_from_u64(501);
    let cards: Vec<Vec<Place>> = (0..20)
        .map(|_| {
            (0..rng.random_range(30..400))
                .map(|_| Place {
                    x_mm: rng.random_range(0.0..375.0),
                    y_mm: rng.random_range(-24.0..24.0),
                    off_mm: rng.random_range(-3.0..3.0),
                    weight: rng.random_range(0.0..1.0),
                })
                .collect()
        })
        .collect();
    let problems: Vec<Value> = cards
        .iter()
        .map(|places| {
            let row = |place: &Place| json!([1.0, place.x_mm, place.y_mm]);
            json!({
                "design": places.iter().map(row).collect::<Vec<_>>(),
                "right": places.iter().map(|place| place.off_mm).collect::<Vec<_>>(),
                "weights": places.iter().map(|place| place.weight).collect::<Vec<_>>(),
            })
        })
        .collect();
    let answers = reference("lstsq", json!(problems));
    for (places, answer) in cards.iter().zip(answers.as_array().expect("a list")) {
        let plane = Plane::least_squares(places);
        let ours = [plane.offset_mm, plane.stretch, plane.skew];
        for (ours, numpys) in ours
            .iter()
            .zip(answer["solution"].as_array().expect("three"))
        {
            let numpys = numpys.as_f64().expect("a number");
            assert!((ours - numpys).abs() < 1e-9, "{ours} {numpys}");
        }
    }
}

/// Otsu's threshold over the open areas of a card, as scikit-image computes it,
/// parts holes from solid card as the judge does, on clean scans.
#[test]
fn holes_and_solid_card_part_where_otsu_parts_them() {
    let mut bench = Bench::new(Worst::CLEAN, &Limits::default(), 502);
    // every second card is sound
    let cards: Vec<_> = (0..60)
        .map(|number| bench.card(2 * number).report)
        .collect();
    let opens = |n: usize| {
        let cells = cards[n].cells.iter().filter(|cell| cell.hole > 0);
        cells.filter(|cell| cell.diameter_um.is_some() || cell.open_permille < 500 || cell.required)
    };
    let problems: Vec<Value> = (0..cards.len())
        .map(|n| json!({ "values": opens(n).map(|cell| cell.open_permille).collect::<Vec<_>>() }))
        .collect();
    let answers = reference("otsu", json!(problems));
    for (n, answer) in answers.as_array().expect("a list").iter().enumerate() {
        let threshold = answer["threshold"].as_f64().expect("a threshold");
        assert!(cards[n].verdict.is_good(), "{}", cards[n].summary);
        for cell in opens(n) {
            let whole = f64::from(cell.open_permille) > threshold;
            assert_eq!(
                whole, cell.required,
                "card {n}: {cell:?}, Otsu at {threshold}"
            );
        }
    }
}
