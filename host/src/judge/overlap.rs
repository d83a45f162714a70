//! How much light a round hole lets through to a round aperture.
//!
//! Enters: two radii and a distance. Leaves: the area common to both circles,
//! and a table of it along the feed. Impossible sizes give no light.

use std::f64::consts::PI;

/// Area common to two circles of radii `a` and `b` whose centres are `apart`,
/// in the square of their unit. The usual closed form: two circular segments.
#[must_use]
pub fn circle_overlap(a: f64, b: f64, apart: f64) -> f64 {
    let apart = apart.abs();
    let (large, small) = if a >= b { (a, b) } else { (b, a) };
    if !(small > 0.0 && large.is_finite() && apart < large + small) {
        return 0.0;
    }
    if apart <= large - small {
        return PI * small * small;
    }
    // From each centre to the chord both circles share.
    let from_large = (apart * apart + large * large - small * small) / (2.0 * apart);
    segment(large, from_large) + segment(small, apart - from_large)
}

/// Area of the part of a circle beyond a chord `from_centre` away from its
/// centre; more than half the circle if `from_centre` is negative.
fn segment(radius: f64, from_centre: f64) -> f64 {
    let ratio = (from_centre / radius).clamp(-1.0, 1.0);
    let half_chord = (radius * radius - from_centre * from_centre)
        .max(0.0)
        .sqrt();
    radius * radius * ratio.acos() - from_centre * half_chord
}

/// Share of an aperture that a hole opens whose centre is `apart_mm` from its
/// own.
#[must_use]
pub fn open_share(hole_mm: f64, aperture_mm: f64, apart_mm: f64) -> f64 {
    let (hole, aperture) = (hole_mm / 2.0, aperture_mm / 2.0);
    circle_overlap(hole, aperture, apart_mm) / (PI * aperture * aperture)
}

/// How far along the feed a hole can be seen whose centre passes `across_mm`
/// beside the aperture's; 0 if it cannot be seen at all.
pub(super) fn reach_mm(hole_mm: f64, aperture_mm: f64, across_mm: f64) -> f64 {
    let touching = (hole_mm + aperture_mm) / 2.0;
    (touching.powi(2) - across_mm.powi(2)).max(0.0).sqrt()
}

/// Distance between two entries of a [`Profile`].
const STEP_MM: f64 = 0.05;

/// A value along the feed that is the same on either side of a hole's centre, as
/// the share of an aperture that the hole opens. Tabulated, since it is asked for
/// thousands of times a card.
#[derive(Clone, Debug)]
pub(super) struct Profile {
    /// Value at each entry, and its change to the next.
    entries: Vec<(f32, f32)>,
}

impl Profile {
    /// The open share of a hole whose centre passes `across_mm` beside the
    /// aperture's.
    pub(super) fn new(hole_mm: f64, aperture_mm: f64, across_mm: f64) -> Profile {
        let reach_mm = reach_mm(hole_mm, aperture_mm, across_mm);
        Profile::of(reach_mm, |along_mm| {
            open_share(hole_mm, aperture_mm, across_mm.hypot(along_mm))
        })
    }

    /// Any such value, 0 from `reach_mm` on.
    pub(super) fn of(reach_mm: f64, value: impl Fn(f64) -> f64) -> Profile {
        // Sound sizes keep this in the hundreds; the bound is for the others.
        let entries = ((reach_mm / STEP_MM).ceil() as usize).min(10_000);
        let values: Vec<f32> = (0..=entries)
            .map(|n| value(n as f64 * STEP_MM) as f32)
            .collect();
        let next = values.iter().skip(1).chain([&0.0]);
        let entries = values.iter().zip(next);
        Profile {
            entries: entries.map(|(here, next)| (*here, next - here)).collect(),
        }
    }

    /// Distance along the feed beyond which there is no light.
    pub(super) fn reach_mm(&self) -> f32 {
        self.entries.len() as f32 * STEP_MM as f32
    }

