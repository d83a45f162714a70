//! Rows of needle and lace holes: where each lies, and the fit of each hole.
//!
//! Enters: light, the rows' rough places. Leaves: for each row its place by its
//! own holes, and for each position amplitude, offset and diameter, taken as they
//! come: nothing is judged here.

use super::super::light::{Lanes, Light, greater, lesser};
use super::super::plane::{Place, Plane};
use super::bases::{Bases, NOISE, SHAPES, SPREADS};
use super::pick::median_of_lanes;
use super::window::{Beliefs, Expected, Neighbour, Window};

/// A hole with less light than this has no centre worth telling.
pub(super) const LEAST_LIGHT: f32 = 0.3;

/// A hole with more is taken for a hole while levels are looked for.
const HOLE: f32 = 0.55;

/// A row's place is good enough when its holes agree with it so well.
const SETTLED_MM: f32 = 0.1;

/// A row further off than this, by the middle of its light, is looked at where
/// its light is, and not where the card's plane leads.
const ASTRAY_MM: f32 = 0.35;

/// Less than this to the side changes nothing that is seen of a hole.
const SIDEWAYS_MM: f32 = 0.15;

/// Looks at a row at most.
const LOOKS: usize = 4;

/// One row as measured.
#[derive(Clone, Debug)]
pub(super) struct Row<'a, const N: usize> {
    /// The sums of its light; none if it lies outside the reading.
    pub(super) window: Option<Window<'a, N>>,
    /// Amplitude of each hole.
    pub(super) amplitude: Lanes<N>,
    /// Offset of each from the row's nominal place.
    pub(super) along_mm: Lanes<N>,
    /// Diameter beyond the nominal one.
    pub(super) wider_mm: Lanes<N>,
    /// Offset of the row by its own holes.
    pub(super) off_mm: Option<f32>,
    /// Positions whose window no peg hole's light reaches; no idle channel.
    pub(super) clear: [bool; N],
}

/// All rows.
pub(super) struct Rows<'a, const N: usize> {
    pub(super) bases: &'a Bases,
    pub(super) light: &'a Light<N>,
    pub(super) each: Vec<Row<'a, N>>,
    pub(super) across: Lanes<N>,
    pegged: Pegged<'a, N>,
    pub(super) plane: Plane,
    /// How far the card lies to the side.
    aside_mm: f32,
}

/// Where peg holes are, row by row.
#[derive(Clone, Copy)]
pub(super) struct Pegged<'a, const N: usize> {
    /// Positions whose window a peg hole's light reaches.
    pub(super) near: &'a [[bool; N]],
    /// Positions within one.
    pub(super) within: &'a [[bool; N]],
}

/// Beliefs with these spreads, where light has this noise.
pub(super) fn beliefs<const N: usize>(spreads: &[f32; SHAPES], noise: &Lanes<N>) -> Beliefs<N> {
    spreads.map(|spread| noise.map(|noise| (noise / spread).powi(2)))
}

impl<const N: usize> Row<'_, N> {
    /// Positions with a hole's light and no peg hole's.
    pub(super) fn holes(&self) -> [bool; N] {
        let mut holes = self.clear;
        for (hole, amplitude) in holes.iter_mut().zip(&self.amplitude) {
            *hole &= *amplitude > HOLE;
        }
        holes
    }
}

