//! x
pub mod judge;

/// Card formats and deck files.
pub mod deck;
/// Drawings of designs, decks and cards.
pub mod picture;
pub mod ledger;
