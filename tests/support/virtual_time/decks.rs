//! Decks and machines for the tests.

use std::path::Path;
use std::sync::Arc;

use cardwright::cloth::{Cloth, Squares};
use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::paper::Picture;
use cardwright::rig::RigFile;
use cardwright_virtual::WorldSettings;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The demo's towel: one repeat of 400 hooks by 160 picks on 400 cards.
///
/// # Panics
/// If the demo's paper or cloth file is not there: the test cannot go on.
#[must_use]
pub fn curlew_deck() -> Arc<Deck> {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data");
    let cloth = Cloth::read(&demo.join("towel.toml")).expect("the demo's cloth file");
    let file = demo.join("curlew-paper.png");
    let bytes = std::fs::read(&file).expect("the demo's paper");
    let picture = Picture::from_bytes(&bytes).expect("a picture");
    let paints = picture.colours().map(|rgb| rgb.0);
    let columns = u32::try_from(picture.width()).expect("few");
    let read = Squares::recognise(&cloth, columns, paints).expect("in its colours");
    let made = cloth.deck(&file, &bytes, &read.squares);
    Arc::new(made.expect("the demo's paper makes a deck").0)
}

/// So many 400 cards, every hole as a coin falls. No two begin alike.
///
/// # Panics
/// Never: a 400 card has 51 rows of 8.
#[must_use]
pub fn random_deck(cards: u32, seed: u64) -> Arc<Deck> {
    let format = CardFormat::named("400").expect("a built-in format");
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let rows = usize::from(format.rows());
    let card = |_| {
        (0..rows)
            .map(|_| Row(u16::from(rng.random::<u8>())))
            .collect()
    };
    let cards = (0..cards).map(card).collect();
    let deck = Deck::new(
        format!("random {seed}"),
        format,
        None,
        Cutting::default(),
        cards,
    );
    Arc::new(deck.expect("51 rows of 8"))
}

/// A machine that makes a stroke in less than 25 ms, feed and all, and its rig
/// file.
///
/// # Panics
/// If the built-in rig file has other lines than these.
#[must_use]
pub fn fast_rig() -> (WorldSettings, RigFile) {
    let world = WorldSettings {
        stroke_cycle_us: 9_000,
        sensor_zone_us: 500,
        lock_us: 1_500,
        ..WorldSettings::default()
    };
    (
        world,
        RigFile::parse(&fast_text(), "fast").expect("a rig file"),
    )
}

/// The built-in rig file with a faster machine's figures.
fn fast_text() -> String {
    let faster = [
        ("start_speed_mm_s = 20", "start_speed_mm_s = 100"),
        ("top_speed_mm_s = 600", "top_speed_mm_s = 1500"),
        ("acceleration_mm_s2 = 20000", "acceleration_mm_s2 = 250000"),
        ("settle_ms = 2.0", "settle_ms = 1.0"),
        ("lock_settle_ms = 5.0", "lock_settle_ms = 2.0"),
        ("coil_stagger_ms = 0.5", "coil_stagger_ms = 0.3"),
    ];
    let mut text = RigFile::BENCH.to_string();
    for (from, to) in faster {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    text
}

/// The same machine with half as many feed steps in a millimetre, which halves
/// the work of a test.
///
/// # Panics
/// As [`fast_rig`].
#[must_use]
pub fn coarse_fast_rig() -> (WorldSettings, RigFile) {
    let (world, _) = fast_rig();
    let world = WorldSettings {
        steps_per_metre: 10_000.0,
        ..world
    };
    let text = fast_text().replace("steps_per_mm = 20.0", "steps_per_mm = 10.0");
    (world, RigFile::parse(&text, "coarse").expect("a rig file"))
}

/// The seed from the environment, or this one.
#[must_use]
pub fn seed_or(usual: u64) -> u64 {
    number_or("CARDWRIGHT_SEED", usual)
}

/// A number from the environment, or this one.
#[must_use]
pub fn number_or(name: &str, usual: u64) -> u64 {
    let given = std::env::var(name).ok();
    given.and_then(|text| text.parse().ok()).unwrap_or(usual)
}
