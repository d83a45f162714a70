//! Areas of overlapping circles, for the light that comes through a hole.
//!
//! Enters: discs, and discs of which a hanging chad covers one side. Leaves:
//! the share of a round aperture that is open, or the mean light through it.
//! Lengths are in millimetres; any unit would do.

/// Lines the aperture is cut into where no closed form fits.
const CHORDS: usize = 64;

/// Most intervals on one line across the aperture; more than ever overlap one
/// aperture 3 mm wide.
const MOST_SPANS: usize = 12;

/// The area two circles have in common, from their radii and the distance of
/// their centres. Closed form: two circular segments on the common chord.
#[must_use]
pub fn lens_area(a: f64, b: f64, distance: f64) -> f64 {
    let (small, large) = if a < b { (a, b) } else { (b, a) };
    if small <= 0.0 || distance >= a + b {
        return 0.0;
    }
    if distance <= large - small {
        return core::f64::consts::PI * small * small;
    }
    let to_chord_a = (distance * distance + a * a - b * b) / (2.0 * distance);
    let to_chord_b = distance - to_chord_a;
    segment(a, to_chord_a) + segment(b, to_chord_b)
}

/// The part of a circle of radius `r` beyond a chord `to_chord` from its
/// centre; more than half the circle if `to_chord` is negative.
fn segment(r: f64, to_chord: f64) -> f64 {
    let cos = (to_chord / r).clamp(-1.0, 1.0);
    r * r * cos.acos() - to_chord * (r * r - to_chord * to_chord).max(0.0).sqrt()
}

/// The share of a circle of radius `r` that lies beyond a straight edge at
/// this distance from its centre.
#[must_use]
pub fn beyond_chord(r: f64, distance: f64) -> f64 {
    segment(r, distance) / (core::f64::consts::PI * r * r)
}

/// A hole, as seen from the aperture's centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Opening {
    /// Centre along the feed.
    pub x: f64,
    /// Centre across the feed.
    pub y: f64,
    /// Radius.
    pub r: f64,
    /// What a hanging chad covers, if any.
    pub flap: Option<Flap>,
    /// Which of the cards on top of one another it is in, 0 or 1.
    pub sheet: u8,
}

/// A chad that hangs on by one side: it covers the part of the hole that lies
/// further than `reach` from the hole's centre in direction (`nx`, `ny`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flap {
    /// Direction along the feed; with `ny` of length 1.
    pub nx: f64,
    /// Direction across the feed.
    pub ny: f64,
    /// Distance of its edge from the hole's centre; -r covers the whole hole,
    /// r nothing.
    pub reach: f64,
}

impl Flap {
    /// The flap that covers this share (0 to 1) of a hole of radius `r`, in
    /// this direction (radians from the feed's).
    #[must_use]
    pub fn covering(share: f64, r: f64, direction: f64) -> Flap {
        let whole = core::f64::consts::PI * r * r;
        let wanted = share.clamp(0.0, 1.0) * whole;
        let (mut low, mut high) = (-r, r);
        for _ in 0..48 {
            let middle = (low + high) / 2.0;
            if segment(r, middle) > wanted {
                low = middle
            } else {
                high = middle
            }
        }
        Flap {
            nx: direction.cos(),
            ny: direction.sin(),
            reach: (low + high) / 2.0,
        }
    }

    /// The flap of a hole whose card lies end for end.
    #[must_use]
    pub fn end_for_end(&self) -> Flap {
        Flap {
            nx: -self.nx,
            ny: -self.ny,
            ..*self
        }
    }

    /// The share of a hole of radius `r` that it covers.
    #[must_use]
    pub fn share(&self, r: f64) -> f64 {
        beyond_chord(r, self.reach)
    }
}

