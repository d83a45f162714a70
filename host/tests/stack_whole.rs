//! Stacks that lie wrong as a whole are told once; symmetric and identical
//! cards are never called wrong; and what a person reads.

mod stack_made;

use cardwright::deck::CardNumber;
use cardwright::stack::{Account, Catalogue, Disorder, Lie, Pattern, Recognition, order};
use rand::RngExt as _;
use stack_made::*;

fn told(account: &Account) -> Vec<String> {
    account.disorders.iter().map(ToString::to_string).collect()
}

#[test]
fn a_stack_in_order_has_nothing_wrong() {
    for seed in 0..50 {
        let mut chance = chance(seed);
        let cards = chance.random_range(1..60);
        let deck = plain_deck(&mut chance, cards);
        let account = account(&deck, &deck);
        assert!(account.in_order(), "seed {seed}: {account}");
        assert_eq!(account.places.len(), cards);
    }
}

#[test]
fn symmetric_cards_are_never_turned() {
    for seed in 0..200 {
        let mut chance = chance(seed);
        let lie = Lie::ALL[chance.random_range(1..4)];
        let deck: Vec<Pattern> = (0..30).map(|_| symmetric_card(&mut chance, lie)).collect();
        let stack: Vec<Pattern> = deck
            .iter()
            .map(|card| {
                let card = if chance.random_bool(0.5) {
                    card.lying(lie)
                } else {
                    card.clone()
                };
                let faults = chance.random_range(0..3);
                with_faults(&card, faults, &mut chance)
            })
            .collect();
        let account = account(&deck, &stack);
        assert!(account.in_order(), "seed {seed}: {account}");
    }
}

#[test]
fn blank_cards_are_one_another() {
    let blank = pattern(vec![0; PLACES]);
    let deck = vec![blank.clone(); 12];
    assert!(account(&deck, &deck).in_order());
    assert_eq!(
        told(&account(&deck, &deck[..11])),
        ["one of cards 1 to 12, which are identical, is missing"]
    );
    assert_eq!(
        told(&account(&deck[..11], &deck)),
        [
            "one of the 11 identical cards such as card 1 is too many, at places 1 to 12 of the stack"
        ]
    );
}

#[test]
fn a_whole_stack_is_told_once_with_what_else_is_wrong() {
    for seed in 0..200 {
        let mut chance = chance(seed);
        let deck = plain_deck(&mut chance, 40);
        let lie = Lie::ALL[chance.random_range(0..4)];
        let reversed = chance.random_bool(0.5);
        let mut stack = deck.clone();
        let mut expected: Vec<Disorder> = Vec::new();
        if reversed {
            expected.push(Disorder::StackReversed);
        }
        if lie != Lie::AsIs {
            expected.push(Disorder::StackTurned(lie));
        }
        let lost = chance.random_range(0..40);
        if chance.random_bool(0.5) {
            stack.remove(lost);
            expected.push(Disorder::Missing {
                cards: cardwright::stack::Run {
                    first: number(lost),
                    last: number(lost),
                },
                count: 1,
                such_as: vec![number(lost)],
            });
        }
        if reversed {
            stack.reverse();
        }
        let stack: Vec<Pattern> = stack.iter().map(|card| card.lying(lie)).collect();
        let account = account(&deck, &stack);
        assert_eq!(account.disorders, expected, "seed {seed}: {account}");
        assert_mends(&account, &stack, &deck, seed);
    }
}

#[test]
fn a_card_turned_in_a_turned_stack_is_told_as_it_then_lies() {
    let deck = plain_deck(&mut chance(3), 20);
    let mut stack: Vec<Pattern> = deck.iter().map(|card| card.lying(Lie::FaceOver)).collect();
    stack[6] = deck[6].clone();
    stack.reverse();
    let account = account(&deck, &stack);
    assert_eq!(
        told(&account),
        [
            "the whole stack lies last card first",
            "all cards lie face over",
            "card 7 lies face over, at place 14",
        ]
    );
    assert_mends(&account, &stack, &deck, 3);
}

