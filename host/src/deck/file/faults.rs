//! What can be wrong with the cards of a deck, in words.

use super::MOST_CARDS;

/// What is wrong with the cards of a deck.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CardFault {
    /// There are none.
    #[error("the deck has no cards; give at least card 1")]
    NoCards,
    /// There are too many.
    #[error("the deck has {0} cards; at most {MOST_CARDS} are taken")]
    TooManyCards(usize),
    /// The key is not a card number.
    #[error(
        "\"{0}\" is not a card number; cards are numbered 1, 2, 3 and so on, without leading zeros"
    )]
    NotANumber(String),
    /// The same number twice.
    #[error("card {card} stands here and on line {first_line}; give every card its own number")]
    Duplicate {
        /// The number.
        card: String,
        /// Line of the first.
        first_line: usize,
    },
    /// A number is left out, or not in its order.
    #[error(
        "card {found} stands where card {wanted} must come; number the cards from 1, in order and without gaps"
    )]
    Gap {
        /// The number that is missing.
        wanted: u32,
        /// The one that stands there.
        found: u32,
    },
    /// Too few or too many rows.
    #[error(
        "card {card} has {found} rows, and a card of format {format} has {wanted}; each row is one group of digits"
    )]
    Rows {
        /// The card.
        card: u32,
        /// Rows it has.
        found: usize,
        /// Rows it must have.
        wanted: u16,
        /// The format.
        format: String,
    },
    /// A group that is too short or too long.
    #[error("card {card}, row {row}: \"{group}\" has {} digits, and a row of {holes} holes has {wanted}; write exactly so many, leading zeros too", group.chars().count())]
    GroupWidth {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// As written.
        group: String,
        /// Digits it must have.
        wanted: usize,
        /// Holes in a row.
        holes: u8,
    },
    /// A group that is not hexadecimal.
    #[error("card {card}, row {row}: \"{group}\" is not hexadecimal; use the digits 0-9 and a-f")]
    NotHexadecimal {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// As written.
        group: String,
    },
    /// A hole that the row does not have.
    #[error(
        "card {card}, row {row}: hole {hole} is cut, but a row has {holes} holes; check the card format and the digits"
    )]
    HoleBeyond {
        /// The card.
        card: u32,
        /// The row, from 1.
        row: usize,
        /// The hole, from 1.
        hole: u8,
        /// Holes in a row.
        holes: u8,
    },
    /// Not a card for each pick of the design.
    #[error(
        "the last card is card {0}, and a design of {1} picks has {1} cards; the file was cut short, or cards were put in or taken out: copy it again whole, or make the deck again from its design"
    )]
    OtherThanPicks(usize, u32),
    /// Not whole lines of the design.
    #[error(
        "the last card is card {0}, and a design of {1} lines has {1} cards for each of its wefts; the file was cut short, or cards were put in or taken out: copy it again whole, or make the deck again from its design"
    )]
    OtherThanLines(usize, u32),
    /// The record of how it was read names what the deck has not got.
    #[error("{0}; mend the [reading] table")]
    Reading(String),
}

impl CardFault {
    /// A design of hooks and picks has a card a pick. With a cloth file it has a card for each
    /// weft of a line, and how many wefts these are stands in that file only.
    pub(super) fn other_count(cards: usize, picks: u32, cloth: bool) -> Option<CardFault> {
        let fault = match cloth {
            false if cards != picks as usize => CardFault::OtherThanPicks,
            true if !cards.is_multiple_of((picks as usize).max(1)) => CardFault::OtherThanLines,
            _ => return None,
        };
        Some(fault(cards, picks))
    }
}
