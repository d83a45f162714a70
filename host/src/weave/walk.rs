//! The walk along a plan: which card lies on the cylinder at each pick, and how it
//! gets there.
//!
//! Enters: a [`Plan`]. Leaves: any pick by its number, the way the cylinder must
//! be turned to it and back, and the picks at which a card is woven, without a
//! list of all picks. Refuses nothing: beyond the plan there is no pick.
//!
//! A chain is endless: after its last card comes its first. The cylinder's catch
//! turns it a card a pick, forwards, or back when it is reversed (from memory);
//! every other way to a card is turned by hand.

mod find;

pub use find::Nearest;

use super::plan::{DeckIndex, MarkPlace, Plan, Section, Side, Step, WeftIndex};
use cardwright_protocol::CardNumber;
use std::sync::Arc;

/// Which way the cylinder turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// To the next card of the chain.
    Forward,
    /// To the card before.
    Back,
}

impl Direction {
    /// The other way.
    #[must_use]
    pub fn reversed(self) -> Direction {
        match self {
            Direction::Forward => Direction::Back,
            Direction::Back => Direction::Forward,
        }
    }
}

/// How the cylinder gets to a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Turns {
    /// It stays as it is.
    None,
    /// It turns by one card.
    One(Direction),
    /// It is turned by hand to a card that is no neighbour, or held at the same
    /// card.
    ByHand {
        /// The card.
        to: CardNumber,
    },
    /// Another chain is hung, or the first.
    Hang {
        /// Which.
        deck: DeckIndex,
        /// The card that is laid on the cylinder.
        card: CardNumber,
    },
}

/// What a pick is woven by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Work {
    /// No card.
    Ground,
    /// A card.
    Card {
        /// Of which deck.
        deck: DeckIndex,
        /// Which.
        card: CardNumber,
    },
}

/// One pick of the plan. Numbers count from 0, as do sections and steps; repeats
/// from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pick<'a> {
    /// Its number in the plan.
    pub number: u64,
    /// The section's place in the plan.
    pub section: usize,
    /// The section's name.
    pub section_name: &'a str,
    /// Which pass of the section.
    pub repeat: u64,
    /// Passes there are.
    pub repeats: u64,
    /// The pick of the pass.
    pub step: u64,
    /// What it is woven by.
    pub work: Work,
    /// Its weft, if the plan says.
    pub weft: Option<WeftIndex>,
    /// Words to be said before it is woven.
    pub before: Vec<&'a str>,
    /// Words to be said when it is woven.
    pub after: Vec<&'a str>,
    /// How the cylinder gets from the card of the last carded pick to this one's.
    pub turns: Turns,
}

/// A plan with random access to its picks. A lookup takes a binary search over the
/// sections and one over the runs of cards of a section.
#[derive(Clone, Debug)]
pub struct Walk {
    plan: Arc<Plan>,
    /// Picks, and carded picks, before each section.
    starts: Vec<(u64, u64)>,
    picks: u64,
    carded: u64,
}

/// A pick of a section.
struct Place<'a> {
    section: usize,
    of: &'a Section,
    /// From 0.
    repeat: u64,
    step: u64,
    what: Step,
}

/// A card of the walk.
#[derive(Clone, Copy)]
struct Laid {
    deck: DeckIndex,
    card: CardNumber,
    way: Direction,
}

impl Walk {
    /// The walk along this plan.
    #[must_use]
    pub fn new(plan: Arc<Plan>) -> Walk {
        let (mut picks, mut carded) = (0, 0);
        let mut starts = Vec::with_capacity(plan.sections().len());
        for section in plan.sections() {
            starts.push((picks, carded));
            picks += section.picks();
            carded += section.carded() * section.repeats();
        }
        Walk {
            plan,
            starts,
            picks,
            carded,
        }
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        &self.plan
    }

    /// Picks in all.
    #[must_use]
    #[allow(clippy::len_without_is_empty)] // a plan weaves at least one pick
    pub fn len(&self) -> u64 {
        self.picks
    }