/// Mean light through a round aperture of radius `aperture` at the origin,
/// with `sheets` cards over it, each passing `paper` where it is not open.
/// Light through open air is 1.
#[must_use]
pub fn light_through(aperture: f64, openings: &[Opening], sheets: u8, paper: f64) -> f64 {
    match (sheets, openings) {
        (0, _) => 1.0,
        (_, []) => paper.powi(i32::from(sheets)),
        (1, some) if apart(some) => {
            let area: f64 = some
                .iter()
                .map(|one| lens_area(aperture, one.r, (one.x * one.x + one.y * one.y).sqrt()))
                .sum();
            let open = area / (core::f64::consts::PI * aperture * aperture);
            open + (1.0 - open) * paper
        }
        _ => light_by_chords(aperture, openings, sheets, paper),
    }
}

/// Whether these are whole round holes that do not touch one another, so that
/// their areas simply add up.
fn apart(openings: &[Opening]) -> bool {
    openings.iter().enumerate().all(|(n, one)| {
        one.flap.is_none()
            && openings[..n].iter().all(|other| {
                let (dx, dy, reach) = (one.x - other.x, one.y - other.y, one.r + other.r);
                dx * dx + dy * dy >= reach * reach
            })
    })
}

/// The same by lines across the aperture, for any number of holes, flaps and
/// cards. The lines stand closer at the sides, where the chord changes most:
/// u = r sin(t) with t in equal steps.
fn light_by_chords(aperture: f64, openings: &[Opening], sheets: u8, paper: f64) -> f64 {
    let step = core::f64::consts::PI / CHORDS as f64;
    let mut light = 0.0;
    for n in 0..CHORDS {
        let (sin, cos) = (-core::f64::consts::FRAC_PI_2 + (n as f64 + 0.5) * step).sin_cos();
        let half = aperture * cos;
        let weight = aperture * cos * step;
        light += weight * light_on_line(aperture * sin, half, openings, sheets, paper);
    }
    light / (core::f64::consts::PI * aperture * aperture)
}

/// Light along the line y = `y` from x = -`half` to `half`.
fn light_on_line(y: f64, half: f64, openings: &[Opening], sheets: u8, paper: f64) -> f64 {
    let mut spans = [(0.0, 0.0, 0u8); MOST_SPANS];
    let mut cuts = [0.0; 2 * MOST_SPANS + 2];
    let (mut found, mut ends) = (0, 2);
    cuts[0] = -half;
    cuts[1] = half;
    for opening in openings {
        let Some((from, to)) = span_on_line(opening, y) else {
            continue;
        };
        let (from, to) = (from.max(-half), to.min(half));
        if from >= to || found == MOST_SPANS {
            continue;
        }
        spans[found] = (from, to, opening.sheet);
        found += 1;
        cuts[ends] = from;
        cuts[ends + 1] = to;
        ends += 2;
    }
    let cuts = &mut cuts[..ends];
    cuts.sort_by(f64::total_cmp);
    let mut light = 0.0;
    for pair in cuts.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let middle = (from + to) / 2.0;
        let open = spans[..found]
            .iter()
            .filter(|(a, b, _)| *a <= middle && middle <= *b)
            .fold(0u8, |sheets, (_, _, sheet)| sheets | 1 << sheet.min(&7));
        let papers = u32::from(sheets).saturating_sub(open.count_ones());
        light += (to - from) * paper.powi(papers as i32);
    }
    light
}

