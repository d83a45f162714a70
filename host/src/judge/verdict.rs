//! The verdict, its faults, and the words and remedy for each.

use serde::{Deserialize, Serialize};
use std::fmt;

/// What became of one card. Only [`Verdict::Good`] makes a card good.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// Read, and every position as it should be.
    Good,
    /// Read, in register, but these positions are wrong. Never empty.
    Faulty(Vec<HoleFault>),
    /// Read, but rows or the whole card lie where they should not.
    OutOfRegister(OutOfRegister),
    /// Cutting or reading ended before the card did.
    Interrupted {
        /// Strokes begun on it.
        strokes: u16,
    },
    /// The reading does not allow a verdict.
    Unread(UnreadReason),
}

/// One wrong position.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoleFault {
    /// The stroke that cuts this position, from 0. A peg hole belongs to the
    /// stroke of its punch, not to the stroke beside which it lies.
    pub stroke: u16,
    /// The needle row, from 1; none for lace, peg and blank strokes.
    pub row: Option<u16>,
    /// The hole, from 1; 0 is the peg hole.
    pub hole: u8,
    /// What is wrong.
    pub kind: FaultKind,
    /// Light found, in thousandths of a whole hole's.
    pub open_permille: u16,
    /// Centre of that light from its place along the feed, in micrometres,
    /// positive towards the card's end; 0 where there is too little to tell.
    pub offset_um: i32,
}

/// What is wrong with a position.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum FaultKind {
    /// A hole should be here and is not.
    Missing,
    /// A hole should be here and is not wholly cut, not wholly clear, or not in
    /// its place.
    Partial,
    /// Card should be solid here and lets light through.
    Extra,
}

/// How a card is out of register.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OutOfRegister {
    /// The largest displacement of a row, in micrometres with its sign.
    pub worst_um: i32,
    /// Strokes displaced by more than the limit, in order.
    pub strokes: Vec<u16>,
    /// Measured less nominal length, in micrometres, if it is beyond the limit.
    pub length_off_um: Option<i32>,
    /// Shift of the whole card, in micrometres, if it is beyond the limit.
    pub offset_um: Option<i32>,
    /// Stretch of the whole card, in millionths, if it is beyond the limit.
    pub stretch_ppm: Option<i32>,
    /// Positions that are wrong as well.
    pub faults: Vec<HoleFault>,
}

/// Why a reading allows no verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
pub enum UnreadReason {
    /// The geometry or the limits cannot be right.
    #[error(
        "the card format's measures or the limits cannot be right; correct the card format file"
    )]
    BadGeometry,
    /// No strokes, too many, or strokes with holes the card has not got.
    #[error("the strokes do not fit the card format; make the deck anew for this format")]
    BadStrokes,
    /// Beginning and end are of different cards.
    #[error("beginning and end of the reading name different cards; read the card again")]
    Mixed,
    /// The reading has another number of channels than the card has holes.
    #[error(
        "the reading has {channels} channels, the card {holes} holes a row; configure the rig for this card format"
    )]
    Channels {
        /// Channels in the reading.
        channels: u8,
        /// Holes in a row of the card.
        holes: u8,
    },
    /// Too few or too many lines in a row pitch to judge by.
    #[error(
        "{samples_per_row} lines a row cannot be judged; set samples_per_row to an even number from 6 to 64"
    )]
    SamplesPerRow {
        /// As the reading says.
        samples_per_row: u8,
    },
    /// Lines are missing, or there are too many.
    #[error("{got} of {want} lines arrived; read the card again")]
    Lines {
        /// Lines here.
        got: u32,
        /// Lines of a whole card.
        want: u32,
    },
    /// A channel has too little light between dark and open.
    #[error(
        "channel {hole} has only {levels} levels between dark and open; clean or replace the lamp or the channel, then read again"
    )]
    TooLittleLight {
        /// The channel, from 1.
        hole: u8,
        /// Open less dark level; negative if dark is brighter.
        levels: i16,
    },
    /// A channel's open level is at the top of its range.
    #[error(
        "channel {hole} is at the top of its range with no card; turn the lamp down, then read again"
    )]
    Clipped {
        /// The channel, from 1.
        hole: u8,
    },
    /// Light far above the open level or far below the dark level.
    #[error(
        "channel {hole} shows light that no card can cause at line {line}; shade the reader, check the lamp, then read again"
    )]
    Unsteady {
        /// The channel, from 1.
        hole: u8,
        /// The line, from 0.
        line: u32,
    },
    /// Solid card lets through too little light.
    #[error(
        "solid card near stroke {stroke} lets through {permille} thousandths of the light: two cards together, or a failing lamp; part the cards and read again"
    )]
    TwoCards {
        /// Light through solid card, in thousandths of the open light.
        permille: u16,
        /// Stroke near which it was seen, from 0.
        stroke: u16,
    },
    /// The margin lets through too much light.
    #[error(
        "the card's margin lets through {permille} thousandths of the light: no card, or not card stock; look into the rig and read again"
    )]
    NoCard {
        /// Light through the margin, in thousandths of the open light.
        permille: u16,
    },
    /// So much noise that a chad could hide in it.
    #[error(
        "channel {hole} is too noisy to judge by ({permille} thousandths of the light): look for stray light, a loose cable, a failing lamp, then read again"
    )]
    TooNoisy {
        /// The channel, from 1.
        hole: u8,
        /// Noise of one line, in thousandths of the open light.
        permille: u16,
    },
    /// Holes are dim all together, and solid card is not.
    #[error(
        "near stroke {stroke} all holes have {permille} thousandths of their light, and solid card does not bear that out: blunt punches, or a lamp that wavers; look at both, then read again"
    )]
    Dim {
        /// The first stroke of the stretch, from 0.
        stroke: u16,
        /// Light of its holes, in thousandths of a whole hole's.
        permille: u16,
    },
    /// Holes pass too far beside the apertures.
    #[error(
        "the card lies askew: its holes pass up to {:.1} mm beside the light sensors ({:.1} mm of skew a metre); set the guides, lay it in straight and read again",
        f64::from(*across_um) / 1000.0, f64::from(*skew_urad) / 1000.0
    )]
    Askew {
        /// Furthest beside, in micrometres.
        across_um: i32,
        /// Skew, in millionths of a radian.
        skew_urad: i32,
    },
    /// Positions that cannot be told.
    #[error(
        "{} cannot be told{}: clean the reader and read the card again",
        place(*.stroke, *.hole), others(*.more)
    )]
    Doubtful {
        /// The first one's stroke, from 0.
        stroke: u16,
        /// Its hole, from 1; 0 is the peg hole.
        hole: u8,
        /// How many more there are.
        more: u16,
    },
    /// No hole and no length tells whether the card slipped.
    #[error(
        "no hole from stroke {first} to stroke {last} and no measured length: a slip there would go unseen; read again"
    )]
    RegisterUnknown {
        /// First stroke of the stretch, from 0.
        first: u16,
        /// Last stroke of the stretch.
        last: u16,
    },
}

