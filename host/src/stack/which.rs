//! Where a loose card belongs, among many decks.
//!
//! Enters: what was seen of it, the decks. Leaves: every card that it may be,
//! best first. A card that is like none of them has no place.

use super::pattern::{Lie, Pattern};
use super::recognise::{Catalogue, Recognition};
use crate::deck::Deck;
use cardwright_protocol::CardNumber;
use serde::{Deserialize, Serialize};

/// Where the card may belong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Whereabouts {
    /// The deck's name.
    pub deck: String,
    /// The beginning of the deck's SHA-256, hexadecimal.
    pub sha256: String,
    /// The cards that it may be: all that are identical.
    pub cards: Vec<CardNumber>,
    /// How it lay.
    pub lie: String,
    /// Positions that are not as that card's.
    pub wrong: u32,
}

/// Characters of a hash that tell two decks apart.
const HASH: usize = 12;

/// Every deck's cards that it may be, those with the fewest wrong positions first.
#[must_use]
pub fn whereabouts(seen: &Pattern, decks: &[Deck]) -> Vec<Whereabouts> {
    let mut found = Vec::new();
    for deck in decks {
        let Ok(catalogue) = Catalogue::of_deck(deck) else {
            continue;
        };
        let Recognition::Known(candidates) = catalogue.recognise(seen) else {
            continue;
        };
        let gaps = deck.reading().map_or(&[][..], |reading| &reading.gaps);
        for candidate in candidates {
            let mut cards = catalogue.cards_of(candidate.class).to_vec();
            cards.retain(|card| !gaps.contains(card));
            if cards.is_empty() {
                continue;
            }
            found.push(Whereabouts {
                deck: deck.name().to_string(),
                sha256: deck.sha256().chars().take(HASH).collect(),
                cards,
                lie: match candidate.lie {
                    Lie::AsIs => "as it should".to_string(),
                    lie => lie.to_string(),
                },
                wrong: candidate.difference.wrong(),
            });
        }
    }
    found.sort_by_key(|place| place.wrong);
    found
}
