//! The paints that a cloth file names.
//!
//! Enters: what the file says. Leaves: which of them a colour is, so that paint which
//! varies, or was used for one square only, is known all the same. Refuses nothing.

use super::clusters::{Shade, distance};
use super::picture::Rgb;

/// A colour is one paint if it is no more than this part of the way to another.
const CLEARLY: f32 = 0.35;

/// So many levels more than the tolerance are not yet plainly beyond it.
const SLACK: f32 = 3.0;

/// Paints, and by how many levels of red, green or blue a colour may differ from one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Paints {
    /// The paints.
    pub named: Vec<Rgb>,
    /// Levels of 255.
    pub tolerance: u8,
}

impl Paints {
    /// The paint that a colour is: within the tolerance of it, and clearly nearer to it
    /// than to any other. What is brighter than paper is named as if it were not.
    pub(super) fn of(&self, shade: Shade) -> Option<usize> {
        let shade = shade.map(|level| level.min(255.0));
        let ((own, off), next) = self.two_nearest(shade)?;
        let within = apart(self.named[own], shade) <= f32::from(self.tolerance);
        let clearly = next.is_none_or(|far| off <= CLEARLY * (off + far));
        (within && clearly).then_some(own)
    }

    /// Whether a heap of squares is taken for a paint, from which this one of them is
    /// farther than the tolerance.
    pub(super) fn beyond(&self, heap: Shade, shade: Shade) -> bool {
        let most = f32::from(self.tolerance);
        let own = self
            .named
            .iter()
            .find(|paint| apart(**paint, heap.map(|level| level.round().min(255.0))) <= most);
        let shade = shade.map(|level| level.min(255.0));
        own.is_some_and(|paint| apart(*paint, shade) > most + SLACK)
    }

    /// The paint nearest to a colour, however far it is. None if there are no paints.
    #[must_use]
    pub fn nearest(&self, colour: Rgb) -> Option<Rgb> {
        let ((own, _), _) = self.two_nearest(levels(colour))?;
        self.named.get(own).copied()
    }

    fn two_nearest(&self, shade: Shade) -> Option<((usize, f32), Option<f32>)> {
        let mut first: Option<(usize, f32)> = None;
        let mut second: Option<f32> = None;
        for (at, paint) in self.named.iter().enumerate() {
            let off = distance(levels(*paint), shade);
            if first.is_none_or(|(_, least)| off < least) {
                second = first.map(|(_, off)| off);
                first = Some((at, off));
            } else if second.is_none_or(|least| off < least) {
                second = Some(off);
            }
        }
        first.map(|first| (first, second))
    }
}

/// By how many levels of red, green or blue they differ at most.
fn apart(paint: Rgb, shade: Shade) -> f32 {
    let levels = levels(paint);
    let off = (0..3).map(|colour: usize| (levels[colour] - shade[colour]).abs());
    off.fold(0.0, f32::max)
}

fn levels(Rgb(colour): Rgb) -> Shade {
    colour.map(f32::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_colour_is_a_paint_only_if_it_is_near_and_near_no_other() {
        let paints = Paints {
            named: vec![Rgb([250; 3]), Rgb([200, 30, 40])],
            tolerance: 50,
        };
        assert_eq!(paints.of([205.0, 32.0, 42.0]), Some(1));
        assert_eq!(paints.of([250.0, 81.0, 40.0]), None, "beyond the tolerance");
        assert_eq!(paints.of([255.0, 255.0, 201.0]), Some(0));
        assert_eq!(paints.of([310.0, 255.0, 201.0]), Some(0), "above the paper");
        let heap = [251.0; 3];
        assert!(paints.beyond(heap, [251.0, 251.0, 196.0]));
        assert!(!paints.beyond(heap, [251.0, 251.0, 201.0]));
        assert!(!paints.beyond([90.0; 3], [251.0; 3]), "a heap of no paint");
        let near = Paints {
            named: vec![Rgb([100; 3]), Rgb([140; 3])],
            ..paints
        };
        assert_eq!(near.of([118.0; 3]), None, "between two");
        assert_eq!(near.nearest(Rgb([118; 3])), Some(Rgb([100; 3])));
        assert_eq!(Paints::default().nearest(Rgb([118; 3])), None);
    }
}
