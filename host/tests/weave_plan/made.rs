//! Plans made up by chance, as text and as what they mean.

use cardwright::deck::{CardFormat, Cutting, Deck, DeckFileError, Row};
use cardwright::weave::{Plan, Walk};
use rand::rngs::Xoshiro256PlusPlus as Chance;
use rand::{RngExt as _, SeedableRng as _};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

/// Most cards of a deck made here.
const MOST_CARDS: u32 = 10_000;

/// A deck of this many blank cards.
pub fn deck(cards: u32) -> Deck {
    let format = CardFormat::named("100").expect("built in");
    let card = vec![Row::BLANK; usize::from(format.rows())];
    let cards = vec![card; cards as usize];
    Deck::new("made", format, None, Cutting::default(), cards).expect("a deck")
}

/// The deck of a file that is called by its number of cards, such as `40.deck`.
pub fn by_name(file: &Path) -> Result<Deck, DeckFileError> {
    let stem = file.file_stem().and_then(|stem| stem.to_str());
    // a name that is no number of cards is one of a file that is not there
    let cards = stem.and_then(|stem| stem.parse().ok());
    match cards.filter(|cards| (1..=MOST_CARDS).contains(cards)) {
        Some(cards) => Ok(deck(cards)),
        None => Deck::read(file),
    }
}

pub fn walk(text: &str) -> Walk {
    let plan = Plan::parse(text, Path::new("plan.toml"), &mut by_name);
    Walk::new(Arc::new(
        plan.unwrap_or_else(|error| panic!("{error}\n{text}")),
    ))
}

/// A section as it is meant.
#[derive(Debug)]
pub struct Meant {
    pub ground: u64,
    /// Deck and runs, if it has cards.
    pub cards: Option<(usize, Vec<(u32, u32)>)>,
    pub between: Option<(u64, u64, Vec<usize>)>,
    pub repeats: u64,
    pub to_length: bool,
    pub wefts: Vec<usize>,
    pub by_card: Option<(u32, usize)>,
    pub marks: Vec<MeantMark>,
}

#[derive(Debug)]
pub enum MeantMark {
    BeforeCard(u32),
    AfterCardGoingBack(u32),
    AfterPick(u64),
    Every(u64),
}

#[derive(Debug)]
pub struct MeantPlan {
    pub text: String,
    /// Cards of each deck.
    pub decks: Vec<u32>,
    pub sections: Vec<Meant>,
    /// Picks wanted.
    pub wanted: Option<u64>,
}

pub const WEFTS: [&str; 3] = ["linen", "silk", "wool"];

/// The plan of this seed.
pub fn plan(seed: u64) -> MeantPlan {
    let mut chance = Chance::seed_from_u64(seed);
    let decks: Vec<u32> = (0..chance.random_range(1..=3))
        .map(|_| [1, 2, 3, 4, 7, 23][chance.random_range(0..6)])
        .collect();
    let count = chance.random_range(1..=5);
    let mut sections: Vec<Meant> = (0..count).map(|_| section(&mut chance, &decks)).collect();
    let wanted = if chance.random_bool(0.5) {
        let at = chance.random_range(0..sections.len());
        sections[at].to_length = true;
        sections[at].repeats = 1;
        // nothing is left to be filled if no more than the others weave is wanted
        let others = sections.iter().filter(|section| !section.to_length);
        let others: u64 = others.map(|section| pass(section) * section.repeats).sum();
        Some(others + chance.random_range(1..200))
    } else {
        None
    };
    let text = text(&decks, &sections, wanted);
    MeantPlan {
        text,
        decks,
        sections,
        wanted,
    }
}

/// Picks of one pass, counted one by one.
pub fn pass(section: &Meant) -> u64 {
    let Some((_, runs)) = &section.cards else {
        return section.ground;
    };
    let mut picks = 0;
    let mut cards = 0;
    for (first, last) in runs {
        for _ in *first.min(last)..=*first.max(last) {
            cards += 1;
            picks += 1;
            if let Some((every, ground, _)) = &section.between
                && cards % every == 0
            {
                picks += ground;
            }
        }
    }
    picks
}

fn some_wefts(chance: &mut Chance) -> Vec<usize> {
    let count = chance.random_range(1..=3);
    (0..count).map(|_| chance.random_range(0..3)).collect()
}