    /// Open share at `along_mm` from the hole's centre.
    pub(super) fn at(&self, along_mm: f32) -> f32 {
        self.at_with_slope(along_mm).0
    }

    /// Open share, and its change for each millimetre further along.
    #[inline]
    pub(super) fn at_with_slope(&self, along_mm: f32) -> (f32, f32) {
        let place = along_mm.abs() * (1.0 / STEP_MM as f32);
        // Entries are few enough for the narrower and quicker type.
        let entry = place as i32;
        let Some((share, change)) = self.entries.get(entry as usize) else {
            return (0.0, 0.0);
        };
        let slope = change * (1.0 / STEP_MM as f32);
        (
            share + change * (place - entry as f32),
            slope * along_mm.signum(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::{Profile, circle_overlap};
    use std::f64::consts::PI;

    /// Closed forms from any table of plane figures: the lens of two equal
    /// circles a radius apart is (2 pi / 3 - sqrt(3) / 2) r^2.
    #[test]
    fn known_lenses() {
        let lens = 2.0 * PI / 3.0 - 3f64.sqrt() / 2.0;
        assert!((circle_overlap(1.0, 1.0, 1.0) - lens).abs() < 1e-12);
        assert!((circle_overlap(2.5, 2.5, 2.5) - lens * 6.25).abs() < 1e-12);
        assert!((circle_overlap(5.0, 1.5, 0.0) - PI * 2.25).abs() < 1e-12);
        assert!((circle_overlap(1.5, 5.0, 3.5) - PI * 2.25).abs() < 1e-12);
        assert_eq!(circle_overlap(1.5, 2.2, 3.7), 0.0);
        // The common chord through the smaller circle's centre leaves exactly
        // half of it plus the larger circle's segment beyond the chord.
        let (large, small) = (2.2f64, 1.5f64);
        let apart = (large * large - small * small).sqrt();
        let beyond = large * large * (apart / large).acos() - apart * small;
        let want = PI * small * small / 2.0 + beyond;
        assert!((circle_overlap(large, small, apart) - want).abs() < 1e-12);
    }

    #[test]
    fn agrees_with_counting_small_squares() {
        for (a, b, apart) in [
            (2.2, 1.5, 0.9),
            (2.2, 1.5, 2.0),
            (2.2, 1.5, 3.3),
            (5.0, 1.5, 4.81),
        ] {
            let cell = 0.002f64;
            let n = (2.0 * b / cell) as i32;
            let mut inside = 0u32;
            for i in 0..n {
                for j in 0..n {
                    let x = -b + (f64::from(i) + 0.5) * cell;
                    let y = -b + (f64::from(j) + 0.5) * cell;
                    if x * x + y * y < b * b && (x - apart).powi(2) + y * y < a * a {
                        inside += 1;
                    }
                }
            }
            let counted = f64::from(inside) * cell * cell;
            assert!(
                (counted - circle_overlap(a, b, apart)).abs() < 2e-3,
                "{a} {b} {apart}"
            );
        }
    }

    #[test]
    fn impossible_sizes_give_no_light() {
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            assert_eq!(circle_overlap(bad, 1.0, 0.1), 0.0);
            assert_eq!(circle_overlap(1.0, bad, 0.1), 0.0);
        }
        assert_eq!(circle_overlap(1.0, 1.0, f64::NAN), 0.0);
    }

    #[test]
    fn a_profile_follows_the_closed_form_and_its_slope() {
        let profile = Profile::new(4.4, 3.0, 0.0);
        for hundredth in -400..400 {
            let along = f64::from(hundredth) / 100.0 + 0.003;
            let want = circle_overlap(2.2, 1.5, along) / (PI * 2.25);
            assert!(
                (f64::from(profile.at(along as f32)) - want).abs() < 2e-3,
                "{along}"
            );
        }
        assert!(profile.at_with_slope(2.0).1 < -0.2 && profile.at_with_slope(-2.0).1 > 0.2);
        assert_eq!(Profile::new(4.4, 3.0, 6.8).reach_mm(), 0.05);
    }
}
