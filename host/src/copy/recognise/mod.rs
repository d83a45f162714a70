//! Which card format a stack is of, by its own cards.
//!
//! Enters: the formats that are known, how the rig is built; then readings of a
//! card or a few, taken with every channel of the light bar over the length of the
//! longest card ([`Known::wide`], [`Known::settings`]). Leaves: the one format in
//! which lace holes, peg holes, edges and rows all fall in place, while every
//! other is contradicted. Refuses: cards that two formats fit, that none fits, or
//! that are too much damaged to tell, and says which formats are left. It never
//! guesses.
//!
//! A card runs along a guide at hole 1, so hole 1 of every format lies under
//! channel 1, and channels beyond the card's far edge see the open lamp.
//!
//! Formats whose rows or needles stand at another pitch, or begin elsewhere, need
//! a reading of their own; they are named as not looked for.

mod card;
mod edges;
mod programme;

use cardwright_protocol::card::MOST_HOLES;
use cardwright_protocol::host_to_unit::Settings;
use cardwright_protocol::unit_to_host::SAMPLES_HELD;

use crate::deck::format::{Step, Work};
use crate::deck::{CardFormat, Row};
use crate::judge::{Judge, Limits, Reading, Report, UnreadReason};
use crate::rig::RigFile;
use card::{Sheet, Standing};
use programme::Lying;

/// Two formats have one grid if their holes lie no farther apart than this.
const SAME_MM: f64 = 0.2;

/// Names that are told at most in one refusal with a reason for each.
const REASONS: usize = 3;

/// Why no format is recognised.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unrecognised {
    /// Several formats fit.
    #[error(
        "the cards can be of format {}: nothing on them tells these apart; say which with --format",
        .0.join(" or ")
    )]
    Several(Vec<String>),
    /// All others are ruled out, and this one does not show clearly enough.
    #[error(
        "the cards are of no known format but perhaps {name}, and that is not sure ({why}); look at a card, and give --format {name} if it is right"
    )]
    Unsure {
        /// The format.
        name: String,
        /// What is in doubt.
        why: String,
    },
    /// None fits.
    #[error(
        "the cards are of none of the known formats ({0}); see whether they lie straight with hole 1 at the guide and the numbered end first, or write a format file and give it with --format FILE"
    )]
    Nothing(String),
    /// No card could be read.
    #[error("no card could be read well enough to see its format: {0}")]
    Unread(String),
}

/// A format that was recognised.
#[derive(Clone, Debug, PartialEq)]
pub struct Recognised {
    /// The format.
    pub format: CardFormat,
    /// What tells it.
    pub tells: String,
}

/// A format that is looked for.
#[derive(Clone, Debug)]
struct Candidate {
    format: CardFormat,
    judge: Judge,
    lyings: Vec<Lying>,
}

/// The formats that are looked for, and how a card must be read for it.
#[derive(Clone, Debug)]
pub struct Known {
    candidates: Vec<Candidate>,
    others: Vec<String>,
    wide: CardFormat,
    limits: Limits,
    samples: u8,
    slack_mm: f64,
}

impl Known {
    /// These formats, of which those are looked for that have the commonest grid
    /// and that this rig's light bar is long enough for. None if there is none.
    #[must_use]
    pub fn new(formats: &[CardFormat], rig: &RigFile) -> Option<Known> {
        let alike = |one: &&CardFormat| formats.iter().filter(|other| on_grid(one, other)).count();
        // of several that are equally common, the first
        let grid = formats.iter().rev().max_by_key(alike)?;
        let told = rig.settings(grid);
        let (on, off): (Vec<_>, Vec<_>) = formats.iter().partition(|other| on_grid(grid, other));
        let strokes = on.iter().map(|format| format.strokes()).max()?;
        let samples = told.samples_per_row;
        let lines = (usize::from(strokes) + 2) * usize::from(samples);
        let room = u8::try_from(SAMPLES_HELD / lines).unwrap_or(MOST_HOLES);
        let channels = room.min(rig.channels());
        let (on, wider): (Vec<_>, Vec<_>) = on
            .into_iter()
            .partition(|format| format.holes_per_row() <= channels);
        let candidates: Vec<Candidate> = on
            .iter()
            .map(|format| Candidate {
                judge: Judge::new(&RigFile::geometry(format), &rig.limits(), samples),
                lyings: Lying::both(format),
                format: (*format).clone(),
            })
            .collect();
        let longest = on.iter().max_by_key(|format| format.strokes())?;
        let others = off.into_iter().chain(wider);
        Some(Known {
            wide: wide(longest, strokes, channels),
            others: others.map(|format| format.name().to_string()).collect(),
            candidates,
            limits: rig.limits(),
            samples,
            slack_mm: f64::from(told.length_slack_um) / 1000.0,
        })
    }

