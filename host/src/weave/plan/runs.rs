//! The cards of one pass of a section, as runs along the chain.
//!
//! Enters: texts such as `1-160, 159-2`. Leaves: which card stands at which place
//! of the pass, and the other way round, without a list of them all. Refuses:
//! what is no card or not in the deck.

use super::faults::PlanFault;
use crate::weave::walk::Direction;
use cardwright_protocol::CardNumber;

/// Cards one after another; a run that falls goes backwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// The card it begins with.
    pub first: CardNumber,
    /// The card it ends with.
    pub last: CardNumber,
}

impl Run {
    /// Which way the chain goes. A single card counts as forwards.
    #[must_use]
    pub fn direction(&self) -> Direction {
        if self.last < self.first {
            Direction::Back
        } else {
            Direction::Forward
        }
    }

    fn cards(&self) -> u64 {
        u64::from(self.first.0.abs_diff(self.last.0)) + 1
    }

    /// Its lowest and its highest card.
    pub(super) fn range(&self) -> (CardNumber, CardNumber) {
        (self.first.min(self.last), self.first.max(self.last))
    }

    /// Its place in the run, from 0.
    fn place_of(&self, card: CardNumber) -> Option<u64> {
        let (low, high) = self.range();
        let inside = (low..=high).contains(&card);
        inside.then(|| u64::from(card.0.abs_diff(self.first.0)))
    }
}

/// Runs one after another, at least one.
#[derive(Clone, Debug, PartialEq)]
pub struct Runs {
    runs: Vec<Run>,
    /// Cards before each run.
    before: Vec<u64>,
    cards: u64,
    /// The cards that are woven, as rising ranges that do not touch.
    woven: Vec<(u32, u32)>,
}

impl Runs {
    pub(super) fn new(runs: Vec<Run>) -> Runs {
        let mut cards = 0;
        let mut before = Vec::with_capacity(runs.len());
        for run in &runs {
            before.push(cards);
            cards += run.cards();
        }
        let range = |run: &Run| (run.range().0.0, run.range().1.0);
        let mut ranges: Vec<(u32, u32)> = runs.iter().map(range).collect();
        ranges.sort_unstable();
        let mut woven: Vec<(u32, u32)> = Vec::new();
        for (low, high) in ranges {
            match woven.last_mut() {
                Some(last) if low <= last.1.saturating_add(1) => last.1 = last.1.max(high),
                _ => woven.push((low, high)),
            }
        }
        Runs {
            runs,
            before,
            cards,
            woven,
        }
    }

    /// The runs, in the order in which they are woven.
    #[must_use]
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// Cards of the pass, each as often as it is woven.
    #[must_use]
    pub fn cards(&self) -> u64 {
        self.cards
    }

    /// The card at this place of the pass, from 0, and which way its run goes.
    #[must_use]
    pub fn at(&self, place: u64) -> Option<(CardNumber, Direction)> {
        if place >= self.cards {
            return None;
        }
        let run = self.before.partition_point(|before| *before <= place) - 1;
        let along = u32::try_from(place - self.before[run]).ok()?;
        let direction = self.runs[run].direction();
        let first = self.runs[run].first.0;
        let card = match direction {
            Direction::Forward => first + along,
            Direction::Back => first - along,
        };
        Some((CardNumber(card), direction))
    }

    /// The places of the pass at which this card is woven, rising.
    pub fn places_of(&self, card: CardNumber) -> impl Iterator<Item = u64> + '_ {
        let place = move |(run, before): (&Run, &u64)| Some(before + run.place_of(card)?);
        self.runs.iter().zip(&self.before).filter_map(place)
    }

    /// Whether this card is woven.
    #[must_use]
    pub fn weaves(&self, card: CardNumber) -> bool {
        self.first_missing(card.0, card.0).is_none()
    }

    /// The first card of this range that is not woven.
    pub(super) fn first_missing(&self, low: u32, high: u32) -> Option<u32> {
        let at = self.woven.partition_point(|(first, _)| *first <= low);
        match at.checked_sub(1).map(|at| self.woven[at]) {
            Some((_, last)) if last >= high => None,
            Some((_, last)) if last >= low => Some(last + 1),
            _ => Some(low),
        }
    }
}

/// Every card of a deck of this many, forwards.
pub(super) fn whole(cards: u32) -> Vec<Run> {
    let (first, last) = (CardNumber(1), CardNumber(cards));
    vec![Run { first, last }]
}

/// The runs that `text` names in a deck called `deck`.
pub(super) fn parse(text: &str, deck: &str, cards: u32) -> Result<Vec<Run>, PlanFault> {
    text.split(',')
        .map(|part| run(part.trim(), deck, cards))
        .collect()
}

fn run(part: &str, deck: &str, cards: u32) -> Result<Run, PlanFault> {
    let (first, last) = part.split_once('-').unwrap_or((part, part));
    let number = |text: &str| {
        let digits = text.trim();
        let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        if !plain || digits.bytes().all(|byte| byte == b'0') {
            return Err(PlanFault::NotCards(part.to_owned()));
        }
        match digits.parse() {
            Ok(card) if card <= cards => Ok(CardNumber(card)),
            _ => Err(PlanFault::Beyond {
                card: digits.to_owned(),
                deck: deck.to_owned(),
                cards,
            }),
        }
    };
    Ok(Run {
        first: number(first)?,
        last: number(last)?,
    })
}
