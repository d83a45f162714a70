//! How a whole card lies in the reader: shifted, stretched, turned.
//!
//! Enters: where holes should be and how far along the feed they are from
//! there. Leaves: the plane through them by robust least squares, so that a bad
//! row shows and does not bend it. Refuses nothing: what cannot be told is 0.

/// One hole.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// Its place along the feed, from the first stroke, in millimetres.
    pub x_mm: f64,
    /// Its place across, from the middle line, in millimetres.
    pub y_mm: f64,
    /// How much further along the feed it was found, in millimetres.
    pub off_mm: f64,
    /// What it counts for, 0 or more.
    pub weight: f64,
}

/// Displacement along the feed: `offset + stretch x + skew y`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Plane {
    /// Shift at the first stroke's middle, in millimetres.
    pub offset_mm: f64,
    /// Millimetres a millimetre; positive for a card that has swollen.
    pub stretch: f64,
    /// Millimetres along a millimetre across: the angle at which it lies, in
    /// radians.
    pub skew: f64,
}

/// Holes nearer together than this, in square millimetres summed, tell neither
/// stretch nor skew.
const LEAST_SPREAD: f64 = 100.0;

/// Tukey's biweight gives no weight beyond so many times the scale: 95 %
/// efficiency where errors are normal (Huber, Robust Statistics).
const BIWEIGHT: f64 = 4.685;

/// From the median of absolute values to a standard deviation, for normal errors.
const FROM_MEDIAN: f64 = 1.4826;

/// Spread of holes about their places that is always allowed for: the block's
/// own, in millimetres (common practice, no source).
const LEAST_SCALE_MM: f64 = 0.04;

/// Rounds of weighing anew, at most.
const ROUNDS: usize = 8;

/// Planes that differ by less over a long card are the same: a hundredth of a
/// feed's step.
const SAME_MM: f64 = 0.001;
const CARD_MM: f64 = 400.0;

impl Plane {
    /// Displacement of what should be at (`x_mm`, `y_mm`).
    #[must_use]
    pub fn at(self, x_mm: f64, y_mm: f64) -> f64 {
        self.offset_mm + self.stretch * x_mm + self.skew * y_mm
    }

    /// The plane of least squares.
    #[must_use]
    pub fn least_squares(places: &[Place]) -> Plane {
        let mut sums = Sums::default();
        for place in places {
            sums.add(place, place.weight);
        }
        sums.plane()
    }

    /// The same, in which each place counts for less the farther it lies from
    /// the others' plane, from a first idea of it on.
    #[must_use]
    pub fn robust(places: &[Place], first: Plane) -> Plane {
        let mut plane = first;
        let mut off = vec![0.0; places.len()];
        let mut distances = Vec::with_capacity(places.len());
        if places.is_empty() {
            return plane;
        }
        for _ in 0..ROUNDS {
            for (off, place) in off.iter_mut().zip(places) {
                *off = place.off_mm - plane.at(place.x_mm, place.y_mm);
            }
            let reach = BIWEIGHT * scale_mm(&off, &mut distances);
            let mut sums = Sums::default();
            for (place, off) in places.iter().zip(&off) {
                let far = (off / reach).powi(2);
                if far < 1.0 {
                    sums.add(place, place.weight * (1.0 - far).powi(2));
                }
            }
            let before = plane;
            plane = sums.plane();
            if plane.is_near(before) {
                break;
            }
        }
        plane
    }

    /// Whether two planes are the same as far as anything on a card shows.
    fn is_near(self, other: Plane) -> bool {
        let off = self.offset_mm - other.offset_mm;
        let along = (self.stretch - other.stretch) * CARD_MM;
        let across = (self.skew - other.skew) * CARD_MM;
        off.abs() + along.abs() + across.abs() < SAME_MM
    }
}