impl<'a, const N: usize> Rows<'a, N> {
    /// Rows about whose places little is known.
    pub(super) fn new(
        bases: &'a Bases,
        light: &'a Light<N>,
        rows_mm: &[Option<f32>],
        line: Plane,
        across: Lanes<N>,
        pegged: Pegged<'a, N>,
    ) -> Rows<'a, N> {
        let mut rows = Rows {
            bases,
            light,
            each: Vec::with_capacity(rows_mm.len()),
            across,
            pegged,
            plane: line,
            aside_mm: 0.0,
        };
        for (number, rough) in rows_mm.iter().enumerate() {
            let lead = rows.lead_mm(number);
            let start = rough.filter(|off| (off - lead).abs() > ASTRAY_MM);
            let row = rows.look(number, start.unwrap_or(lead), &[]);
            rows.each.push(row);
        }
        rows
    }

    /// Which positions of a row lie within a peg hole.
    pub(super) fn within_pegs(&self, row: usize) -> [bool; N] {
        self.pegged.within.get(row).copied().unwrap_or([false; N])
    }

    /// Where the card's plane leads row `number`, along its middle line.
    pub(super) fn lead_mm(&self, number: usize) -> f32 {
        let x = number as f64 * f64::from(self.bases.pitch_mm);
        self.plane.at(x, 0.0) as f32
    }

    /// How far beside their apertures' middles row `number`'s holes pass.
    fn beside_mm(&self, number: usize) -> f32 {
        self.aside_mm - self.plane.skew as f32 * number as f32 * self.bases.pitch_mm
    }

    /// The same for each channel: a swollen card is wider too.
    pub(super) fn beside(&self, number: usize) -> Lanes<N> {
        let row = self.beside_mm(number);
        self.across.map(|y| row + y * self.plane.stretch as f32)
    }

    /// Displacement of each channel's holes by the card's skew.
    pub(super) fn skewed(&self) -> Lanes<N> {
        self.across.map(|y| y * self.plane.skew as f32)
    }

    /// A row found at `off_mm` or near it.
    fn look(&self, number: usize, off_mm: f32, neighbours: &[Neighbour<'_, N>]) -> Row<'a, N> {
        let place = number as f32 * self.bases.pitch_mm;
        let mut row = Row {
            window: None,
            amplitude: [0.0; N],
            along_mm: [off_mm; N],
            wider_mm: [0.0; N],
            off_mm: None,
            clear: self.clear(number),
        };
        let mut centre = place + off_mm;
        for _ in 0..LOOKS {
            let at = (centre, self.beside_mm(number));
            let Some(window) = Window::new(self.bases, self.light, at, neighbours) else {
                return row;
            };
            let found = if self.beside_mm(number).abs() > SIDEWAYS_MM {
                let loose = beliefs(&SPREADS, &[NOISE; N]);
                let whole = Expected {
                    gain: [1.0; N],
                    moved: [0.0; N],
                    across: self.beside(number),
                    wider: [0.0; N],
                    base: 0.0,
                };
                let mut found = window.fit_beyond(&whole, &loose);
                found[0] = found[0].map(|more| 1.0 + more);
                found
            } else {
                window.fit()
            };
            let at = window.centre_mm - place;
            for lane in 0..N {
                let amplitude = greater(found[0][lane], 0.0);
                let scale = 1.0 / greater(amplitude, LEAST_LIGHT);
                row.amplitude[lane] = amplitude;
                row.along_mm[lane] = at + lesser(greater(found[1][lane] * scale, -1.0), 1.0);
                row.wider_mm[lane] = found[2][lane] * scale;
            }
            row.off_mm = self.middle(number, &row);
            row.window = Some(window);
            match row.off_mm {
                Some(off) if (off - at).abs() > SETTLED_MM => centre = place + off,
                _ => break,
            }
        }
        row
    }

    fn clear(&self, number: usize) -> [bool; N] {
        let near = self.pegged.near.get(number).copied();
        let mut clear = near.unwrap_or([false; N]).map(|near| !near);
        clear[self.light.holes..].fill(false);
        clear
    }

    /// A row's offset by its own holes: the median of the whole ones, or of all
    /// that have light.
    fn middle(&self, number: usize, row: &Row<'_, N>) -> Option<f32> {
        let mut offsets = self.skewed();
        for (offset, along) in offsets.iter_mut().zip(&row.along_mm) {
            *offset = along - *offset;
        }
        // idle channels have no light
        let within = self.within_pegs(number);
        let lit = |least: f32| {
            median_of_lanes(&offsets, |lane| {
                (row.amplitude[lane] > least) & !within[lane]
            })
        };
        lit(2.0 * LEAST_LIGHT).or_else(|| lit(LEAST_LIGHT))
    }

    /// Brings places and plane to rest, the peg holes having been found at these
    /// places along and across.
    pub(super) fn settle(&mut self, pegs: &[(f32, f32)]) {
        self.refit();
        let aside = pegs.iter().map(|(x, y)| y + self.plane.skew as f32 * x);
        let aside = aside.sum::<f32>() / pegs.len().max(1) as f32;
        if aside.abs() > SIDEWAYS_MM {
            self.aside_mm = aside;
        }
        let mut anew = false;
        for number in 0..self.each.len() {
            if self.beside_mm(number).abs() > SIDEWAYS_MM {
                self.each[number] = self.look(number, self.at_mm(number), &[]);
                anew = true;
            }
        }
        if anew {
            self.refit();
        }
        // rows that were looked for in the wrong place, now that it is known
        for number in 0..self.each.len() {
            let lead = self.lead_mm(number);
            if self.each[number].off_mm.is_none() && (self.at_mm(number) - lead).abs() > SETTLED_MM
            {
                self.each[number] = self.look(number, lead, &[]);
                anew = true;
            }
        }
        anew |= self.part_all();
        if anew {
            self.refit();
        }
    }

    /// Measures rows anew that lie near others, twice as those others change; whether
    /// there are any.
    fn part_all(&mut self) -> bool {
        let mut anew = false;
        for _ in 0..2 {
            // each row's own centre, by which it is another's neighbour
            let mut centres: Vec<f32> = (0..self.each.len()).map(|n| self.centre_mm(n)).collect();
            let mut parted = false;
            if !self.any_near(&centres) {
                break;
            }
            for number in 0..self.each.len() {
                if self.is_near(&centres, number) && self.part(number) {
                    centres[number] = self.centre_mm(number);
                    parted = true;
                }
            }
            if !parted {
                break;
            }
            anew = true;
        }
        anew
    }

    /// Where row `number` lies by its own holes; nowhere if it has none.
    fn centre_mm(&self, number: usize) -> f32 {
        let place = number as f32 * self.bases.pitch_mm;
        self.each[number]
            .off_mm
            .map_or(f32::INFINITY, |off| place + off)
    }

    /// How near a row's light falls into another's window.
    fn sight_mm(&self) -> f32 {
        self.bases.needle.reach_mm() + (self.bases.half as f32 + 0.5) * self.bases.line_mm
    }

    /// Whether any row lies so near one beside it: on most cards none does.
    fn any_near(&self, centres: &[f32]) -> bool {
        let pitch = self.bases.pitch_mm;
        let here = |number| number as f32 * pitch + self.at_mm(number);
        let heres: Vec<f32> = (0..centres.len()).map(here).collect();
        let sight = self.sight_mm();
        let near = |a: &[f32], b: &[f32]| {
            let both = a.iter().zip(b);
            both.fold(false, |near, (a, b)| near | ((a - b).abs() < sight))
        };
        (1..=2).any(|apart| {
            let (others, own) = (centres.get(apart..), heres.get(apart..));
            near(&heres, others.unwrap_or_default()) | near(own.unwrap_or_default(), centres)
        })
    }

    /// Whether one of the rows beside it lies so near.
    fn is_near(&self, centres: &[f32], number: usize) -> bool {
        let here = number as f32 * self.bases.pitch_mm + self.at_mm(number);
        let (before, after) = centres.split_at(number);
        let before = before.iter().rev().take(2);
        let beside = before.chain(after.iter().skip(1).take(2));
        let sight = self.sight_mm();
        beside.fold(false, |near, centre| near | ((centre - here).abs() < sight))
    }

    /// Where row `number` was looked at last.
    fn at_mm(&self, number: usize) -> f32 {
        let place = number as f32 * self.bases.pitch_mm;
        let window = self.each[number].window.as_ref();
        window.map_or_else(|| self.lead_mm(number), |window| window.centre_mm - place)
    }

    /// Measures a row anew whose neighbours lie so near that their light falls
    /// into its window; whether it did.
    fn part(&mut self, number: usize) -> bool {
        let pitch = self.bases.pitch_mm;
        let sight = self.sight_mm();
        let here = number as f32 * pitch + self.at_mm(number);
        let mut near: heapless::Vec<Neighbour<'_, N>, 4> = heapless::Vec::new();
        for other in number.saturating_sub(2)..(number + 3).min(self.each.len()) {
            let centre_mm = self.centre_mm(other);
            if (centre_mm - here).abs() < sight
                && other != number
                // a row of chads alone looks displaced, and is not
                && self.each[other].amplitude.iter().any(|light| *light > 2.0 * LEAST_LIGHT)
            {
                // there is room: two on either side
                let amplitude = &self.each[other].amplitude;
                near.push(Neighbour {
                    centre_mm,
                    amplitude,
                })
                .ok();
            }
        }
        let row = (!near.is_empty()).then(|| self.look(number, self.at_mm(number), &near));
        drop(near);
        let anew = row.is_some();
        if let Some(row) = row {
            self.each[number] = row;
        }
        anew
    }

    /// The card's plane by all clear holes.
    fn refit(&mut self) {
        let pitch = f64::from(self.bases.pitch_mm);
        let mut places = vec![Place::default(); self.each.len() * self.light.holes];
        let mut count = 0;
        for (number, row) in self.each.iter().enumerate() {
            if row.off_mm.is_none() {
                continue;
            }
            let within = self.within_pegs(number);
            for lane in 0..self.light.holes {
                let place = Place {
                    x_mm: number as f64 * pitch,
                    y_mm: f64::from(self.across[lane]),
                    off_mm: f64::from(row.along_mm[lane]),
                    weight: 1.0,
                };
                // what does not count is written over by the next
                places[count] = place;
                count += usize::from((row.amplitude[lane] > HOLE) & !within[lane]);
            }
        }
        places.truncate(count);
        if !places.is_empty() {
            self.plane = Plane::robust(&places, self.plane);
        }
    }
}
