//! Whether a stack of cut cards is the deck, in order.
//!
//! Enters: the deck's cards, and of each card of the stack, in the order in
//! which they lie, the holes that were seen. Leaves: which card each one is and
//! how it lies, and what is wrong with the stack, with a remedy. Refuses:
//! patterns that cannot be a card's and decks without cards. Nothing here knows
//! the reader or the ledger, and nothing here waits.

mod align;
mod disorder;
mod naming;
mod order;
mod otherwise;
mod pattern;
mod recognise;
mod slide;
mod table;
mod tell;
mod which;
mod words;

pub use disorder::{Disorder, Place, Run};
pub use order::{Account, Taken, order};
pub use pattern::{Difference, Lie, Pattern, PatternError};
pub use recognise::{Candidate, Catalogue, CatalogueError, Recognition, Tolerance};
pub use which::{Whereabouts, whereabouts};
pub(crate) use words::NOTHING_MORE;
