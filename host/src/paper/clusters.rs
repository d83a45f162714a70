//! The few colours that were painted.
//!
//! Enters: the colour of every square under full light. Leaves: [`Clusters`],
//! the middles of the heaps they make. Squares between heaps make none.

use super::grid::{Seen, median};
use super::paints::Paints;

/// Levels of a colour in which squares are counted.
const BIN: f32 = 8.0;
const BINS: usize = 40;

/// How far a square's colour may be from the middle of its heap while that is
/// being looked for.
const REACH: f32 = 30.0;

/// Least distance of two painted colours: closer ones are one.
const APART: f32 = 36.0;

/// A heap must be this much denser inside than around.
const CORE: f32 = 15.0;
const DENSER: usize = 3;

/// Fewest squares of a colour.
const FEWEST: usize = 3;

/// A square counts if its own levels are spread no more than this times as
/// usual, and some levels.
const EVEN: f32 = 2.0;
const EVEN_LEVELS: f32 = 4.0;

/// A colour of 255 levels, that may be a little beyond.
pub type Shade = [f32; 3];

/// The nearest colour and how far it is, and the next one.
pub type Nearest = (usize, f32, Option<(usize, f32)>);

/// The painted colours, the commonest first.
#[derive(Clone, Debug)]
pub struct Clusters {
    /// Middle of each.
    pub middles: Vec<Shade>,
}

/// How far two colours are apart.
#[must_use]
pub fn distance(a: Shade, b: Shade) -> f32 {
    let square = |colour: usize| (a[colour] - b[colour]).powi(2);
    (square(0) + square(1) + square(2)).sqrt()
}

/// Squares that are all of one colour, going by how spread theirs are.
#[must_use]
pub fn even(seen: &[Option<Seen>]) -> Vec<bool> {
    let mut spreads: Vec<f32> = seen.iter().flatten().map(|seen| seen.spread).collect();
    let usual = median(&mut spreads).unwrap_or_default();
    let most = EVEN * usual + EVEN_LEVELS;
    seen.iter()
        .map(|seen| seen.as_ref().is_some_and(|seen| seen.spread <= most))
        .collect()
}

/// A bin of the count: how many squares, and their sum.
#[derive(Clone, Copy, Default)]
struct Bin {
    count: f32,
    sum: Shade,
}

impl Clusters {
    /// The heaps these colours make.
    #[must_use]
    pub fn of(shades: &[Shade]) -> Clusters {
        let bins = counted(shades);
        let mut open: Vec<bool> = bins.iter().map(|(_, bin)| bin.count > 0.0).collect();
        let mut middles: Vec<Shade> = Vec::new();
        loop {
            let densest = (0..bins.len())
                .filter(|at| open[*at])
                .max_by(|a, b| bins[*a].1.count.total_cmp(&bins[*b].1.count));
            let Some(densest) = densest else { break };
            open[densest] = false;
            let middle = summit(&bins, bins[densest].0);
            let nearest = middles.iter().map(|other| distance(*other, middle));
            if nearest.fold(f32::INFINITY, f32::min) < APART {
                continue;
            }
            let taken = if stands_out(shades, middle) {
                middles.push(middle);
                REACH
            } else {
                CORE
            };
            for (open, (shade, _)) in open.iter_mut().zip(&bins) {
                *open &= distance(*shade, middle) > taken;
            }
        }
        Clusters { middles }.centred(shades)
    }

    /// A heap also for each paint that is there and makes none: it varies, or it was used
    /// for a few squares only.
    #[must_use]
    pub fn with_paints(mut self, paints: &Paints, shades: &[Shade]) -> Clusters {
        let known: Vec<usize> = self.middles.iter().filter_map(|m| paints.of(*m)).collect();
        let mut unknown = vec![Vec::new(); paints.named.len()];
        let all_known = (0..unknown.len()).all(|paint| known.contains(&paint));
        if !all_known {
            for shade in shades {
                match paints.of(*shade) {
                    Some(paint) if !known.contains(&paint) => unknown[paint].push(*shade),
                    _ => {}
                }
            }
        }
        if unknown.iter().all(Vec::is_empty) {
            return self;
        }
        for own in unknown.iter().filter(|own| !own.is_empty()) {
            self.middles.push([0, 1, 2].map(|colour: usize| {
                let mut levels: Vec<f32> = own.iter().map(|shade: &Shade| shade[colour]).collect();
                median(&mut levels).unwrap_or_default()
            }));
        }
        self.centred(shades)
    }

