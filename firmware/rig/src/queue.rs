//! Cards whose rows the host has streamed ahead. Enters: card heads and
//! strokes in order. Leaves: whole cards whose CRC-32 is right. Refuses: strokes
//! of another card, out of order, or beyond the room.

use cardwright_protocol::CardId;
use cardwright_protocol::card::{MOST_STROKES, Stroke, strokes_crc};
use cardwright_protocol::host_to_unit::CardHeader;
use cardwright_protocol::unit_to_host::Refusal;
use heapless::{Deque, Vec};

/// Strokes that fit: the next card and more of the largest common size beside
/// the one being cut, which lies elsewhere.
pub const STROKE_ROOM: usize = 256;

/// Cards that fit.
pub const CARD_ROOM: usize = 4;

/// A whole card, ready to be cut or read.
pub type Strokes = Vec<Stroke, { MOST_STROKES as usize }>;

struct Entry {
    header: CardHeader,
    arrived: u16,
}

/// The queue.
pub struct Queue {
    strokes: Deque<Stroke, STROKE_ROOM>,
    cards: Deque<Entry, CARD_ROOM>,
    strokes_passed: u32,
    cards_passed: u32,
}

impl Queue {
    /// An empty queue that has passed nothing.
    #[must_use]
    pub fn new() -> Queue {
        Queue {
            strokes: Deque::new(),
            cards: Deque::new(),
            strokes_passed: 0,
            cards_passed: 0,
        }
    }

    /// Strokes and cards that have passed through since the queue was made.
    #[must_use]
    pub fn passed(&self) -> (u32, u32) {
        (self.strokes_passed, self.cards_passed)
    }

    /// How much may be sent since the queue was made: strokes and cards, in
    /// all. Total counts, so that a repeated report changes nothing.
    #[must_use]
    pub fn credit(&self) -> (u32, u32) {
        (
            self.strokes_passed + STROKE_ROOM as u32,
            self.cards_passed + CARD_ROOM as u32,
        )
    }

    /// Whether a card with this identity waits here.
    #[must_use]
    pub fn has(&self, id: CardId) -> bool {
        self.cards.iter().any(|entry| entry.header.id == id)
    }

    /// Whether nothing waits, whole or in part.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cards.is_empty()
    }

    /// Whether a whole card waits.
    #[must_use]
    pub fn front_is_whole(&self) -> bool {
        self.cards
            .front()
            .is_some_and(|entry| entry.arrived == entry.header.strokes)
    }

    /// A card joins the end.
    ///
    /// # Errors
    /// [`Refusal::CardTooLarge`] with no or too many strokes, or without credit.
    pub fn announce(&mut self, header: CardHeader) -> Result<(), Refusal> {
        let too_large = Err(Refusal::CardTooLarge(header.id));
        if header.strokes == 0 || header.strokes > MOST_STROKES {
            return too_large;
        }
        self.cards
            .push_back(Entry { header, arrived: 0 })
            .or(too_large)
    }

    /// Strokes of the card announced last.
    ///
    /// # Errors
    /// [`Refusal::NoSuchCard`] for any other card; [`Refusal::CardDamaged`] for
    /// strokes out of order, too many or without credit: the card is dropped.
    pub fn push(&mut self, id: CardId, first: u16, strokes: &[Stroke]) -> Result<(), Refusal> {
        let Some(entry) = self.cards.back_mut().filter(|entry| entry.header.id == id) else {
            return Err(Refusal::NoSuchCard(id));
        };
        let in_order = entry.arrived == first
            && usize::from(first) + strokes.len() <= usize::from(entry.header.strokes)
            && self.strokes.len() + strokes.len() <= STROKE_ROOM;
        if !in_order {
            let arrived = usize::from(entry.arrived);
            self.cards.pop_back();
            for _ in 0..arrived {
                self.strokes.pop_back();
            }
            self.strokes_passed += (arrived + strokes.len()) as u32;
            self.cards_passed += 1;
            return Err(Refusal::CardDamaged(id));
        }
        entry.arrived += strokes.len() as u16;
        strokes.iter().for_each(|stroke| {
            let _ = self.strokes.push_back(*stroke);
        });
        Ok(())
    }

    /// Takes the first card, if it is whole, into `strokes`.
    ///
    /// # Errors
    /// [`Refusal::CardDamaged`] if its CRC-32 is wrong: the card is dropped.
    pub fn take(&mut self, strokes: &mut Strokes) -> Result<Option<CardHeader>, Refusal> {
        if !self.front_is_whole() {
            return Ok(None);
        }
        let Some(entry) = self.cards.pop_front() else {
            return Ok(None);
        };
        strokes.clear();
        for _ in 0..entry.arrived {
            if let Some(stroke) = self.strokes.pop_front() {
                let _ = strokes.push(stroke);
            }
        }
        self.strokes_passed += u32::from(entry.arrived);
        self.cards_passed += 1;
        if strokes_crc(entry.header.id, strokes) == entry.header.crc {
            Ok(Some(entry.header))
        } else {
            Err(Refusal::CardDamaged(entry.header.id))
        }
    }

    /// Forgets every card.
    pub fn clear(&mut self) {
        self.strokes_passed += self.strokes.len() as u32;
        self.cards_passed += self.cards.len() as u32;
        self.strokes.clear();
        self.cards.clear();
    }
}

impl Default for Queue {
    fn default() -> Queue {
        Queue::new()
    }
}
