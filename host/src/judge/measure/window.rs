//! One row's holes on all channels at once: the sums of its light with the
//! shapes, and the fits made of them.
//!
//! Enters: light, the place of the row's holes. Leaves: amplitude, offset,
//! diameter and misfit of each hole. Nothing divides by zero: every fit is held
//! by what is believed beforehand.

use super::super::light::{Lanes, Light};
use super::bases::{Bases, Phase, SHAPES};
use std::borrow::Cow;

/// One row's light.
#[derive(Clone, Debug)]
pub(super) struct Window<'a, const N: usize> {
    pub(super) phase: &'a Phase,
    /// Where the holes' centre is thought to lie, from the first stroke.
    pub(super) centre_mm: f32,
    /// Line by line.
    lines: Cow<'a, [Lanes<N>]>,
    sums: Sums<N>,
}

/// Sums of some light.
#[derive(Clone, Debug)]
struct Sums<const N: usize> {
    /// With each shape.
    shapes: [Lanes<N>; SHAPES],
    /// Of its square.
    square: Lanes<N>,
}

/// How much each shape's coefficient is expected to vary: one over the square of
/// its spread, in units of the light's noise.
pub(super) type Beliefs<const N: usize> = [Lanes<N>; SHAPES];

/// A fit: coefficients, and the misfit that is left, in square light.
pub(super) struct Fit<const N: usize> {
    pub(super) found: [Lanes<N>; SHAPES],
    pub(super) misfit: Lanes<N>,
}

/// Light of a neighbouring row that has to be taken away.
#[derive(Clone, Copy)]
pub(super) struct Neighbour<'a, const N: usize> {
    pub(super) centre_mm: f32,
    pub(super) amplitude: &'a Lanes<N>,
}

/// What a row's light is expected to be, channel by channel.
pub(super) struct Expected<const N: usize> {
    /// Amplitude of a hole.
    pub(super) gain: Lanes<N>,
    /// How far along from the window's centre, and how far beside the
    /// aperture's middle, in millimetres.
    pub(super) moved: Lanes<N>,
    pub(super) across: Lanes<N>,
    /// How much wider than nominal.
    pub(super) wider: Lanes<N>,
    /// Light through the card around it.
    pub(super) base: Lanes<N>,
}

impl<const N: usize> Sums<N> {
    const NONE: Sums<N> = Sums {
        shapes: [[0.0; N]; SHAPES],
        square: [0.0; N],
    };

    #[inline] // its sums then stay in registers from line to line
    fn add(&mut self, light: &Lanes<N>, tap: &[f32; SHAPES]) {
        for (sum, shape) in self.shapes.iter_mut().zip(tap) {
            for (sum, light) in sum.iter_mut().zip(light) {
                *sum += shape * light;
            }
        }
        for (sum, light) in self.square.iter_mut().zip(light) {
            *sum += light * light;
        }
    }

    fn fit(&self, phase: &Phase, beliefs: &Beliefs<N>) -> Fit<N> {
        let found = solve(&phase.gram, beliefs, &self.shapes);
        let mut misfit = self.square;
        for (found, sum) in found.iter().zip(&self.shapes) {
            for lane in 0..N {
                misfit[lane] -= found[lane] * sum[lane];
            }
        }
        Fit { found, misfit }
    }
}

