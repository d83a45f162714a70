//! The cloth, as its cards and its tie will weave it, and the point paper with its
//! weaves filled in.
//!
//! Enters: a cloth with its deck, or its squares. Leaves: PNG bytes. The cloth is
//! drawn at the true proportion of its sett, a thread at least two pixels wide where
//! there is room. Refuses: what is too large to be looked at.

use super::frame::*;
use super::render::{MOST_PIXELS, PictureError, encode};
use crate::cloth::{Cloth, Face, Mounting, Squares, Woven};
use crate::deck::{CardNumber, Deck, FirstPick};
use resvg::tiny_skia::Pixmap;

/// Pixels of the finer thread: as wide as there is room for.
const WIDEST_THREAD: f64 = 8.0;

/// A thread of this many pixels is drawn round, by a darker edge.
const ROUND_THREAD: u32 = 4;

/// Squares of this many pixels have ruling and dots.
const DOTTED: u32 = 4;

const REMEDY: &str = "draw a design of fewer picks or ends";

/// The side of the cloth that is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum ClothSide {
    /// The face.
    #[default]
    Face,
    /// The back, turned over about its selvedge.
    Back,
}

/// Where threads begin: `pixels` to a thread, whole pixels only.
fn edges(threads: u32, pixels: f64) -> Vec<u32> {
    let edge = |thread: u32| (f64::from(thread) * pixels).round() as u32;
    (0..=threads).map(edge).collect()
}

/// The cloth that this deck weaves, in the colours of its yarns. The pick woven
/// first is at the end of the picture at which the paper has its first line.
///
/// # Errors
/// The cloth has more threads than a picture can show.
pub fn cloth_png(
    cloth: &Cloth,
    woven: &Woven<'_>,
    side: ClothSide,
) -> Result<Vec<u8>, PictureError> {
    let ends = u32::try_from(woven.ends()).unwrap_or(u32::MAX);
    let picks = woven.picks();
    let (wide, high) = thread_pixels(cloth, ends, picks);
    let (columns, lines) = (edges(ends, wide), edges(picks, high));
    let (across, down) = (last(&columns), last(&lines));
    let (width, height) = (LEFT + across + EDGE, TOP + down + EDGE);
    let mut picture = blank(width, height, REMEDY)?;
    for pick in 0..picks {
        let line = line_of(pick, picks, cloth.first_line());
        let at = |line: u32| lines.get(line as usize).copied().unwrap_or(down);
        let (top, bottom) = (at(line), at(line + 1));
        let weft = cloth.wefts().get(woven.weft(pick));
        let weft = weft.map_or(GROUND, |weft| weft.colour);
        for (column, edge) in columns.windows(2).enumerate() {
            let end = match side {
                ClothSide::Face => column,
                ClothSide::Back => woven.ends() - 1 - column,
            };
            let warp = woven.warp_on_face(pick, end) == (side == ClothSide::Face);
            let place = (LEFT + edge[0], TOP + top);
            let size = (edge[1] - edge[0], bottom - top);
            let colour = if warp { cloth.warp() } else { weft };
            thread(&mut picture, place, size, colour, warp);
        }
    }
    let mut labels = Labels::new(&heading(cloth, woven, side), width, height);
    for end in figures(ends, (wide as u32).max(1), FIGURE_WIDE) {
        let column = match side {
            ClothSide::Face => end - 1,
            ClothSide::Back => ends - end,
        };
        labels.above(end, LEFT + ((f64::from(column) + 0.5) * wide) as u32);
    }
    for pick in figures(picks, (high as u32).max(1), FIGURE_HIGH) {
        let line = line_of(pick - 1, picks, cloth.first_line());
        labels.left(pick, TOP + ((f64::from(line) + 0.5) * high) as u32);
    }
    labels.draw(&mut picture)?;
    encode(&picture)
}

fn last(edges: &[u32]) -> u32 {
    edges.last().copied().unwrap_or(0)
}

/// The line from the top in which a pick, or a line of the paper, is drawn.
fn line_of(pick: u32, picks: u32, first: FirstPick) -> u32 {
    match first {
        FirstPick::Bottom => picks - 1 - pick,
        FirstPick::Top => pick,
    }
}

/// Pixels of an end and of a pick: in the proportion of the sett, the finer of them
/// as wide as the picture has room for, at least one.
fn thread_pixels(cloth: &Cloth, ends: u32, picks: u32) -> (f64, f64) {
    let sett = cloth.sett();
    let (wide, high) = (1.0 / sett.ends, 1.0 / sett.picks);
    let finer = wide.min(high);
    let (wide, high) = (wide / finer, high / finer);
    let area = wide * f64::from(ends) * high * f64::from(picks);
    let room = (MOST_PIXELS as f64 / 2.0 / area.max(1.0)).sqrt();
    let longest = (wide * f64::from(ends)).max(high * f64::from(picks));
    let finest = room
        .min(f64::from(TALLEST) / longest.max(1.0))
        .clamp(1.0, WIDEST_THREAD)
        .floor();
    (wide * finest, high * finest)
}

fn heading(cloth: &Cloth, woven: &Woven<'_>, side: ClothSide) -> String {
    let side = match side {
        ClothSide::Face => "face",
        ClothSide::Back => "back",
    };
    format!(
        "{}, {side}: {} ends, {} picks",
        cloth.file(),
        woven.ends(),
        woven.picks()
    )
}