fn place(stroke: u16, hole: u8) -> String {
    match hole {
        0 => format!("the peg hole of stroke {stroke}"),
        _ => format!("hole {hole} at stroke {stroke}"),
    }
}

fn others(more: u16) -> String {
    match more {
        0 => String::new(),
        more => format!(", nor can {more} more"),
    }
}

impl Verdict {
    /// Whether the card is good.
    #[must_use]
    pub fn is_good(&self) -> bool {
        matches!(self, Verdict::Good)
    }

    /// The verdict in a word or three: good, missing, partial, extra, out of register,
    /// interrupted or unread. A card with several kinds of faults is called by the
    /// strictest remedy's.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Verdict::Good => "good",
            Verdict::Faulty(faults) if faults.iter().any(|f| f.kind == FaultKind::Missing) => {
                "missing"
            }
            Verdict::Faulty(faults) if faults.iter().any(|f| f.kind == FaultKind::Partial) => {
                "partial"
            }
            Verdict::Faulty(_) => "extra",
            Verdict::OutOfRegister(_) => "out of register",
            Verdict::Interrupted { .. } => "interrupted",
            Verdict::Unread(_) => "unread",
        }
    }

    /// What a person does about it; empty for a good card.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self.word() {
            "good" => "",
            "missing" => "cut the missing holes into the card, or cut the card again",
            "partial" => "clear or cut the holes that are not whole, or cut the card again",
            "extra" => "paste over the extra holes, or cut the card again",
            "out of register" => "cut the card again; if it recurs, look to the feed",
            "interrupted" => "cut the card again on fresh stock",
            _ => "read the card again before it is trusted",
        }
    }

    /// The wrong positions, as far as the card was judged.
    #[must_use]
    pub fn faults(&self) -> &[HoleFault] {
        match self {
            Verdict::Faulty(faults) | Verdict::OutOfRegister(OutOfRegister { faults, .. }) => {
                faults
            }
            Verdict::Good | Verdict::Interrupted { .. } | Verdict::Unread(_) => &[],
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            FaultKind::Missing => "missing",
            FaultKind::Partial => "partial",
            FaultKind::Extra => "extra",
        })
    }
}

impl fmt::Display for HoleFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ", self.kind)?;
        match self.hole {
            0 => f.write_str("peg hole")?,
            hole => write!(f, "hole {hole}")?,
        }
        match self.row {
            Some(row) => write!(f, " of row {row}")?,
            None => write!(f, " at stroke {}", self.stroke)?,
        }
        write!(f, " ({} % open)", (u32::from(self.open_permille) + 5) / 10)
    }
}
