//! One row's holes on all channels at once: the sums of its light with the
//! shapes, and the fits made of them.
//!
//! Enters: light, the place of the row's holes. Leaves: amplitude, offset,
//! diameter and misfit of each hole. Nothing divides by zero: every fit is held
//! by what is believed beforehand.
//!
//! Once the sums are made no line is looked at again: what is expected of a row's
//! light is made of the same shapes, so what is left of it is told by their products.

use super::super::light::{Lanes, Light, greater};
use super::bases::{Bases, Phase, SHAPES};

/// One row's light.
#[derive(Clone, Debug)]
pub(super) struct Window<'a, const N: usize> {
    pub(super) phase: &'a Phase,
    /// Where the holes' centre is thought to lie, from the first stroke.
    pub(super) centre_mm: f32,
    /// The first of its lines in the reading.
    pub(super) first: usize,
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
    pub(super) base: f32,
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

    /// The sums of what is left when this much of each shape is taken away.
    fn without(&self, shares: &[Lanes<N>; SHAPES], phase: &Phase) -> Sums<N> {
        let mut left = self.clone();
        for (left, gram) in left.shapes.iter_mut().zip(&phase.gram) {
            for (share, product) in shares.iter().zip(gram) {
                for lane in 0..N {
                    left[lane] -= share[lane] * product;
                }
            }
        }
        for (n, share) in shares.iter().enumerate() {
            for lane in 0..N {
                let both = self.shapes[n][lane] + left.shapes[n][lane];
                left.square[lane] -= share[lane] * both;
            }
        }
        left
    }
}

impl<const N: usize> Expected<N> {
    /// How much of each shape makes up a whole hole's light, and how much more of a
    /// hole's light it has for passing beside the aperture's middle.
    fn shares(&self, phase: &Phase) -> ([Lanes<N>; SHAPES], Lanes<N>) {
        let beside = self.across.map(|across| phase.beside(across));
        let mut shares = [[0.0; N]; SHAPES];
        for (share, aside) in shares.iter_mut().zip(&phase.aside) {
            for lane in 0..N {
                // around the hole there is the card's light
                share[lane] = (self.gain[lane] - self.base) * beside[lane] * aside;
            }
        }
        for lane in 0..N {
            shares[0][lane] += self.gain[lane];
            shares[1][lane] += self.gain[lane] * self.moved[lane];
            shares[2][lane] += self.gain[lane] * self.wider[lane];
            shares[3][lane] += self.base;
        }
        (shares, beside)
    }
}

impl<'a, const N: usize> Window<'a, N> {
    /// The light of holes whose centres lie at `centre_mm` and pass `across_mm`
    /// beside the apertures' middles; none outside the reading.
    #[inline] // it is large, and made in its place
    pub(super) fn new(
        bases: &'a Bases,
        light: &Light<N>,
        (centre_mm, across_mm): (f32, f32),
        neighbours: &[Neighbour<'_, N>],
    ) -> Option<Window<'a, N>> {
        let centre = centre_mm / bases.line_mm + light.per_row as f32;
        // nothing before the first line is looked at, and `as` is quicker than rounding
        let middle = (centre + 0.5) as usize;
        let first = middle.checked_sub(bases.half)?;
        let middle = middle as f32;
        let lines = light.lines.get(first..=first + 2 * bases.half)?;
        let phase = bases.phase(centre - middle, across_mm)?;
        let mut sums = Sums::NONE;
        if neighbours.is_empty() {
            for (line, tap) in lines.iter().zip(&phase.taps) {
                sums.add(line, tap);
            }
        } else {
            let start_mm = (first as f32 - light.per_row as f32) * bases.line_mm;
            for (number, (line, tap)) in lines.iter().zip(&phase.taps).enumerate() {
                let along_mm = start_mm + number as f32 * bases.line_mm;
                let mut own = *line;
                for other in neighbours {
                    let share = bases.needle.at(along_mm - other.centre_mm);
                    for (light, amplitude) in own.iter_mut().zip(other.amplitude) {
                        *light -= share * amplitude;
                    }
                }
                sums.add(&own, tap);
            }
        }
        Some(Window {
            phase,
            centre_mm: (middle - light.per_row as f32 + phase.lines) * bases.line_mm,
            first,
            sums,
        })
    }

    /// How many lines it has.
    fn count(&self) -> f32 {
        self.phase.taps.len() as f32
    }

    /// All light on each channel: the hole's shape and the card around it make up
    /// everything.
    fn all(&self) -> Lanes<N> {
        let mut all = self.sums.shapes[0];
        for (all, around) in all.iter_mut().zip(&self.sums.shapes[3]) {
            *all += around;
        }
        all
    }

    /// Mean light over the window.
    pub(super) fn mean(&self) -> Lanes<N> {
        let share = 1.0 / self.count();
        self.all().map(|all| all * share)
    }

    /// How much each channel's light differs from line to line (variance).
    pub(super) fn variance(&self) -> Lanes<N> {
        let count = self.count();
        let (share, scale) = (1.0 / count, 1.0 / (count - 1.0));
        let mut variance = self.all();
        for (variance, square) in variance.iter_mut().zip(&self.sums.square) {
            *variance = (square - *variance * *variance * share) * scale;
        }
        variance
    }

    /// Coefficients of all four shapes fitted to the light as it is, with little
    /// believed beforehand.
    #[inline]
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

    /// Coefficients of all four shapes fitted to what differs from what is expected.
    pub(super) fn fit_beyond(
        &self,
        expected: &Expected<N>,
        beliefs: &Beliefs<N>,
    ) -> [Lanes<N>; SHAPES] {
        let (shares, _) = expected.shares(self.phase);
        let left = self.sums.without(&shares, self.phase);
        Factor::new(&self.phase.gram, beliefs).solution(left.shapes)
    }

