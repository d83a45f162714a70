//! At the loom: what is to be woven, pick by pick, and what is woven.
//!
//! Pure: nothing here talks to a unit, keeps time or writes anything. [`Weave`] is a
//! task over a link, which the engine runs.

mod change;
mod pace;
pub mod plan;
mod task;
pub mod view;
pub mod walk;
pub mod watch;
pub mod words;

pub use change::{Change, Moved, TooShort};
pub use plan::{DeckIndex, Plan, PlanError, PlanFault, WeftIndex};
pub(crate) use task::{KNOWS_LOOMS, NO_LOOMS};
pub use task::{Says, Stored, Undecided, Weave, WeaveOrder};
pub use walk::{Direction, Nearest, Pick, Turns, Walk, Work};
