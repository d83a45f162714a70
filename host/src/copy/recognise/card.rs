//! One card held against one format.
//!
//! Enters: a reading, a candidate. Leaves: that it fits, that it cannot be it, or
//! that it is not sure, with the reason.

use super::edges::{Over, Shares};
use super::programme::{Lying, Tally};
use super::{Candidate, Known, cropped};
use crate::judge::{Look, Reading, UnreadReason};

/// So many things that a sound card of a format cannot have rule it out; one may
/// be damage.
const RULES_OUT: u32 = 2;

/// How much wider an old card may be than its format says, in millimetres.
const WIDER_MM: f64 = 2.0;

/// Most stretch from damp, as a share (as the judge's limit).
const STRETCH: f64 = 0.008;

/// What a card says of a format.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// Everything is in its place; what tells it.
    Fits(String),
    /// It may be it; what is in doubt.
    Unsure(String),
    /// Its size is another's.
    OtherSize(String),
    /// Its holes are another's.
    OtherHoles(String),
}

impl Standing {
    pub fn fits(&self) -> bool {
        matches!(self, Standing::Fits(_))
    }

    pub fn is_out(&self) -> bool {
        matches!(self, Standing::OtherSize(_) | Standing::OtherHoles(_))
    }

    /// What speaks against it.
    pub fn against(&self) -> Option<String> {
        match self {
            Standing::Fits(_) => None,
            Standing::Unsure(why) | Standing::OtherSize(why) | Standing::OtherHoles(why) => {
                Some(why.clone())
            }
        }
    }

    /// How much of it is right.
    pub fn nearness(&self) -> u8 {
        match self {
            Standing::OtherSize(_) => 0,
            Standing::OtherHoles(_) => 1,
            Standing::Unsure(_) => 2,
            Standing::Fits(_) => 3,
        }
    }
}

/// A card in hand.
pub(super) struct Sheet<'a> {
    known: &'a Known,
    reading: &'a Reading,
    shares: Shares,
}

