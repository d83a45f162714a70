//! Cards cut with known flaws, without the machine that would cut them.
//!
//! Enters: the strokes a card is meant to have, how it lay when it was cut and
//! lies when it is read, what each punch is like, and flaws: each by its place,
//! or by chance. Leaves: the card, and a list of everything that is wrong with
//! its holes. A flaw that cannot be (a hole missing where none was meant to be,
//! a place the card does not have) is left out, of the list too.

use crate::chance::{Chance, Fault};
use crate::geometry::Flap;
use crate::settings::WorldSettings;
use crate::stock::{Card, Hole, Patch};
use cardwright_protocol::Stroke;
use cardwright_protocol::card::MOST_HOLES;
use std::f64::consts::{PI, TAU};

/// The peg punch's number.
pub const PEG: u8 = MOST_HOLES + 1;

/// Needle punches and the peg punch.
const PUNCHES: usize = PEG as usize;

/// How a card lies in the feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lay {
    /// Present length over dry length.
    pub stretch: f64,
    /// How far it lies turned, in radians.
    pub skew: f64,
}

impl Default for Lay {
    fn default() -> Lay {
        Lay {
            stretch: 1.0,
            skew: 0.0,
        }
    }
}

/// A punch that is not quite as it should be.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Punch {
    /// How much narrower its holes are than they should be, in millimetres.
    pub narrower_mm: f64,
    /// How far behind its place it stands.
    pub along_mm: f64,
    /// How far it stands to the side of its place.
    pub across_mm: f64,
    /// Share of each of its holes that it tears instead of cutting, which
    /// hangs on behind.
    pub torn: f64,
}

/// What can be wrong with a hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Flaw {
    /// It is not there.
    Missing,
    /// It is there and should not be.
    Extra,
    /// A chad hangs in it.
    Chad {
        /// Share of the hole that it covers.
        share: f64,
        /// Where it hangs, in radians from the feed's direction.
        direction: f64,
    },
    /// The punch came only part of the way through.
    HalfCut {
        /// Share of the hole that is left covered.
        share: f64,
        /// Whether that is the side of the card's leading edge.
        leading: bool,
    },
    /// Its punch is blunt.
    Blunt {
        /// How much narrower the hole is.
        narrower_mm: f64,
        /// Share of it that is torn and left covered.
        torn: f64,
    },
}

/// A flaw in its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Stroke, from 0.
    pub stroke: u16,
    /// Hole, from 1; [`PEG`] for the peg hole.
    pub hole: u8,
    /// What is wrong.
    pub flaw: Flaw,
}

/// How often each flaw comes by chance; one trial a hole, or for extra holes
/// one a place without one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rates {
    /// Holes that are not there.
    pub missing: f64,
    /// Holes where none should be.
    pub extra: f64,
    /// Chads that hang.
    pub chad: f64,
    /// Holes cut in part.
    pub half_cut: f64,
    /// Least and most share covered by a chad or left uncut.
    pub covered: (f64, f64),
}

/// What one card is like.
#[derive(Clone, Debug, PartialEq)]
pub struct Make {
    /// How it lay when it was cut.
    pub cut: Lay,
    /// How it lies when it is read.
    pub read: Lay,
    /// How far behind its place the first stroke was cut, and all others with
    /// it, in millimetres.
    pub cut_offset_mm: f64,
    /// Light through its paper, share of the open light.
    pub paper: f64,
    /// Patches of thicker paper.
    pub patches: Vec<Patch>,
    /// Flaws in their places. Where there are two for one hole, the first is
    /// taken.
    pub flaws: Vec<Placed>,
}

impl Default for Make {
    fn default() -> Make {
        Make {
            cut: Lay::default(),
            read: Lay::default(),
            cut_offset_mm: 0.0,
            paper: 0.06,
            patches: Vec::new(),
            flaws: Vec::new(),
        }
    }
}

/// A card and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Made {
    /// The card.
    pub card: Card,
    /// What is wrong, in the order of strokes and holes.
    pub wrong: Vec<Placed>,
}

/// Makes cards.
#[derive(Debug)]
pub struct CardMaker {
    machine: WorldSettings,
    first_mm: f64,
    punches: [Punch; PUNCHES],
    /// What each punch leaves torn: worked out once for all its holes.
    torn: [Option<Flap>; PUNCHES],
    rates: Rates,
    missing: Chance,
    extra: Chance,
    chad: Chance,
    half_cut: Chance,
}

impl CardMaker {
    /// A maker with sharp punches and no flaws by chance. The first stroke's
    /// holes lie `first_mm` behind the leading edge.
    #[must_use]
    pub fn new(machine: WorldSettings, first_mm: f64) -> CardMaker {
        let none = || Chance::new(Fault::default(), 0);
        CardMaker {
            machine,
            first_mm,
            punches: [Punch::default(); PUNCHES],
            torn: [None; PUNCHES],
            rates: Rates::default(),
            missing: none(),
            extra: none(),
            chad: none(),
            half_cut: none(),
        }
    }

    /// Flaws come by chance from now on.
    pub fn chances(&mut self, rates: Rates, seed: u64) {
        let chance = |rate, stream| Chance::new(Fault::new(rate, seed), stream);
        self.missing = chance(rates.missing, 0);
        self.extra = chance(rates.extra, 1);
        self.chad = chance(rates.chad, 2);
        self.half_cut = chance(rates.half_cut, 3);
        self.rates = rates;
    }

