//! What is seen of a card, how it turns, and which card it is taken for.

mod stack_made;

use cardwright::deck::{CardFormat, CardNumber, Cutting, Deck, ReadFrom, Row};
use cardwright::stack::{Catalogue, CatalogueError, Lie, Pattern, PatternError, Recognition};
use stack_made::*;

fn card_400(rows: Vec<Row>) -> Deck {
    let format = CardFormat::named("400").expect("built in");
    Deck::new("one", format, None, Cutting::default(), vec![rows]).expect("a deck")
}

#[test]
fn a_400_card_has_its_holes_where_the_handbook_has_them() {
    let mut rows = vec![Row::BLANK; 51];
    (rows[0], rows[25], rows[26], rows[50]) = (Row(0b1), Row(0b11), Row(0b111), Row(0b1000_0000));
    let seen = Pattern::of_card(&card_400(rows), CardNumber(1)).expect("card 1");
    // Taylor pp. 122-123: end lace and peg; a blank stroke; rows 1-26; middle
    // lace; rows 27-51, a peg with the last; a blank stroke; end lace. The lace
    // holes are the 2nd and 7th of 8 (Bell ch. V).
    let lace = 0b0100_0010;
    let mut expected = vec![0; 56];
    (expected[0], expected[28], expected[55]) = (lace, lace, lace);
    (expected[2], expected[27], expected[29], expected[53]) = (0b1, 0b11, 0b111, 0b1000_0000);
    assert_eq!(seen.places(), expected);
    // The peg punch stands one pitch behind: common practice, no source. A peg
    // hole of 10 mm on the centre line covers holes 4 and 5, 3.4 mm from it.
    let mut doubtful = vec![0; 56];
    (doubtful[1], doubtful[54]) = (0b0001_1000, 0b0001_1000);
    assert_eq!(seen.doubtful(), doubtful);
}

#[test]
fn each_way_of_lying_reverses_what_it_should() {
    let rows = |first: u16, last: u16| {
        let mut rows = vec![0; PLACES];
        (rows[0], rows[PLACES - 1]) = (first, last);
        pattern(rows)
    };
    let card = rows(0b0000_0011, 0b0000_0100);
    assert_eq!(card.lying(Lie::AsIs), card);
    assert_eq!(card.lying(Lie::EndForEnd), rows(0b0010_0000, 0b1100_0000));
    assert_eq!(card.lying(Lie::FaceOver), rows(0b1100_0000, 0b0010_0000));
    assert_eq!(card.lying(Lie::Both), rows(0b0000_0100, 0b0000_0011));
    let card = plain_card(&mut chance(1));
    for lie in Lie::ALL {
        assert_eq!(card.lying(lie).lying(lie), card, "{lie:?}");
        for other in Lie::ALL {
            assert_eq!(card.lying(lie).lying(other), card.lying(lie.then(other)));
        }
    }
}

#[test]
fn doubtful_positions_turn_with_the_card_and_are_never_compared() {
    let mut doubtful = vec![0; PLACES];
    doubtful[0] = 0b1;
    let card = Pattern::new(HOLES, vec![0b1; PLACES], doubtful).expect("a card");
    let other = pattern(vec![0; PLACES]);
    let difference = card.difference(&other).expect("of one size");
    let positions = u32::from(HOLES) * PLACES as u32;
    assert_eq!(
        (difference.missing, difference.extra),
        (PLACES as u32 - 1, 0)
    );
    assert_eq!(difference.compared, positions - 1);
    let turned = card.lying(Lie::EndForEnd);
    assert_eq!(turned.doubtful()[PLACES - 1], 0b1000_0000);
    assert_eq!(
        other.difference(&card).map(|it| it.extra),
        Some(PLACES as u32 - 1)
    );
}

#[test]
fn rows_that_are_no_cards_are_refused() {
    let new = |holes, places: usize, bits| Pattern::new(holes, vec![bits; places], vec![0; places]);
    assert_eq!(new(0, 5, 0), Err(PatternError::Holes(0)));
    assert_eq!(new(17, 5, 0), Err(PatternError::Holes(17)));
    assert_eq!(new(8, 0, 0), Err(PatternError::Places(0)));
    assert_eq!(new(8, 129, 0), Err(PatternError::Places(129)));
    assert_eq!(
        new(8, 3, 256),
        Err(PatternError::Beyond { place: 1, holes: 8 })
    );
    let planes = Pattern::new(8, vec![0; 3], vec![0; 2]);
    assert_eq!(
        planes,
        Err(PatternError::Planes {
            holes: 3,
            doubtful: 2
        })
    );
    let empty = Catalogue::new("none", &[]).expect_err("no cards");
    assert_eq!(empty, CatalogueError::Empty("none".to_owned()));
}

