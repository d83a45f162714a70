//! Decks written as weaving drafts and read back, for every built-in format, and
//! drafts with anything at all in them.

use cardwright::deck::format::BUILT_IN;
use cardwright::deck::{CardFormat, CardNumber, Cutting, Deck, Doubt, ReadFrom, Row, SpareRow};
use cardwright::wif::{
    Draft, ExportFault, Hooks, Laying, MOST_BYTES, MOST_PICKS, MOST_SHAFTS, write,
};
use proptest::prelude::*;
use std::path::Path;

fn read(draft: &[u8]) -> Draft {
    Draft::parse(draft, Path::new("any.wif")).unwrap_or_else(|error| panic!("{error}"))
}

/// The text with one thing changed.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from:?} is in the text");
    text.replacen(from, to, 1)
}

/// The largest draft that may be written may be read: every shaft lifted in every
/// pick.
#[test]
fn the_limits_go_together() {
    let bytes = |text: String| text.len() as u64;
    let all: u64 = (1..=MOST_SHAFTS)
        .map(|shaft| bytes(format!(",{shaft}")))
        .sum();
    let picks: u64 = (1..=MOST_PICKS)
        .map(|pick| bytes(format!("{pick}=\r\n")) + all)
        .sum();
    let threading: u64 = (1..=MOST_SHAFTS)
        .map(|end| bytes(format!("{end}={end}\r\n")))
        .sum();
    assert!(picks + threading + 2000 < MOST_BYTES);
}

fn small_deck() -> Deck {
    let card = |seed: u16| (0..25).map(|row| Row((row * 7 + seed) & 15)).collect();
    let cards = vec![card(1), vec![Row::BLANK; 25], card(3)];
    let format = CardFormat::named("100").expect("built in");
    Deck::new("Sedge\nand curlew", format, None, Cutting::default(), cards).expect("a deck")
}

#[test]
fn a_draft_is_written_as_the_standard_says() {
    let written = write(&small_deck()).expect("a draft");
    assert_eq!((written.shafts, written.picks), (100, 3));
    assert!(!written.text.replace("\r\n", "").contains(['\r', '\n']));
    let version = format!("Source Version={}", env!("CARGO_PKG_VERSION"));
    let text = changed(&written.text, &version, "Source Version=VERSION");
    insta::assert_snapshot!("draft_written", text.replace("\r\n", "\n"));
}

#[test]
fn a_deck_that_a_draft_cannot_tell_is_not_written() {
    let doubt = Doubt {
        card: CardNumber(3),
        row: 1,
        hole: 2,
        open_permille: 400,
    };
    let with = |gaps: &[u32], doubtful: &[Doubt]| {
        let reading = ReadFrom {
            passes: 1,
            gaps: gaps.iter().copied().map(CardNumber).collect(),
            doubtful: doubtful.to_vec(),
        };
        write(&small_deck().with_reading(reading).expect("a reading"))
    };
    assert!(with(&[], &[]).is_ok());
    assert_eq!(
        with(&[2], &[doubt]),
        Err(ExportFault::Gaps { count: 1, first: 2 })
    );
    assert_eq!(
        with(&[], &[doubt]),
        Err(ExportFault::Doubtful { count: 1, first: 3 })
    );
    let long = |cards| {
        let format = CardFormat::named("100").expect("built in");
        let cards = vec![vec![Row::BLANK; 25]; cards];
        write(&Deck::new("long", format, None, Cutting::default(), cards).expect("a deck"))
    };
    assert!(long(MOST_PICKS as usize).is_ok());
    let fault = ExportFault::Cards(MOST_PICKS + 1);
    assert_eq!(long(MOST_PICKS as usize + 1), Err(fault.clone()));
    // a picture of so many cards is a drawing, of which no deck is made again
    assert!(!fault.to_string().contains("--png"), "{fault}");
}

/// A head of so many rows of 16, which no handbook has.
fn head_of(rows: u16) -> CardFormat {
    let (_, text) = BUILT_IN
        .iter()
        .find(|(name, _)| *name == "400")
        .expect("built in");
    let text = changed(text, "holes_per_row = 8", "holes_per_row = 16");
    let text = changed(&text, "rows = 51\n", &format!("rows = {rows}\n"));
    let text = changed(&text, "needles = 408", &format!("needles = {}", 16 * rows));
    let text = changed(&text, "spare_row = 1\n", "");
    let text = changed(&text, "[26, 25]", &format!("[{rows}]"));
    let text = changed(&text, "card_width_mm = 72.4", "card_width_mm = 140");
    let text = changed(&text, "card_length_mm = 402.6", "card_length_mm = 1000");
    let (head, _) = text.split_once("programme").expect("a programme");
    let programme = format!(
        "programme = [\"lace + peg\", \"blank\", \"rows 1-{}\", \"row {rows} + peg\", \"blank\", \"lace\"]\n",
        rows - 1
    );
    CardFormat::parse(&(head.to_owned() + &programme), "wide.toml").expect("a format")
}

