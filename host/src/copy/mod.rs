//! Copying an old deck: from what was seen of a stack, once or several times, to
//! a deck.
//!
//! Enters: the card format, the passes of the stack, each a list of what was
//! seen of card after card, and the numbers of cards that are known to be
//! lacking. Leaves: a [`Copied`] deck, in which every position that could not be
//! told is listed. Refuses: passes in which no card was read. Nothing here knows
//! the ledger. `recognise` finds the card format by the first cards.

mod merge;
mod passes;
mod recognise;
mod sight;

pub use merge::{Copied, CopyError, copied, lacking_in};
pub use recognise::{Known, Recognised, Unrecognised, cropped};
pub use sight::Sight;
