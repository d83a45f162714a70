//! Where the rows lie as a whole: shift and stretch of the card, and stretches
//! of it where no hole would show a slip.
//!
//! Enters: each stroke's offset along the feed, where it has whole holes.
//! Leaves: the line to be taken out, and the first blind stretch.

/// Shift and stretch of a whole card.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Line {
    /// Shift at the first stroke, in millimetres.
    pub(super) offset_mm: f64,
    /// Stretch, in millimetres a millimetre.
    pub(super) stretch: f64,
}

impl Line {
    /// Displacement of what nominally lies at `x_mm` from the first stroke.
    pub(super) fn at(self, x_mm: f64) -> f64 {
        self.offset_mm + self.stretch * x_mm
    }

    /// The least-squares line through `points` (place and offset in
    /// millimetres), from which rows far from it are left out one by one, up to
    /// a third of them, so that a bad row shows and does not bend the line.
    pub(super) fn through(points: &[(f64, f64)], far_mm: f64) -> Line {
        let mut kept = points.to_vec();
        let fewest = (points.len() * 2).div_ceil(3).max(2);
        loop {
            let line = Line::least_squares(&kept);
            let distance = |(x, y): &(f64, f64)| (y - line.at(*x)).abs();
            let worst = kept
                .iter()
                .enumerate()
                .map(|(number, point)| (number, distance(point)))
                .max_by(|(_, a), (_, b)| a.total_cmp(b));
            match worst {
                Some((number, far)) if far > far_mm && kept.len() > fewest => {
                    kept.swap_remove(number);
                }
                _ => return line,
            }
        }
    }

    fn least_squares(points: &[(f64, f64)]) -> Line {
        if points.is_empty() {
            return Line::default();
        }
        let count = points.len() as f64;
        let mean_x = points.iter().map(|(x, _)| x).sum::<f64>() / count;
        let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / count;
        let spread = points
            .iter()
            .map(|(x, _)| (x - mean_x).powi(2))
            .sum::<f64>();
        let slant = points
            .iter()
            .map(|(x, y)| (x - mean_x) * (y - mean_y))
            .sum::<f64>();
        // Holes within a few millimetres of one another tell no stretch.
        let stretch = if spread > 100.0 { slant / spread } else { 0.0 };
        Line {
            offset_mm: mean_y - stretch * mean_x,
            stretch,
        }
    }
}

/// The first stretch of at least `rows` strokes without a known offset that is
/// followed by one with: a slip in it would have gone unseen. A slip after the
/// last hole does no harm.
pub(super) fn blind_stretch(known: &[bool], rows: usize) -> Option<(usize, usize)> {
    let last = known
        .iter()
        .rposition(|known| *known)
        .unwrap_or(known.len());
    let mut begun = 0;
    for (stroke, known) in known.iter().enumerate().take(last + 1) {
        if *known {
            if stroke - begun >= rows.max(1) {
                return Some((begun, stroke - 1));
            }
            begun = stroke + 1;
        }
    }
    (last == known.len() && last >= rows.max(1)).then(|| (0, last - 1))
}

#[cfg(test)]
mod tests {
    use super::{Line, blind_stretch};

    #[test]
    fn one_bad_row_does_not_bend_the_line() {
        let mut points: Vec<(f64, f64)> = (0..56)
            .map(|n| f64::from(n) * 6.804)
            .map(|x| (x, 0.4 + 0.003 * x))
            .collect();
        points[50].1 += 2.0;
        let line = Line::through(&points, 0.35);
        assert!((line.offset_mm - 0.4).abs() < 1e-9 && (line.stretch - 0.003).abs() < 1e-12);
    }

    #[test]
    fn few_points_give_a_shift_at_most() {
        assert_eq!(Line::through(&[], 0.3), Line::default());
        let one = Line::through(&[(5.0, 0.2)], 0.3);
        assert_eq!((one.offset_mm, one.stretch), (0.2, 0.0));
    }

    #[test]
    fn blind_stretches_are_those_a_slip_could_hide_in() {
        let known = |text: &str| text.bytes().map(|b| b == b'x').collect::<Vec<_>>();
        assert_eq!(blind_stretch(&known("x.....x"), 6), None);
        assert_eq!(blind_stretch(&known("x......x"), 6), Some((1, 6)));
        assert_eq!(blind_stretch(&known("......x"), 6), Some((0, 5)));
        assert_eq!(blind_stretch(&known("x........."), 6), None);
        assert_eq!(blind_stretch(&known("......."), 6), Some((0, 6)));
        assert_eq!(blind_stretch(&[], 6), None);
    }
}