/// The scale of these displacements, of which there is at least one: from the median
/// of their distances, for which `distances` is room.
fn scale_mm(off: &[f64], distances: &mut Vec<f64>) -> f64 {
    let middle = off.len() / 2;
    // most cards lie so well that the median need not be known
    let within = |off: &&f64| off.abs() * FROM_MEDIAN <= LEAST_SCALE_MM;
    if off.iter().filter(within).count() > middle {
        return LEAST_SCALE_MM;
    }
    distances.clear();
    distances.extend(off.iter().map(|off| off.abs()));
    let (_, median, _) = distances.select_nth_unstable_by(middle, f64::total_cmp);
    (*median * FROM_MEDIAN).max(LEAST_SCALE_MM)
}

/// Sums of weights, places and displacements.
#[derive(Default)]
struct Sums {
    w: f64,
    x: f64,
    y: f64,
    o: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    xo: f64,
    yo: f64,
}

impl Sums {
    fn add(&mut self, place: &Place, w: f64) {
        let (x, y, o) = (place.x_mm, place.y_mm, place.off_mm);
        self.w += w;
        self.x += w * x;
        self.y += w * y;
        self.o += w * o;
        self.xx += w * x * x;
        self.xy += w * x * y;
        self.yy += w * y * y;
        self.xo += w * x * o;
        self.yo += w * y * o;
    }

    fn plane(&self) -> Plane {
        if self.w <= 0.0 {
            return Plane::default();
        }
        let (mx, my, mo) = (self.x / self.w, self.y / self.w, self.o / self.w);
        let (xx, yy) = (self.xx - self.x * mx, self.yy - self.y * my);
        let xy = self.xy - self.x * my;
        let (xo, yo) = (self.xo - self.x * mo, self.yo - self.y * mo);
        let (wide, long) = (yy > LEAST_SPREAD, xx > LEAST_SPREAD);
        let both = xx * yy - xy * xy;
        let (stretch, skew) = match (long, wide) {
            (true, true) if both > 1e-6 * xx * yy => {
                ((xo * yy - yo * xy) / both, (yo * xx - xo * xy) / both)
            }
            (true, _) => (xo / xx, 0.0),
            (false, true) => (0.0, yo / yy),
            (false, false) => (0.0, 0.0),
        };
        Plane {
            offset_mm: mo - stretch * mx - skew * my,
            stretch,
            skew,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Place, Plane};

    fn places(plane: Plane) -> Vec<Place> {
        let holes = (0..56).flat_map(|row| (0..8).map(move |hole| (row, hole)));
        holes
            .map(|(row, hole)| {
                let (x_mm, y_mm) = (f64::from(row) * 6.804, (f64::from(hole) - 3.5) * 6.804);
                Place {
                    x_mm,
                    y_mm,
                    off_mm: plane.at(x_mm, y_mm),
                    weight: 1.0,
                }
            })
            .collect()
    }

    const SWOLLEN: Plane = Plane {
        offset_mm: 0.4,
        stretch: 0.003,
        skew: -0.004,
    };

    #[test]
    fn one_bad_row_does_not_bend_the_plane() {
        let mut places = places(SWOLLEN);
        for place in &mut places[400..408] {
            place.off_mm += 2.0;
        }
        let plane = Plane::robust(&places, Plane::default());
        assert!((plane.offset_mm - 0.4).abs() < 1e-9, "{plane:?}");
        assert!((plane.stretch - 0.003).abs() < 1e-11, "{plane:?}");
        assert!((plane.skew + 0.004).abs() < 1e-10, "{plane:?}");
    }

    #[test]
    fn few_holes_give_a_shift_at_most() {
        assert_eq!(Plane::least_squares(&[]), Plane::default());
        let one = Place {
            x_mm: 5.0,
            y_mm: 3.0,
            off_mm: 0.2,
            weight: 1.0,
        };
        let plane = Plane::least_squares(&[one]);
        assert_eq!(
            (plane.offset_mm, plane.stretch, plane.skew),
            (0.2, 0.0, 0.0)
        );
    }
}
