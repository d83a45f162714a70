//! Whether there is ruling beside the sheet that was read.
//!
//! Enters: a picture, the corners of the ruled squares, their size. Leaves: the side on
//! which as fine a ruling goes on behind a gap, or another sheet lies. Refuses nothing.

use super::picture::{Picture, Place};
use super::pitch;

/// Squares of bare paper beside the sheet that are passed over, with the outermost line.
const BESIDE: f64 = 0.7;

/// Fewest squares that show a ruling.
const FEWEST: f64 = 6.0;

/// How much larger or smaller another sheet's squares may be.
const ALIKE: f64 = 1.25;

/// The side on which another ruling is seen.
#[must_use]
pub fn another(picture: &Picture, corners: &[Place; 4], pitch: [f64; 2]) -> Option<&'static str> {
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let [across, down] = pitch.map(|pitch| pitch * BESIDE);
    let most = |values: [f64; 4]| values.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let least = |values: [f64; 4]| values.into_iter().fold(f64::INFINITY, f64::min);
    let (xs, ys) = (corners.map(|at| at.x), corners.map(|at| at.y));
    let (left, right) = (least(xs) - across, most(xs) + across);
    let (top, below) = (least(ys) - down, most(ys) + down);
    let sides = [
        ("to the left", [0.0, 0.0, left, height]),
        ("to the right", [right, 0.0, width, height]),
        ("above", [0.0, 0.0, width, top]),
        ("below", [0.0, below, width, height]),
    ];
    let found = sides
        .into_iter()
        .find(|(_, area)| ruled(picture, *area, pitch));
    found.map(|(side, _)| side)
}

/// Whether an area is ruled both ways, in squares of about this size.
fn ruled(picture: &Picture, [left, top, right, below]: [f64; 4], pitch: [f64; 2]) -> bool {
    if right - left < FEWEST * pitch[0] || below - top < FEWEST * pitch[1] {
        return false;
    }
    let place = |x: f64, y: f64| (x.round() as usize, y.round() as usize);
    let Some(area) = picture.part(place(left, top), place(right, below)) else {
        return false;
    };
    let as_fine = |picture: &Picture, pitch: f64| {
        pitch::rhythm(picture)
            .is_some_and(|rhythm| (pitch / ALIKE..=pitch * ALIKE).contains(&rhythm.pitch))
    };
    as_fine(&area, pitch[0]) && as_fine(&area.turned(), pitch[1])
}
