//! What is no calibration. Enters: reports and measures. Leaves: nothing, or why
//! they are refused, where, and what to do.

use super::Calibration;
use crate::judge::{Geometry, HoleFault, Judged, Limits, Reading, Report, UnreadReason, Verdict};

/// Fewest levels between dark and open: twice what a job makes do with, as a lamp
/// ages (common practice, no source).
const LEAST_LIGHT: u8 = 64;

/// Most light with the lamp off, in levels (common practice, no source).
const MOST_DARK: u8 = 64;

/// Most noise of a level, in thousandths of the open light: half of what the judge
/// refuses to read by, as it grows when the lamp ages.
const MOST_NOISE_PERMILLE: f64 = 5.0;

/// How far a punch's holes may be from their size and place, in micrometres: half of
/// the way to where cards fail (common practice, no source).
const MOST_OFF_UM: i32 = 150;

/// A blank card with holes in more than one place in so many is the full one; a
/// full one that lacks so many is the blank one.
const OTHER_CARD: usize = 2;

/// Holes named one by one.
const NAMED: usize = 4;

/// Why nothing was stored.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// The first card is the second.
    #[error(
        "the first card has nearly all holes: the two cards are exchanged; lay the blank card on top, the full one under it, and calibrate again"
    )]
    FullFirst,
    /// The second card is blank too.
    #[error(
        "the second card has hardly a hole: the two cards are exchanged or both are blank; lay a blank card on top and the full one under it, or give --cut to have the full one cut here"
    )]
    BlankSecond,
    /// Holes in the blank card.
    #[error(
        "the blank card lets light through at {0}: take a card without holes, or clean the reader, and calibrate again"
    )]
    Holes(String),
    /// Holes of the full card that are not there or not whole.
    #[error(
        "the full card is not fully cut: {0}; see to those punches (a broken or blunt punch, a lock that does not catch, a chad that hangs), and calibrate again"
    )]
    NotFull(String),
    /// The feed and the punches do not agree.
    #[error(
        "the {card} card is not where it should be: {found}; see to the feed (rollers, guides, steps a millimetre in the rig file), and that the cards are of this format"
    )]
    Astray {
        /// Which.
        card: &'static str,
        /// What was found.
        found: String,
    },
    /// A card that could not be read.
    #[error("the {card} card cannot be read: {reason}")]
    Unread {
        /// Which.
        card: &'static str,
        /// Why.
        reason: UnreadReason,
    },
    /// Work on a card ended early.
    #[error("work on the {0} card ended before the card did; calibrate again")]
    Interrupted(&'static str),
    /// Too little light.
    #[error(
        "channel {hole} has only {levels} levels between dark and open: clean it, or see to the lamp, before the rig is calibrated"
    )]
    Dim {
        /// The channel.
        hole: u8,
        /// Levels.
        levels: i16,
    },
    /// Light with the lamp off.
    #[error("channel {hole} reads {level} with the lamp off: shade the reader from other light")]
    Stray {
        /// The channel.
        hole: u8,
        /// Its level.
        level: u8,
    },
    /// Too much noise.
    #[error(
        "channel {hole} is noisy ({noise:.1} levels of {span}): look for a loose cable, stray light, a failing lamp"
    )]
    Noisy {
        /// The channel.
        hole: u8,
        /// Standard deviation in levels.
        noise: f64,
        /// Levels between dark and open.
        span: u8,
    },
    /// Holes of another size.
    #[error(
        "the holes of {} are {:.2} mm wide where the format has {:.2} mm: sharpen or change it, or choose the right format", punch(*.hole), mm(*.um), mm(*.nominal_um)
    )]
    Size {
        /// The punch.
        hole: u8,
        /// Their diameter.
        um: i32,
        /// What it should be.
        nominal_um: i32,
    },
    /// Holes in another place.
    #[error(
        "the holes of {} lie {:+.2} mm from their place along the feed: see to its guide, or to its channel of the light bar", punch(*.hole), mm(*.um)
    )]
    Place {
        /// The punch.
        hole: u8,
        /// How far.
        um: i32,
    },
}

fn punch(hole: u8) -> String {
    match hole {
        0 => "the peg punch".to_string(),
        hole => format!("punch {hole}"),
    }
}

fn mm(um: i32) -> f64 {
    f64::from(um) / 1000.0
}