    /// Each middle in the median of the colours nearest to it; the commonest first.
    fn centred(mut self, shades: &[Shade]) -> Clusters {
        for _ in 0..2 {
            let mut members = vec![[Vec::new(), Vec::new(), Vec::new()]; self.middles.len()];
            for shade in shades {
                if let Some((nearest, off, _)) = self.nearest(*shade)
                    && off < REACH
                {
                    for (colour, list) in members[nearest].iter_mut().enumerate() {
                        list.push(shade[colour]);
                    }
                }
            }
            let mut order: Vec<usize> = (0..members.len()).collect();
            order.sort_by_key(|at| std::cmp::Reverse(members[*at][0].len()));
            self.middles = order
                .into_iter()
                .map(|at| {
                    let old = self.middles[at];
                    [0, 1, 2].map(|colour: usize| {
                        median(&mut members[at][colour]).unwrap_or(old[colour])
                    })
                })
                .collect();
        }
        self
    }

    /// The nearest middle, how far it is, and the one next to it as seen from
    /// the colour, with its distance.
    #[must_use]
    pub fn nearest(&self, shade: Shade) -> Option<Nearest> {
        let mut first: Option<(usize, f32)> = None;
        let mut second: Option<(usize, f32)> = None;
        for (at, middle) in self.middles.iter().enumerate() {
            let off = distance(*middle, shade);
            if first.is_none_or(|(_, least)| off < least) {
                second = first;
                first = Some((at, off));
            } else if second.is_none_or(|(_, least)| off < least) {
                second = Some((at, off));
            }
        }
        first.map(|(at, off)| (at, off, second))
    }
}

/// The colours counted in bins: each bin's mean colour and its squares.
fn counted(shades: &[Shade]) -> Vec<(Shade, Bin)> {
    let bin = |level: f32| ((level.max(0.0) / BIN) as usize).min(BINS - 1);
    let mut bins = std::collections::BTreeMap::<[usize; 3], Bin>::new();
    for shade in shades {
        let bin = bins.entry(shade.map(bin)).or_default();
        bin.count += 1.0;
        bin.sum = [0, 1, 2].map(|colour: usize| bin.sum[colour] + shade[colour]);
    }
    bins.values()
        .map(|bin| (bin.sum.map(|sum| sum / bin.count), *bin))
        .collect()
}

/// From a colour up to the middle of the heap it is on.
fn summit(bins: &[(Shade, Bin)], start: Shade) -> Shade {
    let mut middle = start;
    for _ in 0..8 {
        let mut whole = Bin::default();
        for (_, bin) in bins
            .iter()
            .filter(|(shade, _)| distance(*shade, middle) < REACH * 0.7)
        {
            whole.count += bin.count;
            whole.sum = [0, 1, 2].map(|colour: usize| whole.sum[colour] + bin.sum[colour]);
        }
        if whole.count > 0.0 {
            middle = whole.sum.map(|sum| sum / whole.count);
        }
    }
    middle
}

/// Whether there are enough squares of this colour, and more than around it.
fn stands_out(shades: &[Shade], middle: Shade) -> bool {
    let (mut core, mut around) = (0usize, 0usize);
    for shade in shades {
        let off = distance(*shade, middle);
        if off <= CORE {
            core += 1;
        } else if off <= 2.0 * CORE {
            around += 1;
        }
    }
    core >= FEWEST && core >= DENSER * around
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heap(middle: Shade, count: usize) -> impl Iterator<Item = Shade> {
        (0..count).map(move |at| {
            let off = |by: usize| (at * by % 11) as f32 - 5.0;
            [middle[0] + off(1), middle[1] + off(3), middle[2] + off(7)]
        })
    }

    #[test]
    fn heaps_are_found_and_what_lies_between_makes_none() {
        let mut shades: Vec<Shade> = heap([250.0; 3], 500).collect();
        shades.extend(heap([30.0; 3], 200));
        shades.extend(heap([200.0, 40.0, 40.0], 7));
        shades.extend((0..40).map(|at| [50.0 + at as f32 * 5.0; 3]));
        let found = Clusters::of(&shades).middles;
        assert_eq!(found.len(), 3, "{found:?}");
        for (found, wanted) in found
            .iter()
            .zip([[250.0; 3], [30.0; 3], [200.0, 40.0, 40.0]])
        {
            assert!(distance(*found, wanted) < 6.0, "{found:?}");
        }
        assert!(Clusters::of(&[]).middles.is_empty());
    }
}