    /// Formats that cannot be recognised by such a reading.
    #[must_use]
    pub fn not_looked_for(&self) -> &[String] {
        &self.others
    }

    /// What stands for the unknown format while a card is read: every channel, and
    /// the strokes of the longest.
    #[must_use]
    pub fn wide(&self) -> &CardFormat {
        &self.wide
    }

    /// What the unit is told, so that it takes a card of any of the formats.
    #[must_use]
    pub fn settings(&self, rig: &RigFile) -> Settings {
        let lengths = || {
            self.candidates
                .iter()
                .map(|one| one.format.card_length_mm())
        };
        let longest = lengths().fold(0.0, f64::max);
        let shortest = lengths().fold(longest, f64::min);
        // a unit looks for the trailing edge from half the nominal length on
        let nominal = (shortest + longest).min(3.0 * (shortest - self.slack_mm).max(1.0)) / 2.0;
        let um = |mm: f64| (mm * 1000.0).round() as u32;
        Settings {
            card_length_um: um(nominal),
            length_slack_um: um(longest - nominal + self.slack_mm),
            ..rig.settings(&self.wide)
        }
    }

    /// Whether such a reading can be measured as a card of any of the formats:
    /// good, or unread.
    #[must_use]
    pub fn readable(&self, reading: &Reading) -> Report {
        let length_um = (reading.ended.length_um > 0).then_some(reading.ended.length_um);
        Report::of_reading(length_um, self.unread(reading))
    }

    fn unread(&self, reading: &Reading) -> Option<UnreadReason> {
        let sheet = match Sheet::new(self, reading) {
            Ok(sheet) => sheet,
            Err(reason) => return Some(reason),
        };
        let likely = self.candidates.iter().filter(|one| sheet.size(one).is_ok());
        let mut reasons = Vec::new();
        for candidate in likely {
            let as_is = candidate.lyings.get(..1).unwrap_or_default();
            reasons.push(sheet.look(candidate, as_is).err()?);
        }
        reasons.first().copied()
    }

    /// The format of the cards that were read so.
    ///
    /// # Errors
    /// As [`Unrecognised`] says; more cards may help.
    pub fn recognise(&self, readings: &[Reading]) -> Result<Recognised, Unrecognised> {
        let mut unread = "there was none".to_string();
        let mut cards = Vec::new();
        for reading in readings {
            match Sheet::new(self, reading) {
                Ok(sheet) => cards.push(self.standings(&sheet)),
                Err(reason) => unread = reason.to_string(),
            }
        }
        if cards.is_empty() {
            return Err(Unrecognised::Unread(unread));
        }
        // a card that fits nothing rules nothing out: it may be torn
        let fits = |standings: &Vec<Standing>| standings.iter().any(Standing::fits);
        let telling: Vec<&Vec<Standing>> = cards.iter().filter(|card| fits(card)).collect();
        let counted = if telling.is_empty() {
            cards.iter().collect()
        } else {
            telling
        };
        self.verdict(&counted)
    }

    fn standings(&self, sheet: &Sheet<'_>) -> Vec<Standing> {
        let candidates = self.candidates.iter();
        candidates.map(|one| sheet.standing(one)).collect()
    }

