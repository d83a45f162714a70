//! What hands and feet do at a loom. One act is one movement of one part.

/// Most cloth that one act winds on or lets off, in millimetres.
const MOST_WOUND_MM: f64 = 1_000.0;

/// Which way the chain goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// To the next card.
    Forwards,
    /// To the card before.
    Back,
}

impl Direction {
    /// The direction of so many cards; none for no card.
    #[must_use]
    pub fn of(cards: i32) -> Option<Direction> {
        match cards {
            0 => None,
            1.. => Some(Direction::Forwards),
            _ => Some(Direction::Back),
        }
    }

    /// The other one.
    #[must_use]
    pub fn other(self) -> Direction {
        match self {
            Direction::Forwards => Direction::Back,
            Direction::Back => Direction::Forwards,
        }
    }
}

/// One movement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// The cylinder turns one card.
    Turn(Direction),
    /// It turns half-way, fails to catch, and falls back.
    TurnHalfAndBack(Direction),
    /// The griffe goes up, if it is down.
    Lift,
    /// It goes down, if it is up.
    Lower,
    /// The shuttle is thrown and lays its weft in.
    Throw,
    /// It is thrown the way it came, and the last weft comes out with it. The
    /// sensors see no difference.
    ThrowBack,
    /// The batten beats the weft up.
    Beat,
    /// It only just reaches the cloth.
    BeatLightly,
    /// So many millimetres of cloth are wound on, a metre at most.
    TakeUp(f64),
    /// So many are let off, a metre at most.
    LetOff(f64),
    /// Nothing is done for so many microseconds.
    Wait(u64),
}

impl Act {
    /// Cloth that it winds on, less what it lets off. What is no length is 0.
    #[must_use]
    pub fn wound_mm(self) -> f64 {
        match self {
            Act::TakeUp(mm) => length(mm),
            Act::LetOff(mm) => -length(mm),
            _ => 0.0,
        }
    }
}

fn length(mm: f64) -> f64 {
    if mm.is_nan() {
        0.0
    } else {
        mm.clamp(0.0, MOST_WOUND_MM)
    }
}
