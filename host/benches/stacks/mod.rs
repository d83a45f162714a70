//! Stacks for the benches: a deck, what is seen of its cards, a disorder.

use cardwright::deck::{CardFormat, CardNumber, Cutting, Deck, Row};
use cardwright::stack::{Lie, Pattern};

/// A deck of a 400 head with all manner of rows; every third card is blank if
/// `repeats`.
pub fn deck(cards: u32, repeats: bool) -> Deck {
    let format = CardFormat::named("400").expect("built in");
    let mut noise = 1u32;
    let mut row = |card: u32| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let blank = repeats && card.is_multiple_of(3);
        Row(if blank {
            0
        } else {
            u16::from(noise.to_be_bytes()[0])
        })
    };
    let cards = (0..cards)
        .map(|card| (0..51).map(|_| row(card)).collect())
        .collect();
    Deck::new("bench", format, None, Cutting::default(), cards).expect("a deck")
}

/// The deck as it would be seen, with one wrong hole in every `faulty`th card, if any.
pub fn seen(deck: &Deck, faulty: Option<usize>) -> Vec<Pattern> {
    let card = |(at, (number, _)): (usize, (CardNumber, &[Row]))| {
        let card = Pattern::of_card(deck, number).expect("a card");
        let mut rows = card.places().to_vec();
        if faulty.is_some_and(|faulty| at % faulty == 0) {
            rows[10] ^= 4;
        }
        Pattern::new(8, rows, card.doubtful().to_vec()).expect("a card")
    };
    deck.cards().enumerate().map(card).collect()
}

/// A card lost, two exchanged, one doubled, a block moved, one turned.
pub fn disordered(mut stack: Vec<Pattern>) -> Vec<Pattern> {
    stack.swap(52, 53);
    stack[70] = stack[70].lying(Lie::EndForEnd);
    let block: Vec<Pattern> = stack.drain(200..204).collect();
    stack.splice(300..300, block);
    stack.insert(120, stack[119].clone());
    stack.remove(350);
    stack
}
