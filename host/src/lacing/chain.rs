//! In which order the cards are laced.

use super::{Cylinders, Wires};
use cardwright_protocol::CardNumber;

/// Cards that are laced to one another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    /// Which cards these are.
    pub run: Run,
    /// The cards in the order in which they are laced; the last is joined to
    /// the first.
    pub cards: Vec<CardNumber>,
    /// Where its wires go.
    pub wires: Wires,
}

/// Which of the deck's cards a chain has, and which way they run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Run {
    /// Every card, forwards.
    Whole,
    /// The odd cards, forwards.
    Odd,
    /// The even cards, backwards.
    Even,
}

impl Run {
    /// What the chain is called, and which way it runs.
    #[must_use]
    pub const fn words(self) -> (&'static str, &'static str) {
        match self {
            Run::Whole => ("chain", "forwards"),
            Run::Odd => ("odd chain", "forwards"),
            Run::Even => ("even chain", "backwards"),
        }
    }
}

/// The deck's chains: for two cylinders the odd cards are laced forwards and the
/// even cards backwards (Bell ch. V). A chain that would have no card is left out.
pub(super) fn chains(count: u32, cylinders: Cylinders) -> Vec<Chain> {
    let runs: &[Run] = match cylinders {
        Cylinders::One => &[Run::Whole],
        Cylinders::Two => &[Run::Odd, Run::Even],
    };
    let chain = |run: &Run| {
        let cards: Vec<CardNumber> = match run {
            Run::Whole => (1..=count).map(CardNumber).collect(),
            Run::Odd => (1..=count).step_by(2).map(CardNumber).collect(),
            Run::Even => (1..=count / 2)
                .rev()
                .map(|half| CardNumber(2 * half))
                .collect(),
        };
        let wires = Wires::of(&cards);
        Chain {
            run: *run,
            cards,
            wires,
        }
    };
    let mut chains: Vec<Chain> = runs.iter().map(chain).collect();
    chains.retain(|chain| !chain.cards.is_empty());
    chains
}
