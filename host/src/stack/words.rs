//! What is wrong with a stack, in words, each with a remedy.

use super::disorder::{Counted, Disorder, Place, Run};
use super::order::Account;
use super::pattern::Lie;
use cardwright_protocol::CardNumber;
use std::fmt;

/// How many of the disorders that may be there instead are told.
const HIDDEN_TOLD: usize = 4;

impl fmt::Display for Lie {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(match self {
            Lie::AsIs => "as it should",
            Lie::EndForEnd => "end for end",
            Lie::FaceOver => "face over",
            Lie::Both => "face over and end for end",
        })
    }
}

impl Lie {
    fn remedy(self) -> &'static str {
        match self {
            Lie::AsIs => "leave it",
            Lie::EndForEnd => "turn it half round, the same face up",
            Lie::FaceOver => "turn it over about its long side",
            Lie::Both => "turn it over about its short side",
        }
    }
}

/// "card 4", "cards 4 and 5", "cards 4 to 7".
fn these<T: Counted>(what: &str, run: &Run<T>) -> String {
    let (first, last) = (run.first.number(), run.last.number());
    match last.saturating_sub(first) {
        0 => format!("{what} {first}"),
        1 => format!("{what}s {first} and {last}"),
        _ => format!("{what}s {first} to {last}"),
    }
}

fn cards(run: &Run<CardNumber>) -> String {
    these("card", run)
}

fn places(run: &Run<Place>) -> String {
    these("place", run)
}

fn number(count: u32) -> String {
    let words = ["none", "one", "two", "three", "four", "five", "six"];
    let word = usize::try_from(count)
        .ok()
        .and_then(|count| words.get(count));
    word.map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

/// `one` for one, else `more`.
fn if_one<'a>(count: u32, one: &'a str, more: &'a str) -> &'a str {
    if count == 1 { one } else { more }
}

impl fmt::Display for Disorder {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Disorder::StackReversed => to.write_str("the whole stack lies last card first"),
            Disorder::StackTurned(lie) => write!(to, "all cards lie {lie}"),
            Disorder::Missing {
                cards: run,
                count,
                such_as,
            } => missing(to, run, *count, such_as),
            Disorder::Exchanged { cards: (a, b), .. } => {
                write!(to, "cards {} and {} are exchanged", a.0, b.0)
            }
            Disorder::Double { .. } => self.double(to),
            Disorder::Moved { .. } => self.moved(to),
            Disorder::Turned {
                cards: run,
                places: at,
                lie,
            } => {
                let lie_word = if_one(run.count(), "lies", "lie");
                write!(to, "{} {lie_word} {lie}, at {}", cards(run), places(at))
            }
            Disorder::Foreign {
                deck,
                cards: run,
                places: at,
                ..
            } => {
                let lie = if_one(at.count(), "lies", "lie");
                write!(
                    to,
                    "{} of the deck {deck} {lie} at {}",
                    cards(run),
                    places(at)
                )
            }
            Disorder::Unknown { places: at } => match at.count() {
                1 => write!(to, "the card at {} is in no known deck", places(at)),
                _ => write!(to, "the cards at {} are in no known deck", places(at)),
            },
        }
    }
}

fn missing(
    to: &mut fmt::Formatter<'_>,
    run: &Run<CardNumber>,
    count: u32,
    such_as: &[CardNumber],
) -> fmt::Result {
    let is = if_one(count, "is", "are");
    if run.count() == count {
        return write!(to, "{} {is} missing", cards(run));
    }
    let ends = such_as.first().zip(such_as.last());
    let in_a_row = ends.is_some_and(|(first, last)| last.0 - first.0 + 1 == count);
    // Only identical cards are told apart by nothing at all; a longer piece of
    // a repeat is one of a few pieces.
    let (named, why) = match ends {
        Some((first, last)) if count > 1 && in_a_row && run.count() > count => (
            format!(" (such as {} to {})", first.0, last.0),
            "which cannot be told apart",
        ),
        _ => (String::new(), "which are identical"),
    };
    let count = number(count);
    write!(to, "{count} of {}, {why}, {is} missing{named}", cards(run))
}

impl Disorder {
    fn double(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Disorder::Double {
            card,
            count,
            extra,
            also,
            like,
        } = self
        else {
            return Ok(());
        };
        let often = match count {
            1 => "twice".to_owned(),
            _ => format!("{} times", number(count + 1)),
        };
        match (also, like) {
            (Some(also), 1) => write!(
                to,
                "card {} is there {often}, at place {} and at {} of the stack",
                card.0,
                also.0,
                places(extra)
            ),
            (None, 1) => write!(
                to,
                "card {} is there {often}, at {} of the stack",
                card.0,
                places(extra)
            ),
            _ => write!(
                to,
                "{} of the {like} identical cards such as card {} {} too many, at {} of the stack",
                number(*count),
                card.0,
                if_one(*count, "is", "are"),
                places(extra)
            ),
        }
    }

