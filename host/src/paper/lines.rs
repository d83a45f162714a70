//! Where a picture is like a thin upright line.
//!
//! Enters: a picture, and how far to look to both sides. Leaves: for bands of
//! lines of pixels, how much of a line there is at each place across. Lines that
//! lie across are found in the turned picture.
//!
//! A ruling is darker than the paper on both its sides, or lighter than the paint
//! it was drawn over. The edge of a painted square is neither, so the design does
//! not show, and uneven light hardly does.

use super::picture::Picture;

/// Band of lines of pixels that are looked at as one.
pub struct Band {
    /// Its first line.
    pub top: usize,
    /// Response a pixel, line by line.
    lines: Vec<Vec<f32>>,
}

impl Band {
    /// The band of these lines. `reach` is how many pixels to each side must
    /// differ: more than half a ruling's thickness, less than half a square.
    #[must_use]
    pub fn new(picture: &Picture, top: usize, height: usize, reach: usize) -> Band {
        let end = (top + height).min(picture.height());
        let lines = (top..end).map(|y| response(picture, y, reach)).collect();
        Band { top, lines }
    }

    /// The line of pixels in its middle, from the picture's upper edge.
    #[must_use]
    pub fn middle(&self) -> f64 {
        self.top as f64 + self.lines.len() as f64 / 2.0
    }

    /// How much of a line there is at each place across, along lines that move
    /// to the right by `shear` pixels a pixel down and are at that place in the
    /// band's middle. The mean over the band's lines.
    #[must_use]
    pub fn profile(&self, shear: f64) -> Vec<f32> {
        let width = self.lines.first().map_or(0, Vec::len);
        let mut sums = vec![0.0f32; width];
        let middle = self.lines.len() as f64 / 2.0;
        for (y, line) in self.lines.iter().enumerate() {
            let moved = shear * (y as f64 + 0.5 - middle);
            let whole = moved.floor();
            let part = (moved - whole) as f32;
            let whole = whole as isize;
            // what belongs to place x stands at x + whole + part
            let first = (-whole).clamp(0, width as isize) as usize;
            let last = (width as isize - 1 - whole).clamp(0, width as isize) as usize;
            if first >= last {
                continue;
            }
            let from = (first as isize + whole) as usize;
            let pairs = line[from..].iter().zip(&line[from + 1..]);
            for (sum, (left, right)) in sums[first..last].iter_mut().zip(pairs) {
                *sum += left * (1.0 - part) + right * part;
            }
        }
        let share = 1.0 / self.lines.len().max(1) as f32;
        sums.iter_mut().for_each(|sum| *sum *= share);
        sums
    }
}

/// How much less being lighter counts: half a pitch from dark lines bare paper
/// stands out too, most of all in a blurred picture.
const LIGHTER: u16 = 16;

/// Of one line of pixels, with those above and below it against noise. In
/// levels, all three colours together.
fn response(picture: &Picture, y: usize, reach: usize) -> Vec<f32> {
    let above = picture.line(y.saturating_sub(1));
    let here = picture.line(y);
    let below = picture.line((y + 1).min(picture.height() - 1));
    let sums: Vec<u16> = above
        .iter()
        .zip(here)
        .zip(below)
        .map(|((a, b), c)| u16::from(*a) + u16::from(*b) + u16::from(*c))
        .collect();
    let mut response = vec![0.0; picture.width()];
    if picture.width() <= 2 * reach {
        return response;
    }
    let side = 3 * reach;
    let beside = sums.iter().zip(&sums[2 * side..]);
    let single: Vec<u16> = sums[side..sums.len() - side]
        .iter()
        .zip(beside)
        .map(|(middle, (left, right))| {
            let (darker, lighter) = (left.min(right), left.max(right));
            darker.saturating_sub(*middle) + middle.saturating_sub(*lighter) / LIGHTER
        })
        .collect();
    for (place, colours) in response[reach..].iter_mut().zip(single.chunks_exact(3)) {
        *place = f32::from(colours[0] + colours[1] + colours[2]) / 3.0;
    }
    response
}