impl<'a, const N: usize> Window<'a, N> {
    /// The light of holes whose centres lie at `centre_mm` and pass `across_mm`
    /// beside the apertures' middles; none outside the reading.
    pub(super) fn new(
        bases: &'a Bases,
        light: &'a Light<N>,
        (centre_mm, across_mm): (f32, f32),
        neighbours: &[Neighbour<'_, N>],
    ) -> Option<Window<'a, N>> {
        let centre = centre_mm / bases.line_mm + light.per_row as f32;
        // nothing before the first line is looked at, and `as` is quicker than rounding
        let middle = (centre + 0.5) as usize;
        let first = middle.checked_sub(bases.half)?;
        let middle = middle as f32;
        let lines = light.lines.get(first..=first + 2 * bases.half)?;
        let mut lines = Cow::Borrowed(lines);
        let start_mm = (first as f32 - light.per_row as f32) * bases.line_mm;
        for other in neighbours {
            for (number, line) in lines.to_mut().iter_mut().enumerate() {
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

    /// Coefficients of all four shapes fitted to the light as it is, with little
    /// believed beforehand.
    pub(super) fn fit(&self) -> [Lanes<N>; SHAPES] {
        let mut found = [[0.0; N]; SHAPES];
        for (found, row) in found.iter_mut().zip(&self.phase.loose) {
            for (share, sums) in row.iter().zip(&self.sums.shapes) {
                for lane in 0..N {
                    found[lane] += share * sums[lane];
                }
            }
        }
        found
    }

    /// The fit of all four shapes to what differs from what is expected, and all
    /// light beyond the card's as a share of a whole hole's.
    pub(super) fn compare(
        &self,
        bases: &Bases,
        expected: &Expected<N>,
        beliefs: &Beliefs<N>,
    ) -> (Fit<N>, Lanes<N>) {
        let beside = bases.beside(self.phase, &expected.across);
        let (mut sums, mut all) = (Sums::NONE, [0.0; N]);
        let lines = self.lines.iter().zip(&self.phase.taps);
        for ((line, tap), whole) in lines.zip(beside.whole()) {
            let mut left = *line;
            for lane in 0..N {
                let shape =
                    whole[lane] + expected.moved[lane] * tap[1] + expected.wider[lane] * tap[2];
                left[lane] -=
                    expected.gain[lane] * shape + expected.base[lane] * (1.0 - whole[lane]);
                all[lane] += whole[lane];
            }
            sums.add(&left, tap);
        }
        let taps = self.lines.len() as f32;
        for lane in 0..N {
            let beyond = self.all(lane) - taps * expected.base[lane];
            all[lane] = beyond / (all[lane] * expected.gain[lane]).max(1e-3);
        }
        (sums.fit(self.phase, beliefs), all)
    }

    /// The misfit of solid card that lets `base` through.
    pub(super) fn solid(&self, base: f32, beliefs: &Beliefs<N>) -> Fit<N> {
        let taps = self.lines.len() as f32;
        let mut sums = self.sums.clone();
        for (sums, gram) in sums.shapes.iter_mut().zip(&self.phase.gram) {
            // the hole's shape and the card around it make up one
            let shape = gram[0] + gram[3];
            for sum in sums {
                *sum -= base * shape;
            }
        }
        for lane in 0..N {
            sums.square[lane] += base * (taps * base - 2.0 * self.all(lane));
        }
        sums.fit(self.phase, beliefs)
    }
}

/// Solves `(gram + beliefs) x = sums` on every channel (Cholesky without roots).
fn solve<const N: usize>(
    gram: &[[f32; SHAPES]; SHAPES],
    beliefs: &Beliefs<N>,
    sums: &[Lanes<N>; SHAPES],
) -> [Lanes<N>; SHAPES] {
    let mut system = System {
        x: *sums,
        factor: [[[0.0; N]; SHAPES]; SHAPES],
        scaled: [[[0.0; N]; SHAPES]; SHAPES],
        inverse: [[0.0; N]; SHAPES],
    };
    // each by its number, so that no loop is left in it
    system.eliminate::<0>(gram, beliefs);
    system.eliminate::<1>(gram, beliefs);
    system.eliminate::<2>(gram, beliefs);
    system.eliminate::<3>(gram, beliefs);
    system.substitute::<3>();
    system.substitute::<2>();
    system.substitute::<1>();
    system.substitute::<0>();
    system.x
}

/// Equations being solved.
struct System<const N: usize> {
    /// The right side, which becomes the solution.
    x: [Lanes<N>; SHAPES],
    /// Below its diagonal, the factor, and the factor times the pivots.
    factor: [[Lanes<N>; SHAPES]; SHAPES],
    scaled: [[Lanes<N>; SHAPES]; SHAPES],
    /// One over each pivot.
    inverse: [Lanes<N>; SHAPES],
}

impl<const N: usize> System<N> {
    #[inline]
    fn eliminate<const J: usize>(&mut self, gram: &[[f32; SHAPES]; SHAPES], beliefs: &Beliefs<N>) {
        let mut pivot = beliefs[J];
        for pivot in &mut pivot {
            *pivot += gram[J][J];
        }
        for k in 0..J {
            take(&mut pivot, &self.factor[J][k], &self.scaled[J][k]);
            let before = self.x[k];
            take(&mut self.x[J], &self.factor[J][k], &before);
        }
        for lane in 0..N {
            self.inverse[J][lane] = 1.0 / pivot[lane].max(1e-9);
        }
        for i in J + 1..SHAPES {
            let mut product = [gram[i][J]; N];
            for k in 0..J {
                take(&mut product, &self.factor[J][k], &self.scaled[i][k]);
            }
            self.scaled[i][J] = product;
            for lane in 0..N {
                self.factor[i][J][lane] = product[lane] * self.inverse[J][lane];
            }
        }
    }

    #[inline]
    fn substitute<const J: usize>(&mut self) {
        for lane in 0..N {
            self.x[J][lane] *= self.inverse[J][lane];
        }
        for k in J + 1..SHAPES {
            let after = self.x[k];
            take(&mut self.x[J], &self.factor[k][J], &after);
        }
    }
}

/// Takes a product away on every channel.
fn take<const N: usize>(from: &mut Lanes<N>, a: &Lanes<N>, b: &Lanes<N>) {
    for lane in 0..N {
        from[lane] -= a[lane] * b[lane];
    }
}
