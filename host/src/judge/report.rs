//! The verdict with the measurements behind it.

use super::verdict::{HoleFault, OutOfRegister, UnreadReason, Verdict};
use serde::{Deserialize, Serialize};

/// What was found at one position of the card.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// The stroke that cuts it, from 0.
    pub stroke: u16,
    /// The hole, from 1; 0 is the peg hole.
    pub hole: u8,
    /// Whether a hole should be here.
    pub required: bool,
    /// How it was judged.
    pub judged: Judged,
    /// How sure that is, 0 to 1, where noise and the usual differences of
    /// blocks and paper are all that is to be feared.
    pub sure: f32,
    /// Open area, in thousandths of a whole hole's (may pass 1000 by noise).
    pub open_permille: u16,
    /// Centre of that light from its nominal place along the feed, in
    /// micrometres, nothing taken out; none where there is too little light.
    pub offset_um: Option<i32>,
    /// The same across the feed: measured of a peg hole, which several channels
    /// see; of others what the card's stretch and skew make it.
    pub across_um: Option<i32>,
    /// Diameter of the hole, in micrometres; none where there is too little
    /// light.
    pub diameter_um: Option<i32>,
}

/// How a position was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Judged {
    /// As it should be.
    Right,
    /// A required hole is not there at all.
    Missing,
    /// A required hole is there, but not wholly or not in its place: a hanging
    /// chad, a half-cut hole, a tear.
    Partial,
    /// Light where card should be solid.
    Extra,
    /// Neither right nor wrong is sure enough.
    Doubtful,
    /// It lies within a peg hole and cannot be told apart.
    WithinPeg,
}

impl Judged {
    /// Whether it is surely not as it should be.
    #[must_use]
    pub fn is_wrong(self) -> bool {
        matches!(self, Judged::Missing | Judged::Partial | Judged::Extra)
    }
}

/// Where one stroke's holes lie along the feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowRegister {
    /// The stroke, from 0.
    pub stroke: u16,
    /// From its place along the feed, in micrometres, after the fit.
    pub offset_um: i32,
    /// Whole holes it was measured by.
    pub holes: u8,
}

/// All that was found out about one card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// What became of it.
    pub verdict: Verdict,
    /// Every position: stroke by stroke, holes 1 to the last, then the peg hole
    /// where the stroke has one. Empty if the reading could not be measured.
    pub cells: Vec<Cell>,
    /// Every stroke with a measurable hole, in order.
    pub register: Vec<RowRegister>,
    /// Shift taken out by the fit, in micrometres.
    pub offset_um: i32,
    /// Stretch taken out by the fit, in millionths.
    pub stretch_ppm: i32,
    /// Skew taken out by the fit, in millionths of a radian.
    pub skew_urad: i32,
    /// Noise of the light bar, in levels.
    pub noise_levels: f32,
    /// Measured length, in micrometres; none if the trailing edge was not seen.
    pub length_um: Option<u32>,
    /// Light through solid card, in thousandths of the open light.
    pub solid_permille: Option<u16>,
    /// What was found, in one sentence.
    pub summary: String,
    /// What a person does about it; empty for a good card.
    pub remedy: String,
}

/// Faults named one by one in a summary; the others are counted.
const FAULTS_NAMED: usize = 6;
/// More wrong positions than one in this many, and it is likely another card.
const OTHER_CARD: usize = 12;

/// Whether so many of a card's positions are wrong that it is likely another card.
pub(crate) fn likely_another(wrong: usize, positions: usize) -> bool {
    wrong > positions / OTHER_CARD
}

/// What to do about such a card.
const SEE_WHICH: &str = "see which card it is (cardwright deck which) and lay the right one in; \
                         cut it again only if it is this card";

impl Report {
    /// A report with nothing measured yet.
    pub(super) fn new(length_um: Option<u32>) -> Report {
        Report {
            verdict: Verdict::Good,
            cells: Vec::new(),
            register: Vec::new(),
            offset_um: 0,
            stretch_ppm: 0,
            skew_urad: 0,
            noise_levels: 0.0,
            length_um,
            solid_permille: None,
            summary: String::new(),
            remedy: String::new(),
        }
    }

    /// Of a card that no deck is known of: good, or unread for this reason.
    pub(crate) fn of_reading(length_um: Option<u32>, unread: Option<UnreadReason>) -> Report {
        Report::new(length_um).close(unread.map_or(Verdict::Good, Verdict::Unread))
    }

    /// The report with its verdict and the words for it.
    pub(super) fn close(mut self, verdict: Verdict) -> Report {
        self.remedy = match &verdict {
            Verdict::Faulty(faults) if likely_another(faults.len(), self.cells.len()) => SEE_WHICH,
            verdict => verdict.remedy(),
        }
        .to_owned();
        self.summary = match &verdict {
            Verdict::Good => "every position is right".to_owned(),
            Verdict::Faulty(faults) => self.tell_faults(faults),
            Verdict::OutOfRegister(out) => self.tell_register(out),
            Verdict::Interrupted { strokes } => {
                format!("work on the card ended after {strokes} strokes")
            }
            Verdict::Unread(reason) => reason.to_string(),
        };
        self.verdict = verdict;
        self
    }

    fn tell_faults(&self, faults: &[HoleFault]) -> String {
        let named: Vec<String> = faults
            .iter()
            .take(FAULTS_NAMED)
            .map(ToString::to_string)
            .collect();
        let mut told = named.join(", ");
        if faults.len() > FAULTS_NAMED {
            told.push_str(&format!(" and {} more", faults.len() - FAULTS_NAMED));
        }
        if likely_another(faults.len(), self.cells.len()) {
            told.push_str("; so much is wrong that it may be another card, or this one turned");
        }
        told
    }

    fn tell_register(&self, out: &OutOfRegister) -> String {
        let mut told = Vec::new();
        if let (Some(first), Some(last)) = (out.strokes.first(), out.strokes.last()) {
            let worst = mm(out.worst_um);
            told.push(match out.strokes.len() {
                1 => format!("stroke {first} lies {worst} mm from its place"),
                n => format!(
                    "{n} strokes from {first} to {last} lie up to {worst} mm from their places"
                ),
            });
        }
        if let Some(off) = out.length_off_um {
            told.push(format!(
                "the card measures {} mm from its nominal length",
                mm(off)
            ));
        }
        if let Some(offset) = out.offset_um {
            told.push(format!("the whole card is shifted by {} mm", mm(offset)));
        }
        if let Some(stretch) = out.stretch_ppm {
            told.push(format!(
                "the card is stretched by {:+.2} %",
                f64::from(stretch) / 1e4
            ));
        }
        if !out.faults.is_empty() {
            told.push(self.tell_faults(&out.faults));
        }
        told.join("; ")
    }
}

/// Micrometres as millimetres with a sign.
fn mm(micrometres: i32) -> String {
    format!("{:+.2}", f64::from(micrometres) / 1000.0)
}
