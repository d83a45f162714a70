//! The stroke programme: the readable list in a format file, made into one
//! step a stroke.
//!
//! Enters: entries such as `lace + peg`, `blank`, `rows 1-26`, `row 51 + peg`.
//! Leaves: steps. Refuses: any other word, a range that runs backwards, a peg
//! hole given to many rows at once.

use super::FormatFault;
use std::fmt;

/// What the needle punches do in a stroke.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Work {
    /// None is locked.
    Nothing,
    /// The holes of this row, from 1.
    Row(u16),
    /// The lace holes.
    Lace,
}

/// One stroke of the programme.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Step {
    /// The needle punches.
    pub work: Work,
    /// Whether the peg punch is locked as well.
    pub peg: bool,
}

impl fmt::Display for Step {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.work, self.peg) {
            (Work::Nothing, true) => return to.write_str("peg"),
            (Work::Nothing, false) => to.write_str("blank")?,
            (Work::Row(row), _) => write!(to, "row {row}")?,
            (Work::Lace, _) => to.write_str("lace")?,
        }
        to.write_str(if self.peg { " + peg" } else { "" })
    }
}

/// The steps that one entry stands for.
pub(super) fn entry(text: &str) -> Result<Vec<Step>, FormatFault> {
    let not_understood = || FormatFault::Entry(text.to_owned());
    let (work, peg) = match text.split_once('+') {
        Some((work, peg)) if peg.trim() == "peg" => (work.trim(), true),
        Some(_) => return Err(not_understood()),
        None => (text.trim(), false),
    };
    let one = |work| Ok(vec![Step { work, peg }]);
    match work.split_once(' ') {
        None if work == "lace" => one(Work::Lace),
        None if work == "blank" && !peg => one(Work::Nothing),
        None if work == "peg" && !peg => Ok(vec![Step {
            work: Work::Nothing,
            peg: true,
        }]),
        Some(("row", number)) => match number.trim().parse() {
            Ok(number) => one(Work::Row(number)),
            Err(_) => Err(not_understood()),
        },
        Some(("rows", range)) => rows(text, range, peg),
        _ => Err(not_understood()),
    }
}

fn rows(text: &str, range: &str, peg: bool) -> Result<Vec<Step>, FormatFault> {
    let number = |text: &str| text.trim().parse::<u16>().ok();
    let ends = range
        .split_once('-')
        .and_then(|(first, last)| Some((number(first)?, number(last)?)));
    let Some((first, last)) = ends else {
        return Err(FormatFault::Entry(text.to_owned()));
    };
    if first > last {
        return Err(FormatFault::RangeReversed(text.to_owned()));
    }
    if last - first >= cardwright_protocol::card::MOST_STROKES {
        return Err(FormatFault::TooManyStrokes(usize::from(last - first) + 1));
    }
    if peg {
        return Err(FormatFault::PegWithRange(text.to_owned()));
    }
    Ok((first..=last)
        .map(|row| Step {
            work: Work::Row(row),
            peg: false,
        })
        .collect())
}
