//! Colours of squares that stand alone: a square's holes depend on its own colour.
//!
//! Enters: what is lifted at each square. Leaves: a colour for each, and how many could
//! have another. Refuses: a square that no colour makes.
//!
//! A square is known where its holes fit one colour only. Two weaves that differ are
//! alike at many a square (a satin is all lifted but for its points), so the others take
//! the one colour that explains all of a block around them (`blocks`), or else that of
//! the nearest known square among those that fit.

use super::super::{Cloth, Colour};
use super::{BackFault, blocks, guess};

/// No colour yet.
const UNKNOWN: u8 = u8::MAX;

impl Cloth {
    /// Known squares, and the others as the nearest known that fits.
    pub(super) fn nearest(&self, seen: &[u16], width: usize) -> Result<(Vec<u8>, u64), BackFault> {
        let mut colours = vec![UNKNOWN; seen.len()];
        let mut either = 0;
        for (at, seen) in seen.iter().enumerate() {
            let mut candidates = self.fitting(at / width, at % width, *seen);
            match (candidates.next(), candidates.next()) {
                (None, _) => return Err(self.no_colour(at / width, at % width)),
                (Some(colour), None) => colours[at] = colour,
                (Some(_), Some(_)) => either += 1,
            }
        }
        if either > 0 {
            let blocks = self.blocks(seen, width);
            for (colour, alone) in colours.iter_mut().zip(blocks) {
                if let (UNKNOWN, Some(alone)) = (*colour, alone) {
                    *colour = alone;
                }
            }
        }
        // only those beside an unknown square have anything to spread
        let unknown = |at: usize| colours[at] == UNKNOWN;
        let edge = |at: &usize| !unknown(*at) && beside(*at, width, seen.len()).any(unknown);
        let known = (0..seen.len()).filter(edge).collect();
        self.spread(seen, width, &mut colours, known);
        for at in 0..colours.len() {
            if colours[at] == UNKNOWN {
                let mut candidates = self.fitting(at / width, at % width, seen[at]);
                colours[at] = candidates.next().unwrap_or_default();
                self.spread(seen, width, &mut colours, vec![at]);
            }
        }
        Ok((colours, either))
    }

    /// The colour that alone explains all of a block around each square, if one does.
    fn blocks(&self, seen: &[u16], width: usize) -> Vec<Option<u8>> {
        let weaves = self.colours.iter().flat_map(|colour| &colour.weaves);
        // measured on chance blobs in seven sets of weaves: wider blocks miss more of what
        // is narrow, and narrower ones are no better
        let side = guess::reach(weaves) + 1;
        let colours = u8::try_from(self.colours.len()).unwrap_or(UNKNOWN);
        blocks::alone(colours, (seen.len(), width, side), |colour, at| {
            makes(
                &self.colours[usize::from(colour)],
                at / width,
                at % width,
                seen[at],
            )
        })
    }

    /// The colours, in their order, that make these holes here.
    fn fitting(&self, line: usize, column: usize, seen: u16) -> impl Iterator<Item = u8> + '_ {
        let fits = move |(_, colour): &(u8, &Colour)| makes(colour, line, column, seen);
        let colours = (0..).zip(&self.colours);
        colours.filter(fits).map(|(place, _)| place)
    }

    /// Spreads the colours of known squares to those beside them that they fit.
    fn spread(&self, seen: &[u16], width: usize, colours: &mut [u8], known: Vec<usize>) {
        let mut queue = std::collections::VecDeque::from(known);
        while let Some(at) = queue.pop_front() {
            for other in beside(at, width, colours.len()) {
                if colours[other] == UNKNOWN
                    && let Some(colour) = self.like_most(seen[other], width, colours, other)
                {
                    colours[other] = colour;
                    queue.push_back(other);
                }
            }
        }
    }

    /// The colour that most squares beside this one have, of those that fit it.
    fn like_most(&self, seen: u16, width: usize, colours: &[u8], at: usize) -> Option<u8> {
        let around = || beside(at, width, colours.len()).map(|other| colours[other]);
        let count = |colour: &u8| around().filter(|other| other == colour).count();
        let candidates = self.fitting(at / width, at % width, seen);
        let candidates = candidates.filter(|colour| count(colour) > 0);
        candidates.max_by_key(count)
    }
}

/// Whether this colour makes these holes here.
fn makes(colour: &Colour, line: usize, column: usize, seen: u16) -> bool {
    let mut wefts = colour.weaves.iter().enumerate();
    wefts.all(|(weft, weave)| weave.lifts(column, line) == (seen >> weft & 1 == 1))
}

/// The squares that touch this one by a side.
fn beside(at: usize, width: usize, squares: usize) -> impl Iterator<Item = usize> {
    let column = at % width;
    let all = [
        (column > 0).then(|| at - 1),
        (column + 1 < width).then_some(at + 1),
        at.checked_sub(width),
        Some(at + width).filter(|at| *at < squares),
    ];
    all.into_iter().flatten()
}
