//! Squares that were taken for bare paper though their tint is another.
//!
//! Enters: the squares taken for bare paper, the cloth file's paints. Leaves: which
//! levels have another tint than most of them. Refuses nothing.
//!
//! Light is as good as white: it makes paper darker here and there, but not bluer. So
//! pale paint, also such as is brighter than tinted paper in one colour, is told by its
//! tint where its brightness could be the light's.

use super::grid::{Seen, median};
use super::paints::Paints;

/// Levels of 255, beside those of green, that are no other tint in an even scan.
const ALIKE: f32 = 6.0;

/// Nor is what noise makes: so much of what the levels of a square are spread.
const NOISE: f32 = 2.5;

/// The tint of bare paper.
pub struct Tint {
    usual: [f32; 2],
    most: f32,
    spread: f32,
}

impl Tint {
    /// The tint of most of these squares. None without paints: then no tolerance is
    /// known, and pale paint is a colour only where it is plainly one.
    #[must_use]
    pub fn of<'a>(bare: impl Iterator<Item = &'a Seen>, paints: &Paints) -> Option<Tint> {
        let mut values: [Vec<f32>; 3] = Default::default();
        for seen in bare {
            let [red, blue] = tint(seen.levels);
            for (list, value) in values.iter_mut().zip([red, blue, seen.spread]) {
                list.push(value);
            }
        }
        if paints.named.is_empty() || values[0].is_empty() {
            return None;
        }
        let [red, blue, spread] = values.map(|mut list| median(&mut list).unwrap_or_default());
        Some(Tint {
            usual: [red, blue],
            most: ALIKE.max(f32::from(paints.tolerance) / 2.0),
            spread,
        })
    }

    /// Whether these levels have another tint.
    #[must_use]
    pub fn differs(&self, levels: [f32; 3]) -> bool {
        let [red, blue] = tint(levels);
        let (red, blue) = (red - self.usual[0], blue - self.usual[1]);
        let off = red.abs().max(blue.abs()).max((red - blue).abs());
        // of green's levels, as those are seen
        let seen = levels[1].max(1.0);
        off * seen > (self.most * seen / 255.0).max(NOISE * self.spread)
    }
}

/// How much brighter red and blue are than green, as logarithms.
fn tint([red, green, blue]: [f32; 3]) -> [f32; 2] {
    [red, blue].map(|level| (level.max(1.0) / green.max(1.0)).ln())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::picture::{Place, Rgb};

    #[test]
    fn light_makes_no_other_tint_and_pale_paint_does() {
        let seen = |levels| Seen {
            place: Place::default(),
            levels,
            spread: 1.0,
        };
        let bare: Vec<Seen> = (0..40)
            .map(|at| seen([230.0, 226.0, 210.0].map(|level| level * (0.6 + 0.01 * at as f32))))
            .collect();
        let paints = |tolerance| Paints {
            named: vec![Rgb::WHITE],
            tolerance,
        };
        let tint = Tint::of(bare.iter(), &paints(8)).expect("paper");
        assert!(bare.iter().all(|seen| !tint.differs(seen.levels)));
        assert!(tint.differs([232.0, 222.0, 216.0]));
        assert!(tint.differs([230.0, 230.0, 202.0]));
        let tint = Tint::of(bare.iter(), &paints(60)).expect("paper");
        assert!(
            !tint.differs([232.0, 222.0, 216.0]),
            "the tolerance is wide"
        );
        assert!(Tint::of(bare.iter(), &Paints::default()).is_none());
    }
}
