//! What tells two decks apart.
//!
//! Enters: two decks. Leaves: the differences of their heads and of their
//! cards: left out, added, moved to another number, or with other holes.
//! Refuses nothing; decks of different formats are compared by their rows.

use super::file::{Deck, MadeWith};
use cardwright_protocol::{CardNumber, Row};
use similar::{Algorithm, DiffOp, capture_diff_slices};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Everything in which two decks differ.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Comparison {
    /// Lines of the head.
    pub head: Vec<HeadDifference>,
    /// Cards, by their number in the first deck, or in the second if they are
    /// not in the first.
    pub cards: Vec<CardDifference>,
}

/// A line of the head that is not the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeadDifference {
    /// What it is.
    pub what: &'static str,
    /// In the first deck.
    pub first: String,
    /// In the second.
    pub second: String,
}

/// A card that is not the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CardDifference {
    /// Only in the first deck.
    Missing(CardNumber),
    /// Only in the second.
    Added(CardNumber),
    /// A run of cards with the same holes, under other numbers.
    Moved {
        /// First of the run in the first deck.
        from: CardNumber,
        /// First of the run in the second.
        to: CardNumber,
        /// Cards in the run.
        count: u32,
    },
    /// Other holes.
    Holes {
        /// Its number in the first deck.
        first: CardNumber,
        /// Its number in the second.
        second: CardNumber,
        /// Which holes, by row and hole.
        holes: Vec<HoleDifference>,
    },
}

/// A hole that is cut in one deck only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HoleDifference {
    /// The row, from 1.
    pub row: u16,
    /// The hole, from 1.
    pub hole: u8,
    /// Whether it is the first deck that has it.
    pub in_first: bool,
}

impl Comparison {
    /// Whether the two decks would weave the same from the same cards.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.head.is_empty() && self.cards.is_empty()
    }
}

/// Compares two decks.
#[must_use]
pub fn compare(first: &Deck, second: &Deck) -> Comparison {
    Comparison {
        head: head(first, second),
        cards: cards(first, second),
    }
}

/// A line of the head that belongs to the design.
type DesignPart = fn(&super::file::Design) -> String;

/// A line of the head that belongs to the cloth file.
type ClothPart = fn(&MadeWith) -> String;

