//! Weaves: which ends a pick lifts, over a repeat that goes on without end.
//!
//! Enters: the words or the drawing of a cloth file. Leaves: a [`Weave`].
//! Refuses: words that are none, satins whose counter does not reach every
//! end, drawings with ragged lines.

use super::satin;
use super::words::Words;

/// Longest repeat of a weave, in ends and in picks.
pub const LONGEST_REPEAT: usize = 512;

/// What is wrong with a weave.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WeaveFault {
    /// Words that say no weave.
    #[error(
        "the weave \"{0}\" is not understood; write lift, leave, plain, \"twill 2/1 right\", \"satin 8 counter 3 warp\", with \" shift 2\" after it, \"lift bound 8 ends 12 picks\", or a drawing such as [\"x.\", \".x\"]"
    )]
    Words(String),
    /// A twill that is none.
    #[error(
        "the weave \"{0}\" is no twill: give the ends lifted and left in turn, an even number of figures above 0, and which way the line rises, such as \"twill 2/1 right\""
    )]
    Twill(String),
    /// No satin on so many ends.
    #[error(
        "there is no regular satin on {0} ends (none on fewer than 5, and none on 6); choose another number of ends, or draw the weave"
    )]
    NoSatin(usize),
    /// A counter that makes no satin.
    #[error("counter {counter} makes no satin on {ends} ends; the counters are {}", satin::counters_in_words(*ends))]
    Counter {
        /// Ends.
        ends: usize,
        /// As written.
        counter: usize,
    },
    /// Nobody said which side the satin shows.
    #[error(
        "the weave \"{0}\" does not say which yarn covers the cloth; write warp (each pick leaves one end down) or weft (each pick lifts one end) after the counter"
    )]
    SatinFace(String),
    /// Floats that cannot be bound so.
    #[error(
        "the weave \"{0}\" cannot be bound so; only lift and leave have floats to bind, over 3 to {LONGEST_REPEAT} ends or picks, such as \"leave bound 8 ends\""
    )]
    Bound(String),
    /// Floats that are too short for hooks that work several ends.
    #[error(
        "the weave \"{text}\" cannot be bound so where a hook works {each} ends: floats are bound over {least} ends or more"
    )]
    BoundByHooks {
        /// What stands there.
        text: String,
        /// Ends a hook.
        each: u32,
        /// The fewest.
        least: u32,
    },
    /// A drawing that is none.
    #[error(
        "the drawn weave has line {line} \"{text}\": every line must have as many signs as the others, x where the end is lifted and . where it is left, at most {LONGEST_REPEAT}"
    )]
    Drawing {
        /// Line as written, from 1.
        line: usize,
        /// What stands there.
        text: String,
    },
    /// A drawing with no lines, or too many.
    #[error("the drawn weave has {0} lines; draw 1 to {LONGEST_REPEAT}")]
    DrawnLines(usize),
    /// A repeat too long to be meant.
    #[error("the weave \"{text}\" repeats on {ends} ends; at most {LONGEST_REPEAT} are taken")]
    TooLong {
        /// As written.
        text: String,
        /// Ends of its repeat.
        ends: usize,
    },
}

/// Shorter floats cannot be bound at the points of a satin.
const LEAST_BOUND: u32 = 3;

/// The longest float a colour may have before it is bound down, in hooks along
/// a pick and in picks along an end. Picks are those of the weft the weave is
/// written for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Bound {
    /// Along a pick.
    pub ends: Option<u32>,
    /// Along an end.
    pub picks: Option<u32>,
}

impl Bound {
    /// Whether there is no limit.
    #[must_use]
    pub fn is_none(self) -> bool {
        self == Bound::default()
    }
}

/// A weave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weave {
    words: String,
    ends: usize,
    /// One line a pick, first pick first; true where the end is lifted.
    lifted: Vec<bool>,
    float: Option<bool>,
    satin: bool,
    bound: Bound,
}

