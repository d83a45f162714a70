//! Whether there is ruling beside the sheet that was read.
//!
//! Enters: a picture, the corners of the ruled squares, their size. Leaves: the side on
//! which as fine a ruling goes on behind a gap, or another sheet lies, and whether there
//! is a gap. Refuses nothing.

use super::picture::{Picture, Place};
use super::pitch;

/// Squares of bare paper beside the sheet that are passed over, with the outermost line.
const BESIDE: f64 = 0.7;

/// Fewest squares that show a ruling.
const FEWEST: f64 = 6.0;

/// How much larger or smaller another sheet's squares may be.
const ALIKE: f64 = 1.25;

/// A gap is wider than so many squares: less of bare paper is passed over within a sheet.
const GAP: f64 = 3.0;

/// Another ruling.
pub struct Another {
    /// Where it is seen.
    pub side: &'static str,
    /// Whether that is beyond the outermost columns, not lines.
    pub columns: bool,
    /// Whether it goes on at once: then no gap ends the sheet, but paint, in which no line
    /// was seen.
    pub at_once: bool,
}

/// The side on which another ruling is seen.
#[must_use]
pub fn another(picture: &Picture, corners: &[Place; 4], pitch: [f64; 2]) -> Option<Another> {
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let [across, down] = pitch.map(|pitch| pitch * BESIDE);
    let most = |values: [f64; 4]| values.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let least = |values: [f64; 4]| values.into_iter().fold(f64::INFINITY, f64::min);
    let (xs, ys) = (corners.map(|at| at.x), corners.map(|at| at.y));
    let (left, right) = (least(xs) - across, most(xs) + across);
    let (top, below) = (least(ys) - down, most(ys) + down);
    let [wide, high] = pitch.map(|pitch| pitch * GAP);
    let sides = [
        ("to the left", true, [0.0, 0.0, left, height]),
        ("to the right", true, [right, 0.0, width, height]),
        ("above", false, [0.0, 0.0, width, top]),
        ("below", false, [0.0, below, width, height]),
    ];
    let (side, columns, area) = sides
        .into_iter()
        .find(|(_, _, area)| ruled(picture, *area, pitch))?;
    let near = match columns {
        true => [left - wide, top, right + wide, below],
        false => [left, top - high, right, below + high],
    };
    let at_once = part(picture, overlap(area, near)).is_some_and(|next| match columns {
        true => as_fine(&next.turned(), pitch[1]),
        false => as_fine(&next, pitch[0]),
    });
    Some(Another {
        side,
        columns,
        at_once,
    })
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [
        a[0].max(b[0]),
        a[1].max(b[1]),
        a[2].min(b[2]),
        a[3].min(b[3]),
    ]
}

/// Whether an area is ruled both ways, in squares of about this size.
fn ruled(picture: &Picture, [left, top, right, below]: [f64; 4], pitch: [f64; 2]) -> bool {
    if right - left < FEWEST * pitch[0] || below - top < FEWEST * pitch[1] {
        return false;
    }
    part(picture, [left, top, right, below])
        .is_some_and(|area| as_fine(&area, pitch[0]) && as_fine(&area.turned(), pitch[1]))
}

fn part(picture: &Picture, [left, top, right, below]: [f64; 4]) -> Option<Picture> {
    let place = |x: f64, y: f64| (x.round() as usize, y.round() as usize);
    picture.part(place(left, top), place(right, below))
}

/// Whether upright lines are about this far apart.
fn as_fine(picture: &Picture, pitch: f64) -> bool {
    pitch::rhythm(picture)
        .is_some_and(|rhythm| (pitch / ALIKE..=pitch * ALIKE).contains(&rhythm.pitch))
}