fn head(first: &Deck, second: &Deck) -> Vec<HeadDifference> {
    let design =
        |deck: &Deck, part: DesignPart| deck.design().map_or_else(|| "none".to_owned(), part);
    let mut differences = Vec::new();
    let mut tell = |what, first: String, second: String| {
        if first != second {
            differences.push(HeadDifference {
                what,
                first,
                second,
            });
        }
    };
    tell("name", first.name().into(), second.name().into());
    tell(
        "format",
        first.format().name().into(),
        second.format().name().into(),
    );
    tell(
        "format sha256",
        first.format().sha256(),
        second.format().sha256(),
    );
    let parts: [(&'static str, DesignPart); 5] = [
        ("design file", |design| design.file.clone()),
        ("design sha256", |design| design.sha256.clone()),
        ("design hooks", |design| design.hooks.to_string()),
        ("design picks", |design| design.picks.to_string()),
        ("first pick", |design| {
            format!("{:?}", design.first_pick).to_lowercase()
        }),
    ];
    for (what, part) in parts {
        tell(what, design(first, part), design(second, part));
    }
    let cloth = |deck: &Deck, part: ClothPart| deck.cloth().map_or_else(|| "none".to_owned(), part);
    let parts: [(&'static str, ClothPart); 2] = [
        ("cloth file", |cloth| cloth.file.clone()),
        ("cloth sha256", |cloth| cloth.sha256.clone()),
    ];
    for (what, part) in parts {
        tell(what, cloth(first, part), cloth(second, part));
    }
    let (a, b) = (first.cutting(), second.cutting());
    let word = |word: &dyn std::fmt::Debug| format!("{word:?}").to_lowercase();
    tell("cut", word(&a.cut), word(&b.cut));
    tell("spare row", word(&a.spare_row), word(&b.spare_row));
    tell(
        "cards",
        first.card_count().to_string(),
        second.card_count().to_string(),
    );
    differences
}

/// A card in each deck that holds the same, as places from 0.
type Pairs = BTreeMap<usize, usize>;

fn cards(first: &Deck, second: &Deck) -> Vec<CardDifference> {
    let rows =
        |deck: &'_ Deck| -> Vec<Vec<Row>> { deck.cards().map(|(_, rows)| rows.to_vec()).collect() };
    let (a, b) = (rows(first), rows(second));
    let anchors = anchors(&a, &b);
    let mut found = Vec::new();
    let mut left = (Vec::new(), Vec::new());
    let (mut from, mut to) = (0, 0);
    let ends = anchors
        .iter()
        .map(|(from, to)| (*from, *to))
        .chain([(a.len(), b.len())]);
    for (end_from, end_to) in ends {
        let (mut gap_a, mut gap_b) = (from..end_from, to..end_to);
        // Cards that face one another between two equal ones are the same card
        // with other holes; what is over on one side was added or left out.
        while !gap_a.is_empty() && !gap_b.is_empty() {
            if let (Some(a), Some(b)) = (gap_a.next(), gap_b.next()) {
                left.0.push(a);
                left.1.push(b);
                found.push((a, b));
            }
        }
        left.0.extend(gap_a);
        left.1.extend(gap_b);
        (from, to) = (end_from + 1, end_to + 1);
    }
    let mut same = anchors;
    let carried = carried(&a, &b, &left.0, &left.1);
    let taken: HashSet<usize> = carried.values().copied().collect();
    same.extend(carried.iter());
    let faced: Pairs = found
        .into_iter()
        .filter(|(from, to)| !carried.contains_key(from) && !taken.contains(to))
        .collect();
    report(&a, &b, &same, &faced)
}

/// Equal cards in the order both decks have in common.
fn anchors(a: &[Vec<Row>], b: &[Vec<Row>]) -> Pairs {
    let mut numbers: HashMap<&[Row], u32> = HashMap::new();
    for card in a {
        let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
        numbers.entry(card).or_insert(next);
    }
    let mut in_b = vec![false; numbers.len()];
    let kept = |cards: &[Vec<Row>], keep: &dyn Fn(u32) -> bool| -> Vec<(usize, u32)> {
        let number = |(place, card): (usize, &Vec<Row>)| {
            Some((place, *numbers.get(card.as_slice())?)).filter(|(_, number)| keep(*number))
        };
        cards.iter().enumerate().filter_map(number).collect()
    };
    // Cards that only one deck has can match nothing; without them the search
    // is quick even when every card differs.
    let b_kept = kept(b, &|_| true);
    for (_, number) in &b_kept {
        in_b[*number as usize] = true;
    }
    let a_kept = kept(a, &|number| in_b[number as usize]);
    let numbers =
        |kept: &[(usize, u32)]| kept.iter().map(|(_, number)| *number).collect::<Vec<_>>();
    let mut pairs = Pairs::new();
    for op in capture_diff_slices(Algorithm::Myers, &numbers(&a_kept), &numbers(&b_kept)) {
        if let DiffOp::Equal {
            old_index,
            new_index,
            len,
        } = op
        {
            let equal = a_kept[old_index..]
                .iter()
                .zip(&b_kept[new_index..])
                .take(len);
            pairs.extend(equal.map(|((from, _), (to, _))| (*from, *to)));
        }
    }
    pairs
}

/// Cards that were carried to a place out of the common order.
fn carried(a: &[Vec<Row>], b: &[Vec<Row>], left_a: &[usize], left_b: &[usize]) -> Pairs {
    let mut waiting: HashMap<&[Row], Vec<usize>> = HashMap::new();
    for place in left_b.iter().rev() {
        waiting.entry(&b[*place]).or_default().push(*place);
    }
    let partner = |from: &usize| Some((*from, waiting.get_mut(a[*from].as_slice())?.pop()?));
    left_a.iter().filter_map(partner).collect()
}

fn report(a: &[Vec<Row>], b: &[Vec<Row>], same: &Pairs, faced: &Pairs) -> Vec<CardDifference> {
    let number = |place: usize| CardNumber(u32::try_from(place + 1).unwrap_or(u32::MAX));
    let mut differences = Vec::new();
    let mut run: Option<(usize, usize, u32)> = None;
    for from in 0..=a.len() {
        let moved = same.get(&from).copied().filter(|to| *to != from);
        run = match (run, moved) {
            (Some((start, to, count)), Some(next)) if next == to + count as usize => {
                Some((start, to, count + 1))
            }
            (before, moved) => {
                if let Some((start, to, count)) = before {
                    let (from, to) = (number(start), number(to));
                    differences.push(CardDifference::Moved { from, to, count });
                }
                moved.map(|to| (from, to, 1))
            }
        };
        if from == a.len() || same.contains_key(&from) {
            continue;
        }
        differences.push(match faced.get(&from) {
            Some(to) => CardDifference::Holes {
                first: number(from),
                second: number(*to),
                holes: holes(&a[from], &b[*to]),
            },
            None => CardDifference::Missing(number(from)),
        });
    }
    let mut matched = vec![false; b.len()];
    for to in same.values().chain(faced.values()) {
        matched[*to] = true;
    }
    let added = matched.iter().enumerate().filter(|(_, matched)| !**matched);
    differences.extend(added.map(|(to, _)| CardDifference::Added(number(to))));
    differences
}

fn holes(a: &[Row], b: &[Row]) -> Vec<HoleDifference> {
    let rows = u16::try_from(a.len().max(b.len())).unwrap_or(u16::MAX);
    let row = |card: &[Row], row: u16| card.get(usize::from(row - 1)).copied().unwrap_or_default();
    let one = |number: u16| {
        let (first, second) = (row(a, number), row(b, number));
        let differ = Row(first.0 ^ second.0);
        (1..=16)
            .filter(move |hole| differ.has(*hole))
            .map(move |hole| HoleDifference {
                row: number,
                hole,
                in_first: first.has(hole),
            })
    };
    (1..=rows).flat_map(one).collect()
}