impl Weave {
    /// The weave that these words say.
    ///
    /// # Errors
    /// They say none.
    pub fn parse(text: &str) -> Result<Weave, WeaveFault> {
        let mut words = Words::of(text);
        let not_understood = || WeaveFault::Words(text.to_owned());
        let weave = match words.next() {
            Some("lift") => Weave::flat(true, bound(&mut words, text)?),
            Some("leave") => Weave::flat(false, bound(&mut words, text)?),
            Some("plain") => {
                let shift = shift(&mut words).ok_or_else(not_understood)?;
                Weave::regular(2, 2, |end, pick| (end + pick + shift).is_multiple_of(2))
            }
            Some("twill") => twill(&mut words, text)?,
            Some("satin") => satin(&mut words, text)?,
            _ => return Err(not_understood()),
        };
        match words.next() {
            None => Ok(weave.called(text)),
            Some("bound") => Err(WeaveFault::Bound(text.to_owned())),
            Some(_) => Err(not_understood()),
        }
    }

    /// The weave that is drawn: `x` where the end is lifted, `.` where it is
    /// left; the lowest line is the first pick, as on point paper (from memory).
    ///
    /// # Errors
    /// Lines of unequal length, other signs, too many of them.
    pub fn drawn(lines: &[String]) -> Result<Weave, WeaveFault> {
        if !(1..=LONGEST_REPEAT).contains(&lines.len()) {
            return Err(WeaveFault::DrawnLines(lines.len()));
        }
        let ends = lines[0].len();
        let plain = |line: &String| {
            line.len() == ends
                && (1..=LONGEST_REPEAT).contains(&ends)
                && line.bytes().all(|sign| matches!(sign, b'x' | b'.'))
        };
        if let Some(at) = lines.iter().position(|line| !plain(line)) {
            return Err(WeaveFault::Drawing {
                line: at + 1,
                text: lines[at].clone(),
            });
        }
        let signs: Vec<&[u8]> = lines.iter().rev().map(|line| line.as_bytes()).collect();
        let weave = Weave::regular(ends, lines.len(), |end, pick| signs[pick][end] == b'x');
        Ok(weave.called(&lines.join(" ")))
    }

    fn flat(lifted: bool, bound: Bound) -> Weave {
        Weave {
            float: Some(lifted),
            bound,
            ..Weave::regular(1, 1, |_, _| lifted)
        }
    }

    fn regular(ends: usize, picks: usize, lifted: impl Fn(usize, usize) -> bool) -> Weave {
        let line = |pick| (0..ends).map(move |end| (end, pick));
        let squares = (0..picks).flat_map(line);
        Weave {
            words: String::new(),
            ends,
            lifted: squares.map(|(end, pick)| lifted(end, pick)).collect(),
            float: None,
            satin: false,
            bound: Bound::default(),
        }
    }

    fn called(self, words: &str) -> Weave {
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        Weave { words, ..self }
    }

    /// As the cloth file says it.
    #[must_use]
    pub fn words(&self) -> &str {
        &self.words
    }

    /// Ends of its repeat.
    #[must_use]
    pub fn ends(&self) -> usize {
        self.ends
    }

    /// Picks of its repeat.
    #[must_use]
    pub fn picks(&self) -> usize {
        self.lifted.len() / self.ends
    }

    /// One pick of the repeat, first end first; picks are counted on and on.
    #[must_use]
    pub fn pick(&self, pick: usize) -> &[bool] {
        let line = pick % self.picks();
        &self.lifted[line * self.ends..][..self.ends]
    }

    /// Whether this end is lifted at this pick, both counted on and on.
    #[must_use]
    pub fn lifts(&self, end: usize, pick: usize) -> bool {
        self.pick(pick)[end % self.ends]
    }

    /// Whether ends are lifted, or left, where the weave floats: everywhere but
    /// at its binding points. None where the weave is all binding (plain,
    /// twills) or is drawn.
    #[must_use]
    pub fn float(&self) -> Option<bool> {
        self.float
    }

    /// Whether its binding points stand apart, so that one can be left out.
    #[must_use]
    pub fn is_satin(&self) -> bool {
        self.satin
    }

    /// The limits of its floats.
    #[must_use]
    pub fn bound(&self) -> Bound {
        self.bound
    }

    /// Has the limit of its floats along a pick, until now in ends, hold in hooks that
    /// work so many each.
    pub(super) fn bind_by_hooks(&mut self, each: u32) -> Result<(), WeaveFault> {
        let Some(ends) = self.bound.ends else {
            return Ok(());
        };
        if ends / each < LEAST_BOUND {
            return Err(WeaveFault::BoundByHooks {
                text: self.words.clone(),
                each,
                least: LEAST_BOUND * each,
            });
        }
        self.bound.ends = Some(ends / each);
        Ok(())
    }

