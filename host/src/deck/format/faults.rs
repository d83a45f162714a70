//! What can be wrong with a card format, in words.

/// What does not fit in a card format.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FormatFault {
    /// The name cannot be written in a deck file or on a command line.
    #[error(
        "the name \"{0}\" is empty or has characters other than letters, digits, - and _; choose a plain one"
    )]
    Name(String),
    /// A length that is none.
    #[error(
        "{key} = {value} is not a length a card can have; give millimetres above 0 and at most 3000"
    )]
    Length {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
    },
    /// A row of no holes or more than 16.
    #[error("a row of {0} holes cannot be cut; give holes_per_row from 1 to 16")]
    Holes(u32),
    /// No rows or more than there are strokes.
    #[error("a card of {0} rows cannot be cut; give rows from 1 to 128")]
    Rows(u32),
    /// Needles and rows disagree.
    #[error("needles = {needles}, but {rows} rows of {holes} holes make {}; mend whichever of the three is wrong", rows * holes)]
    Needles {
        /// As written.
        needles: u32,
        /// As written.
        rows: u32,
        /// As written.
        holes: u32,
    },
    /// The spare row is not on the card.
    #[error(
        "spare_row = {spare}, but the rows are 1 to {rows}; name one of them or leave the key out"
    )]
    SpareRow {
        /// As written.
        spare: u32,
        /// As written.
        rows: u32,
    },
    /// The parts do not make up the rows.
    #[error("division {parts:?} makes {} rows, but rows = {rows}; the parts must be above 0 and add up to it", parts.iter().map(|part| u64::from(*part)).sum::<u64>())]
    Division {
        /// As written.
        parts: Vec<u32>,
        /// As written.
        rows: u32,
    },
    /// A lace hole that no needle punch of the row can cut.
    #[error(
        "lace hole {hole} is not in a row of {holes} holes, or is named twice; lace holes are cut by the needle punches 1 to {holes}"
    )]
    LaceHole {
        /// As written.
        hole: u32,
        /// Holes in a row.
        holes: u32,
    },
    /// Lace strokes, but no lace holes.
    #[error(
        "the programme cuts lace holes, but lace_holes is empty; name them, for example [2, 7]"
    )]
    NoLaceHoles,
    /// The peg punch is too far off to be meant.
    #[error(
        "peg_offset_rows = {0} is not between -16 and 16; give row pitches from the needle punches to the peg punch"
    )]
    PegOffset(f64),
    /// An entry of the programme that says nothing known.
    #[error(
        "the programme entry \"{0}\" is not understood; write \"blank\", \"peg\", \"lace\", \"row 51\" or \"rows 1-26\", and \" + peg\" after lace or a single row"
    )]
    Entry(String),
    /// A range that runs backwards.
    #[error(
        "the programme entry \"{0}\" runs backwards; rows are cut in rising order from the numbered end"
    )]
    RangeReversed(String),
    /// One peg hole for many rows.
    #[error(
        "the programme entry \"{0}\" gives a peg hole to several rows; write the row that it is cut with as an entry of its own, such as \"row 51 + peg\""
    )]
    PegWithRange(String),
    /// A row that is not on the card.
    #[error("the programme cuts row {row}, but the rows are 1 to {rows}")]
    RowBeyond {
        /// The row.
        row: u16,
        /// Rows on the card.
        rows: u32,
    },
    /// A row out of its order: repeated, or before one that comes earlier.
    #[error(
        "the programme cuts row {found} where row {wanted} must come; every row is cut once, in order"
    )]
    RowOrder {
        /// The next row not yet cut.
        wanted: u32,
        /// The one that was there.
        found: u16,
    },
    /// Rows that are never cut.
    #[error("the programme ends at row {last} of {rows}; add the rows from {} on", last + 1)]
    RowsMissing {
        /// The last row cut.
        last: u32,
        /// Rows on the card.
        rows: u32,
    },
    /// Lace holes between rows that the division keeps together.
    #[error("the programme laces between rows {after} and {}, but the division {division:?} does not part them there", after + 1)]
    LaceInsidePart {
        /// The row before the lace holes.
        after: u32,
        /// As written.
        division: Vec<u32>,
    },
    /// No lace holes where the division parts the rows.
    #[error(
        "the division {division:?} parts the rows after row {after}, but the programme has no lace stroke there"
    )]
    LaceMissing {
        /// The row before the parting.
        after: u32,
        /// As written.
        division: Vec<u32>,
    },
    /// More strokes than a unit takes for one card.
    #[error("the programme takes {0} strokes; a card can have 1 to 128")]
    TooManyStrokes(usize),
    /// The card ends before its last hole.
    #[error(
        "the card is {length_mm} mm long, but its last hole reaches to {reach_mm:.1} mm; lengthen card_length_mm or shorten the programme"
    )]
    TooShort {
        /// Length of the card.
        length_mm: f64,
        /// Far edge of the last hole.
        reach_mm: f64,
    },
    /// The first holes lie off the leading edge.
    #[error("the first hole begins {:.1} mm before the card's leading edge; enlarge first_stroke_mm", -begin_mm)]
    BeforeEdge {
        /// Near edge of the first hole.
        begin_mm: f64,
    },
    /// The rows are wider than the card.
    #[error(
        "the card is {width_mm} mm wide, but a row of holes needs {need_mm:.1} mm; widen card_width_mm or lessen needle_pitch_mm"
    )]
    TooNarrow {
        /// Width of the card.
        width_mm: f64,
        /// From the outer edge of the first hole to that of the last.
        need_mm: f64,
    },
    /// Holes wider than their pitch.
    #[error(
        "{key} = {value} mm is not less than the pitch of {pitch_mm} mm, so neighbouring holes would run together"
    )]
    HolesTouch {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
        /// The smaller of row pitch and needle pitch.
        pitch_mm: f64,
    },
    /// A peg hole that runs into other holes.
    #[error(
        "the peg hole of stroke {peg_stroke} runs into the holes of stroke {stroke}; put a blank stroke there or mend peg_offset_rows (strokes counted from 1)"
    )]
    PegMeets {
        /// Stroke that cuts the peg hole, from 1.
        peg_stroke: u16,
        /// Stroke whose holes it would meet, from 1.
        stroke: u16,
    },
}
