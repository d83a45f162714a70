//! The order of lacing and the wires, against the handbook, and the sheet as a
//! terminal shows it.

use cardwright::deck::{CardFormat, CardNumber, Row};
use cardwright::lacing::{
    Card, Chain, Cylinders, Fault, Lacing, LacingError, OrderFinding, PEG, Place, Run, Sheet,
};

fn sheet(count: usize, cylinders: Cylinders) -> Sheet {
    Sheet {
        deck: "Curlew & <sedge>".to_owned(),
        sha: "3f9a12c0".to_owned(),
        date: "12 May 2026".to_owned(),
        format: CardFormat::named("400").expect("built in"),
        cylinders,
        cards: vec![Card::Good; count],
        order: Vec::new(),
    }
}

fn chains(count: usize, cylinders: Cylinders) -> Vec<Chain> {
    let lacing = Lacing::plan(sheet(count, cylinders)).expect("a sheet");
    lacing.chains().to_vec()
}

fn numbers(cards: &[CardNumber]) -> Vec<u32> {
    cards.iter().map(|card| card.0).collect()
}

fn place(format: &CardFormat, row: u16, hole: u8) -> Place {
    let stroke = format.stroke_of_row(row).expect("such a row");
    Place { stroke, hole }
}

/// A card with holes 1, 3, 5 and 7 in every row.
fn fault(format: &CardFormat) -> Fault {
    let rows = vec![Row(0b0101_0101); usize::from(format.rows())];
    Fault {
        strokes: format.programme(&rows),
        missing: Vec::new(),
        extra: Vec::new(),
        words: String::new(),
        cut_again: false,
    }
}

#[test]
fn one_cylinder_takes_every_card_forwards() {
    let found = chains(7, Cylinders::One);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].run, Run::Whole);
    assert_eq!(numbers(&found[0].cards), [1, 2, 3, 4, 5, 6, 7]);
}

#[test]
fn two_cylinders_take_odd_cards_forwards_and_even_cards_backwards() {
    // Bell ch. V.
    let found = chains(9, Cylinders::Two);
    assert_eq!(found.len(), 2);
    assert_eq!(numbers(&found[0].cards), [1, 3, 5, 7, 9]);
    assert_eq!(numbers(&found[1].cards), [8, 6, 4, 2]);
    let found = chains(8, Cylinders::Two);
    assert_eq!(numbers(&found[0].cards), [1, 3, 5, 7]);
    assert_eq!(numbers(&found[1].cards), [8, 6, 4, 2]);
    assert_eq!(chains(1, Cylinders::Two).len(), 1, "no empty chain");
}

/// Spacings as they are counted along the chain and over its join.
fn spacings(chain: &Chain) -> Vec<usize> {
    let places: Vec<usize> = chain
        .wires
        .cards
        .iter()
        .map(|wire| {
            let place = chain.cards.iter().position(|card| card == wire);
            place.expect("a wire under a card of the chain")
        })
        .collect();
    let next = places.iter().skip(1).copied();
    let join = places.first().map(|first| first + chain.cards.len());
    places
        .iter()
        .zip(next.chain(join))
        .map(|(here, there)| there - here)
        .collect()
}

#[test]
fn wires_are_as_far_apart_as_the_handbook_says_for_every_length() {
    // Bell ch. V: one to every 14-16 cards in a small set, 20-24 in a large one.
    // That a chain of more than 200 is large: common practice, no source.
    let mut indivisible = 0;
    for count in 2..=2_000 {
        for cylinders in [Cylinders::One, Cylinders::Two] {
            let mut listed = Vec::new();
            for chain in chains(count, cylinders) {
                let cards = chain.cards.len();
                let (low, high) = if cards > 200 { (20, 24) } else { (14, 16) };
                let spacings = spacings(&chain);
                let case = format!("{count} {cylinders:?} {spacings:?}");
                let narrowest = *spacings.iter().min().expect("a wire");
                let widest = *spacings.iter().max().expect("a wire");
                assert!(widest <= high && widest - narrowest <= 1, "{case}");
                // Some number of wires lets every spacing be within the range.
                let possible =
                    (1..=cards).any(|wires| wires * low <= cards && cards <= wires * high);
                if possible {
                    assert!(narrowest >= low, "{case}");
                } else {
                    indivisible += usize::from(cylinders == Cylinders::One);
                    assert!((spacings.len() - 1) * high < cards, "one too many: {case}");
                }
                assert_eq!(
                    (chain.wires.narrowest, chain.wires.widest),
                    (narrowest, widest),
                    "{case}"
                );
                // No wire at the join, where the chain is undone.
                if narrowest >= 14 {
                    let ends = [chain.cards[0], chain.cards[cards - 1]];
                    assert!(
                        !ends.iter().any(|end| chain.wires.cards.contains(end)),
                        "{case}"
                    );
                }
                listed.extend(numbers(&chain.cards));
            }
            listed.sort_unstable();
            assert!(
                listed.into_iter().eq(1..=count as u32),
                "{count} {cylinders:?}"
            );
        }
    }
    // 2-13, 17-27, 33-41, 49-55, 65-69, 81-83 and 97 cards: from 98 on, every
    // chain can be divided.
    assert_eq!(indivisible, 12 + 11 + 9 + 7 + 5 + 3 + 1);
}

