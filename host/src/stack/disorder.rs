//! What can be wrong with a stack.

use super::pattern::Lie;
use cardwright_protocol::CardNumber;

/// A place in the stack, counted from 1 in the order in which it was run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place(pub u32);

/// From the first to the last, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Run<T> {
    /// The first.
    pub first: T,
    /// The last; not before the first.
    pub last: T,
}

/// Cards and places are counted numbers.
pub(super) trait Counted: Copy + PartialEq {
    fn of_index(index: usize) -> Self;
    fn number(self) -> u32;
}

impl Counted for CardNumber {
    fn of_index(index: usize) -> CardNumber {
        CardNumber(u32::try_from(index + 1).unwrap_or(u32::MAX))
    }
    fn number(self) -> u32 {
        self.0
    }
}

impl Counted for Place {
    fn of_index(index: usize) -> Place {
        Place(u32::try_from(index + 1).unwrap_or(u32::MAX))
    }
    fn number(self) -> u32 {
        self.0
    }
}

#[expect(private_bounds, reason = "cards and places only")]
impl<T: Counted> Run<T> {
    pub(super) fn of(first: usize, last: usize) -> Run<T> {
        Run {
            first: T::of_index(first),
            last: T::of_index(last),
        }
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> u32 {
        (self.last.number() + 1).saturating_sub(self.first.number())
    }

    /// Whether this one is among them.
    #[must_use]
    pub fn contains(&self, one: T) -> bool {
        (self.first.number()..=self.last.number()).contains(&one.number())
    }
}

impl Run<Place> {
    pub(super) fn touches(&self, other: &Run<Place>) -> bool {
        self.last.0 + 1 == other.first.0 || other.last.0 + 1 == self.first.0
    }

    pub(super) fn join(&mut self, other: &Run<Place>) {
        self.first = self.first.min(other.first);
        self.last = self.last.max(other.last);
    }
}

/// One thing that is wrong with a stack. Cards are cards of the deck.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Disorder {
    /// The whole stack lies last card first. All else is said of the stack as
    /// it is once this is mended, but for places, which are those it was run
    /// in.
    StackReversed,
    /// Every card lies like this. Cards that are turned are so beside it.
    StackTurned(Lie),
    /// Cards that are not in the stack.
    Missing {
        /// The cards it can be: exactly those that are missing if there are
        /// `count` of them.
        cards: Run<CardNumber>,
        /// How many are missing.
        count: u32,
        /// `count` of them: where cards are identical, or repeat, as right as
        /// any other choice.
        such_as: Vec<CardNumber>,
    },
    /// Two cards stand in each other's places.
    Exchanged {
        /// The cards, the lower first.
        cards: (CardNumber, CardNumber),
        /// The places where they stand, in the same order.
        places: (Place, Place),
    },
    /// Cards that are in the stack once too often.
    Double {
        /// The first card of the deck that is like it.
        card: CardNumber,
        /// How many there are too many.
        count: u32,
        /// Where they are; more than `count` places if it can be any of them.
        extra: Run<Place>,
        /// Where the card itself is, if there is one such card only and it is
        /// not among `extra`.
        also: Option<Place>,
        /// How many cards of the deck are like it, with itself.
        like: u32,
    },
    /// Cards that stand elsewhere, in their order.
    Moved {
        /// The cards that are moved; more than `count` if they are identical
        /// and it can be any of them, or if missing ones are among them.
        cards: Run<CardNumber>,
        /// How many are moved.
        count: u32,
        /// Where they stand.
        places: Run<Place>,
        /// The card they stand behind; none if they stand first.
        after: Option<CardNumber>,
        /// How many cards of the deck are like it, with itself, if it is one: where
        /// there are more, it may be missing and another of them one too many.
        like: u32,
    },
    /// Cards that lie the wrong way.
    Turned {
        /// The cards.
        cards: Run<CardNumber>,
        /// Where they are.
        places: Run<Place>,
        /// How they lie.
        lie: Lie,
    },
    /// Cards of another deck.
    Foreign {
        /// Its label.
        deck: String,
        /// Its cards.
        cards: Run<CardNumber>,
        /// Where they are.
        places: Run<Place>,
        /// How they lie.
        lie: Lie,
    },
    /// Cards that are not known.
    Unknown {
        /// Where they are.
        places: Run<Place>,
    },
}

impl Disorder {
    /// How many cards would have to be handled one by one; a whole stack and
    /// a block that is moved in one piece count once.
    #[must_use]
    pub fn acts(&self) -> u32 {
        match self {
            Disorder::StackReversed
            | Disorder::StackTurned(_)
            | Disorder::Exchanged { .. }
            | Disorder::Moved { .. } => 1,
            Disorder::Missing { count, .. } | Disorder::Double { count, .. } => *count,
            Disorder::Turned { places, .. }
            | Disorder::Foreign { places, .. }
            | Disorder::Unknown { places } => places.count(),
        }
    }
}
