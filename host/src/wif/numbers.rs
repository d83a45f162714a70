//! Numbers, lists and answers as a draft writes them.
//!
//! Enters: keys and values. Leaves: counts, numbers, sets of numbers. Refuses: what
//! is no whole number, what is more than the draft says it has, and what is more
//! than any draft may have, before memory is taken for it.

use super::faults::{DraftFault, quoted};
use super::ini::{Entry, Wrong};
use super::{MOST_ENDS, MOST_PICKS, MOST_SHAFTS};

/// Words of a [`Set`].
const WORDS: usize = (MOST_SHAFTS as usize + 1).div_ceil(64);

/// What is counted in a draft.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit {
    pub one: &'static str,
    pub several: &'static str,
    pub most: u32,
    pub remedy: &'static str,
}

const AS_PICTURE: &str =
    "make so large a deck from a picture, one pixel a hook by a pick: cardwright deck make";

pub(super) const SHAFTS: Limit = Limit {
    one: "shaft",
    several: "shafts",
    most: MOST_SHAFTS,
    remedy: AS_PICTURE,
};

pub(super) const TREADLES: Limit = Limit {
    one: "treadle",
    several: "treadles",
    most: MOST_SHAFTS,
    remedy: "save the draft with its liftplan instead of tie-up and treadling",
};

pub(super) const PICKS: Limit = Limit {
    one: "pick",
    several: "picks",
    most: MOST_PICKS,
    remedy: AS_PICTURE,
};

pub(super) const ENDS: Limit = Limit {
    one: "end",
    several: "ends",
    most: MOST_ENDS,
    remedy: "give the threading of one repeat",
};

/// A number of things, and the line that says so.
#[derive(Clone, Copy, Debug)]
pub(super) struct Count {
    pub count: u32,
    pub line: Option<usize>,
}

/// Numbers that name one thing each, from 1 to what the draft says it has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Numbering {
    limit: Limit,
    said: Option<u32>,
    key: &'static str,
}

impl Numbering {
    /// `key` is where the draft says how many there are.
    pub fn new(limit: Limit, said: Option<Count>, key: &'static str) -> Numbering {
        let said = said.map(|said| said.count);
        Numbering { limit, said, key }
    }

    pub fn one(&self) -> &'static str {
        self.limit.one
    }

    /// One number; 0 is left to the caller.
    fn number(&self, text: &str) -> Result<u32, DraftFault> {
        let number = whole(text).ok_or_else(|| not_a_number(text, &self.limit))?;
        match self.said {
            Some(count) if number > u64::from(count) => Err(DraftFault::Beyond {
                what: self.limit.one,
                number,
                count,
                key: self.key,
            }),
            _ => within(&self.limit, number),
        }
    }

    /// The number that a line begins with.
    pub fn key(&self, text: &str) -> Result<u32, DraftFault> {
        match self.number(text)? {
            0 => Err(DraftFault::Zero(self.limit.one)),
            number => Ok(number),
        }
    }

    /// Numbers between commas. Nothing at all, and 0, is none (from memory).
    pub fn list(&self, text: &str) -> Result<Set, DraftFault> {
        let mut set = Set::default();
        if !text.is_empty() {
            for part in text.split(',') {
                set.insert(self.number(part.trim())?);
            }
        }
        Ok(set)
    }
}

/// How many there are said to be.
pub(super) fn count(entry: &Entry, limit: &Limit) -> Result<Count, Wrong> {
    let at = |fault| (Some(entry.line), fault);
    let number = whole(entry.value).ok_or_else(|| at(not_a_number(entry.value, limit)))?;
    match within(limit, number).map_err(at)? {
        0 => Err(at(DraftFault::NoneAtAll(limit.several))),
        count => Ok(Count {
            count,
            line: Some(entry.line),
        }),
    }
}

/// Yes or no, in the words of the standard (from memory).
pub(super) fn yes(entry: &Entry) -> Result<bool, Wrong> {
    let is = |words: [&str; 4]| {
        words
            .iter()
            .any(|word| entry.value.eq_ignore_ascii_case(word))
    };
    match (
        is(["yes", "true", "on", "1"]),
        is(["no", "false", "off", "0"]),
    ) {
        (true, _) => Ok(true),
        (_, true) => Ok(false),
        _ => Err((
            Some(entry.line),
            DraftFault::NotYesOrNo {
                key: entry.key.to_owned(),
                text: quoted(entry.value),
            },
        )),
    }
}

fn not_a_number(text: &str, limit: &Limit) -> DraftFault {
    DraftFault::NotANumber {
        text: quoted(text),
        several: limit.several,
    }
}

fn within(limit: &Limit, number: u64) -> Result<u32, DraftFault> {
    match u32::try_from(number) {
        Ok(number) if number <= limit.most => Ok(number),
        _ => Err(DraftFault::TooMany {
            number,
            what: limit.several,
            most: limit.most,
            remedy: limit.remedy,
        }),
    }
}

/// A whole number in plain digits; one too long for any use becomes the largest.
fn whole(text: &str) -> Option<u64> {
    let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse().unwrap_or(u64::MAX))
}

/// Some shafts, or some treadles. Small, however often a draft names one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Set([u64; WORDS]);

impl Set {
    /// This number alone.
    pub fn only(number: u32) -> Set {
        let mut set = Set::default();
        set.insert(number);
        set
    }

    /// 0 stands for none and is not kept.
    fn insert(&mut self, number: u32) {
        if let Some(word) = self.0.get_mut(number as usize / 64).filter(|_| number > 0) {
            *word |= 1 << (number % 64);
        }
    }

    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|word| *word == 0)
    }

    pub fn contains(&self, number: u32) -> bool {
        let word = self.0.get(number as usize / 64);
        word.is_some_and(|word| word >> (number % 64) & 1 == 1)
    }

    pub fn join(&mut self, other: &Set) {
        for (word, other) in self.0.iter_mut().zip(other.0) {
            *word |= other;
        }
    }

    /// Whether they have a number in common.
    pub fn meets(&self, other: &Set) -> bool {
        self.0
            .iter()
            .zip(other.0)
            .any(|(word, other)| word & other != 0)
    }

    /// The numbers, in rising order.
    pub fn numbers(&self) -> impl Iterator<Item = u32> + '_ {
        (1..=MOST_SHAFTS).filter(|number| self.contains(*number))
    }

    /// The largest.
    pub fn last(&self) -> Option<u32> {
        (1..=MOST_SHAFTS)
            .rev()
            .find(|number| self.contains(*number))
    }
}
