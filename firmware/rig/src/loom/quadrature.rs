//! Two tracks a quarter of a period apart, from which a way and its direction
//! are known: on the way on, A changes before B.
//!
//! Enters: edges of either track. Leaves: a whole unit of way on or back. The
//! way back to where it was counted cancels, so a track that flutters on its
//! edge counts nothing.

/// A unit of way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turned {
    On,
    Back,
    /// Both tracks changed at once: it moved, and nobody knows which way.
    Unclear,
}

/// The levels in the order of the way on: neither, A, both, B.
const RING: [[bool; 2]; 4] = [[false, false], [true, false], [true, true], [false, true]];

#[derive(Debug, Default)]
pub(super) struct Quadrature {
    /// Edges of one unit of way; not 0.
    unit: i32,
    swapped: bool,
    levels: [bool; 2],
    /// Edges gone since the unit counted last.
    way: i32,
    /// The direction was lost; it is found again where both tracks rest.
    lost: bool,
}

impl Quadrature {
    /// Tracks that stand like this. One that stands on a track alone is on the
    /// way from or to where both rest, which is a quarter away.
    pub fn new(unit: u16, swapped: bool, levels: [bool; 2]) -> Quadrature {
        let mut new = Quadrature {
            unit: i32::from(unit.max(1)),
            swapped,
            levels,
            way: 0,
            lost: false,
        };
        match new.place() {
            1 => new.way = 1,
            3 => new.way = -1,
            2 => new.lost = true,
            _ => {}
        }
        new
    }

    /// An edge of a track to this level; `alone` if the other track did not
    /// change at the same moment.
    #[inline(never)] // as for a line
    pub fn edge(&mut self, track: usize, level: bool, alone: bool) -> Option<Turned> {
        let before = self.place();
        if let Some(kept) = self.levels.get_mut(track) {
            *kept = level;
        }
        let after = self.place();
        self.lost |= !alone;
        if self.lost {
            if self.levels == RING[0] {
                self.lost = false;
                self.way = 0;
                return Some(Turned::Unclear);
            }
            return None;
        }
        self.way += match (after + 4 - before) % 4 {
            1 => 1,
            3 => -1,
            _ => 0,
        };
        if self.way >= self.unit {
            self.way -= self.unit;
            Some(Turned::On)
        } else if self.way <= -self.unit {
            self.way += self.unit;
            Some(Turned::Back)
        } else {
            None
        }
    }

    /// Where on the ring it stands.
    fn place(&self) -> usize {
        let [a, b] = self.levels;
        let levels = if self.swapped { [b, a] } else { [a, b] };
        RING.iter().position(|ring| *ring == levels).unwrap_or(0)
    }
}
