//! What really happened, for tests. Nothing in here is open to the firmware.
//!
//! Enters: what the world does. Leaves: the cards that left the machine with
//! their holes as they are, what each stroke physically did, and every fault
//! that was injected. It knows no deck and shares no code with any verdict.

use crate::faults::FaultKind;
use crate::stock;
use cardwright_protocol::time::Micros;

mod compare;

pub use compare::Difference;

/// How a card left the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Fed out past the last roller.
    Ejected,
    /// Taken out by hand.
    TakenOut,
}

/// A card that has left the machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// The card and its holes.
    pub card: stock::Card,
    /// How it left.
    pub fate: Fate,
    /// When.
    pub at: Micros,
    /// The serial number of the card that went through on top of or under it.
    pub doubled_with: Option<u64>,
}

/// What became of a stroke.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StrokeEnd {
    /// Still under way, or stopped on its way.
    Open,
    /// Down and up again.
    Done,
    /// The block stuck and was freed by hand.
    Stuck,
    /// Let go again before it left the top.
    NotBegun,
}

/// What one drive of the block from the top physically did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Its number in this world, from 0.
    pub number: u64,
    /// When it began.
    pub at: Micros,
    /// The card under the punches as they came down, if any; the first of two.
    pub card: Option<u64>,
    /// How far behind that card's leading edge the needle punches came down,
    /// in the machine's millimetres.
    pub along_mm: f64,
    /// Needle punches locked as they came down (bit 0 is hole 1).
    pub locked: u16,
    /// Needle holes really made.
    pub made: u16,
    /// Whether the peg punch was locked.
    pub peg_locked: bool,
    /// Whether a peg hole was really made.
    pub peg_made: bool,
    /// Whether the punches met the card's place at all.
    pub came_down: bool,
    /// What became of it.
    pub end: StrokeEnd,
}

/// A fault that was injected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Injected {
    /// When.
    pub at: Micros,
    /// What.
    pub kind: FaultKind,
    /// The card it happened to, if any.
    pub card: Option<u64>,
    /// The stroke it happened in, if any.
    pub stroke: Option<u64>,
    /// The hole or light channel, from 1; 0 if it is not about one, 17 for the
    /// peg hole.
    pub hole: u8,
    /// How much: millimetres slipped or staggered, share covered or lost.
    pub amount: f64,
}

/// The account. The lists grow until they are taken.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// Cards that left the machine, in order.
    pub cards: Vec<Card>,
    /// Strokes, in order.
    pub strokes: Vec<Stroke>,
    /// Faults, in order.
    pub injected: Vec<Injected>,
    /// Strokes begun since the world began; not emptied by taking.
    pub strokes_begun: u64,
    /// Cards picked or laid in since the world began.
    pub cards_fed: u64,
    /// Pushes of the magazine that met a card still at the rollers.
    pub picks_blocked: u64,
    /// Pushes of the empty magazine.
    pub picks_empty: u64,
    /// Feed steps made while punches were in a card.
    pub steps_in_card: u64,
}

impl Truth {
    /// The cards that left since this was last called.
    pub fn take_cards(&mut self) -> Vec<Card> {
        std::mem::take(&mut self.cards)
    }

    /// The strokes since this was last called, but for one still under way.
    pub fn take_strokes(&mut self) -> Vec<Stroke> {
        let open = self
            .strokes
            .last()
            .is_some_and(|stroke| stroke.end == StrokeEnd::Open);
        let keep = self.strokes.len() - usize::from(open);
        let rest = self.strokes.split_off(keep);
        std::mem::replace(&mut self.strokes, rest)
    }

    /// The faults since this was last called.
    pub fn take_injected(&mut self) -> Vec<Injected> {
        std::mem::take(&mut self.injected)
    }

    /// How many faults of this kind are in the list.
    #[must_use]
    pub fn count(&self, kind: FaultKind) -> usize {
        self.injected
            .iter()
            .filter(|fault| fault.kind == kind)
            .count()
    }
}
