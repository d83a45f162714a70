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
    pub const fn new() -> Queue {
        Queue {
            strokes: Deque::new(),
            cards: Deque::new(),
            strokes_passed: 0,
            cards_passed: 0,
        }
    }

    /// Strokes and cards that came and are here no longer, taken or refused,
    /// since the queue was made. The totals start over after 2^32; only
    /// differences mean something.
    #[must_use]
    pub fn passed(&self) -> (u32, u32) {
        (self.strokes_passed, self.cards_passed)
    }

    /// How much may be sent since the queue was made: strokes and cards, in
    /// all. Total counts, so that a repeated report changes nothing.
    #[must_use]
    pub fn credit(&self) -> (u32, u32) {
        (
            self.strokes_passed.wrapping_add(STROKE_ROOM as u32),
            self.cards_passed.wrapping_add(CARD_ROOM as u32),
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
        let fits = (1..=MOST_STROKES).contains(&header.strokes);
        if fits && self.cards.push_back(Entry { header, arrived: 0 }).is_ok() {
            return Ok(());
        }
        Err(Refusal::CardTooLarge(header.id))
    }

    /// So much came and was not kept: the host has paid for it with credit, and
    /// would run dry if it did not get that back.
    pub fn gone(&mut self, strokes: usize, cards: usize) {
        self.strokes_passed = self.strokes_passed.wrapping_add(strokes as u32);
        self.cards_passed = self.cards_passed.wrapping_add(cards as u32);
    }

    /// Strokes of the card announced last.
    ///
    /// # Errors
    /// [`Refusal::NoSuchCard`] for any other card; [`Refusal::CardDamaged`] for
    /// strokes out of order, too many or without credit: the card is dropped.
    /// Either way the credit is given back.
    pub fn push(&mut self, id: CardId, first: u16, strokes: &[Stroke]) -> Result<(), Refusal> {
        let Some(entry) = self.cards.back_mut().filter(|entry| entry.header.id == id) else {
            self.gone(strokes.len(), 0);
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
            self.gone(arrived + strokes.len(), 1);
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
        self.gone(usize::from(entry.arrived), 1);
        if strokes_crc(entry.header.id, strokes) == entry.header.crc {
            Ok(Some(entry.header))
        } else {
            Err(Refusal::CardDamaged(entry.header.id))
        }
    }

    /// Forgets every card.
    pub fn clear(&mut self) {
        self.gone(self.strokes.len(), self.cards.len());
        self.strokes.clear();
        self.cards.clear();
    }
}

impl Default for Queue {
    fn default() -> Queue {
        Queue::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cardwright_protocol::card::{Attempt, CardNumber, JobNumber, Row};
    use cardwright_protocol::host_to_unit::Work;

    fn header(card: u32, strokes: &[Stroke]) -> CardHeader {
        let id = CardId {
            job: JobNumber(1),
            card: CardNumber(card),
            attempt: Attempt(1),
        };
        CardHeader {
            id,
            work: Work::Cut,
            strokes: strokes.len() as u16,
            crc: strokes_crc(id, strokes),
            more: true,
        }
    }

    /// A rig that runs for years passes 2^32 strokes. If this fails, it stops
    /// that day, or the host believes it may send four thousand million more.
    #[test]
    fn totals_start_over_and_room_stays_the_same() {
        let strokes = [Stroke::Needles(Row(5)); 56];
        let mut queue = Queue {
            strokes_passed: u32::MAX - 300,
            cards_passed: u32::MAX - 3,
            ..Queue::new()
        };
        let mut taken = Strokes::new();
        for card in 0..20 {
            let header = header(card, &strokes);
            assert_eq!(queue.announce(header), Ok(()));
            for (n, some) in strokes.chunks(20).enumerate() {
                assert_eq!(queue.push(header.id, n as u16 * 20, some), Ok(()));
            }
            assert_eq!(queue.take(&mut taken), Ok(Some(header)));
            assert_eq!(taken, strokes);
            let (passed, credit) = (queue.passed(), queue.credit());
            assert_eq!(credit.0.wrapping_sub(passed.0), STROKE_ROOM as u32);
            assert_eq!(credit.1.wrapping_sub(passed.1), CARD_ROOM as u32);
        }
        assert_eq!(queue.passed(), (20 * 56 - 301, 16));
    }

    /// The host may fill the room to the last stroke; the one beyond drops its
    /// card and no other.
    #[test]
    fn the_room_can_be_filled_and_not_overrun() {
        let strokes = [Stroke::Peg; 128];
        let mut queue = Queue::new();
        for card in 0..2 {
            let header = header(card, &strokes);
            assert_eq!(queue.announce(header), Ok(()));
            assert_eq!(queue.push(header.id, 0, &strokes), Ok(()));
        }
        let third = header(2, &strokes);
        assert_eq!(queue.announce(third), Ok(()));
        let refusal = queue.push(third.id, 0, &strokes[..1]);
        assert_eq!(refusal, Err(Refusal::CardDamaged(third.id)));
        let mut taken = Strokes::new();
        for card in 0..2 {
            assert_eq!(queue.take(&mut taken), Ok(Some(header(card, &strokes))));
        }
        assert_eq!(queue.take(&mut taken), Ok(None));
        assert!(queue.is_empty());
    }

    /// More strokes than announced, and a stroke number beyond 16 bits' sum, are
    /// refused like any other disorder.
    #[test]
    fn strokes_beyond_the_card_drop_it() {
        for (first, count) in [(0, 3), (u16::MAX, 1), (1, 2)] {
            let strokes = [Stroke::Blank; 2];
            let header = header(1, &strokes);
            let mut queue = Queue::new();
            assert_eq!(queue.announce(header), Ok(()));
            let refusal = queue.push(header.id, first, &[Stroke::Blank; 3][..count]);
            assert_eq!(refusal, Err(Refusal::CardDamaged(header.id)));
            assert!(queue.is_empty());
            assert_eq!(queue.passed(), (count as u32, 1));
        }
    }
}
