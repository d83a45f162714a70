//! What drawings on a grid share: a sheet with its heading, figures beside the
//! squares, filled rectangles, the ruling.

use super::escaped;
use super::render::{PictureError, canvas, tree};
use crate::deck::FirstPick;
use resvg::tiny_skia::{Pixmap, PremultipliedColorU8, Transform};
use std::fmt::Write as _;

pub(super) type Colour = [u8; 3];

pub(super) const GROUND: Colour = [255, 255, 255];
pub(super) const PAPER: Colour = [252, 250, 244];
pub(super) const RULING: Colour = [205, 200, 188];
pub(super) const HEAVY: Colour = [148, 138, 118];

/// Space for the figures at the left and the heading and figures above.
pub(super) const LEFT: u32 = 56;
pub(super) const TOP: u32 = 56;
pub(super) const EDGE: u32 = 16;

/// Highest picture of a grid.
pub(super) const TALLEST: u32 = 16_000;

/// Pixels that a figure takes below another, and beside another.
pub(super) const FIGURE_HIGH: u32 = 22;
pub(super) const FIGURE_WIDE: u32 = 46;

/// The numbers to write at squares of this size, so that none overlap.
pub(super) fn figures(count: u32, cell: u32, room: u32) -> Vec<u32> {
    let apart = room.div_ceil(cell);
    let step = [5, 10, 20, 50, 100, 200, 500, 1000, 5000]
        .into_iter()
        .find(|step| *step >= apart);
    let step = step.unwrap_or(10_000);
    let mut numbers = vec![1];
    numbers.extend((1..=count / step).map(|times| times * step));
    if count - numbers.last().copied().unwrap_or(1) >= apart {
        numbers.push(count);
    }
    numbers
}

pub(super) fn blank(width: u32, height: u32, remedy: &'static str) -> Result<Pixmap, PictureError> {
    let (wide, high) = (u64::from(width), u64::from(height));
    let mut picture = canvas(wide, high, remedy)?;
    fill(&mut picture, (0, 0), (width, height), GROUND);
    Ok(picture)
}

/// Fills a rectangle; what lies outside the picture is left out.
pub(super) fn fill(
    picture: &mut Pixmap,
    (x, y): (u32, u32),
    (width, height): (u32, u32),
    colour: Colour,
) {
    let full = picture.width() as usize;
    let [red, green, blue] = colour;
    let Some(colour) = PremultipliedColorU8::from_rgba(red, green, blue, 255) else {
        return;
    };
    let lines = picture
        .pixels_mut()
        .chunks_mut(full)
        .skip(y as usize)
        .take(height as usize);
    for line in lines {
        line.iter_mut()
            .skip(x as usize)
            .take(width as usize)
            .for_each(|pixel| *pixel = colour);
    }
}

/// Heading and figures, drawn over the picture.
pub(super) struct Labels {
    svg: String,
}

impl Labels {
    pub(super) fn new(heading: &str, width: u32, height: u32) -> Labels {
        let svg = format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"><g font-family="DejaVu Sans" font-size="13" fill="#3a3226"><text x="{LEFT}" y="22" font-size="16">{}</text>"##,
            escaped(heading),
        );
        Labels { svg }
    }

    pub(super) fn above(&mut self, number: u32, x: u32) {
        let y = TOP - 8;
        let _ = write!(
            self.svg,
            r#"<text x="{x}" y="{y}" text-anchor="middle">{number}</text>"#
        );
    }

    pub(super) fn left(&mut self, number: u32, y: u32) {
        let (x, y) = (LEFT - 8, y + 5);
        let _ = write!(
            self.svg,
            r#"<text x="{x}" y="{y}" text-anchor="end">{number}</text>"#
        );
    }

    pub(super) fn draw(mut self, picture: &mut Pixmap) -> Result<(), PictureError> {
        self.svg.push_str("</g></svg>");
        let tree = tree(&self.svg, 96.0)?;
        resvg::render(&tree, Transform::identity(), &mut picture.as_mut());
        Ok(())
    }
}

/// Thin lines every square, heavy ones every so many, counted from the first hook
/// and pick.
pub(super) fn ruling(
    picture: &mut Pixmap,
    (wide, high): (u32, u32),
    (heavy_across, heavy_up): (u32, u32),
    (across, down): (u32, u32),
    first_pick: FirstPick,
) {
    let thick = |place: u32, heavy: u32| {
        if place.is_multiple_of(heavy) {
            HEAVY
        } else {
            RULING
        }
    };
    for pass in [RULING, HEAVY] {
        for place in 0..=across / wide {
            if thick(place, heavy_across) == pass {
                fill(picture, (LEFT + place * wide, TOP), (1, down + 1), pass);
            }
        }
        for place in 0..=down / high {
            let y = match first_pick {
                FirstPick::Bottom => TOP + down - place * high,
                FirstPick::Top => TOP + place * high,
            };
            if thick(place, heavy_up) == pass {
                fill(picture, (LEFT, y), (across + 1, 1), pass);
            }
        }
    }
}