    /// Puts in another punch for hole `hole` (from 1, or [`PEG`]). There is no
    /// other hole: nothing is done then.
    pub fn set_punch(&mut self, hole: u8, punch: Punch) {
        let r = self.sharp_mm(hole) / 2.0 - punch.narrower_mm / 2.0;
        let at = usize::from(hole).wrapping_sub(1);
        if let (Some(old), Some(torn)) = (self.punches.get_mut(at), self.torn.get_mut(at)) {
            *old = punch;
            *torn = (punch.torn > 0.0).then(|| Flap::covering(punch.torn, r, 0.0));
        }
    }

    /// Diameter of the holes of a sharp punch.
    fn sharp_mm(&self, hole: u8) -> f64 {
        if hole == PEG {
            self.machine.peg_diameter_mm
        } else {
            self.machine.needle_diameter_mm
        }
    }

    /// The next card.
    pub fn make(&mut self, strokes: &[Stroke], make: &Make) -> Made {
        let stock = &self.machine.stock;
        let mut card = Card::plain(stock.length_mm, stock.width_mm);
        card.stretch = make.cut.stretch;
        card.skew = make.cut.skew;
        card.paper = make.paper;
        card.patches.clone_from(&make.patches);
        card.holes.reserve(strokes.len() * 5);
        let mut wrong = Vec::new();
        for (stroke, meant) in (0u16..).zip(strokes) {
            for hole in (1..=self.machine.holes).chain([PEG]) {
                let wanted = if hole == PEG {
                    meant.peg()
                } else {
                    meant.punches().has(hole)
                };
                let flaw = make
                    .flaws
                    .iter()
                    .find(|flaw| flaw.stroke == stroke && flaw.hole == hole)
                    .map(|flaw| flaw.flaw)
                    .filter(|flaw| wanted != (*flaw == Flaw::Extra))
                    .or_else(|| self.by_chance(hole, wanted))
                    .or_else(|| self.blunt(hole).filter(|_| wanted));
                if !wanted && flaw != Some(Flaw::Extra) {
                    continue;
                }
                let on_card = self.punch(&mut card, stroke, hole, flaw, make.cut_offset_mm);
                wrong.extend(
                    flaw.filter(|_| on_card)
                        .map(|flaw| Placed { stroke, hole, flaw }),
                );
            }
        }
        card.stretch = make.read.stretch;
        card.skew = make.read.skew;
        Made { card, wrong }
    }

    /// What chance has for this place. The peg hole is spared: its punch has
    /// no lock that could fail alone.
    fn by_chance(&mut self, hole: u8, wanted: bool) -> Option<Flaw> {
        if hole == PEG {
            return None;
        }
        let (low, high) = self.rates.covered;
        if !wanted {
            return self.extra.hit().then_some(Flaw::Extra);
        }
        // Each is asked, so that one rate never disturbs another's places.
        let (missing, chad, half) = (self.missing.hit(), self.chad.hit(), self.half_cut.hit());
        if missing {
            Some(Flaw::Missing)
        } else if chad {
            let share = self.chad.amount(low, high);
            let direction = self.chad.amount(0.0, TAU);
            Some(Flaw::Chad { share, direction })
        } else if half {
            let share = self.half_cut.amount(low, high);
            let leading = self.half_cut.below(2) == 1;
            Some(Flaw::HalfCut { share, leading })
        } else {
            None
        }
    }

    fn blunt(&self, hole: u8) -> Option<Flaw> {
        let punch = self.punches[usize::from(hole) - 1];
        (punch.narrower_mm > 0.0 || punch.torn > 0.0).then_some(Flaw::Blunt {
            narrower_mm: punch.narrower_mm,
            torn: punch.torn,
        })
    }

    /// A punch comes down; whether the card is there.
    fn punch(
        &self,
        card: &mut Card,
        stroke: u16,
        hole: u8,
        flaw: Option<Flaw>,
        offset_mm: f64,
    ) -> bool {
        let punch = self.punches[usize::from(hole) - 1];
        let (back, across) = if hole == PEG {
            (1.0, 0.0)
        } else {
            (0.0, self.machine.across_mm(hole))
        };
        let rows = f64::from(stroke) + back;
        let along = self.first_mm + offset_mm + rows * self.machine.pitch_mm + punch.along_mm;
        let (x_mm, y_mm) = card.from_machine(along, across + punch.across_mm);
        let r_mm = (self.sharp_mm(hole) - punch.narrower_mm) / 2.0;
        if !card.covers(x_mm, y_mm) {
            return false;
        }
        let flap = match flaw {
            Some(Flaw::Missing) => return true,
            Some(Flaw::Chad { share, direction }) => Some(Flap::covering(share, r_mm, direction)),
            Some(Flaw::HalfCut { share, leading }) => {
                // The flap's direction is that in which the hole is covered.
                Some(Flap::covering(share, r_mm, if leading { PI } else { 0.0 }))
            }
            Some(Flaw::Extra | Flaw::Blunt { .. }) | None => self.torn[usize::from(hole) - 1],
        };
        if r_mm > 0.0 {
            card.add(Hole {
                x_mm,
                y_mm,
                r_mm,
                flap,
                stroke: None,
            });
        }
        true
    }
}