    /// What several cards say together.
    fn verdict(&self, cards: &[&Vec<Standing>]) -> Result<Recognised, Unrecognised> {
        let of = |at: usize| cards.iter().filter_map(move |card| card.get(at));
        let numbered = || self.candidates.iter().enumerate();
        let left: Vec<(usize, &Candidate)> = numbered()
            .filter(|(at, _)| !of(*at).any(Standing::is_out))
            .collect();
        match left.as_slice() {
            [] => Err(Unrecognised::Nothing(self.reasons(cards))),
            [(at, one)] => {
                let name = || one.format.name().to_string();
                if let Some(Standing::Fits(tells)) = of(*at).find(|standing| standing.fits()) {
                    return Ok(Recognised {
                        format: one.format.clone(),
                        tells: tells.clone(),
                    });
                }
                let why = of(*at).find_map(Standing::against).unwrap_or_default();
                Err(Unrecognised::Unsure { name: name(), why })
            }
            several => {
                let name = |(_, one): &(usize, &Candidate)| one.format.name().to_string();
                Err(Unrecognised::Several(several.iter().map(name).collect()))
            }
        }
    }

    /// What speaks against the formats that come nearest, and the others' names.
    fn reasons(&self, cards: &[&Vec<Standing>]) -> String {
        let nearness = |at: usize| {
            let standings = cards.iter().filter_map(|card| card.get(at));
            standings.map(Standing::nearness).max().unwrap_or(0)
        };
        let mut order: Vec<usize> = (0..self.candidates.len()).collect();
        order.sort_by_key(|at| std::cmp::Reverse(nearness(*at)));
        let tell = |(place, at): (usize, &usize)| {
            let name = self.candidates.get(*at)?.format.name();
            let mut standings = cards.iter().filter_map(|card| card.get(*at));
            let why = standings.find_map(Standing::against).unwrap_or_default();
            Some(match place < REASONS {
                true => format!("{name}: {why}"),
                false => name.to_string(),
            })
        };
        let words: Vec<String> = order.iter().enumerate().filter_map(tell).collect();
        words.join("; ")
    }
}

/// Whether the holes of both lie on one grid, as far as their rows go.
fn on_grid(one: &CardFormat, other: &CardFormat) -> bool {
    let strokes = f64::from(one.strokes().max(other.strokes()));
    let holes = f64::from(one.holes_per_row().max(other.holes_per_row()));
    let along = (one.first_stroke_mm() - other.first_stroke_mm()).abs()
        + strokes * (one.row_pitch_mm() - other.row_pitch_mm()).abs();
    let across = holes * (one.needle_pitch_mm() - other.needle_pitch_mm()).abs();
    along <= SAME_MM && across <= SAME_MM
}

/// A card of which nothing is known but that it is no longer and no wider.
fn wide(longest: &CardFormat, strokes: u16, channels: u8) -> CardFormat {
    let nothing = Step {
        work: Work::Nothing,
        peg: false,
    };
    CardFormat {
        name: "unknown".to_string(),
        title: "a card of unknown format".to_string(),
        file: None,
        holes_per_row: channels,
        needles: u32::from(longest.rows()) * u32::from(channels),
        spare_row: None,
        lace_holes: Row::BLANK,
        steps: vec![nothing; usize::from(strokes)],
        ..longest.clone()
    }
}

/// The part of a reading that a reading of this format would have been: its
/// channels, its lines. One that is no larger is left as it is.
#[must_use]
pub fn cropped(mut reading: Reading, format: &CardFormat) -> Reading {
    let (have, want) = (usize::from(reading.holes), format.holes_per_row());
    let lines = (usize::from(format.strokes()) + 2) * usize::from(reading.samples_per_row);
    let taken = usize::from(reading.ended.lines);
    if have == 0 || taken * have != reading.samples.len() {
        // it is not whole, and the judge says so
        return reading;
    }
    if have > usize::from(want) {
        let line = |line: &[u8]| line.iter().copied().take(usize::from(want)).collect();
        let kept: Vec<Vec<u8>> = reading.samples.chunks_exact(have).map(line).collect();
        reading.samples = kept.concat();
        reading.holes = want;
    }
    if taken > lines {
        reading.samples.truncate(lines * usize::from(reading.holes));
        reading.ended.lines = u16::try_from(lines).unwrap_or(u16::MAX);
    }
    reading
}
