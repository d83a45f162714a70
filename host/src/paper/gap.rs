//! Columns and lines of squares without ruling within a sheet.
//!
//! Enters: the parts of the lines, the squares that are ruled, the squares in doubt, the
//! outermost columns and lines of squares that are. Leaves: the squares in doubt, with
//! those and with all squares of a column, or of a line of squares, around which no ruling
//! is seen though it is bare: two parts of a sheet that lie apart, or a strip that is
//! stuck over it. Refuses nothing.

use super::outline::{AllParts, Outline, Strip};
use super::sheet::{Doubt, Why};
use std::collections::BTreeSet;
use std::ops::Range;

/// Adds the squares without ruling to those in doubt.
pub fn doubt(
    parts: &AllParts,
    outline: &Outline,
    outermost: [BTreeSet<usize>; 2],
    doubtful: &mut Vec<Doubt>,
) {
    let (columns, rows) = (&outline.columns, &outline.rows);
    let inner = |squares: &Range<usize>| squares.start + 1..squares.end;
    let no_column = |column: &usize| parts.across.strip(*column, &inner(rows)) == Strip::Bare;
    let no_row = |row: &usize| parts.upright.strip(*row, &inner(columns)) == Strip::Bare;
    let [mut bare_columns, mut bare_rows] = outermost;
    bare_columns.extend(columns.clone().filter(no_column));
    bare_rows.extend(rows.clone().filter(no_row));
    if bare_columns.is_empty() && bare_rows.is_empty() {
        return;
    }
    let known: BTreeSet<(u32, u32)> = doubtful.iter().map(|at| (at.row, at.column)).collect();
    for (row, column) in rows
        .clone()
        .flat_map(|row| columns.clone().map(move |c| (row, c)))
    {
        let at = |square: usize, first: usize| (square - first) as u32;
        let place = (at(row, rows.start), at(column, columns.start));
        let bare = bare_rows.contains(&row) || bare_columns.contains(&column);
        if bare && !known.contains(&place) {
            doubtful.push(Doubt {
                column: place.1,
                row: place.0,
                why: Why::Unruled,
                seen: None,
            });
        }
    }
    doubtful.sort_by_key(|doubt| (doubt.row, doubt.column));
}