    /// Picks with a card in all.
    #[must_use]
    pub fn carded(&self) -> u64 {
        self.carded
    }

    /// How long this many picks are in millimetres, if the plan says the sett.
    #[must_use]
    pub fn length_of(&self, picks: u64) -> Option<f64> {
        Some(self.plan.sett()?.length_of(picks))
    }

    /// The pick of this number, from 0.
    #[must_use]
    pub fn pick(&self, number: u64) -> Option<Pick<'_>> {
        let place = self.place(number)?;
        let work = match (place.what, place.of.cards()) {
            (Step::Card(_, card, _), Some(cards)) => Work::Card {
                deck: cards.deck,
                card,
            },
            _ => Work::Ground,
        };
        let turns = match work {
            Work::Ground => Turns::None,
            Work::Card { .. } => self.turns_to(self.carded_before(number)),
        };
        Some(Pick {
            number,
            section: place.section,
            section_name: place.of.name(),
            repeat: place.repeat + 1,
            repeats: place.of.repeats(),
            step: place.step,
            work,
            weft: place.of.weft(place.what),
            before: marks(&place, Side::Before),
            after: marks(&place, Side::After),
            turns,
        })
    }

    /// How the cylinder gets back when pick `number` is taken out again: from where
    /// it stands at that pick to the card of the last carded pick before it, which
    /// is where it stands at pick `number - 1`. A ground pick is taken out without a
    /// turn, and so is the first carded pick, before which no card lay on the
    /// cylinder. Nothing at pick 0 and beyond the plan.
    #[must_use]
    pub fn back_from(&self, number: u64) -> Option<Turns> {
        number.checked_sub(1)?;
        if self.place(number)?.is_ground() {
            return Some(Turns::None);
        }
        let carded = self.carded_before(number);
        let Some(before) = carded.checked_sub(1).and_then(|before| self.laid(before)) else {
            return Some(Turns::None);
        };
        Some(match self.turns_to(carded) {
            Turns::None => Turns::None,
            Turns::One(way) => Turns::One(way.reversed()),
            Turns::ByHand { .. } => Turns::ByHand { to: before.card },
            Turns::Hang { .. } => Turns::Hang {
                deck: before.deck,
                card: before.card,
            },
        })
    }

    /// Carded picks before pick `number`; all of them beyond the plan.
    #[must_use]
    pub fn carded_before(&self, number: u64) -> u64 {
        let Some(place) = self.place(number) else {
            return self.carded;
        };
        let in_pass = place
            .of
            .cards()
            .map_or(0, |cards| cards.cards_before(place.step));
        self.starts[place.section].1 + place.repeat * place.of.carded() + in_pass
    }

    /// Carded picks from pick `from` on and before pick `to`; none if `to` is not
    /// after `from`.
    #[must_use]
    pub fn cards_between(&self, from: u64, to: u64) -> u64 {
        let (from, to) = (self.carded_before(from), self.carded_before(to));
        to.saturating_sub(from)
    }

    /// The number of the carded pick that has so many carded picks before it.
    #[must_use]
    pub fn carded_pick(&self, carded: u64) -> Option<u64> {
        let (section, of, repeat, place) = self.carded_place(carded)?;
        let step = of.cards()?.steps_before(place);
        Some(self.starts[section].0 + repeat * of.pass() + step)
    }

    /// The first carded pick at pick `number` or after it.
    #[must_use]
    pub fn next_carded(&self, number: u64) -> Option<u64> {
        self.carded_pick(self.carded_before(number))
    }

    /// The last carded pick before pick `number`.
    #[must_use]
    pub fn previous_carded(&self, number: u64) -> Option<u64> {
        self.carded_pick(self.carded_before(number).checked_sub(1)?)
    }

    /// The way in which the cylinder turns to a carded pick: that of the turn that
    /// brings it, or else, as after a chain is laid, that of the turn by which the
    /// plan goes on from it.
    #[must_use]
    pub fn way_at(&self, number: u64) -> Direction {
        let carded = self.carded_before(number);
        let way = |carded| match self.turns_to(carded) {
            Turns::One(way) => Some(way),
            _ => None,
        };
        let on = || way(carded + 1);
        way(carded).or_else(on).unwrap_or(Direction::Forward)
    }

    fn place(&self, number: u64) -> Option<Place<'_>> {
        if number >= self.picks {
            return None;
        }
        let section = self.starts.partition_point(|(start, _)| *start <= number) - 1;
        let of = &self.plan.sections()[section];
        let inside = number - self.starts[section].0;
        let step = inside % of.pass();
        Some(Place {
            section,
            of,
            repeat: inside / of.pass(),
            step,
            what: of.step(step)?,
        })
    }

    /// Section, pass from 0 and place in the pass of a carded pick.
    fn carded_place(&self, carded: u64) -> Option<(usize, &Section, u64, u64)> {
        if carded >= self.carded {
            return None;
        }
        // of sections that begin with the same count, only the last has cards
        let section = self.starts.partition_point(|(_, start)| *start <= carded) - 1;
        let of = &self.plan.sections()[section];
        let inside = carded - self.starts[section].1;
        Some((section, of, inside / of.carded(), inside % of.carded()))
    }

    fn laid(&self, carded: u64) -> Option<Laid> {
        let (_, of, _, place) = self.carded_place(carded)?;
        let cards = of.cards()?;
        let (card, way) = cards.runs.at(place)?;
        Some(Laid {
            deck: cards.deck,
            card,
            way,
        })
    }

    fn turns_to(&self, carded: u64) -> Turns {
        let Some(here) = self.laid(carded) else {
            return Turns::None;
        };
        let before = carded.checked_sub(1).and_then(|before| self.laid(before));
        match before.filter(|before| before.deck == here.deck) {
            None => Turns::Hang {
                deck: here.deck,
                card: here.card,
            },
            Some(before) => {
                let cards = self.plan.decks()[here.deck.0].deck.card_count();
                along_chain(before.card, here, cards)
            }
        }
    }
}

