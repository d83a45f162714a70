//! Whether a strip of squares is ruled.
//!
//! Enters: what each part of the lines in it is like. Leaves: whether lines are seen,
//! hidden by paint, or not there. Refuses nothing.

/// Of the bare parts of lines these must be seen.
const SEEN: f64 = 0.5;

/// With fewer bare parts than this among all, painted edges tell too.
pub const FEW_BARE: f64 = 0.15;

/// Of painted parts these must show an edge or a line.
const EDGES: f64 = 0.08;

/// A part of a line between two crossings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Not in the picture.
    Outside,
    /// Between bare squares, and whether a line is seen.
    Bare(bool),
    /// Beside paint, and whether a line or a painted edge is seen.
    Painted(bool),
}

/// What is seen of lines in a strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strip {
    /// They are seen.
    Ruled,
    /// Painted so that nothing can be seen.
    Hidden,
    /// There are none.
    Bare,
    /// Too little is in the picture.
    Outside,
}

/// What is seen of these parts.
pub fn tell(parts: impl Iterator<Item = Part>) -> Strip {
    let (mut bare, mut bare_seen, mut painted, mut edges, mut outside) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for part in parts {
        match part {
            Part::Outside => outside += 1.0,
            Part::Bare(seen) => {
                bare += 1.0;
                bare_seen += f64::from(u8::from(seen));
            }
            Part::Painted(seen) => {
                painted += 1.0;
                edges += f64::from(u8::from(seen));
            }
        }
    }
    let inside: f64 = bare + painted;
    if inside < 2.0 || outside > inside {
        Strip::Outside
    } else if bare >= 2.0 && bare >= FEW_BARE * inside {
        if bare_seen >= SEEN * bare {
            Strip::Ruled
        } else {
            Strip::Bare
        }
    } else if edges + bare_seen >= (EDGES * inside).max(2.0) {
        Strip::Ruled
    } else {
        Strip::Hidden
    }
}
