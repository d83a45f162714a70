//! The squares of a lattice, and what was seen in the middle of each.
//!
//! Enters: a picture and its lattice. Leaves: a [`Grid`] of every square that
//! lies in the picture, ruled or not, and the levels found in a square. Refuses
//! nothing.

use super::lattice::{Count, Lattice};
use super::picture::{Picture, Place};
use std::ops::Range;

/// A square counts as far as this much around its middle is in the picture.
const IN_PICTURE: f64 = 0.2;

/// Squares of the whole picture.
pub struct Grid {
    /// Squares across and down.
    pub columns: usize,
    /// Squares down.
    pub rows: usize,
    /// Pixels from line to line across.
    pub pitch: f64,
    /// Crossings, line by line, one more than squares each way.
    crossings: Vec<Place>,
}

/// Levels in the middle of a square.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// The middle of the square.
    pub place: Place,
    /// The median of each colour.
    pub levels: [f32; 3],
    /// How far the levels are from the median, in the mean over all colours.
    pub spread: f32,
}

impl Grid {
    /// Every square of the lattice of which there is something in the picture.
    #[must_use]
    pub fn of(picture: &Picture, lattice: &Lattice, pitch: f64) -> Grid {
        let (width, height) = (picture.width() as f64, picture.height() as f64);
        let edge = (0..=16)
            .map(|at| f64::from(at) / 16.0)
            .flat_map(|part| [(part, 0.0), (part, 1.0), (0.0, part), (1.0, part)]);
        let counts: Vec<Count> = edge
            .map(|(x, y)| {
                lattice.count(Place {
                    x: x * width,
                    y: y * height,
                })
            })
            .collect();
        let span = |count: fn(&Count) -> f64| {
            let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
            for one in counts.iter().map(count) {
                least = least.min(one);
                most = most.max(one);
            }
            (
                least.floor(),
                (most.ceil() - least.floor()).max(1.0) as usize,
            )
        };
        let (left, columns) = span(|count| count.column);
        let (top, rows) = span(|count| count.row);
        let crossings = (0..=rows)
            .flat_map(|row| (0..=columns).map(move |column| (column, row)))
            .map(|(column, row)| {
                lattice.place(Count {
                    column: left + column as f64,
                    row: top + row as f64,
                })
            })
            .collect();
        Grid {
            columns,
            rows,
            pitch,
            crossings,
        }
    }

    /// A crossing, from the grid's upper left.
    #[must_use]
    pub fn crossing(&self, column: usize, row: usize) -> Place {
        self.crossings[row * (self.columns + 1) + column]
    }

    /// A place told by the grid's lines; beyond its edges as in the last square.
    #[must_use]
    pub fn place(&self, count: Count) -> Place {
        let column = (count.column.max(0.0) as usize).min(self.columns - 1);
        let row = (count.row.max(0.0) as usize).min(self.rows - 1);
        let (over, down) = (count.column - column as f64, count.row - row as f64);
        let mix = |a: Place, b: Place, part: f64| Place {
            x: a.x + (b.x - a.x) * part,
            y: a.y + (b.y - a.y) * part,
        };
        let upper = mix(
            self.crossing(column, row),
            self.crossing(column + 1, row),
            over,
        );
        let lower = mix(
            self.crossing(column, row + 1),
            self.crossing(column + 1, row + 1),
            over,
        );
        mix(upper, lower, down)
    }

    /// Whether enough of a square is in the picture to tell its colour.
    #[must_use]
    pub fn in_picture(&self, picture: &Picture, column: usize, row: usize) -> bool {
        let corners = [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)];
        corners.iter().all(|(over, down)| {
            let place = self.place(Count {
                column: column as f64 + 0.5 + over * IN_PICTURE,
                row: row as f64 + 0.5 + down * IN_PICTURE,
            });
            contains(picture, place)
        })
    }

    /// The levels of pixels up to `reach` around the middle of a square, in
    /// squares; given to `each`.
    pub fn levels(
        &self,
        picture: &Picture,
        column: usize,
        row: usize,
        reach: f64,
        mut each: impl FnMut([f32; 3]),
    ) {
        // pixels beyond seven each way tell nothing new
        let steps = (2.0 * reach * self.pitch).round().clamp(3.0, 7.0) as u32;
        let middle = f64::from(steps - 1) / 2.0;
        let at = |step: u32| (f64::from(step) - middle) / f64::from(steps) * 2.0 * reach + 0.5;
        for down in 0..steps {
            for over in 0..steps {
                each(picture.nearest(self.place(Count {
                    column: column as f64 + at(over),
                    row: row as f64 + at(down),
                })));
            }
        }
    }

    /// What is seen in the middle of the squares of these lines and columns;
    /// none outside the picture.
    #[must_use]
    pub fn seen(
        &self,
        picture: &Picture,
        columns: &Range<usize>,
        rows: &Range<usize>,
    ) -> Vec<Option<Seen>> {
        let mut heap: [Vec<f32>; 3] = Default::default();
        let mut seen = Vec::with_capacity(columns.len() * rows.len());
        for row in rows.clone() {
            for column in columns.clone() {
                if !self.in_picture(picture, column, row) {
                    seen.push(None);
                    continue;
                }
                heap.iter_mut().for_each(Vec::clear);
                self.levels(picture, column, row, 0.25, |levels| {
                    for (heap, level) in heap.iter_mut().zip(levels) {
                        heap.push(level);
                    }
                });
                let levels =
                    [0, 1, 2].map(|colour: usize| median(&mut heap[colour]).unwrap_or_default());
                let off = |colour: usize| -> f32 {
                    let off = heap[colour]
                        .iter()
                        .map(|level| (level - levels[colour]).abs());
                    off.sum::<f32>() / heap[colour].len() as f32
                };
                seen.push(Some(Seen {
                    place: self.place(Count {
                        column: column as f64 + 0.5,
                        row: row as f64 + 0.5,
                    }),
                    levels,
                    spread: (off(0) + off(1) + off(2)) / 3.0,
                }));
            }
        }
        seen
    }
}

/// Whether a place is in the picture.
#[must_use]
pub fn contains(picture: &Picture, place: Place) -> bool {
    (0.0..=picture.width() as f64).contains(&place.x)
        && (0.0..=picture.height() as f64).contains(&place.y)
}

/// The middle one of these values, the upper of two; none of none.
pub fn median(values: &mut [f32]) -> Option<f32> {
    let middle = values.len() / 2;
    let (_, median, _) = match values {
        [] => return None,
        values => values.select_nth_unstable_by(middle, f32::total_cmp),
    };
    Some(*median)
}
