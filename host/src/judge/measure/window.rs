//! One row's holes on all channels at once: the sums of its light with the
//! shapes, and the fits made of them.
//!
//! Enters: light, the place of the row's holes. Leaves: amplitude, offset,
//! diameter and misfit of each hole. Nothing divides by zero: every fit is held
//! by what is believed beforehand.

use super::super::light::{LANES, Lanes, Light};
use super::bases::{Bases, Phase, SHAPES};

/// The sums of one row's light.
#[derive(Clone, Debug)]
pub(super) struct Window<'a> {
    pub(super) phase: &'a Phase,
    /// Where the holes' centre is thought to lie, from the first stroke.
    pub(super) centre_mm: f32,
    /// Sums of light with each shape.
    sums: [Lanes; SHAPES],
    /// Sum of the light's square.
    square: Lanes,
}

/// How much each shape's coefficient is expected to vary: one over the square of
/// its spread, in units of the light's noise.
pub(super) type Beliefs = [Lanes; SHAPES];

/// A fit: coefficients, and the misfit that is left, in square light.
pub(super) struct Fit {
    pub(super) found: [Lanes; SHAPES],
    pub(super) misfit: Lanes,
}

/// Light of a neighbouring row that has to be taken away.
#[derive(Clone, Copy)]
pub(super) struct Neighbour<'a> {
    pub(super) centre_mm: f32,
    pub(super) amplitude: &'a Lanes,
}

impl<'a> Window<'a> {
    /// The sums for holes whose centres lie at `centre_mm`; none outside the
    /// reading.
    pub(super) fn new(
        bases: &'a Bases,
        light: &Light,
        centre_mm: f32,
        neighbours: &[Neighbour<'_>],
    ) -> Option<Window<'a>> {
        let centre = centre_mm / bases.line_mm + light.per_row as f32;
        let middle = centre.round();
        let first = middle as i64 - bases.half as i64;
        let first = usize::try_from(first).ok()?;
        let lines = light.lines.get(first..=first + 2 * bases.half)?;
        let phase = bases.phase(centre - middle)?;
        let (mut sums, mut square) = ([[0.0; LANES]; SHAPES], [0.0; LANES]);
        for (number, (line, tap)) in lines.iter().zip(&phase.taps).enumerate() {
            let mut line = *line;
            let along_mm =
                (first + number) as f32 * bases.line_mm - light.per_row as f32 * bases.line_mm;
            for other in neighbours {
                let share = bases.needle.at(along_mm - other.centre_mm);
                if share > 0.0 {
                    for (light, amplitude) in line.iter_mut().zip(other.amplitude) {
                        *light -= share * amplitude;
                    }
                }
            }
            for (sum, shape) in sums.iter_mut().zip(tap) {
                for (sum, light) in sum.iter_mut().zip(&line) {
                    *sum += shape * light;
                }
            }
            for (sum, light) in square.iter_mut().zip(&line) {
                *sum += light * light;
            }
        }
        Some(Window {
            phase,
            centre_mm: (middle - light.per_row as f32 + phase.lines) * bases.line_mm,
            sums,
            square,
        })
    }

    /// All light: the hole's shape and the card around it make up everything.
    fn all(&self) -> Lanes {
        let mut all = self.sums[0];
        for (all, around) in all.iter_mut().zip(&self.sums[3]) {
            *all += around;
        }
        all
    }

    /// Mean light over the window.
    pub(super) fn mean(&self) -> Lanes {
        let all = 1.0 / self.phase.taps.len() as f32;
        self.all().map(|sum| sum * all)
    }

    /// How much one channel's light differs from line to line (variance).
    pub(super) fn variance(&self, lane: usize) -> f32 {
        let taps = self.phase.taps.len() as f32;
        let sum = self.sums[0][lane] + self.sums[3][lane];
        (self.square[lane] - sum * sum / taps) / (taps - 1.0)
    }

    /// All light beyond `base`, as a share of a whole hole's with this gain.
    pub(super) fn filled(&self, gains: &Lanes, base: &Lanes) -> Lanes {
        let taps = self.phase.taps.len() as f32;
        let whole: f32 = self.phase.taps.iter().map(|tap| tap[0]).sum();
        let all = self.all();
        let mut filled = [0.0; LANES];
        for lane in 0..LANES {
            filled[lane] = (all[lane] - taps * base[lane]) / (whole * gains[lane]);
        }
        filled
    }

    /// The fit of all four shapes to the light less what is expected: `expected`
    /// of the hole's own shape, `moved` along and `wider` than nominal (in
    /// millimetres), and `base` around it.
    pub(super) fn fit(
        &self,
        expected: &Lanes,
        moved: &Lanes,
        wider: &Lanes,
        base: &Lanes,
        beliefs: &Beliefs,
    ) -> Fit {
        let gram = &self.phase.gram;
        let mut sums = self.sums;
        let mut misfit = self.square;
        let mut less: [Lanes; SHAPES] = [*expected, *moved, *wider, *base];
        for lane in 0..LANES {
            less[1][lane] *= expected[lane];
            less[2][lane] *= expected[lane];
        }
        // |s - L|^2 = s.s - 2 L.s + L.L, and its sums with each shape
        for (k, less_k) in less.iter().enumerate() {
            for lane in 0..LANES {
                misfit[lane] -= 2.0 * less_k[lane] * self.sums[k][lane];
            }
            for (j, less_j) in less.iter().enumerate() {
                let product = gram[k][j];
                for lane in 0..LANES {
                    misfit[lane] += product * less_k[lane] * less_j[lane];
                    sums[k][lane] -= product * less_j[lane];
                }
            }
        }
        let found = solve(gram, beliefs, &sums);
        for (found, sum) in found.iter().zip(&sums) {
            for lane in 0..LANES {
                misfit[lane] -= found[lane] * sum[lane];
            }
        }
        Fit { found, misfit }
    }
}

/// Solves `(gram + beliefs) x = sums` on every channel (Cholesky).
fn solve(
    gram: &[[f32; SHAPES]; SHAPES],
    beliefs: &Beliefs,
    sums: &[Lanes; SHAPES],
) -> [Lanes; SHAPES] {
    let mut factor = [[[0.0f32; LANES]; SHAPES]; SHAPES];
    let mut x = *sums;
    for j in 0..SHAPES {
        let mut pivot = beliefs[j];
        for lane in 0..LANES {
            pivot[lane] += gram[j][j];
        }
        for before in factor[j].iter().take(j) {
            for lane in 0..LANES {
                pivot[lane] -= before[lane] * before[lane];
            }
        }
        let inverse = pivot.map(|pivot| 1.0 / pivot.max(1e-9).sqrt());
        factor[j][j] = inverse;
        for i in j + 1..SHAPES {
            let mut sum = [gram[i][j]; LANES];
            for k in 0..j {
                for lane in 0..LANES {
                    sum[lane] -= factor[i][k][lane] * factor[j][k][lane];
                }
            }
            for lane in 0..LANES {
                factor[i][j][lane] = sum[lane] * inverse[lane];
            }
        }
        for k in 0..j {
            for lane in 0..LANES {
                x[j][lane] -= factor[j][k][lane] * x[k][lane];
            }
        }
        for lane in 0..LANES {
            x[j][lane] *= inverse[lane];
        }
    }
    for j in (0..SHAPES).rev() {
        for k in j + 1..SHAPES {
            for lane in 0..LANES {
                x[j][lane] -= factor[k][j][lane] * x[k][lane];
            }
        }
        for lane in 0..LANES {
            x[j][lane] *= factor[j][j][lane];
        }
    }
    x
}