fn section(chance: &mut Chance, decks: &[u32]) -> Meant {
    let mut made = Meant {
        ground: chance.random_range(1..8),
        cards: None,
        between: None,
        repeats: chance.random_range(1..=4),
        to_length: false,
        wefts: some_wefts(chance),
        by_card: None,
        marks: Vec::new(),
    };
    if chance.random_bool(0.2) {
        made.wefts = Vec::new();
    }
    if chance.random_bool(0.7) {
        let deck = chance.random_range(0..decks.len());
        let mut card = || chance.random_range(1..=decks[deck]);
        let runs: Vec<(u32, u32)> = (0..1 + card() % 4).map(|_| (card(), card())).collect();
        let a_card = runs[0].0;
        let cards: u32 = runs.iter().map(|(a, b)| a.abs_diff(*b) + 1).sum();
        if chance.random_bool(0.4) {
            let every = chance.random_range(1..=u64::from(cards).min(5));
            let own = some_wefts(chance);
            made.between = Some((every, chance.random_range(1..4), own));
        }
        if chance.random_bool(0.3) {
            made.by_card = Some((a_card, chance.random_range(0..3)));
        }
        if chance.random_bool(0.5) {
            made.marks.push(MeantMark::BeforeCard(a_card));
        }
        if let Some((first, _)) = runs.iter().find(|(first, last)| last < first) {
            made.marks.push(MeantMark::AfterCardGoingBack(*first));
        }
        made.cards = Some((deck, runs));
    }
    let pass = pass(&made);
    if chance.random_bool(0.4) {
        let pick = chance.random_range(1..=pass);
        made.marks.push(MeantMark::AfterPick(pick));
    }
    if chance.random_bool(0.4) {
        let every = chance.random_range(1..=pass);
        made.marks.push(MeantMark::Every(every));
    }
    made
}

fn names(wefts: &[usize]) -> String {
    match wefts {
        [one] => format!("\"{}\"", WEFTS[*one]),
        many => {
            let names: Vec<&str> = many.iter().map(|weft| WEFTS[*weft]).collect();
            format!("{names:?}")
        }
    }
}

fn text(decks: &[u32], sections: &[Meant], wanted: Option<u64>) -> String {
    let mut text = "name = \"made\"\n".to_owned();
    if let Some(wanted) = wanted {
        let _ = writeln!(text, "picks = {wanted}");
    }
    text.push_str("[decks]\n");
    for (at, cards) in decks.iter().enumerate() {
        let _ = writeln!(text, "d{at} = \"{cards}.deck\"");
    }
    text.push_str("[wefts]\nlinen = \"#010101\"\nsilk = \"#020202\"\nwool = \"#030303\"\n");
    for (at, section) in sections.iter().enumerate() {
        let _ = writeln!(text, "[[section]]\nname = \"s{at}\"");
        match &section.cards {
            None => {
                let _ = writeln!(text, "ground = {}", section.ground);
            }
            Some((deck, runs)) => {
                let runs = runs.iter().map(|(first, last)| format!("{first}-{last}"));
                let runs: Vec<String> = runs.collect();
                let _ = writeln!(text, "deck = \"d{deck}\"\ncards = {runs:?}");
            }
        }
        if section.to_length {
            text.push_str("repeat = \"to length\"\n");
        } else if section.repeats > 1 {
            let _ = writeln!(text, "repeat = {}", section.repeats);
        }
        if !section.wefts.is_empty() {
            let _ = writeln!(text, "weft = {}", names(&section.wefts));
        }
        if let Some((every, picks, wefts)) = &section.between {
            let wefts = names(wefts);
            let _ = writeln!(
                text,
                "ground_between = {{ every = {every}, picks = {picks}, weft = {wefts} }}"
            );
        }
        if let Some((card, weft)) = section.by_card {
            let _ = writeln!(
                text,
                "wefts_by_card = {{ \"{card}\" = \"{}\" }}",
                WEFTS[weft]
            );
        }
        let marks: Vec<String> = section.marks.iter().map(mark).collect();
        if !marks.is_empty() {
            let _ = writeln!(text, "marks = [{}]", marks.join(", "));
        }
    }
    text
}

fn mark(mark: &MeantMark) -> String {
    match mark {
        MeantMark::BeforeCard(card) => format!("{{ before = {card}, say = \"card\" }}"),
        MeantMark::AfterCardGoingBack(card) => {
            format!("{{ after = {card}, way = \"back\", say = \"back\" }}")
        }
        MeantMark::AfterPick(pick) => format!("{{ after_pick = {pick}, say = \"pick\" }}"),
        MeantMark::Every(every) => format!("{{ every = {every}, say = \"every\" }}"),
    }
}
