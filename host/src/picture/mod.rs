//! Drawings of designs, decks and cards.