#[test]
fn wires_divide_a_chain_equally_where_that_can_be() {
    // 60 cards: four spacings of 15, the middle of 14-16. 220 cards: ten of 22,
    // the middle of 20-24, and not eleven of 20. 1,200 cards: no equal spacing is
    // nearer to 22 than 24 x 50 and 20 x 60.
    let spacing = |count| spacings(&chains(count, Cylinders::One)[0]);
    for (count, apart) in [(60, 15), (90, 15), (96, 16), (220, 22), (440, 22)] {
        assert_eq!(spacing(count), vec![apart; count / apart], "{count}");
    }
    let apart = spacing(1_200);
    assert!(apart == [24; 50] || apart == [20; 60], "{apart:?}");
}

fn faulty_sheet() -> Sheet {
    let mut sheet = sheet(45, Cylinders::Two);
    let format = sheet.format.clone();
    let mut mend = fault(&format);
    mend.missing = vec![
        place(&format, 3, 5),
        place(&format, 3, 1),
        place(&format, 51, 7),
    ];
    mend.extra = vec![place(&format, 26, 8)];
    mend.words = "2 holes half open".to_owned();
    let mut ends = fault(&format);
    ends.missing = vec![
        Place {
            stroke: 0,
            hole: PEG,
        },
        Place { stroke: 0, hole: 2 },
        Place {
            stroke: 28,
            hole: 7,
        },
        Place {
            stroke: 53,
            hole: PEG,
        },
    ];
    ends.extra = vec![Place { stroke: 1, hole: 4 }];
    let mut again = fault(&format);
    again.words = "row 12 is 0.8 mm out of register".to_owned();
    sheet.cards[6] = Card::Faulty(mend);
    sheet.cards[11] = Card::Faulty(ends);
    sheet.cards[12] = Card::Faulty(again);
    for owed in 30..34 {
        sheet.cards[owed] = Card::Owed;
    }
    sheet.cards[44] = Card::Unjudged;
    sheet.order = vec![OrderFinding {
        finding: "Card 21 lies before card 20.".to_owned(),
        remedy: "Change the two cards over.".to_owned(),
    }];
    sheet
}

#[test]
fn a_terminal_shows_what_to_see_to_and_the_order() {
    let lacing = Lacing::plan(faulty_sheet()).expect("a sheet");
    let text = lacing.text();
    assert!(text.lines().all(|line| line.chars().count() <= 80));
    let plain = Lacing::plan(sheet(20, Cylinders::One)).expect("a sheet");
    insta::assert_snapshot!("text", format!("{text}\n----\n{}", plain.text()));
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    let mut refusals = Vec::new();
    let mut refuse = |change: &dyn Fn(&mut Sheet)| {
        let mut sheet = faulty_sheet();
        change(&mut sheet);
        let error: LacingError = Lacing::plan(sheet).expect_err("refused");
        refusals.push(error.to_string());
    };
    refuse(&|sheet| sheet.cards.clear());
    refuse(&|sheet| sheet.cards = vec![Card::Good; 20_001]);
    refuse(&|sheet| sheet.format = CardFormat::named("100").expect("built in"));
    for (hole, row, missing) in [(9, 2, true), (2, 2, true), (1, 2, false)] {
        refuse(&|sheet| {
            let mut wrong = fault(&sheet.format);
            let place = vec![place(&sheet.format, row, hole)];
            if missing {
                wrong.missing = place;
            } else {
                wrong.extra = place;
            }
            sheet.cards[2] = Card::Faulty(wrong);
        });
    }
    insta::assert_snapshot!("refusals", refusals.join("\n"));
}

#[test]
fn nothing_a_caller_writes_breaks_a_line_or_steers_a_terminal() {
    let mut sheet = faulty_sheet();
    sheet.deck = "a\u{1b}[2J\nb\tc".to_owned();
    let text = Lacing::plan(sheet).expect("a sheet").text();
    assert!(text.starts_with("Lacing sheet: a [2J b c\n"), "{text}");
}
