//! If this fails, the copy of an old deck has a wrong hole that nobody was told
//! of.
//!
//! What is right is known from the model that made each card, not from any
//! reading of it.

use cardwright::copy::{Sight, copied, lacking_in};
use cardwright::deck::{CardNumber, Deck};
use cardwright_tests::old_deck::OldDeck;
use cardwright_tests::trust::Worst;
use std::collections::BTreeSet;

const SEED: u64 = 71;

/// A reader without dust or drift.
const CLEAN: Worst = Worst {
    drifts: 0.0,
    dusty: 0.0,
    ageing: 0.0,
    stray: 0.0,
    ..Worst::RANGE
};

fn copy(old: &OldDeck, passes: &[Vec<Option<Sight>>], lacking: &[u32]) -> (Deck, Vec<String>) {
    let lacking: BTreeSet<_> = lacking.iter().copied().map(CardNumber).collect();
    let copied = copied("copy", old.truth.format(), passes, &lacking).expect("a copy");
    (copied.deck, copied.notes)
}

/// Wrong positions that are not listed, and those that are, as card, row, hole.
fn errors(truth: &Deck, copy: &Deck) -> (Vec<(u32, usize, u8)>, usize) {
    let reading = copy.reading().expect("how it was read");
    let listed: BTreeSet<(u32, usize, u8)> = reading
        .doubtful
        .iter()
        .map(|doubt| (doubt.card.0, usize::from(doubt.row), doubt.hole))
        .collect();
    let (mut silent, mut told) = (Vec::new(), 0);
    for ((number, right), (_, found)) in truth.cards().zip(copy.cards()) {
        if reading.gaps.contains(&number) {
            continue;
        }
        for (row, (right, found)) in right.iter().zip(found).enumerate() {
            for hole in cardwright::deck::Row(right.0 ^ found.0).holes() {
                let place = (number.0, row + 1, hole);
                if listed.contains(&place) {
                    told += 1;
                } else {
                    silent.push(place);
                }
            }
        }
    }
    (silent, told)
}

#[test]
fn every_error_in_the_copy_of_a_damaged_deck_is_listed_as_doubtful() {
    for seed in SEED..SEED + 4 {
        let mut old = OldDeck::new(400, 0.02, Worst::RANGE, seed);
        let passes: Vec<_> = (0..3).map(|_| old.pass()).collect();
        let unread = |pass: &Vec<Option<Sight>>| pass.iter().filter(|one| one.is_none()).count();
        let unread: Vec<usize> = passes.iter().map(unread).collect();
        let (deck, notes) = copy(&old, &passes, &[]);
        let (silent, told) = errors(&old.truth, &deck);
        let reading = deck.reading().expect("how it was read");
        println!(
            "seed {seed}: {} of 163200 positions damaged; cards not judged in each pass \
             {unread:?}; {} doubtful, {told} of them guessed wrongly; {} gaps; {notes:?}",
            old.damaged,
            reading.doubtful.len(),
            reading.gaps.len(),
        );
        assert_eq!(deck.card_count(), 400);
        assert_eq!(silent, [], "seed {seed}");
        assert!(reading.gaps.len() <= 1, "seed {seed}: {:?}", reading.gaps);
        // what is listed is damage, not the better part of the deck
        assert!(
            reading.doubtful.len() <= old.damaged * 11 / 10,
            "seed {seed}"
        );
    }
}

#[test]
fn a_sound_deck_is_copied_exactly_in_one_pass() {
    let mut old = OldDeck::new(60, 0.0, CLEAN, SEED + 1);
    let pass = old.pass();
    let (deck, notes) = copy(&old, &[pass], &[]);
    assert_eq!(errors(&old.truth, &deck), (Vec::new(), 0));
    let reading = deck.reading().expect("how it was read");
    assert_eq!((reading.doubtful.len(), reading.gaps.len()), (0, 0));
    assert_eq!(notes, Vec::<String>::new());
}

/// A card missed in one pass, one fed twice in another, a pass laid in the other
/// way round, one card face over, one that no pass could read, one that is lost.
#[test]
fn passes_out_of_step_are_laid_side_by_side() {
    let mut old = OldDeck::new(40, 0.005, Worst::RANGE, SEED + 2);
    let mut passes: Vec<_> = (0..3).map(|_| old.pass()).collect();
    for pass in &mut passes {
        pass[20] = None;
        // card 31 is lost
        pass.remove(30);
    }
    passes[1].remove(6);
    let twice = passes[2][12].clone();
    passes[2].insert(12, twice);
    passes[2].reverse();
    let (deck, notes) = copy(&old, &passes, &[31]);
    println!("{notes:?}");
    let reading = deck.reading().expect("how it was read");
    let gaps: Vec<u32> = reading.gaps.iter().map(|card| card.0).collect();
    // the card that was fed twice is told, and stands there twice: only a person
    // knows whether the deck has two of it
    assert!(
        notes.iter().any(|note| note.contains("1 of 3 passes only")),
        "{notes:?}"
    );
    let extra = notes
        .iter()
        .find(|note| note.contains("1 of 3"))
        .expect("told");
    assert!(
        ["card 13: ", "card 14: "]
            .iter()
            .any(|card| extra.starts_with(card)),
        "{extra}"
    );
    assert_eq!(deck.card_count(), 41);
    assert!(gaps.contains(&22) && gaps.contains(&31), "{gaps:?}");
}

/// Two cards fed at once are one card that could not be read, until the second is
/// said to be lacking; what was said can be told from the copy.
#[test]
fn a_gap_is_as_many_cards_as_a_person_says() {
    let mut old = OldDeck::new(12, 0.0, CLEAN, SEED + 3);
    let mut pass = old.pass();
    pass[5] = None;
    pass.remove(6);
    let passes = [pass];
    let (one, _) = copy(&old, &passes, &[]);
    assert_eq!(one.card_count(), 11);
    assert_eq!(lacking_in(&one, &passes), BTreeSet::new());
    let (two, _) = copy(&old, &passes, &[7, 13]);
    assert_eq!(two.card_count(), 13);
    let reading = two.reading().expect("how it was read");
    let gaps: Vec<u32> = reading.gaps.iter().map(|card| card.0).collect();
    assert_eq!(gaps, [6, 7, 13]);
    assert_eq!(errors(&old.truth, &two).0, []);
    let lacking: Vec<u32> = lacking_in(&two, &passes)
        .iter()
        .map(|card| card.0)
        .collect();
    assert_eq!(lacking, [7, 13]);
}
