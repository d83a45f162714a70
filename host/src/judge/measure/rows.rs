//! Rows of needle and lace holes: where each lies, and how open its holes are.
//!
//! Enters: what is known of the card. Leaves: each row's common offset, and the
//! final word on every position of it.

use super::fitting::{MOST_LINES, Sample, Samples, Sums, median, settle};
use super::work::Work;
use super::{HOLE_SEARCH_MM, LEAST_LIGHT, SEARCH_PITCHES, SEARCH_TRIES, Spot};

/// Most holes in a row.
const MOST_HOLES: usize = 16;
/// Channels, offsets or light of one row.
type PerHole<T> = heapless::Vec<T, MOST_HOLES>;

impl Work<'_> {
    /// Channels whose needle holes tell where stroke `stroke` lies.
    fn telling(&self, stroke: usize) -> PerHole<usize> {
        (0..self.holes)
            .filter(|channel| {
                self.required(stroke, *channel) && !self.within_peg[stroke * self.holes + channel]
            })
            .take(MOST_HOLES)
            .collect()
    }

    /// The offset at which this row's required holes fit best, if its
    /// neighbours are displaced as it is.
    pub(super) fn seek_row(&mut self, stroke: usize) {
        let telling = self.telling(stroke);
        let place = stroke as f32 * self.pitch_mm;
        let trend = self.trend_mm(place);
        let weight = |other: Option<usize>| -> f32 {
            let Some(other) = other.filter(|other| *other < self.strokes.len()) else {
                return 0.0;
            };
            telling
                .iter()
                .map(|channel| self.open[other * self.holes + channel])
                .sum()
        };
        let (own, before, after) = (
            weight(Some(stroke)),
            weight(stroke.checked_sub(1)),
            weight(Some(stroke + 1)),
        );
        if own < LEAST_LIGHT {
            return;
        }
        let half = self.light.per_row / 2;
        let lines = self.window(stroke, trend, half).map(|line| Sample {
            light: telling
                .iter()
                .map(|channel| self.light.at(*channel, line))
                .sum(),
            along_mm: self.position_mm(line) - place,
        });
        let lines: Samples = lines.take(MOST_LINES).collect();
        let step = SEARCH_PITCHES * self.pitch_mm / SEARCH_TRIES as f32;
        let mut best = (f32::INFINITY, trend);
        for number in -SEARCH_TRIES..=SEARCH_TRIES {
            let offset = trend + number as f32 * step;
            let mut misfit = 0.0;
            for line in &lines {
                let x = line.along_mm - offset;
                // Of the two neighbours only the one on this side is in sight.
                let (side, weight) = if x < 0.0 {
                    (1.0, before)
                } else {
                    (-1.0, after)
                };
                let mut want =
                    own * self.needle.at(x) + weight * self.needle.at(x + side * self.pitch_mm);
                for (_, peg) in self.pegs.around(place) {
                    let share = |channel: &usize| {
                        self.pegs
                            .share(peg, *channel, place + line.along_mm, offset)
                    };
                    want += telling.iter().map(share).sum::<f32>();
                }
                misfit += (line.light - want).powi(2);
            }
            if misfit < best.0 {
                best = (misfit, offset);
            }
        }
        self.rows_mm[stroke] = Some(best.1);
    }

    /// Light of the row's hole on `channel`, without its neighbours'.
    fn samples(&self, stroke: usize, channel: usize, offset_mm: f32) -> Samples {
        let place = stroke as f32 * self.pitch_mm;
        let half = self.light.per_row / 2;
        // First the light of others, then what is left of the light without it.
        let mut samples: Samples = self
            .window(stroke, offset_mm, half)
            .take(MOST_LINES)
            .map(|line| Sample {
                light: 0.0,
                along_mm: self.position_mm(line) - place,
            })
            .collect();
        let sight = self.needle.reach_mm() + self.pitch_mm;
        for other in stroke.saturating_sub(2)..self.strokes.len().min(stroke + 3) {
            let open = self.open[other * self.holes + channel];
            let centre =
                (other as f32 - stroke as f32) * self.pitch_mm + self.rows_mm[other].unwrap_or(0.0);
            if other == stroke || open <= 0.0 || (centre - offset_mm).abs() > sight {
                continue;
            }
            for sample in &mut samples {
                sample.light += open * self.needle.at(sample.along_mm - centre);
            }
        }
        for (_, peg) in self.pegs.near(place, 2.0 * self.pitch_mm) {
            let open = peg.spot.open.min(1.0);
            for sample in &mut samples {
                let x = place + sample.along_mm;
                sample.light += open * self.pegs.share(peg, channel, x, peg.offset_mm);
            }
        }
        for (sample, line) in samples.iter_mut().zip(self.window(stroke, offset_mm, half)) {
            sample.light = self.light.at(channel, line) - sample.light.min(1.0);
        }
        samples
    }

    /// Every row's offset anew; gives the furthest move.
    pub(super) fn settle_rows(&mut self) -> f32 {
        let moves = (0..self.strokes.len()).map(|stroke| self.settle_row(stroke));
        moves.fold(0.0, f32::max)
    }

    /// One row's offset anew, its neighbours being where they are now: the
    /// median of its holes', so that one torn hole does not move it.
    fn settle_row(&mut self, stroke: usize) -> f32 {
        let Some(start) = self.rows_mm[stroke] else {
            return 0.0;
        };
        let bounds = self.bounds_mm(stroke as f32 * self.pitch_mm);
        let (mut whole, mut any) = (PerHole::<f32>::new(), PerHole::<f32>::new());
        for channel in self.telling(stroke) {
            let samples = self.samples(stroke, channel, start);
            let (open, offset) = settle(&samples, &self.needle, start, bounds);
            self.open[stroke * self.holes + channel] = open.clamp(0.0, 1.0);
            // There is room: no row has more channels than the lists.
            if open > LEAST_LIGHT {
                any.push(offset).ok();
            }
            if open > 0.6 {
                whole.push(offset).ok();
            }
        }
        // Half-cut holes count only where there are no better ones.
        let settled = median(&mut whole).or_else(|| median(&mut any));
        self.rows_mm[stroke] = settled;
        settled.map_or(f32::INFINITY, |offset| (offset - start).abs())
    }

    /// The final word on every position of one row.
    pub(super) fn finish_row(&mut self, stroke: usize, spots: &mut Vec<Spot>) {
        let row_mm = self.offset_near(stroke);
        let bounds = self.bounds_mm(stroke as f32 * self.pitch_mm);
        for channel in 0..self.holes {
            let cell = stroke * self.holes + channel;
            if self.within_peg[cell] {
                spots.push(Spot {
                    within_peg: true,
                    ..Spot::default()
                });
                continue;
            }
            let samples = self.samples(stroke, channel, row_mm);
            let sums = Sums::of(&samples, &self.needle, row_mm);
            let mut open = sums.open();
            let mut offset_mm = None;
            if open > LEAST_LIGHT {
                let (_, offset) = settle(&samples, &self.needle, row_mm, bounds);
                offset_mm = ((offset - row_mm).abs() <= HOLE_SEARCH_MM).then_some(offset);
            }
            if self.required(stroke, channel) {
                // A hole blocked at its rim keeps its shape but loses light:
                // the smaller of the two measures counts.
                open = open.min(sums.filled());
            }
            self.open[cell] = open.clamp(0.0, 1.0);
            spots.push(Spot {
                open: open.max(0.0),
                offset_mm,
                within_peg: false,
            });
        }
    }
}