    /// The misfit of whole holes as expected, and all light beyond the card's as a
    /// share of a whole hole's.
    pub(super) fn whole(
        &self,
        expected: &Expected<N>,
        by: &mut Weighing<'a, N>,
    ) -> (Lanes<N>, Lanes<N>) {
        let (shares, beside) = expected.shares(self.phase);
        let misfit = by.misfit(&self.sums.without(&shares, self.phase), self.phase);
        let (whole, aside) = self.phase.whole;
        let card = self.count() * expected.base;
        let mut open = self.all();
        for lane in 0..N {
            let light = (whole + beside[lane] * aside) * expected.gain[lane];
            open[lane] = (open[lane] - card) / greater(light, 1e-3);
        }
        (misfit, open)
    }

    /// The misfit of solid card that lets `base` through.
    pub(super) fn solid(&self, base: f32, by: &mut Weighing<'a, N>) -> Lanes<N> {
        let mut left = self.sums.clone();
        for (left, gram) in left.shapes.iter_mut().zip(&self.phase.gram) {
            // the hole's shape and the card around it make up one
            let card = base * (gram[0] + gram[3]);
            for left in left {
                *left -= card;
            }
        }
        let card = base * self.count();
        for (square, all) in left.square.iter_mut().zip(&self.all()) {
            *square += base * (card - 2.0 * all);
        }
        by.misfit(&left, self.phase)
    }
}

/// Misfits by the same beliefs, window after window.
pub(super) struct Weighing<'a, const N: usize> {
    beliefs: Beliefs<N>,
    /// The last phase, as most rows of a card lie alike, and its factor.
    last: Option<(&'a Phase, Factor<N>)>,
}

impl<'a, const N: usize> Weighing<'a, N> {
    pub(super) fn new(beliefs: Beliefs<N>) -> Weighing<'a, N> {
        let last = None;
        Weighing { beliefs, last }
    }

    /// What is left of such light, in square light, when the shapes are fitted to it.
    fn misfit(&mut self, sums: &Sums<N>, phase: &'a Phase) -> Lanes<N> {
        let same = |(last, _): &(&Phase, _)| std::ptr::eq(*last, phase);
        if !self.last.as_ref().is_some_and(same) {
            self.last = Some((phase, Factor::new(&phase.gram, &self.beliefs)));
        }
        match &self.last {
            Some((_, factor)) => factor.misfit(sums),
            None => sums.square,
        }
    }
}

/// Factors of `gram + beliefs` on every channel (Cholesky without roots).
#[derive(Clone, Debug)]
struct Factor<const N: usize> {
    /// Below its diagonal.
    below: [[Lanes<N>; SHAPES]; SHAPES],
    /// One over each pivot.
    inverse: [Lanes<N>; SHAPES],
}

impl<const N: usize> Factor<N> {
    fn new(gram: &[[f32; SHAPES]; SHAPES], beliefs: &Beliefs<N>) -> Factor<N> {
        let mut factor = Factor {
            below: [[[0.0; N]; SHAPES]; SHAPES],
            inverse: [[0.0; N]; SHAPES],
        };
        // the factor times the pivots
        let mut scaled = [[[0.0; N]; SHAPES]; SHAPES];
        for j in 0..SHAPES {
            let mut pivot = beliefs[j];
            for pivot in &mut pivot {
                *pivot += gram[j][j];
            }
            for k in 0..j {
                take(&mut pivot, &factor.below[j][k], &scaled[j][k]);
            }
            factor.inverse[j] = pivot.map(|pivot| 1.0 / pivot.max(1e-9));
            for i in j + 1..SHAPES {
                let mut product = [gram[i][j]; N];
                for k in 0..j {
                    take(&mut product, &factor.below[j][k], &scaled[i][k]);
                }
                scaled[i][j] = product;
                for lane in 0..N {
                    factor.below[i][j][lane] = product[lane] * factor.inverse[j][lane];
                }
            }
        }
        factor
    }

    /// What solves `(gram + beliefs) x = sums`.
    fn solution(&self, sums: [Lanes<N>; SHAPES]) -> [Lanes<N>; SHAPES] {
        let mut x = self.forward(sums);
        for j in (0..SHAPES).rev() {
            for lane in 0..N {
                x[j][lane] *= self.inverse[j][lane];
            }
            for k in j + 1..SHAPES {
                let after = x[k];
                take(&mut x[j], &self.below[k][j], &after);
            }
        }
        x
    }

    #[inline]
    fn forward(&self, sums: [Lanes<N>; SHAPES]) -> [Lanes<N>; SHAPES] {
        let mut x = sums;
        for j in 1..SHAPES {
            for k in 0..j {
                let before = x[k];
                take(&mut x[j], &self.below[j][k], &before);
            }
        }
        x
    }

    /// What the solution leaves of the light's square.
    fn misfit(&self, sums: &Sums<N>) -> Lanes<N> {
        let mut misfit = sums.square;
        for (x, inverse) in self.forward(sums.shapes).iter().zip(&self.inverse) {
            for lane in 0..N {
                misfit[lane] -= x[lane] * x[lane] * inverse[lane];
            }
        }
        misfit
    }
}

/// Takes a product away on every channel.
fn take<const N: usize>(from: &mut Lanes<N>, a: &Lanes<N>, b: &Lanes<N>) {
    for lane in 0..N {
        from[lane] -= a[lane] * b[lane];
    }
}
