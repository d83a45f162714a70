//! One card of an old deck as it was seen once.
//!
//! Enters: a look at the card, the format. Leaves: its needle rows, the card
//! turned the right way round if its lace holes say that it lay end for end.
//! Which face is up the lace holes do not tell: they are the same from both.

use crate::deck::{CardFormat, Row, Stroke};
use crate::judge::{Look, Seen};

/// Most holes in a row.
const LANES: usize = 16;

/// One row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Line {
    /// Sure holes, bit `n - 1` for hole `n`.
    pub holes: u16,
    /// Positions that could not be told.
    pub doubtful: u16,
    /// Light at each position, in thousandths of a whole hole's.
    pub open_permille: [u16; LANES],
}

/// What was seen of one card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sight {
    pub(super) lines: Vec<Line>,
    holes: u8,
    end_for_end: bool,
}

impl Sight {
    /// What was seen of a card of this format; none if it has not even the lace
    /// holes of one.
    #[must_use]
    pub fn of(look: &Look, format: &CardFormat) -> Option<Sight> {
        let blank = vec![Row(0); usize::from(format.rows())];
        let programme = format.programme(&blank);
        if !is_laced(look, &programme) {
            return None;
        }
        let end_for_end =
            lace_holes_right(look, &programme, true) > lace_holes_right(look, &programme, false);
        let row = |row: u16| {
            let stroke = format.stroke_of_row(row)?;
            Some(line(look, format.strokes(), stroke, end_for_end))
        };
        let lines = (1..=format.rows()).map(|number| row(number).unwrap_or_default());
        Some(Sight {
            lines: lines.collect(),
            holes: look.holes,
            end_for_end,
        })
    }

    /// Whether it lay end for end, by its lace holes.
    #[must_use]
    pub fn lay_end_for_end(&self) -> bool {
        self.end_for_end
    }

    /// The card seen from its other face.
    pub(super) fn face_over(&self) -> Sight {
        let spare = LANES as u32 - u32::from(self.holes);
        let turned = |bits: u16| bits.reverse_bits() >> spare;
        let line = |line: &Line| {
            let mut open_permille = line.open_permille;
            let used = usize::from(self.holes).min(LANES);
            if let Some(used) = open_permille.get_mut(..used) {
                used.reverse();
            }
            Line {
                holes: turned(line.holes),
                doubtful: turned(line.doubtful),
                open_permille,
            }
        };
        Sight {
            lines: self.lines.iter().map(line).collect(),
            ..*self
        }
    }

    /// Positions that are surely a hole in one and surely solid in the other.
    pub(super) fn differs(&self, other: &Sight) -> u32 {
        let pairs = self.lines.iter().zip(&other.lines);
        pairs
            .map(|(a, b)| ((a.holes ^ b.holes) & !(a.doubtful | b.doubtful)).count_ones())
            .sum()
    }

    /// Its sure holes.
    pub(super) fn holes(&self) -> u32 {
        self.lines.iter().map(|line| line.holes.count_ones()).sum()
    }

    /// All its positions.
    pub(super) fn positions(&self) -> u32 {
        self.lines.len() as u32 * u32::from(self.holes)
    }
}

/// Whether more than half of the lace holes are there, whichever end comes first.
fn is_laced(look: &Look, programme: &[Stroke]) -> bool {
    let strokes = programme.len() as u16;
    let lace = || {
        let laced = programme.iter().zip(0u16..);
        let laced =
            laced.filter(|(what, _)| matches!(what, Stroke::Lace(_) | Stroke::LaceAndPeg(_)));
        laced.flat_map(|(what, stroke)| what.punches().holes().map(move |hole| (stroke, hole)))
    };
    let there = |end_for_end| {
        let is_open = |at: &(u16, u8)| {
            turned(look, strokes, *at, end_for_end).is_some_and(|at| at.seen != Seen::Solid)
        };
        lace().filter(is_open).count()
    };
    let wanted = lace().count();
    wanted == 0 || there(false).max(there(true)) * 2 > wanted
}

/// How many positions of the strokes that no needle row has are as they should
/// be, if the card lies so.
fn lace_holes_right(look: &Look, programme: &[Stroke], end_for_end: bool) -> usize {
    let strokes = programme.len() as u16;
    let mut right = 0;
    for (what, stroke) in programme.iter().zip(0u16..) {
        if matches!(what, Stroke::Needles(_) | Stroke::NeedlesAndPeg(_)) {
            continue;
        }
        for hole in 1..=look.holes {
            let wanted = if what.punches().has(hole) {
                Seen::Hole
            } else {
                Seen::Solid
            };
            let at = turned(look, strokes, (stroke, hole), end_for_end);
            right += usize::from(at.is_some_and(|position| position.seen == wanted));
        }
    }
    right
}

fn turned(
    look: &Look,
    strokes: u16,
    (stroke, hole): (u16, u8),
    end_for_end: bool,
) -> Option<&crate::judge::Position> {
    if end_for_end {
        look.at(
            strokes.checked_sub(stroke + 1)?,
            (look.holes + 1).checked_sub(hole)?,
        )
    } else {
        look.at(stroke, hole)
    }
}

fn line(look: &Look, strokes: u16, stroke: u16, end_for_end: bool) -> Line {
    let mut line = Line::default();
    for (hole, open) in (1..=look.holes).zip(&mut line.open_permille) {
        let bit = 1 << (hole - 1);
        let Some(position) = turned(look, strokes, (stroke, hole), end_for_end) else {
            line.doubtful |= bit;
            continue;
        };
        *open = position.open_permille;
        match position.seen {
            Seen::Hole => line.holes |= bit,
            // no needle falls where the peg stands
            Seen::Solid | Seen::WithinPeg => {}
            Seen::Doubtful => line.doubtful |= bit,
        }
    }
    line
}