/// Whether this is a blank card, well read.
pub(super) fn blank(
    report: &Report,
    reading: &Reading,
    geometry: &Geometry,
    limits: &Limits,
) -> Result<(), Refusal> {
    let lit = report.cells.iter().filter(|cell| cell.judged.is_wrong());
    let lit = lit.count();
    if lit > 0 && lit > report.cells.len() / OTHER_CARD {
        return Err(Refusal::FullFirst);
    }
    match &report.verdict {
        Verdict::Good => {}
        Verdict::Faulty(faults) => return Err(Refusal::Holes(named(faults))),
        other => return Err(not_read(other, "blank", report)),
    }
    length(report, "blank", geometry, limits)?;
    (1..=geometry.holes).try_for_each(|hole| light(hole, reading))
}

/// Whether this is a full card.
pub(super) fn full(report: &Report, geometry: &Geometry, limits: &Limits) -> Result<(), Refusal> {
    let missing = |cell: &&crate::judge::Cell| cell.judged == Judged::Missing;
    let gone = report.cells.iter().filter(missing).count();
    if gone > 0 && gone > report.cells.len() / OTHER_CARD {
        return Err(Refusal::BlankSecond);
    }
    match &report.verdict {
        Verdict::Good => length(report, "full", geometry, limits),
        Verdict::Faulty(faults) => Err(Refusal::NotFull(named(faults))),
        other => Err(not_read(other, "full", report)),
    }
}

fn not_read(verdict: &Verdict, card: &'static str, report: &Report) -> Refusal {
    match verdict {
        Verdict::Unread(reason) => Refusal::Unread {
            card,
            reason: *reason,
        },
        Verdict::Interrupted { .. } => Refusal::Interrupted(card),
        _ => Refusal::Astray {
            card,
            found: report.summary.clone(),
        },
    }
}

/// A card's length is told by no verdict where the trailing edge was not seen.
fn length(
    report: &Report,
    card: &'static str,
    geometry: &Geometry,
    limits: &Limits,
) -> Result<(), Refusal> {
    let Some(um) = report.length_um else {
        let found = "its trailing edge was not seen".to_string();
        return Err(Refusal::Astray { card, found });
    };
    let off = f64::from(um) / 1000.0 - geometry.card_length_mm;
    if off.abs() <= limits.length_mm {
        return Ok(());
    }
    let found = format!("it measures {off:+.2} mm from the format's length");
    Err(Refusal::Astray { card, found })
}

fn light(hole: u8, reading: &Reading) -> Result<(), Refusal> {
    let lane = usize::from(hole) - 1;
    let (dark, open) = (reading.began.dark[lane], reading.began.open[lane]);
    if dark > MOST_DARK {
        return Err(Refusal::Stray { hole, level: dark });
    }
    if open.saturating_sub(dark) < LEAST_LIGHT {
        return Err(Refusal::Dim {
            hole,
            levels: i16::from(open) - i16::from(dark),
        });
    }
    Ok(())
}

/// Whether all that was found is within reason.
pub(super) fn found(found: &Calibration, geometry: &Geometry) -> Result<(), Refusal> {
    for channel in &found.channels {
        let span = channel.open.saturating_sub(channel.dark);
        let noise = f64::from(channel.noise_millilevels) / 1000.0;
        if noise * 1000.0 > MOST_NOISE_PERMILLE * f64::from(span) {
            return Err(Refusal::Noisy {
                hole: channel.hole,
                noise,
                span,
            });
        }
    }
    for seen in &found.punches {
        let nominal_mm = match seen.hole {
            0 => geometry.peg_diameter_mm,
            _ => geometry.hole_diameter_mm,
        };
        let nominal_um = (nominal_mm * 1000.0).round() as i32;
        if (seen.diameter_um - nominal_um).abs() > MOST_OFF_UM {
            return Err(Refusal::Size {
                hole: seen.hole,
                um: seen.diameter_um,
                nominal_um,
            });
        }
        if seen.along_um.abs() > MOST_OFF_UM {
            return Err(Refusal::Place {
                hole: seen.hole,
                um: seen.along_um,
            });
        }
    }
    Ok(())
}

fn named(faults: &[HoleFault]) -> String {
    let first = faults.iter().take(NAMED).map(ToString::to_string);
    let mut named = first.collect::<Vec<_>>().join(", ");
    if faults.len() > NAMED {
        named.push_str(&format!(" and {} more", faults.len() - NAMED));
    }
    named
}