impl<'a> Sheet<'a> {
    /// # Errors
    /// Why the reading is of no use.
    pub fn new(known: &'a Known, reading: &'a Reading) -> Result<Sheet<'a>, UnreadReason> {
        let (first_mm, pitch_mm) = (known.wide.first_stroke_mm(), known.wide.row_pitch_mm());
        if (reading.holes, reading.samples_per_row) != (known.wide.holes_per_row(), known.samples) {
            return Err(UnreadReason::Channels {
                channels: reading.holes,
                holes: known.wide.holes_per_row(),
            });
        }
        let shares = Shares::new(reading, first_mm, pitch_mm, &known.limits)?;
        let covered = (0..usize::from(reading.holes)).any(|at| shares.over(at) == Over::Card);
        match covered {
            true => Ok(Sheet {
                known,
                reading,
                shares,
            }),
            false => Err(UnreadReason::NoCard { permille: 1000 }),
        }
    }

    /// Whether length and width are right; true if that is sure.
    ///
    /// # Errors
    /// What is not.
    pub fn size(&self, one: &Candidate) -> Result<bool, String> {
        let format = &one.format;
        let (length, nominal) = (self.shares.length_mm, format.card_length_mm());
        if (length - nominal).abs() > self.known.slack_mm {
            return Err(format!("it is {length:.0} mm long, not {nominal:.0}"));
        }
        let holes = usize::from(format.holes_per_row());
        let pitch = format.needle_pitch_mm();
        let margin = (format.card_width_mm() - (holes as f64 - 1.0) * pitch) / 2.0;
        let mut sure = true;
        for channel in 0..usize::from(self.reading.holes) {
            let over = self.shares.over(channel);
            let beyond = (channel as f64 + 1.0 - holes as f64) * pitch;
            let off = beyond - self.known.limits.aperture_mm / 2.0 > margin + WIDER_MM;
            match over {
                Over::Nothing if channel < holes => {
                    return Err(format!("it ends before hole {}", channel + 1));
                }
                Over::Card if off => return Err(format!("it is wider than {holes} holes")),
                Over::Unclear if off || channel < holes => sure = false,
                _ => {}
            }
        }
        Ok(sure)
    }

    /// The best of the ways in which it can lie.
    ///
    /// # Errors
    /// Why it cannot be measured.
    pub fn look(&self, one: &Candidate, lyings: &[Lying]) -> Result<(Tally, bool), UnreadReason> {
        let reading = cropped(self.reading.clone(), &one.format);
        let mut looks: Vec<(&Lying, Look)> = Vec::new();
        for lying in lyings {
            // both ways round have mostly the same peg holes
            let same = looks.iter().find(|(other, _)| other.pegs == lying.pegs);
            let look = match same {
                Some((_, look)) => look.clone(),
                None => one.judge.look(&lying.pegs, &reading)?,
            };
            looks.push((lying, look));
        }
        let tallies = looks
            .iter()
            .map(|(lying, look)| (lying.tally(look), lying.end_for_end));
        tallies
            .min_by_key(|(tally, turned)| (tally.wrong(), tally.unclear(), *turned))
            .ok_or(UnreadReason::BadStrokes)
    }

    /// What the card says of this format.
    pub fn standing(&self, one: &Candidate) -> Standing {
        let sure = match self.size(one) {
            Ok(sure) => sure,
            Err(why) => return Standing::OtherSize(why),
        };
        // a card that goes on where it should end cannot be measured as this one
        let beyond = self.holes_beyond(one);
        if beyond >= RULES_OUT {
            return Standing::OtherHoles(format!("{beyond} holes lie beyond its last"));
        }
        let (tally, turned) = match self.look(one, &one.lyings) {
            Ok(found) => found,
            Err(reason) => return Standing::Unsure(reason.to_string()),
        };
        let must = tally.lace + tally.pegs;
        let wrong = tally.wrong() + beyond;
        let why = || {
            format!(
                "{} of its {must} lace and peg holes are not there, {} holes lie where it has none",
                tally.gone,
                tally.extra + beyond
            )
        };
        if wrong >= RULES_OUT {
            return Standing::OtherHoles(why());
        }
        if wrong > 0 {
            return Standing::Unsure(why());
        }
        if must == 0 || tally.unclear() * 3 > must {
            let unclear = tally.unclear();
            let why = format!("{unclear} of its {must} lace and peg holes cannot be told");
            return Standing::Unsure(why);
        }
        if tally.doubtful * 4 > tally.needles + tally.doubtful + must {
            let why = format!("{} positions of its rows cannot be told", tally.doubtful);
            return Standing::Unsure(why);
        }
        if !sure {
            return Standing::Unsure("where its edge lies cannot be told".to_string());
        }
        Standing::Fits(self.tells(one, &tally, turned))
    }

    fn holes_beyond(&self, one: &Candidate) -> u32 {
        let format = &one.format;
        let strokes = format.strokes();
        let last_peg = format.steps().iter().rposition(|step| step.peg);
        let peg_end = last_peg.map_or(0.0, |at| {
            format.peg_position_mm(at as u16) + format.peg_hole_mm() / 2.0
        });
        let needles = format.needle_hole_mm().max(format.lace_hole_mm()) / 2.0;
        let end = (format.position_mm(strokes.saturating_sub(1)) + needles).max(peg_end);
        let end = end * (1.0 + STRETCH) + self.known.limits.aperture_mm / 2.0;
        self.shares
            .holes_beyond(usize::from(format.holes_per_row()), end)
    }

    fn tells(&self, one: &Candidate, tally: &Tally, turned: bool) -> String {
        format!(
            "{} holes a row, {:.0} mm long, {} of {} lace and peg holes in place{}",
            one.format.holes_per_row(),
            self.shares.length_mm,
            tally.there,
            tally.lace + tally.pegs,
            if turned { ", lying end for end" } else { "" }
        )
    }
}
