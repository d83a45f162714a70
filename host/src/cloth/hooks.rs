//! Which holes of the card the design works, and in what order.
//!
//! Enters: a card format, the row that is kept out of the design, what is cast
//! out, the corner at which the tie begins. Leaves: the place on the card of
//! each hook in use. Refuses: places that the card has not got.

use super::words::Words;
use crate::deck::CardFormat;
use std::collections::BTreeSet;

/// A hole's place on the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// Row, from 1 at the numbered end.
    pub row: u16,
    /// Hole of the row, from 1.
    pub hole: u8,
}

/// An end of the card.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CardEnd {
    /// Where its number stands and cutting begins (Taylor pp. 122-123).
    #[default]
    Numbered,
    /// The other.
    Other,
}

/// A side of the card.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// That of hole 1.
    #[default]
    First,
    /// That of the last hole of a row.
    Last,
}

/// Which way the hooks are counted from the corner.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Along {
    /// Through a row, then the next row.
    #[default]
    Row,
    /// Along the card through every row, then the next hole.
    Card,
}

/// The corner of the card that works the first end, the left one of the cloth.
/// Mountings differ (Bell ch. III; Taylor p. 123).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Corner {
    /// At which end of the card it lies.
    pub card_end: CardEnd,
    /// On which side of the row.
    pub hole: Side,
    /// Which way hooks are counted from there.
    pub along: Along,
}

/// What is left idle.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum CastOut {
    /// Nothing.
    #[default]
    None,
    /// As many hooks as are over.
    Auto,
    /// These.
    Places(BTreeSet<Place>),
}

/// The places that an entry such as `row 27`, `rows 2-3` or `row 2 holes 1-4`
/// names, if it is one and the card has them.
pub(super) fn named(text: &str, format: &CardFormat) -> Option<Vec<Place>> {
    let mut words = Words::of(text);
    let rows = match words.next() {
        Some("row" | "rows") => words.range()?,
        _ => return None,
    };
    let holes = match words.next() {
        None => (1, u32::from(format.holes_per_row())),
        Some("hole" | "holes") => words.range()?,
        Some(_) => return None,
    };
    let inside = words.next().is_none()
        && rows.1 <= u32::from(format.rows())
        && holes.1 <= u32::from(format.holes_per_row());
    let place = |row: u32, hole: u32| {
        Some(Place {
            row: u16::try_from(row).ok()?,
            hole: u8::try_from(hole).ok()?,
        })
    };
    inside.then(|| {
        (rows.0..=rows.1)
            .flat_map(|row| (holes.0..=holes.1).filter_map(move |hole| place(row, hole)))
            .collect()
    })
}

/// The rows that the design may work.
pub(super) fn rows(format: &CardFormat, kept_out: Option<u16>) -> Vec<u16> {
    (1..=format.rows())
        .filter(|row| Some(*row) != kept_out)
        .collect()
}

/// The hooks in use, counted from the corner.
#[must_use]
pub fn in_use(
    format: &CardFormat,
    kept_out: Option<u16>,
    cast_out: &BTreeSet<Place>,
    corner: Corner,
) -> Vec<Place> {
    let mut rows = rows(format, kept_out);
    let mut holes: Vec<u8> = (1..=format.holes_per_row()).collect();
    if corner.card_end == CardEnd::Other {
        rows.reverse();
    }
    if corner.hole == Side::Last {
        holes.reverse();
    }
    let places: Vec<Place> = match corner.along {
        Along::Row => rows
            .iter()
            .flat_map(|row| holes.iter().map(|hole| (*row, *hole)))
            .map(|(row, hole)| Place { row, hole })
            .collect(),
        Along::Card => holes
            .iter()
            .flat_map(|hole| rows.iter().map(|row| (*row, *hole)))
            .map(|(row, hole)| Place { row, hole })
            .collect(),
    };
    let left = |place: &Place| !cast_out.contains(place);
    places.into_iter().filter(left).collect()
}

/// What is cast out where `over` hooks are too many: whole rows, as many in each
/// half of the machine (Taylor p. 220; Brooks: one row in the middle and one at
/// the end), the first rows of each half, since empty rows are left at the
/// numbered end (Bell ch. V). An odd row, and what is less than a row, go to the
/// numbered end.
#[must_use]
pub fn cast_out_over(format: &CardFormat, kept_out: Option<u16>, over: u32) -> BTreeSet<Place> {
    let holes = u32::from(format.holes_per_row());
    let mut halves = Vec::new();
    let mut first = 1;
    for part in format.division() {
        let all = first..first + part;
        let half: Vec<u16> = all.filter(|row| Some(*row) != kept_out).collect();
        halves.push(half.into_iter());
        first += part;
    }
    let count = halves.len();
    let mut cast_out = BTreeSet::new();
    let (mut left, mut turn) = (over, 0);
    while left > 0 {
        // what is less than a row stands with the rest at the numbered end
        let half = if left < holes { 0 } else { turn % count };
        turn += 1;
        let row = halves[half].next().or_else(|| {
            let mut rest = halves.iter_mut();
            rest.find_map(Iterator::next)
        });
        let Some(row) = row else { break };
        let idle = left.min(holes);
        left -= idle;
        let idle = u8::try_from(idle).unwrap_or(u8::MAX);
        cast_out.extend((1..=idle).map(|hole| Place { row, hole }));
    }
    cast_out
}
