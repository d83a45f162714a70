//! The verdict on one card: was this very card read, and is every hole where it
//! should be?
//!
//! Enters: the strokes the card should show, its geometry, one [`Reading`] as
//! the unit sent it, and [`Limits`]. Leaves: a [`Report`] with one [`Verdict`],
//! the measurements behind it and words for a person. Refused, with a reason and
//! never by a guess: readings that are incomplete, too dark, clipped, unsteady,
//! of two cards or of none ([`Verdict::Unread`], [`Verdict::Interrupted`]).
//!
//! Nothing here panics, waits, or depends on anything but its arguments.

mod input;
mod report;
mod verdict;

pub use input::{Fit, Geometry, Limits, Reading};
pub use report::{Cell, Judged, Report, RowRegister};
pub use verdict::{FaultKind, HoleFault, OutOfRegister, UnreadReason, Verdict};