    fn moved(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Disorder::Moved {
            cards: run,
            count,
            places: at,
            after,
            like,
        } = self
        else {
            return Ok(());
        };
        let stand = if_one(*count, "stands", "stand");
        if run.count() > *count && at.count() == *count && *count == 1 {
            write!(to, "one of {}, which are identical, {stand} ", cards(run))?;
        } else if *like > 1 {
            let like = number(*like);
            write!(
                to,
                "{}, or another of the {like} like it, {stand} ",
                cards(run)
            )?;
        } else {
            write!(to, "{} {stand} ", cards(run))?;
        }
        match after {
            Some(after) => write!(to, "behind card {}, at {}", after.0, places(at)),
            None => write!(to, "before all others, at {}", places(at)),
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> String {
        match self {
            Disorder::StackReversed => {
                "turn the stack round so that card 1 is run first, each card lying as it does"
                    .to_owned()
            }
            Disorder::StackTurned(lie) => match lie {
                Lie::AsIs => "leave them".to_owned(),
                Lie::EndForEnd => "turn the stack half round, the same faces up".to_owned(),
                Lie::FaceOver => "turn each card over about its long side".to_owned(),
                Lie::Both => "turn each card over about its short side".to_owned(),
            },
            Disorder::Missing { count, such_as, .. } => {
                let it = if_one(*count, "it", "them");
                let before = such_as.first().map_or(0, |card| card.0.saturating_sub(1));
                let where_to = match before {
                    0 => "first".to_owned(),
                    before => format!("behind card {before}"),
                };
                format!("look for {it}, or cut {it} again, and put {it} {where_to}")
            }
            Disorder::Exchanged { places: (a, b), .. } => {
                format!("let the cards at places {} and {} change places", a.0, b.0)
            }
            Disorder::Double { count, extra, .. } if extra.count() > *count => {
                format!(
                    "take {} of the cards at {} out",
                    number(*count),
                    places(extra)
                )
            }
            Disorder::Double { count, extra, .. } => {
                let card = if_one(*count, "card", "cards");
                format!("take the {card} at {} out", places(extra))
            }
            Disorder::Moved {
                cards: run,
                count,
                places: at,
                ..
            } => {
                let card = if_one(*count, "card", "cards");
                match run.first.0.saturating_sub(1) {
                    0 => format!("put the {card} at {} first", places(at)),
                    before => format!("put the {card} at {} behind card {before}", places(at)),
                }
            }
            Disorder::Turned {
                places: at, lie, ..
            } => match at.count() {
                1 => lie.remedy().to_owned(),
                _ => format!("each of them: {}", lie.remedy()),
            },
            Disorder::Foreign {
                deck, places: at, ..
            } => {
                format!(
                    "take what lies at {} out and put it to the deck {deck}",
                    places(at)
                )
            }
            Disorder::Unknown { places: at } => format!(
                "take what lies at {} out; if a card is missing there, it may be that card, damaged",
                places(at)
            ),
        }
    }
}

/// One line a disorder, with its remedy.
impl fmt::Display for Account {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.in_order() {
            return write!(to, "the stack is the deck, in order");
        }
        for (line, disorder) in self.disorders.iter().enumerate() {
            let end = if line == 0 { "" } else { "\n" };
            write!(to, "{end}{disorder}; {}", disorder.remedy())?;
        }
        match self.hidden() {
            Some(hidden) => write!(to, "\n{hidden}; {NOTHING_MORE}"),
            None => Ok(()),
        }
    }
}

/// The remedy of what identical cards hide.
pub(crate) const NOTHING_MORE: &str = "the remedies above put the deck in order all the same";

impl Account {
    /// What identical cards hide, in words; none if they hide nothing.
    #[must_use]
    pub fn hidden(&self) -> Option<String> {
        let mut told: Vec<String> = Vec::new();
        for disorder in &self.otherwise {
            let words = disorder.to_string();
            if !told.contains(&words) {
                told.push(words);
            }
        }
        let more = told.len().saturating_sub(HIDDEN_TOLD);
        told.truncate(HIDDEN_TOLD);
        let mut list = told.join(", or ");
        if more > 0 {
            list.push_str(&format!(", or in {} more", number(more.try_into().ok()?)));
        }
        (!list.is_empty()).then(|| {
            format!("some cards are identical, so it may have come about in another way: {list}")
        })
    }
}
