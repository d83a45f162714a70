//! Decks for the tests.

use std::path::Path;
use std::sync::Arc;

use cardwright::deck::paper::{PaperSettings, deck_from_picture};
use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The demo's towel: one repeat of 400 hooks by 160 picks on 400 cards.
///
/// # Panics
/// If the demo's picture is not there: the test cannot go on.
#[must_use]
pub fn curlew_deck() -> Arc<Deck> {
    let picture = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/curlew-towel.png");
    let format = CardFormat::named("400").expect("a built-in format");
    let deck = deck_from_picture(&picture, &PaperSettings::usual(format));
    Arc::new(deck.expect("the demo's picture makes a deck"))
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
