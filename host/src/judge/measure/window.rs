//! One row's holes on all channels at once: the sums of its light with the
//! shapes, and the fits made of them.
//!
//! Enters: light, the place of the row's holes. Leaves: amplitude, offset,
//! diameter and misfit of each hole. Nothing divides by zero: every fit is held
//! by what is believed beforehand.

use super::super::light::{LANES, Lanes, Light};
use super::bases::{Bases, Phase, SHAPES};

/// One row's light.
#[derive(Clone, Debug)]
pub(super) struct Window<'a> {
    pub(super) phase: &'a Phase,
    /// Where the holes' centre is thought to lie, from the first stroke.
    pub(super) centre_mm: f32,
    /// Line by line.
    lines: Vec<Lanes>,
    sums: Sums,
}

/// Sums of some light.
#[derive(Clone, Debug)]
struct Sums {
    /// With each shape.
    shapes: [Lanes; SHAPES],
    /// Of its square.
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

/// What a row's light is expected to be, channel by channel.
pub(super) struct Expected {
    /// Amplitude of a hole.
    pub(super) gain: Lanes,
    /// How far along from the window's centre, and how far beside the
    /// aperture's middle, in millimetres.
    pub(super) moved: Lanes,
    pub(super) across: Lanes,
    /// How much wider than nominal.
    pub(super) wider: Lanes,
    /// Light through the card around it.
    pub(super) base: Lanes,
}

impl Sums {
    const NONE: Sums = Sums {
        shapes: [[0.0; LANES]; SHAPES],
        square: [0.0; LANES],
    };

    fn add(&mut self, light: &Lanes, tap: &[f32; SHAPES]) {
        for (sum, shape) in self.shapes.iter_mut().zip(tap) {
            for (sum, light) in sum.iter_mut().zip(light) {
                *sum += shape * light;
            }
        }
        for (sum, light) in self.square.iter_mut().zip(light) {
            *sum += light * light;
        }
    }

    fn fit(&self, phase: &Phase, beliefs: &Beliefs) -> Fit {
        let found = solve(&phase.gram, beliefs, &self.shapes);
        let mut misfit = self.square;
        for (found, sum) in found.iter().zip(&self.shapes) {
            for lane in 0..LANES {
                misfit[lane] -= found[lane] * sum[lane];
            }
        }
        Fit { found, misfit }
    }
}

impl<'a> Window<'a> {
    /// The light of holes whose centres lie at `centre_mm` and pass `across_mm`
    /// beside the apertures' middles; none outside the reading.
    pub(super) fn new(
        bases: &'a Bases,
        light: &Light,
        (centre_mm, across_mm): (f32, f32),
        neighbours: &[Neighbour<'_>],
    ) -> Option<Window<'a>> {
        let centre = centre_mm / bases.line_mm + light.per_row as f32;
        let middle = centre.round();
        let first = usize::try_from(middle as i64 - bases.half as i64).ok()?;
        let lines = light.lines.get(first..=first + 2 * bases.half)?;
        let mut lines = lines.to_vec();
        let start_mm = (first as f32 - light.per_row as f32) * bases.line_mm;
        for other in neighbours {
            for (number, line) in lines.iter_mut().enumerate() {
                let along_mm = start_mm + number as f32 * bases.line_mm;
                let share = bases.needle.at(along_mm - other.centre_mm);
                for (light, amplitude) in line.iter_mut().zip(other.amplitude) {
                    *light -= share * amplitude;
                }
            }
        }
        let phase = bases.phase(centre - middle, across_mm)?;
        let mut sums = Sums::NONE;
        for (line, tap) in lines.iter().zip(&phase.taps) {
            sums.add(line, tap);
        }
        Some(Window {
            phase,
            centre_mm: (middle - light.per_row as f32 + phase.lines) * bases.line_mm,
            lines,
            sums,
        })
    }

    /// All light: the hole's shape and the card around it make up everything.
    fn all(&self, lane: usize) -> f32 {
        self.sums.shapes[0][lane] + self.sums.shapes[3][lane]
    }

    /// Mean light over the window.
    pub(super) fn mean(&self, lane: usize) -> f32 {
        self.all(lane) / self.lines.len() as f32
    }

    /// How much one channel's light differs from line to line (variance).
    pub(super) fn variance(&self, lane: usize) -> f32 {
        let taps = self.lines.len() as f32;
        (self.sums.square[lane] - self.all(lane).powi(2) / taps) / (taps - 1.0)
    }

    /// The fit of all four shapes to the light as it is.
    pub(super) fn fit(&self, beliefs: &Beliefs) -> Fit {
        self.sums.fit(self.phase, beliefs)
    }

    /// The fit of all four shapes to what differs from what is expected, and all
    /// light beyond the card's as a share of a whole hole's.
    pub(super) fn compare(
        &self,
        bases: &Bases,
        expected: &Expected,
        beliefs: &Beliefs,
    ) -> (Fit, Lanes) {
        let mut whole = vec![[0.0; LANES]; self.lines.len()];
        let mut all = [0.0; LANES];
        for lane in 0..LANES {
            let light = bases.whole(self.phase, expected.across[lane]);
            for (line, light) in whole.iter_mut().zip(light) {
                line[lane] = light;
                all[lane] += light;
            }
        }
        let mut sums = Sums::NONE;
        for ((line, whole), tap) in self.lines.iter().zip(&whole).zip(&self.phase.taps) {
            let mut left = *line;
            for lane in 0..LANES {
                let shape =
                    whole[lane] + expected.moved[lane] * tap[1] + expected.wider[lane] * tap[2];
                left[lane] -=
                    expected.gain[lane] * shape + expected.base[lane] * (1.0 - whole[lane]);
            }
            sums.add(&left, tap);
        }
        let taps = self.lines.len() as f32;
        for lane in 0..LANES {
            let beyond = self.all(lane) - taps * expected.base[lane];
            all[lane] = beyond / (all[lane] * expected.gain[lane]).max(1e-3);
        }
        (sums.fit(self.phase, beliefs), all)
    }

    /// The misfit of solid card that lets `base` through.
    pub(super) fn solid(&self, base: f32, beliefs: &Beliefs) -> Fit {
        let mut sums = Sums::NONE;
        for (line, tap) in self.lines.iter().zip(&self.phase.taps) {
            sums.add(&line.map(|light| light - base), tap);
        }
        sums.fit(self.phase, beliefs)
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