#[test]
fn a_repeat_that_is_missing_may_lie_elsewhere() {
    let kinds = plain_deck(&mut chance(4), 3);
    let deck: Vec<Pattern> = (0..12).map(|at| kinds[at % 3].clone()).collect();
    let account = account(&deck, &deck[3..]);
    let [
        Disorder::Missing {
            cards, count: 3, ..
        },
    ] = account.disorders.as_slice()
    else {
        panic!("{account}");
    };
    assert_eq!((cards.first, cards.last), (CardNumber(1), CardNumber(12)));
}

#[test]
fn the_order_decides_between_cards_that_are_nearly_alike() {
    let mut chance = chance(5);
    let mut deck = plain_deck(&mut chance, 20);
    let mut rows = deck[9].places().to_vec();
    rows[0] ^= 1;
    deck[10] = pattern(rows.clone());
    // both with one more hole wrong: cards 10 and 11 fit almost equally
    let mut stack = deck.clone();
    for card in [9, 10] {
        let mut rows = stack[card].places().to_vec();
        rows[5] ^= 2;
        stack[card] = pattern(rows);
    }
    assert!(account(&deck, &stack).in_order());
    // without a wrong hole there is no doubt which is which
    let mut exchanged = deck.clone();
    exchanged.swap(9, 10);
    assert_eq!(
        told(&account(&deck, &exchanged)),
        ["cards 10 and 11 are exchanged"]
    );
}

#[test]
fn a_card_of_another_deck_or_of_none_is_told() {
    let mut chance = chance(6);
    let (deck, other) = (plain_deck(&mut chance, 20), plain_deck(&mut chance, 20));
    let mut catalogue = Catalogue::new("curlew", &deck).expect("a deck");
    catalogue.add("heron", &other).expect("a deck");
    let mut stack = deck.clone();
    stack.splice(4..4, [other[7].clone(), other[8].clone()]);
    stack.insert(15, plain_card(&mut chance));
    let found: Vec<Recognition> = stack.iter().map(|card| catalogue.recognise(card)).collect();
    let account = order(&found, &catalogue);
    assert_eq!(
        told(&account),
        [
            "cards 8 and 9 of the deck heron lie at places 5 and 6",
            "the card at place 16 is in no known deck",
        ]
    );
}

#[test]
fn an_empty_stack_lacks_every_card() {
    let deck = plain_deck(&mut chance(7), 20);
    assert_eq!(told(&account(&deck, &[])), ["cards 1 to 20 are missing"]);
}

#[test]
fn what_a_person_reads() {
    let deck = plain_deck(&mut chance(8), 100);
    let mut stack = deck.clone();
    stack[70] = stack[70].lying(Lie::EndForEnd);
    stack.swap(51, 52);
    let block: Vec<Pattern> = stack.drain(80..83).collect();
    stack.splice(90..90, block);
    stack.insert(60, stack[59].clone());
    stack.remove(46);
    let account = account(&deck, &stack);
    assert_mends(&account, &stack, &deck, 8);
    assert_eq!(
        account.to_string(),
        "card 47 is missing; look for it, or cut it again, and put it behind card 46\n\
         cards 52 and 53 are exchanged; let the cards at places 52 and 51 change places\n\
         cards 81 to 83 stand behind card 93, at places 91 to 93; \
         put the cards at places 91 to 93 behind card 80\n\
         card 60 is there twice, at places 59 and 60 of the stack; \
         take one of the cards at places 59 and 60 out\n\
         card 71 lies end for end, at place 71; turn it half round, the same face up"
    );
}

#[test]
fn what_identical_cards_hide_is_declared() {
    let cards = plain_deck(&mut chance(9), 20);
    let deck: Vec<Pattern> = [0, 1, 0, 2, 3, 4, 5, 6, 7, 0, 8, 9]
        .map(|card: usize| cards[card].clone())
        .to_vec();
    // Cards 1 and 2 exchanged give the same as card 1 put behind card 3.
    let mut stack = deck.clone();
    stack.swap(0, 1);
    let told = account(&deck, &stack);
    assert_mends(&told, &stack, &deck, 9);
    assert_eq!(
        told.to_string(),
        "cards 1 and 2 are exchanged; let the cards at places 2 and 1 change places\n\
         some cards are identical, so it may have come about in another way: \
         card 1 stands behind card 3, at place 3; the remedies above put the deck in order all the same"
    );
}
