//! A loom, and the weaver at it if there is one, kept in step.

use super::{Loom, LoomWorld, Script, Weaver, WeaverSettings};
use cardwright_protocol::Micros;

/// A loom that is to stand in a world.
#[derive(Clone, Debug, Default)]
pub struct LoomOptions {
    /// How it really is.
    pub world: LoomWorld,
    /// Seed of its bounces and of how even its movements are.
    pub seed: u64,
    /// What is woven and by whom; nobody is at it if there is none.
    pub weaver: Option<(Script, WeaverSettings)>,
}

/// The loom and its weaver.
#[derive(Clone, Debug)]
pub struct LoomPlace {
    /// The loom.
    pub loom: Loom,
    /// The weaver.
    pub weaver: Option<Weaver>,
}

impl LoomPlace {
    /// This loom, at rest, and its weaver about to begin.
    #[must_use]
    pub fn new(options: LoomOptions) -> LoomPlace {
        LoomPlace {
            loom: Loom::new(options.world, options.seed),
            weaver: options
                .weaver
                .map(|(script, settings)| Weaver::new(script, settings)),
        }
    }

    /// When a line changes next, or the weaver moves.
    #[must_use]
    pub fn next_change(&self) -> Micros {
        let weaver = self.weaver.as_ref().map(Weaver::next_move);
        self.loom.next_change().min(weaver.unwrap_or(Micros::NEVER))
    }

    /// Lets time pass until `now`, every act of the weaver at its own moment.
    pub fn advance(&mut self, now: Micros) {
        if let Some(weaver) = &mut self.weaver {
            while weaver.next_move() <= now {
                // One who is told something is to move at once, not in the past.
                let at = weaver.next_move().max(self.loom.now());
                weaver.look(&mut self.loom, at);
            }
        }
        self.loom.advance(now);
    }
}
