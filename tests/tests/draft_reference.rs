//! Weaving drafts against an INI reader that others keep. If this fails, a draft
//! that we write is read otherwise elsewhere, or one that others write, by us.

use cardwright::deck::format::BUILT_IN;
use cardwright::deck::{CardFormat, Cutting, Deck, Row, SpareRow};
use cardwright::wif::{Draft, Hooks, Laying, write};
use cardwright_tests::reference::reference;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use std::path::Path;

/// Decks of chance for every built-in format, with the spare row used and not.
fn decks() -> Vec<Deck> {
    let mut rng = ChaCha8Rng::seed_from_u64(601);
    let mut decks = Vec::new();
    for (name, _) in BUILT_IN {
        for spare_row in [SpareRow::Blank, SpareRow::Used] {
            let format = CardFormat::named(name).expect("built in");
            let full = Row::full(format.holes_per_row()).0;
            let spare = format.spare_row().filter(|_| spare_row == SpareRow::Blank);
            let mut card = |number: u16| -> Vec<Row> {
                // some cards are blank, and their lines are left out of the draft
                let row = |row| match number % 4 == 3 || Some(row) == spare {
                    true => Row::BLANK,
                    false => Row(rng.random_range(0..=full)),
                };
                (1..=format.rows()).map(row).collect()
            };
            let cards = (1..=9).map(&mut card).collect();
            let cutting = Cutting {
                spare_row,
                ..Cutting::default()
            };
            decks.push(Deck::new(name, format, None, cutting, cards).expect("a deck"));
        }
    }
    decks
}

/// The hooks that each card lifts, counted along its rows from the first in use.
fn lifts(deck: &Deck) -> Vec<Vec<usize>> {
    let holes = usize::from(deck.format().holes_per_row());
    let spare = deck.format().spare_row();
    let spare = spare.filter(|_| deck.cutting().spare_row == SpareRow::Blank);
    let card = |rows: &[Row]| {
        let in_use = (1u16..).zip(rows).filter(|(row, _)| Some(*row) != spare);
        let rows = in_use.enumerate();
        rows.flat_map(|(row, (_, bits))| {
            bits.holes()
                .map(move |hole| row * holes + usize::from(hole))
        })
        .collect()
    };
    deck.cards().map(|(_, rows)| card(rows)).collect()
}

/// Python's configparser.
#[test]
fn a_draft_reads_the_same_with_pythons_ini_reader() {
    let decks = decks();
    let drafts: Vec<String> = decks
        .iter()
        .map(|deck| write(deck).expect("a draft").text)
        .collect();
    let problems: Vec<Value> = drafts.iter().map(|text| json!({ "text": text })).collect();
    let answers = reference("draft", json!(problems));
    for (deck, answer) in decks.iter().zip(answers.as_array().expect("a list")) {
        let holes = usize::from(deck.format().holes_per_row());
        let spare =
            deck.format().spare_row().is_some() && deck.cutting().spare_row == SpareRow::Blank;
        let hooks = holes * (usize::from(deck.format().rows()) - usize::from(spare));
        assert_eq!(answer["shafts"], hooks);
        assert_eq!(answer["ends"], hooks);
        assert_eq!(answer["picks"], deck.card_count());
        assert_eq!(answer["rising"], true);
        let straight: Vec<[usize; 1]> = (1..=hooks).map(|end| [end]).collect();
        assert_eq!(answer["threading"], json!(straight));
        assert_eq!(answer["liftplan"], json!(lifts(deck)), "{}", deck.name());
        assert_eq!(
            answer["sections"][0], "WIF",
            "it stands first (from memory)"
        );
        // as configparser writes it: small letters, spaces around the equals sign
        let again = answer["again"].as_str().expect("a text");
        assert!(again.contains("rising shed = yes\n"), "{again}");
        let draft = Draft::parse(again.as_bytes(), Path::new("again.wif")).expect("a draft");
        let laying = Laying {
            format: deck.format().clone(),
            hooks: Hooks::Shafts,
            spare_row: deck.cutting().spare_row,
        };
        assert!(
            draft
                .deck(&laying)
                .expect("a deck")
                .cards()
                .eq(deck.cards())
        );
    }
}
