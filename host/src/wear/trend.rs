//! What a row of numbers does over time, whatever a few of them do.
//!
//! Enters: numbers in order. Leaves: their middle, their slope, their noise.
//! None of it is bent by one number in four. Refuses nothing: of too few numbers
//! it says 0.

/// From the median of absolute values to a standard deviation, for normal errors.
const FROM_MEDIAN: f64 = 1.4826;

/// The middle value, or the mean of the middle two; 0 of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let (low, high) = (values.len().saturating_sub(1) / 2, values.len() / 2);
    match (values.get(low), values.get(high)) {
        (Some(low), Some(high)) => (low + high) / 2.0,
        _ => 0.0,
    }
}

/// The middle of these, which stay in order.
pub(super) fn middle(values: &[f64]) -> f64 {
    median(&mut values.to_vec())
}

/// The slope of `y` over `x`: the median of the slopes between every two points
/// (Theil 1950, Sen 1968), which 29 bad points in a hundred do not bend.
pub(super) fn slope(x: &[f64], y: &[f64]) -> f64 {
    let points: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (at, (x0, y0)) in points.iter().enumerate() {
        for (x1, y1) in points.iter().skip(at + 1) {
            if x1 != x0 {
                slopes.push((y1 - y0) / (x1 - x0));
            }
        }
    }
    median(&mut slopes)
}

/// Noise from one number to the next (standard deviation): neither a slope nor a
/// step counts.
pub(super) fn noise(values: &[f64]) -> f64 {
    let steps = values.windows(2).filter_map(|two| match two {
        [first, second] => Some((second - first).abs()),
        _ => None,
    });
    FROM_MEDIAN * median(&mut steps.collect::<Vec<_>>()) / std::f64::consts::SQRT_2
}

#[cfg(test)]
mod tests {
    use super::{median, noise, slope};

    #[test]
    fn one_number_in_four_bends_nothing() {
        let x: Vec<f64> = (0..40).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| 3.0 * x).collect();
        for at in (3..40).step_by(4) {
            y[at] += 500.0;
        }
        assert!((slope(&x, &y) - 3.0).abs() < 0.5, "{}", slope(&x, &y));
        assert_eq!(median(&mut [9.0, 1.0, 1000.0, 2.0]), 5.5);
    }

    #[test]
    fn of_nothing_nothing_is_said() {
        assert_eq!(median(&mut []), 0.0);
        assert_eq!(slope(&[1.0], &[2.0]), 0.0);
        assert_eq!(slope(&[1.0, 1.0], &[2.0, 9.0]), 0.0);
        assert_eq!(noise(&[4.0]), 0.0);
    }

    #[test]
    fn noise_is_what_is_left_beside_slope_and_step() {
        let sawtooth = |at: i32| f64::from(at % 2) * 2.0;
        let plain: Vec<f64> = (0..60).map(sawtooth).collect();
        let stepped: Vec<f64> = (0..60)
            .map(|at| sawtooth(at) + if at < 30 { 0.0 } else { 90.0 })
            .collect();
        assert!((noise(&plain) - noise(&stepped)).abs() < 1e-9);
    }
}
