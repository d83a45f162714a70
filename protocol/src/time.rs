//! Time as it is passed in: microseconds since the clock's owner started.

use serde::{Deserialize, Serialize};

/// A moment on its owner's clock, in microseconds since that clock started.
/// Host and unit each have their own; a moment never crosses the link without
/// the boot number it belongs to.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct Micros(pub u64);

impl Micros {
    /// A moment that never comes; "no wake wanted".
    pub const NEVER: Micros = Micros(u64::MAX);

    /// This moment and `us` microseconds more.
    #[must_use]
    pub const fn plus(self, us: u64) -> Micros {
        Micros(self.0.saturating_add(us))
    }

    /// Microseconds from `earlier` to this moment; 0 if it is not earlier.
    #[must_use]
    pub const fn since(self, earlier: Micros) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}