/// Where the line y = `y` runs through the open part of a hole. A disc less a
/// segment is convex, so it is one piece.
fn span_on_line(opening: &Opening, y: f64) -> Option<(f64, f64)> {
    let dy = y - opening.y;
    let half = opening.r * opening.r - dy * dy;
    if half <= 0.0 {
        return None;
    }
    let half = half.sqrt();
    let (mut from, mut to) = (-half, half);
    if let Some(flap) = opening.flap {
        // Open where nx * x + ny * dy < reach.
        let left = flap.reach - flap.ny * dy;
        if flap.nx.abs() < 1e-9 {
            if left <= 0.0 {
                return None;
            }
        } else if flap.nx > 0.0 {
            to = to.min(left / flap.nx);
        } else {
            from = from.max(left / flap.nx);
        }
    }
    (from < to).then_some((from + opening.x, to + opening.x))
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;
    use proptest::prelude::*;

    /// The common area by counting small squares.
    fn counted(a: f64, b: f64, distance: f64) -> f64 {
        let side = 1000;
        let step = 2.0 * a / f64::from(side);
        let mut inside = 0;
        for i in 0..side {
            for j in 0..side {
                let x = -a + (f64::from(i) + 0.5) * step;
                let y = -a + (f64::from(j) + 0.5) * step;
                let other = x - distance;
                inside += i32::from(x * x + y * y <= a * a && other * other + y * y <= b * b);
            }
        }
        f64::from(inside) * step * step
    }

    #[test]
    fn known_lens_areas() {
        // Two unit circles one radius apart: 2 pi / 3 - sqrt(3) / 2
        // (Weisstein, "Lens", MathWorld: the vesica piscis).
        let vesica = 2.0 * PI / 3.0 - 3f64.sqrt() / 2.0;
        assert!((lens_area(1.0, 1.0, 1.0) - vesica).abs() < 1e-12);
        assert_eq!(lens_area(1.0, 1.0, 2.0), 0.0);
        assert_eq!(lens_area(1.5, 2.2, 5.0), 0.0);
        assert!((lens_area(1.5, 2.2, 0.3) - PI * 2.25).abs() < 1e-12);
        assert!((lens_area(1.0, 1.0, 0.0) - PI).abs() < 1e-12);
    }

    #[test]
    fn lens_area_agrees_with_counting() {
        for distance in [0.8, 1.2, 2.0, 2.9, 3.6] {
            let exact = lens_area(1.5, 2.2, distance);
            assert!(
                (exact - counted(1.5, 2.2, distance)).abs() < 5e-3,
                "at {distance}"
            );
        }
    }

    #[test]
    fn a_flap_covers_the_share_it_should() {
        for share in [0.05, 0.3, 0.5, 0.8, 1.0] {
            let flap = Flap::covering(share, 2.2, 1.0);
            assert!((flap.share(2.2) - share).abs() < 1e-9);
            // An aperture as large as the hole sees exactly the open share.
            let hole = Opening {
                x: 0.0,
                y: 0.0,
                r: 2.2,
                flap: Some(flap),
                sheet: 0,
            };
            let light = light_through(2.2, &[hole], 1, 0.0);
            assert!((light - (1.0 - share)).abs() < 3e-3, "{share}: {light}");
        }
    }

    #[test]
    fn two_cards_let_through_what_is_open_in_both() {
        let hole = |sheet, x| Opening {
            x,
            y: 0.0,
            r: 2.2,
            flap: None,
            sheet,
        };
        let both = light_through(1.5, &[hole(0, 0.0), hole(1, 0.0)], 2, 0.06);
        assert!((both - 1.0).abs() < 1e-9);
        let one = light_through(1.5, &[hole(0, 0.0)], 2, 0.06);
        assert!((one - 0.06).abs() < 1e-9);
        let none = light_through(1.5, &[], 2, 0.06);
        assert!((none - 0.0036).abs() < 1e-12);
    }

    #[test]
    fn holes_that_overlap_are_counted_once() {
        let hole = |x| Opening {
            x,
            y: 0.0,
            r: 2.2,
            flap: None,
            sheet: 0,
        };
        let once = light_through(1.5, &[hole(1.0)], 1, 0.06);
        let twice = light_through(1.5, &[hole(1.0), hole(1.0)], 1, 0.06);
        assert!((once - twice).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn chords_agree_with_the_closed_form(x in -4.0..4.0f64, y in -4.0..4.0f64, r in 0.5..5.0f64) {
            let hole = Opening { x, y, r, flap: None, sheet: 0 };
            let closed = light_through(1.5, &[hole], 1, 0.06);
            let chords = light_by_chords(1.5, &[hole], 1, 0.06);
            let far = Opening { x: x - 2.0 * r - 0.1, ..hole };
            let two = light_through(1.5, &[hole, far], 1, 0.06);
            let two_by_chords = light_by_chords(1.5, &[hole, far], 1, 0.06);
            prop_assert!((two - two_by_chords).abs() < 8e-3, "{two} {two_by_chords}");
            prop_assert!((closed - chords).abs() < 8e-3, "{closed} {chords}");
        }
    }
}