#[test]
fn the_widest_deck_goes_there_and_back() {
    let deck = |rows: u16| {
        let cards = vec![vec![Row::full(16); usize::from(rows)]; 2];
        Deck::new("wide", head_of(rows), None, Cutting::default(), cards).expect("a deck")
    };
    let widest = deck(78);
    let written = write(&widest).expect("a draft");
    assert_eq!(written.shafts, MOST_SHAFTS);
    let laying = Laying {
        format: head_of(78),
        hooks: Hooks::Shafts,
        spare_row: SpareRow::Blank,
    };
    let again = read(written.text.as_bytes()).deck(&laying).expect("a deck");
    assert!(again.cards().eq(widest.cards()));
    assert_eq!(write(&deck(79)), Err(ExportFault::Hooks(1264)));
}

/// Cards of chance for any built-in format, the spare row solid, used, or with
/// holes though the head says that it is blank.
fn any_deck() -> impl Strategy<Value = Deck> {
    let spare = prop_oneof![Just(SpareRow::Blank), Just(SpareRow::Used)];
    (0..BUILT_IN.len(), 1usize..5, spare, any::<bool>()).prop_flat_map(
        |(format, cards, spare_row, solid)| {
            let format = CardFormat::named(BUILT_IN[format].0).expect("built in");
            let full = Row::full(format.holes_per_row()).0;
            let (rows, spare) = (usize::from(format.rows()), format.spare_row());
            let row = prop_oneof![2 => 0..=full, 1 => Just(0)].prop_map(Row);
            let card = proptest::collection::vec(row, rows);
            proptest::collection::vec(card, cards).prop_map(move |mut cards| {
                if let Some(spare) = spare.filter(|_| solid) {
                    for card in &mut cards {
                        card[usize::from(spare) - 1] = Row::BLANK;
                    }
                }
                let cutting = Cutting {
                    spare_row,
                    ..Cutting::default()
                };
                Deck::new("any", format.clone(), None, cutting, cards).expect("a deck")
            })
        },
    )
}

const DRAFTS: [&[u8]; 5] = [
    include_bytes!("wif/plain.wif"),
    include_bytes!("wif/twill.wif"),
    include_bytes!("wif/several.wif"),
    include_bytes!("wif/odd.wif"),
    include_bytes!("wif/point.wif"),
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(120) })]

    #[test]
    fn a_deck_written_as_a_draft_is_read_back_the_same(deck in any_deck()) {
        let written = write(&deck).expect("a draft");
        let draft = read(written.text.as_bytes());
        prop_assert_eq!((draft.shafts(), draft.picks()), (written.shafts, written.picks));
        for hooks in [Hooks::Shafts, Hooks::Ends] {
            let laying = Laying { format: deck.format().clone(), hooks, spare_row: written.spare_row };
            let again = draft.deck(&laying).expect("it fits");
            prop_assert!(again.cards().eq(deck.cards()));
            prop_assert_eq!(write(&again).expect("a draft").shafts, written.shafts);
        }
    }

    /// Any few letters changed: refused, or a draft. Never a panic.
    #[test]
    fn a_spoiled_draft_never_panics(
        which in 0..DRAFTS.len(),
        spoilt in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 1..6),
        hooks in prop_oneof![Just(Hooks::Shafts), Just(Hooks::Ends)],
    ) {
        let mut bytes = DRAFTS[which].to_vec();
        for (at, with) in spoilt {
            let at = at.index(bytes.len());
            bytes[at] = with;
        }
        if let Ok(draft) = Draft::parse(&bytes, Path::new("any.wif"))
            && let Ok(deck) = draft.deck(&Laying { format: CardFormat::named("100").expect("built in"), hooks, spare_row: SpareRow::Blank }) {
                prop_assert_eq!(deck.card_count(), draft.picks());
            }
    }

    /// Lines as a draft has them, in any order and with any numbers.
    #[test]
    fn lines_in_disorder_never_panic(
        lines in proptest::collection::vec(
            "(\\[(WIF|CONTENTS|WEAVING|WARP|WEFT|THREADING|TIEUP|TREADLING|LIFTPLAN)\\]|(Shafts|Threads|LIFTPLAN|Rising Shed)=[0-9]{0,12}|[0-9]{1,6}=[0-9,; ]{0,9})",
            0..40,
        ),
    ) {
        let text = format!("[WIF]\nVersion=1.1\n{}", lines.join("\n"));
        if let Ok(draft) = Draft::parse(text.as_bytes(), Path::new("any.wif")) {
            prop_assert!(draft.picks() <= MOST_PICKS && draft.shafts() <= MOST_SHAFTS);
        }
    }
}
