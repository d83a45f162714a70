//! A smooth surface through scattered values, by weighted least squares.
//!
//! Enters: values at places of a picture, with weights. Leaves: a [`Surface`],
//! a polynomial of both directions. It never fails: terms about which the values
//! say nothing are left at nothing.

use super::picture::Place;

/// Highest degree, and how many terms it has.
const MOST_DEGREE: usize = 4;
const MOST_TERMS: usize = (MOST_DEGREE + 1) * (MOST_DEGREE + 2) / 2;

/// Weight of the wish that a term be nothing, beside all the values' weight.
const REST: f64 = 1e-7;

/// A value at a place.
#[derive(Clone, Copy, Debug)]
pub struct Value {
    /// Where it was measured.
    pub place: Place,
    /// What was measured.
    pub value: f64,
    /// How much it counts.
    pub weight: f64,
}

/// A polynomial over a picture.
#[derive(Clone, Debug)]
pub struct Surface {
    degree: usize,
    middle: Place,
    half: f64,
    coefficients: [f64; MOST_TERMS],
}

impl Surface {
    /// Nothing everywhere, over a picture of this size.
    #[must_use]
    pub fn flat(width: usize, height: usize) -> Surface {
        Surface {
            degree: 0,
            middle: Place {
                x: width as f64 / 2.0,
                y: height as f64 / 2.0,
            },
            half: width.max(height) as f64 / 2.0,
            coefficients: [0.0; MOST_TERMS],
        }
    }

    /// A surface of this degree over the same picture, nearest to the values.
    #[must_use]
    pub fn fitted(&self, degree: usize, values: impl Iterator<Item = Value>) -> Surface {
        let degree = degree.min(MOST_DEGREE);
        let count = (degree + 1) * (degree + 2) / 2;
        let mut matrix = [[0.0; MOST_TERMS]; MOST_TERMS];
        let mut right = [0.0; MOST_TERMS];
        let mut whole = 0.0;
        for Value {
            place,
            value,
            weight,
        } in values
        {
            let terms = self.terms(degree, place);
            whole += weight;
            for row in 0..count {
                let weighted = terms[row] * weight;
                right[row] += weighted * value;
                for column in 0..=row {
                    matrix[row][column] += weighted * terms[column];
                }
            }
        }
        for (term, row) in matrix.iter_mut().enumerate().take(count) {
            // the mean is never pulled to nothing
            let rest = if term == 0 { 1e-12 } else { REST };
            row[term] += whole * rest + f64::MIN_POSITIVE;
        }
        Surface {
            degree,
            coefficients: solved(matrix, right, count),
            ..self.clone()
        }
    }

    /// The same surface, so much higher.
    #[must_use]
    pub fn raised(mut self, by: f64) -> Surface {
        self.coefficients[0] += by;
        self
    }

    /// The surface's height at a place.
    #[must_use]
    pub fn at(&self, place: Place) -> f64 {
        let terms = self.terms(self.degree, place);
        let pairs = terms.iter().zip(&self.coefficients);
        pairs.map(|(term, coefficient)| term * coefficient).sum()
    }

    fn terms(&self, degree: usize, place: Place) -> [f64; MOST_TERMS] {
        let x = (place.x - self.middle.x) / self.half;
        let y = (place.y - self.middle.y) / self.half;
        let mut terms = [0.0; MOST_TERMS];
        terms[0] = 1.0;
        let mut before = 0;
        let mut next = 1;
        // each degree: the one before times x, and its last times y
        for degree in 1..=degree {
            for term in 0..degree {
                terms[next + term] = terms[before + term] * x;
            }
            terms[next + degree] = terms[before + degree - 1] * y;
            before = next;
            next += degree + 1;
        }
        terms
    }
}

/// By Cholesky's factors; the matrix is given below its diagonal.
fn solved(
    mut matrix: [[f64; MOST_TERMS]; MOST_TERMS],
    mut right: [f64; MOST_TERMS],
    count: usize,
) -> [f64; MOST_TERMS] {
    for row in 0..count {
        for column in 0..=row {
            let known: f64 = (0..column)
                .map(|k| matrix[row][k] * matrix[column][k])
                .sum();
            let left = matrix[row][column] - known;
            matrix[row][column] = if row == column {
                left.max(f64::MIN_POSITIVE).sqrt()
            } else {
                left / matrix[column][column]
            };
        }
    }
    for row in 0..count {
        let known: f64 = (0..row).map(|k| matrix[row][k] * right[k]).sum();
        right[row] = (right[row] - known) / matrix[row][row];
    }
    for row in (0..count).rev() {
        let known: f64 = (row + 1..count).map(|k| matrix[k][row] * right[k]).sum();
        right[row] = (right[row] - known) / matrix[row][row];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A polynomial is given back; what no value speaks of stays at nothing.
    #[test]
    fn a_polynomial_is_found_again() {
        let true_height = |place: Place| {
            let (x, y) = (place.x / 100.0, place.y / 100.0);
            0.3 + 0.2 * x - 0.7 * y + 0.5 * x * y - 0.1 * x * x * x + 0.05 * y * y * y * y
        };
        let places = (0..400).map(|at| Place {
            x: f64::from(at % 20) * 10.0,
            y: f64::from(at / 20) * 10.0,
        });
        let values = places.clone().map(|place| Value {
            place,
            value: true_height(place),
            weight: 1.0,
        });
        let surface = Surface::flat(200, 200).fitted(4, values);
        for place in places {
            assert!((surface.at(place) - true_height(place)).abs() < 1e-4);
        }
        let one = Value {
            place: Place { x: 3.0, y: 4.0 },
            value: 2.0,
            weight: 1.0,
        };
        let surface = Surface::flat(200, 200).fitted(3, [one].into_iter());
        assert!((surface.at(one.place) - 2.0).abs() < 1e-3);
        assert_eq!(
            Surface::flat(9, 9).fitted(2, [].into_iter()).at(one.place),
            0.0
        );
    }
}