#[test]
fn a_card_of_another_size_is_unknown() {
    let deck = plain_deck(&mut chance(2), 5);
    let catalogue = Catalogue::new("own", &deck).expect("a deck");
    let long = pattern([deck[0].places(), &[0]].concat());
    assert_eq!(catalogue.recognise(&long), Recognition::Unknown);
}

/// Every card, lying every way, with up to `limit` wrong holes, is itself; with
/// many it is nothing. 6 % of 80 positions are 4.
#[test]
fn a_card_with_a_few_wrong_holes_is_still_itself() {
    let mut chance = chance(3);
    let deck = plain_deck(&mut chance, 200);
    let catalogue = Catalogue::new("own", &deck).expect("a deck");
    for (card, pattern) in deck.iter().enumerate() {
        for lie in Lie::ALL {
            for faults in 0..=4 {
                let seen = with_faults(&pattern.lying(lie), faults, &mut chance);
                let Recognition::Known(found) = catalogue.recognise(&seen) else {
                    panic!("card {card} with {faults} faults is not known");
                };
                assert_eq!(found.len(), 1, "card {card}");
                assert_eq!(catalogue.cards_of(found[0].class), [number(card)]);
                assert_eq!(
                    (found[0].lie, found[0].difference.wrong() as usize),
                    (lie, faults)
                );
            }
            let seen = with_faults(&pattern.lying(lie), 5, &mut chance);
            assert_eq!(catalogue.recognise(&seen), Recognition::Unknown);
        }
    }
}

#[test]
fn doubtful_positions_of_the_reader_do_not_hide_a_card() {
    let mut chance = chance(4);
    let deck = plain_deck(&mut chance, 50);
    let catalogue = Catalogue::new("own", &deck).expect("a deck");
    for (card, pattern) in deck.iter().enumerate() {
        let mut doubtful = vec![0; PLACES];
        doubtful[card % PLACES] = 0b1111_0000;
        let seen = Pattern::new(HOLES, pattern.places().to_vec(), doubtful).expect("a card");
        let Recognition::Known(found) = catalogue.recognise(&seen) else {
            panic!("card {card}");
        };
        assert_eq!(catalogue.cards_of(found[0].class), [number(card)]);
        assert_eq!(found[0].difference.wrong(), 0);
        assert_eq!(
            found[0].difference.compared,
            u32::from(HOLES) * PLACES as u32 - 4
        );
    }
}

#[test]
fn a_card_that_is_another_turned_may_be_either() {
    let mut deck = plain_deck(&mut chance(5), 3);
    deck[2] = deck[0].lying(Lie::Both);
    let catalogue = Catalogue::new("own", &deck).expect("a deck");
    let Recognition::Known(found) = catalogue.recognise(&deck[2]) else {
        panic!("not known");
    };
    let found: Vec<_> = found.iter().map(|one| (one.class, one.lie)).collect();
    assert_eq!(found, [(2, Lie::AsIs), (0, Lie::Both)]);
}

/// A card that was never read stands in its deck as a blank line, and no blank card
/// is it.
#[test]
fn a_gap_of_another_deck_is_no_card() {
    let format = CardFormat::named("100").expect("built in");
    let rows = |row: u16| vec![Row(row); usize::from(format.rows())];
    let made = |name: &str, cards: Vec<Vec<Row>>| {
        Deck::new(name, format.clone(), None, Cutting::default(), cards).expect("a deck")
    };
    let own = made("own", vec![rows(0b1010), rows(0b0110)]);
    let old = made("old", vec![rows(0b1100), rows(0)]);
    let blank = Pattern::of_card(&old, CardNumber(2)).expect("card 2");
    let seen = |old: &Deck| {
        let mut catalogue = Catalogue::of_deck(&own).expect("a deck");
        catalogue.add_deck(old).expect("a deck");
        catalogue.recognise(&blank)
    };
    assert!(matches!(seen(&old), Recognition::Foreign { .. }));
    let reading = ReadFrom {
        passes: 1,
        gaps: vec![CardNumber(2)],
        doubtful: Vec::new(),
    };
    let gap = old.with_reading(reading).expect("there");
    assert_eq!(seen(&gap), Recognition::Unknown);
}