impl Place<'_> {
    fn is_ground(&self) -> bool {
        matches!(self.what, Step::Ground(_))
    }
}

/// How many cards the cylinder must be turned by to get from a card to another of a
/// chain of so many, the shorter way; forwards positive.
#[must_use]
pub fn shortest(from: CardNumber, to: CardNumber, cards: u32) -> i64 {
    let cards = i64::from(cards.max(1));
    let on = (i64::from(to.0) - i64::from(from.0)).rem_euclid(cards);
    if on * 2 > cards { on - cards } else { on }
}

/// How the cylinder gets from a card to another of the same chain. On a chain of one
/// card or two, both ways lead there: it goes on in the way of the run.
fn along_chain(from: CardNumber, to: Laid, cards: u32) -> Turns {
    let next = |card: CardNumber| CardNumber(card.0 % cards + 1);
    match (next(from) == to.card, next(to.card) == from) {
        (true, true) => Turns::One(to.way),
        (true, false) => Turns::One(Direction::Forward),
        (false, true) => Turns::One(Direction::Back),
        (false, false) => Turns::ByHand { to: to.card },
    }
}

/// The words at a pick, on one side of it.
fn marks<'a>(place: &Place<'a>, wanted: Side) -> Vec<&'a str> {
    let woven = place.repeat * place.of.pass() + place.step + 1;
    let here = |mark: &MarkPlace| match (*mark, place.what) {
        (MarkPlace::Card(side, card, way), Step::Card(_, laid, direction)) => {
            side == wanted && card == laid && way.is_none_or(|way| way == direction)
        }
        (MarkPlace::Card(..), Step::Ground(_)) => false,
        (MarkPlace::Step(side, step), _) => side == wanted && step == place.step,
        (MarkPlace::Every(every), _) => wanted == Side::After && woven.is_multiple_of(every),
    };
    let marks = place.of.marks().iter();
    marks
        .filter(|mark| here(&mark.place))
        .map(|mark| mark.say.as_str())
        .collect()
}