    /// Whether two weaves lift the same ends everywhere, floats unbound.
    #[must_use]
    pub fn same_everywhere(&self, other: &Weave) -> bool {
        let common = |a: usize, b: usize| a / satin::divisor(a, b) * b;
        let (ends, picks) = (
            common(self.ends, other.ends),
            common(self.picks(), other.picks()),
        );
        (0..picks).all(|pick| {
            let (a, b) = (self.pick(pick), other.pick(pick));
            (0..ends).all(|end| a[end % a.len()] == b[end % b.len()])
        })
    }

    /// Whether an end can be so at all.
    #[must_use]
    pub fn has(&self, lifted: bool) -> bool {
        self.lifted.contains(&lifted)
    }
}

/// `shift N`, if it stands there: how many ends the weave is moved to the left.
fn shift(words: &mut Words<'_>) -> Option<usize> {
    if !words.skip("shift") {
        return Some(0);
    }
    words.number().filter(|shift| *shift <= LONGEST_REPEAT)
}

fn bound(words: &mut Words<'_>, text: &str) -> Result<Bound, WeaveFault> {
    let refused = || WeaveFault::Bound(text.to_owned());
    let mut bound = Bound::default();
    if !words.skip("bound") {
        return Ok(bound);
    }
    while let Some(limit) = words.number() {
        let limit = u32::try_from(limit)
            .ok()
            .filter(|limit| (LEAST_BOUND..=LONGEST_REPEAT as u32).contains(limit));
        let place = match words.next() {
            Some("ends") => &mut bound.ends,
            Some("picks") => &mut bound.picks,
            _ => return Err(refused()),
        };
        if place.is_some() || limit.is_none() {
            return Err(refused());
        }
        *place = limit;
    }
    if bound.is_none() {
        return Err(refused());
    }
    Ok(bound)
}

fn twill(words: &mut Words<'_>, text: &str) -> Result<Weave, WeaveFault> {
    let refused = || WeaveFault::Twill(text.to_owned());
    let figures: Option<Vec<usize>> = words
        .next()
        .unwrap_or_default()
        .split('/')
        .map(|figure| figure.parse().ok().filter(|figure| *figure > 0))
        .collect();
    let figures = figures
        .filter(|figures| figures.len() % 2 == 0 && figures.iter().all(|f| *f <= LONGEST_REPEAT))
        .ok_or_else(refused)?;
    let right = match words.next() {
        Some("right") => true,
        Some("left") => false,
        _ => return Err(refused()),
    };
    let shift = shift(words).ok_or_else(refused)?;
    let ends: usize = figures.iter().sum();
    if ends > LONGEST_REPEAT {
        return Err(WeaveFault::TooLong {
            text: text.to_owned(),
            ends,
        });
    }
    let first: Vec<bool> = figures
        .iter()
        .enumerate()
        .flat_map(|(place, count)| std::iter::repeat_n(place % 2 == 0, *count))
        .collect();
    Ok(Weave::regular(ends, ends, |end, pick| {
        let risen = if right { ends - pick } else { pick };
        first[(end + shift + risen) % ends]
    }))
}

fn satin(words: &mut Words<'_>, text: &str) -> Result<Weave, WeaveFault> {
    let not_understood = || WeaveFault::Words(text.to_owned());
    let ends = words.number().ok_or_else(not_understood)?;
    if ends > LONGEST_REPEAT {
        return Err(WeaveFault::TooLong {
            text: text.to_owned(),
            ends,
        });
    }
    if satin::counters(ends).is_empty() {
        return Err(WeaveFault::NoSatin(ends));
    }
    if !words.skip("counter") {
        return Err(not_understood());
    }
    let counter = words.number().ok_or_else(not_understood)?;
    if !satin::is_counter(ends, counter) {
        return Err(WeaveFault::Counter { ends, counter });
    }
    let warp = match words.next() {
        Some("warp") => true,
        Some("weft") => false,
        _ => return Err(WeaveFault::SatinFace(text.to_owned())),
    };
    let shift = shift(words).ok_or_else(not_understood)?;
    let points = satin::order(ends, counter);
    let weave = Weave::regular(ends, ends, |end, pick| {
        warp != ((end + shift) % ends == points[pick])
    });
    Ok(Weave {
        float: Some(warp),
        satin: true,
        ..weave
    })
}
