//! Readings, kept until the host has them on disk. Enters: lines as they are
//! read. Leaves: for each card its beginning, its lines and its end, in order,
//! as messages; again from the start when the host asks.

use cardwright_protocol::CardId;
use cardwright_protocol::UnitToHost;
use cardwright_protocol::unit_to_host::{
    CARDS_HELD, CardBegan, CardEnded, Levels, SAMPLES_A_MESSAGE,
};
use heapless::Vec;

use crate::limits::SAMPLES_HELD;

/// What of a card is to be sent next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Next {
    Began,
    Line(u16),
    Nothing,
}

/// A card whose readings are here.
#[derive(Clone, Copy, Debug)]
struct Card {
    began: CardBegan,
    ended: Option<CardEnded>,
    holes: u8,
    next: Next,
}

/// What a slot holds. An `Option` would be written as some bit pattern of its
/// own; this way an empty room is all zeros and takes no flash on a board.
#[derive(Debug)]
#[repr(u8)]
enum Content {
    Nothing = 0,
    Card(Card) = 1,
}

/// Room for one card. The samples stay where they are: eight kilobytes are not
/// moved about on a small stack.
struct Slot {
    content: Content,
    samples: Vec<u8, SAMPLES_HELD>,
}

impl Slot {
    fn card(&self) -> Option<&Card> {
        match &self.content {
            Content::Card(card) => Some(card),
            Content::Nothing => None,
        }
    }

    fn card_mut(&mut self) -> Option<&mut Card> {
        match &mut self.content {
            Content::Card(card) => Some(card),
            Content::Nothing => None,
        }
    }

    fn lines_from(&self, card: &Card, first: u16) -> UnitToHost {
        let holes = usize::from(card.holes);
        let from = usize::from(first) * holes;
        let to = self
            .samples
            .len()
            .min(from + lines_a_message(card.holes) * holes);
        let samples = self
            .samples
            .get(from..to)
            .and_then(|s| Vec::from_slice(s).ok());
        UnitToHost::Lines {
            id: card.began.id,
            first,
            samples: samples.unwrap_or_default(),
        }
    }

    /// Lines from line `first` on.
    fn waiting(&self, card: &Card, first: u16) -> usize {
        (self.samples.len() / usize::from(card.holes)).saturating_sub(usize::from(first))
    }

    /// Whether there is a message worth sending now.
    fn has_message(&self) -> bool {
        self.card().is_some_and(|card| match card.next {
            Next::Began => true,
            Next::Line(first) => {
                card.ended.is_some() || self.waiting(card, first) >= lines_a_message(card.holes)
            }
            Next::Nothing => false,
        })
    }

    /// That message, and what follows it.
    fn message(&self) -> Option<(UnitToHost, Next)> {
        let card = self.card().filter(|_| self.has_message())?;
        let first = match card.next {
            Next::Began => return Some((UnitToHost::CardBegan(card.began), Next::Line(0))),
            Next::Line(first) => first,
            Next::Nothing => return None,
        };
        let waiting = self.waiting(card, first);
        match card.ended {
            Some(ended) if waiting == 0 => Some((UnitToHost::CardEnded(ended), Next::Nothing)),
            _ => Some((
                self.lines_from(card, first),
                Next::Line(first + waiting.min(lines_a_message(card.holes)) as u16),
            )),
        }
    }
}

/// Whole lines that fit a message.
fn lines_a_message(holes: u8) -> usize {
    SAMPLES_A_MESSAGE / usize::from(holes)
}

/// The store.
pub struct Held {
    slots: [Slot; CARDS_HELD],
}

impl Held {
    /// Nothing held.
    #[must_use]
    pub const fn new() -> Held {
        Held {
            slots: [const {
                Slot {
                    content: Content::Nothing,
                    samples: Vec::new(),
                }
            }; CARDS_HELD],
        }
    }

    /// Whether another card can be begun.
    #[must_use]
    pub fn has_room(&self) -> bool {
        self.slots.iter().any(|slot| slot.card().is_none())
    }

    /// Whether no card waits for the host to record it.
    #[must_use]
    pub fn all_recorded(&self) -> bool {
        self.cards().all(|card| card.ended.is_none())
    }

    /// Whether this card is here.
    #[must_use]
    pub fn has(&self, id: CardId) -> bool {
        self.cards().any(|card| card.began.id == id)
    }

    /// Cards read to the end and not yet recorded.
    pub fn ended(&self) -> impl Iterator<Item = CardEnded> {
        self.cards().filter_map(|card| card.ended)
    }

    /// A card of so many holes a row (1 to 16) begins. Whether there was room.
    pub fn begin(&mut self, began: CardBegan, holes: u8) -> bool {
        let Some(slot) = self.slots.iter_mut().find(|slot| slot.card().is_none()) else {
            return false;
        };
        slot.samples.clear();
        slot.content = Content::Card(Card {
            began,
            ended: None,
            holes: holes.max(1),
            next: Next::Began,
        });
        true
    }

    /// The next line of the card being read. Whether there was room.
    pub fn line(&mut self, levels: &Levels) -> bool {
        self.reading().is_some_and(|slot| {
            let holes = slot.card().map_or(0, |card| usize::from(card.holes));
            levels
                .get(..holes)
                .is_some_and(|l| slot.samples.extend_from_slice(l).is_ok())
        })
    }

    /// The card being read has been read to the end.
    pub fn end(&mut self, ended: CardEnded) {
        if let Some(card) = self.reading().and_then(Slot::card_mut) {
            card.ended = Some(ended);
        }
    }

    /// The card being read will not be read to the end: its lines are of no
    /// use.
    pub fn abandon(&mut self) {
        if let Some(slot) = self.reading() {
            slot.content = Content::Nothing;
        }
    }

    /// The host has this card on disk. A card still being read stays.
    pub fn recorded(&mut self, id: CardId) {
        for slot in &mut self.slots {
            if slot
                .card()
                .is_some_and(|card| card.began.id == id && card.ended.is_some())
            {
                slot.content = Content::Nothing;
            }
        }
    }

    /// Sends this card again from its beginning. Whether it is here.
    pub fn resend(&mut self, id: CardId) -> bool {
        let mut cards = self.slots.iter_mut().filter_map(|slot| slot.card_mut());
        cards
            .find(|card| card.began.id == id)
            .map(|card| card.next = Next::Began)
            .is_some()
    }

    /// Sends nothing of what is held until the host asks: it is a new host.
    pub fn hush(&mut self) {
        for slot in &mut self.slots {
            if let Some(card) = slot.card_mut() {
                card.next = Next::Nothing;
            }
        }
    }

    /// The next message, of the oldest card first, which from now counts as
    /// sent.
    pub fn take_message(&mut self) -> Option<UnitToHost> {
        let oldest = self
            .slots
            .iter_mut()
            .filter(|slot| slot.has_message())
            .min_by_key(|slot| slot.card().map(|card| card.began.place))?;
        let (message, next) = oldest.message()?;
        oldest.card_mut()?.next = next;
        Some(message)
    }

    /// Whether there is something to be sent.
    #[must_use]
    pub fn has_message(&self) -> bool {
        self.slots.iter().any(Slot::has_message)
    }

    fn cards(&self) -> impl Iterator<Item = &Card> {
        self.slots.iter().filter_map(|slot| slot.card())
    }

    fn reading(&mut self) -> Option<&mut Slot> {
        self.slots
            .iter_mut()
            .find(|slot| slot.card().is_some_and(|card| card.ended.is_none()))
    }
}

impl Default for Held {
    fn default() -> Held {
        Held::new()
    }
}
