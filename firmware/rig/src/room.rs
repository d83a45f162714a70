//! The machine's large memory, apart from it: a board says where it lies, and
//! it never passes over a small stack.

use cardwright_protocol::UnitToHost;
use heapless::{Deque, Vec};

use crate::held::Held;
use crate::queue::{Queue, Strokes};

/// Notices that can wait for the host.
const NOTICES: usize = 16;

/// Cards that have come, the one in the rig, readings, and notices.
pub struct Room {
    /// Cards streamed ahead.
    pub queue: Queue,
    /// The strokes of the card in the rig.
    pub strokes: Strokes,
    /// Readings not yet recorded.
    pub held: Held,
    pub(crate) notices: Deque<UnitToHost, NOTICES>,
}

impl Room {
    /// An empty room.
    #[must_use]
    pub const fn new() -> Room {
        Room {
            queue: Queue::new(),
            strokes: Vec::new(),
            held: Held::new(),
            notices: Deque::new(),
        }
    }
}

impl Default for Room {
    fn default() -> Room {
        Room::new()
    }
}