/// One thread where it lies on top, darker along both its edges.
fn thread(picture: &mut Pixmap, place: (u32, u32), size: (u32, u32), colour: Colour, warp: bool) {
    fill(picture, place, size, colour);
    let across = if warp { size.0 } else { size.1 };
    if across < ROUND_THREAD {
        return;
    }
    let shade = colour.map(|part| (u16::from(part) * 7 / 10) as u8);
    let (edge, other) = if warp {
        ((1, size.1), (place.0 + size.0 - 1, place.1))
    } else {
        ((size.0, 1), (place.0, place.1 + size.1 - 1))
    };
    fill(picture, place, edge, shade);
    fill(picture, other, edge, shade);
}

/// The point paper as it is painted, ruled as the sett asks for; where `cards` are
/// given, a dot in every square whose hook is lifted, the wefts from left to right.
///
/// # Errors
/// More squares than a picture can show.
pub fn paper_png(
    cloth: &Cloth,
    squares: &Squares,
    cards: Option<(&Deck, &Mounting)>,
) -> Result<Vec<u8>, PictureError> {
    let (columns, lines) = (squares.columns(), squares.lines());
    let wefts = u32::try_from(cloth.wefts().len()).unwrap_or(1).max(1);
    let ruled = cloth.ruling();
    let heavy = (u32::from(ruled.across), ruled.up);
    let (wide, high) = square_pixels(columns, lines, wefts, heavy);
    let (across, down) = (columns * wide, lines * high);
    let (width, height) = (LEFT + across + EDGE, TOP + down + EDGE);
    let mut picture = blank(width, height, REMEDY)?;
    for line in 0..lines {
        let y = TOP + line_of(line, lines, cloth.first_line()) * high;
        let colours = squares.woven_line(line, cloth.first_line());
        for (column, colour) in (0u32..).zip(colours) {
            let x = LEFT + column * wide;
            let paint = cloth.colours().get(usize::from(*colour));
            let paint = paint.map_or(PAPER, |colour| colour.paint);
            fill(&mut picture, (x, y), (wide, high), paint);
            let Some((deck, mounting)) = cards.filter(|_| wide.min(high) >= DOTTED) else {
                continue;
            };
            let each = (wide / wefts).max(2);
            let size = (each.div_ceil(2), high.div_ceil(2));
            for weft in 0..wefts {
                let card = CardNumber(line * wefts + weft + 1);
                if lifts(cloth, deck, mounting, card, column) {
                    let place = (x + weft * each + each / 4 + 1, y + high / 4 + 1);
                    fill(&mut picture, place, size, seen_on(paint));
                }
            }
        }
    }
    if wide.min(high) >= DOTTED {
        let size = (across, down);
        ruling(&mut picture, (wide, high), heavy, size, cloth.first_line());
    }
    let heading = format!(
        "{}: {columns} columns, {lines} lines, {} x {} paper",
        cloth.file(),
        heavy.0,
        heavy.1
    );
    let mut labels = Labels::new(&heading, width, height);
    for column in figures(columns, wide, FIGURE_WIDE) {
        labels.above(column, LEFT + (column - 1) * wide + wide / 2);
    }
    for line in figures(lines, high, FIGURE_HIGH) {
        let top = line_of(line - 1, lines, cloth.first_line());
        labels.left(line, TOP + top * high + high / 2);
    }
    labels.draw(&mut picture)?;
    encode(&picture)
}

/// Pixels of a square across and up: a block between heavy lines is as wide as it is
/// high, if there is room.
fn square_pixels(columns: u32, lines: u32, wefts: u32, heavy: (u32, u32)) -> (u32, u32) {
    let (across, up) = (f64::from(heavy.0.max(1)), f64::from(heavy.1.max(1)));
    let (wide, high) = (up.max(across) / across, up.max(across) / up);
    let longest = (f64::from(columns) * wide).max(f64::from(lines) * high);
    let area = f64::from(columns) * wide * f64::from(lines) * high;
    let room = (MOST_PIXELS as f64 / 2.0 / area.max(1.0)).sqrt();
    let finest = room
        .min(f64::from(TALLEST) / longest.max(1.0))
        .clamp(1.0, f64::from(4 + 4 * wefts));
    let whole = |side: f64| (side * finest).floor().max(1.0) as u32;
    (whole(wide), whole(high))
}

/// Whether this card lifts the hook of this column, as seen on the face.
fn lifts(cloth: &Cloth, deck: &Deck, mounting: &Mounting, card: CardNumber, column: u32) -> bool {
    let place = mounting.hooks().get(column as usize);
    let hole = place.and_then(|place| {
        let row = deck
            .card(card)?
            .get(usize::from(place.row).checked_sub(1)?)?;
        Some(row.has(place.hole))
    });
    hole.unwrap_or(false) != (cloth.face() == Face::Down)
}

/// A colour that is seen on this one.
fn seen_on(paint: Colour) -> Colour {
    let [red, green, blue] = paint.map(u32::from);
    if 3 * red + 6 * green + blue > 1280 {
        [40, 36, 30]
    } else {
        [250, 246, 236]
    }
}
