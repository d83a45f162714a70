//! The holes that a format has whatever the design is, the way round and end for
//! end.
//!
//! Enters: a format; a look at a card. Leaves: how many of its lace and peg holes
//! are there, and how many holes are where none can be.

use crate::deck::{CardFormat, Row, Stroke};
use crate::judge::{Look, Seen};

/// How a card of a format can lie, and what is then where.
#[derive(Clone, Debug)]
pub(super) struct Lying {
    pub end_for_end: bool,
    /// Of these only the number and the peg holes count: what a look is told.
    pub pegs: Vec<Stroke>,
    /// For each stroke: the holes that must be there; none for a needle row, which
    /// can be anything.
    must: Vec<Option<Row>>,
}

/// What was found of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub lace: u32,
    pub pegs: u32,
    /// Of these, surely there.
    pub there: u32,
    /// Of these, surely solid card.
    pub gone: u32,
    /// Sure holes in strokes where none is cut.
    pub extra: u32,
    /// Needle holes, and positions of needle rows that cannot be told.
    pub needles: u32,
    pub doubtful: u32,
}

impl Tally {
    /// Lace and peg holes that cannot be told.
    pub fn unclear(&self) -> u32 {
        self.lace + self.pegs - self.there - self.gone
    }

    /// Things that a sound card of this format cannot have.
    pub fn wrong(&self) -> u32 {
        self.gone + self.extra
    }
}

impl Lying {
    /// The right way round, and end for end if that can be told of.
    pub fn both(format: &CardFormat) -> Vec<Lying> {
        let blank = vec![Row(0); usize::from(format.rows())];
        let strokes = format.programme(&blank);
        let must = strokes.iter().map(|stroke| match stroke {
            Stroke::Needles(_) | Stroke::NeedlesAndPeg(_) => None,
            Stroke::Blank | Stroke::Peg => Some(Row(0)),
            Stroke::Lace(row) | Stroke::LaceAndPeg(row) => Some(*row),
        });
        let as_is = Lying {
            end_for_end: false,
            pegs: strokes
                .iter()
                .map(|stroke| only_peg(stroke.peg()))
                .collect(),
            must: must.collect(),
        };
        let turned = as_is.turned(format);
        std::iter::once(as_is).chain(turned).collect()
    }

    fn turned(&self, format: &CardFormat) -> Option<Lying> {
        // a peg hole lies an offset behind the stroke that cuts it
        let twice = 2.0 * format.peg_offset_rows();
        let last = f64::from(format.strokes()) - 1.0;
        let mut pegs = vec![Stroke::Blank; self.pegs.len()];
        for at in (0u16..).zip(&self.pegs).filter(|(_, peg)| peg.peg()) {
            let cut = last - f64::from(at.0) - twice;
            if cut < 0.0 || cut.fract() != 0.0 {
                return None;
            }
            *pegs.get_mut(cut as usize)? = Stroke::Peg;
        }
        let spare = 16 - u32::from(format.holes_per_row());
        let mirror = |row: Row| Row(row.0.reverse_bits() >> spare);
        Some(Lying {
            end_for_end: true,
            pegs,
            must: self
                .must
                .iter()
                .rev()
                .map(|must| must.map(mirror))
                .collect(),
        })
    }

    /// How a look at a card, told of these peg holes, agrees.
    pub fn tally(&self, look: &Look) -> Tally {
        let mut tally = Tally {
            pegs: look.pegs.len() as u32,
            ..Tally::default()
        };
        for peg in &look.pegs {
            tally.note(peg.seen);
        }
        for (must, stroke) in self.must.iter().zip(0u16..) {
            for hole in 1..=look.holes {
                let Some(seen) = look.at(stroke, hole).map(|position| position.seen) else {
                    continue;
                };
                match must {
                    _ if seen == Seen::WithinPeg => {}
                    None => {
                        tally.needles += u32::from(seen == Seen::Hole);
                        tally.doubtful += u32::from(seen == Seen::Doubtful);
                    }
                    Some(row) if row.has(hole) => {
                        tally.lace += 1;
                        tally.note(seen);
                    }
                    Some(_) => tally.extra += u32::from(seen == Seen::Hole),
                }
            }
        }
        tally
    }
}

impl Tally {
    fn note(&mut self, seen: Seen) {
        self.there += u32::from(seen == Seen::Hole);
        self.gone += u32::from(seen == Seen::Solid);
    }
}

fn only_peg(peg: bool) -> Stroke {
    if peg { Stroke::Peg } else { Stroke::Blank }
}
