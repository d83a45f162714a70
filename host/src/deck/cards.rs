//! Card lists from the command line, such as `1-40,57`.
//!
//! Enters: text and the number of cards in the deck. Leaves: the cards, in
//! rising order, each once; or, for a stack, as they are named. Refuses: card 0, ranges that run backwards, cards
//! beyond the deck, anything that is not a number.

use cardwright_protocol::CardNumber;
use std::fmt;

/// Some cards of a deck, in rising order.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct CardList {
    /// First and last of each run; runs neither touch nor overlap.
    runs: Vec<(u32, u32)>,
}

/// Why a card list was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CardListError {
    /// There is nothing in it.
    #[error("the card list is empty; write card numbers such as 1-40,57")]
    Empty,
    /// A part that is no number and no range.
    #[error(
        "\"{0}\" in the card list is not a card number or a range; write card numbers such as 1-40,57"
    )]
    NotACard(String),
    /// Card 0.
    #[error("\"{0}\" in the card list names card 0; the first card is 1")]
    Zero(String),
    /// The last before the first.
    #[error("the range {first}-{last} runs backwards; write {last}-{first}")]
    Reversed {
        /// As written first.
        first: u32,
        /// As written last.
        last: u32,
    },
    /// Not in the deck.
    #[error("card {card} is not in the deck, which has cards 1 to {cards}")]
    Beyond {
        /// The card.
        card: u32,
        /// Cards in the deck.
        cards: u32,
    },
}

impl CardList {
    /// Every card of a deck of this many.
    #[must_use]
    pub fn all(cards: u32) -> CardList {
        CardList {
            runs: if cards == 0 {
                Vec::new()
            } else {
                vec![(1, cards)]
            },
        }
    }

    /// The cards that `text` names in a deck of `cards` cards. A card named
    /// twice counts once.
    ///
    /// # Errors
    /// The text is no card list, or names a card that is not in the deck.
    pub fn parse(text: &str, cards: u32) -> Result<CardList, CardListError> {
        if text.trim().is_empty() {
            return Err(CardListError::Empty);
        }
        let runs: Result<Vec<_>, _> = text
            .split(',')
            .map(|part| run(part.trim(), cards))
            .collect();
        Ok(CardList::from_runs(runs?))
    }

    /// The cards that `text` names, in the order in which it names them, one named
    /// twice being there twice: a stack as it lies.
    ///
    /// # Errors
    /// As [`CardList::parse`].
    pub fn as_they_lie(text: &str, cards: u32) -> Result<Vec<CardNumber>, CardListError> {
        if text.trim().is_empty() {
            return Err(CardListError::Empty);
        }
        let mut stack = Vec::new();
        for part in text.split(',') {
            let (first, last) = run(part.trim(), cards)?;
            stack.extend((first..=last).map(CardNumber));
        }
        Ok(stack)
    }

    /// These cards; card 0 is left out.
    pub fn from_cards(cards: impl IntoIterator<Item = CardNumber>) -> CardList {
        let one = |card: CardNumber| (card.0, card.0);
        CardList::from_runs(
            cards
                .into_iter()
                .filter(|card| card.0 > 0)
                .map(one)
                .collect(),
        )
    }

    fn from_runs(mut runs: Vec<(u32, u32)>) -> CardList {
        runs.sort_unstable();
        let mut merged: Vec<(u32, u32)> = Vec::new();
        for (first, last) in runs {
            match merged.last_mut() {
                Some(before) if first <= before.1.saturating_add(1) => {
                    before.1 = before.1.max(last)
                }
                _ => merged.push((first, last)),
            }
        }
        CardList { runs: merged }
    }

    /// Whether this card is in the list.
    #[must_use]
    pub fn contains(&self, card: CardNumber) -> bool {
        self.runs
            .iter()
            .any(|(first, last)| (*first..=*last).contains(&card.0))
    }

    /// How many cards there are in it.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.runs.iter().map(|(first, last)| last - first + 1).sum()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// The cards, in rising order.
    pub fn iter(&self) -> impl Iterator<Item = CardNumber> + '_ {
        self.runs
            .iter()
            .flat_map(|(first, last)| *first..=*last)
            .map(CardNumber)
    }
}

fn run(part: &str, cards: u32) -> Result<(u32, u32), CardListError> {
    let number = |text: &str| {
        let text = text.trim();
        let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        text.parse::<u32>().ok().filter(|_| plain)
    };
    let ends = match part.split_once('-') {
        Some((first, last)) => number(first).zip(number(last)),
        None => number(part).map(|card| (card, card)),
    };
    let Some((first, last)) = ends else {
        return Err(CardListError::NotACard(part.to_owned()));
    };
    if first == 0 || last == 0 {
        return Err(CardListError::Zero(part.to_owned()));
    }
    if first > last {
        return Err(CardListError::Reversed { first, last });
    }
    if last > cards {
        return Err(CardListError::Beyond {
            card: first.max(cards.saturating_add(1)),
            cards,
        });
    }
    Ok((first, last))
}

/// The shortest text that names these cards.
impl fmt::Display for CardList {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, (first, last)) in self.runs.iter().enumerate() {
            let comma = if place == 0 { "" } else { "," };
            match last - first {
                0 => write!(to, "{comma}{first}")?,
                1 => write!(to, "{comma}{first},{last}")?,
                _ => write!(to, "{comma}{first}-{last}")?,
            }
        }
        Ok(())
    }
}
