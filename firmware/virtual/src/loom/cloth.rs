//! What really lies in the cloth, pick by pick.

/// Picks that are always kept, so that some can be taken out again.
const TAIL: usize = 256;

/// One weft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pick {
    /// Where the chain stood when it was laid in; none if the griffe was down.
    pub card: Option<i32>,
    /// Beats since, up to the next weft; 255 stands for more.
    pub beats: u8,
}

/// The cloth.
#[derive(Clone, Debug)]
pub struct Cloth {
    picks: Vec<Pick>,
    /// Picks that are no longer kept.
    forgotten: u64,
    keep: bool,
    spoilt: u64,
}

impl Cloth {
    pub(super) fn new(keep: bool) -> Cloth {
        Cloth {
            picks: Vec::new(),
            forgotten: 0,
            keep,
            spoilt: 0,
        }
    }

    /// The picks that are kept: all, or the last ones.
    #[must_use]
    pub fn picks(&self) -> &[Pick] {
        &self.picks
    }

    /// How many picks there are.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.forgotten + self.picks.len() as u64
    }

    /// How often a weft was to be taken out that did not come: there was none, or
    /// it was not its shed.
    #[must_use]
    pub fn spoilt(&self) -> u64 {
        self.spoilt
    }

    pub(super) fn lay_in(&mut self, shed: Option<i32>) {
        if !self.keep && self.picks.len() >= 2 * TAIL {
            self.picks.drain(..TAIL);
            self.forgotten += TAIL as u64;
        }
        self.picks.push(Pick {
            card: shed,
            beats: 0,
        });
    }

    pub(super) fn take_out(&mut self, shed: Option<i32>) {
        if self.picks.pop_if(|pick| pick.card == shed).is_none() {
            self.spoilt += 1;
        }
    }

    pub(super) fn beat(&mut self) {
        if let Some(pick) = self.picks.last_mut() {
            pick.beats = pick.beats.saturating_add(1);
        }
    }
}
