//! The loom that stands beside the machine, if one does.
//!
//! Enters: the loom and its weaver. Leaves: what the unit's loom lines show. Loom
//! and machine touch each other nowhere; they only share the time.

use super::World;
use crate::loom::{Loom, LoomOptions, LoomPlace, Weaver};

impl World {
    /// Puts a loom into the world, at the present moment; one that stood there
    /// is gone.
    pub fn put_loom(&mut self, options: LoomOptions) {
        let mut place = LoomPlace::new(options);
        place.loom.advance(self.now());
        self.loom = Some(Box::new(place));
    }

    /// What the sensors at the loom show, in the bits of `LoomLine`; without a
    /// loom nothing.
    #[must_use]
    pub fn loom_lines(&self) -> u8 {
        self.loom.as_ref().map_or(0, |place| place.loom.lines())
    }

    /// The loom, to look at.
    #[must_use]
    pub fn loom(&self) -> Option<&Loom> {
        self.loom.as_ref().map(|place| &place.loom)
    }

    /// The loom, for a person's hands.
    pub fn loom_mut(&mut self) -> Option<&mut Loom> {
        self.loom.as_mut().map(|place| &mut place.loom)
    }

    /// The weaver at the loom, to look at.
    #[must_use]
    pub fn weaver(&self) -> Option<&Weaver> {
        self.loom.as_ref().and_then(|place| place.weaver.as_ref())
    }

    /// The weaver at the loom, to be told how to go on. Hands move from now on, and
    /// not from when a line changed last.
    pub fn weaver_mut(&mut self) -> Option<&mut Weaver> {
        let now = self.now();
        let place = self.loom.as_mut()?;
        place.loom.advance(now);
        place.weaver.as_mut()
    }
}
