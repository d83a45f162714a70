//! Plans written out pick by pick with the plainest loops, and a cylinder that is
//! turned card by card.

use super::made::{Meant, MeantMark, MeantPlan};
use cardwright::weave::{Direction, Turns};

/// One pick as it must be.
#[derive(Debug, PartialEq)]
pub struct Expected {
    pub section: usize,
    pub repeat: u64,
    pub step: u64,
    /// Deck and card.
    pub card: Option<(usize, u32)>,
    pub weft: Option<usize>,
    pub before: Vec<&'static str>,
    pub after: Vec<&'static str>,
}

/// Every pick of the plan. A section to length is woven one pass more until the
/// wanted picks are reached.
pub fn expand(plan: &MeantPlan) -> Vec<Expected> {
    let mut passes = 1;
    loop {
        let picks = with_passes(plan, passes);
        match plan.wanted {
            Some(wanted) if (picks.len() as u64) < wanted => passes += 1,
            _ => return picks,
        }
    }
}

fn with_passes(plan: &MeantPlan, to_length: u64) -> Vec<Expected> {
    let mut picks = Vec::new();
    for (at, section) in plan.sections.iter().enumerate() {
        let filling = section.to_length.then_some(to_length);
        let mut woven = 0;
        for repeat in 1..=filling.unwrap_or(section.repeats) {
            let mut section_wefts = section.wefts.iter().cycle();
            let between = section.between.as_ref();
            let mut between_wefts = between.map(|(.., wefts)| wefts.iter().cycle());
            for (step, card) in (0..).zip(one_pass(section)) {
                woven += 1;
                let turn = match (card, &mut between_wefts) {
                    (None, Some(wefts)) => wefts.next(),
                    _ => section_wefts.next(),
                };
                let own = section.by_card;
                let own = own.filter(|(own, _)| card.is_some_and(|(card, _)| card == *own));
                let (before, after) = marks(section, card, step + 1, woven);
                let deck = section.cards.as_ref().map_or(0, |(deck, _)| *deck);
                picks.push(Expected {
                    section: at,
                    repeat,
                    step,
                    card: card.map(|(card, _)| (deck, card)),
                    weft: own.map(|(_, weft)| weft).or(turn.copied()),
                    before,
                    after,
                });
            }
        }
    }
    picks
}

/// A card and whether it goes back; nothing for a ground pick.
type Laid = Option<(u32, bool)>;

fn one_pass(section: &Meant) -> Vec<Laid> {
    let Some((_, runs)) = &section.cards else {
        return (0..section.ground).map(|_| None).collect();
    };
    let mut cards = Vec::new();
    for (first, last) in runs {
        if first <= last {
            cards.extend((*first..=*last).map(|card| (card, false)));
        } else {
            cards.extend((*last..=*first).rev().map(|card| (card, true)));
        }
    }
    let mut pass = Vec::new();
    for (count, card) in (1..).zip(cards) {
        pass.push(Some(card));
        if let Some((every, ground, _)) = section.between
            && count % every == 0
        {
            pass.extend((0..ground).map(|_| None));
        }
    }
    pass
}

type Words = Vec<&'static str>;

/// Words before and after a pick: its number in the pass, and in the section, from 1.
fn marks(section: &Meant, laid: Laid, of_pass: u64, of_section: u64) -> (Words, Words) {
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for mark in &section.marks {
        match (mark, laid) {
            (MeantMark::BeforeCard(at), Some((card, _))) if card == *at => before.push("card"),
            (MeantMark::AfterCardGoingBack(at), Some((card, true))) if card == *at => {
                after.push("back");
            }
            (MeantMark::AfterPick(pick), _) if of_pass == *pick => after.push("pick"),
            (MeantMark::Every(every), _) if of_section.is_multiple_of(*every) => {
                after.push("every")
            }
            _ => {}
        }
    }
    (before, after)
}

/// A cylinder with a chain hung over it.
#[derive(Debug)]
pub struct Cylinder {
    /// Cards of each deck's chain.
    pub chains: Vec<u32>,
    /// Deck and card, once a chain is hung.
    pub at: Option<(usize, u32)>,
}

impl Cylinder {
    /// Does what it is told and nothing else.
    pub fn turn(&mut self, turns: Turns) {
        match (turns, &mut self.at) {
            (Turns::None, _) => {}
            (Turns::Hang { deck, card }, at) => *at = Some((deck.0, card.0)),
            (Turns::ByHand { to }, Some((_, card))) => *card = to.0,
            (Turns::One(way), Some((deck, card))) => {
                let last = self.chains[*deck];
                *card = match way {
                    Direction::Forward if *card == last => 1,
                    Direction::Forward => *card + 1,
                    Direction::Back if *card == 1 => last,
                    Direction::Back => *card - 1,
                };
            }
            (_, None) => panic!("{turns:?} with no chain hung"),
        }
    }

    /// Whether a turn either way leads from one card to the other.
    pub fn neighbours(&self, deck: usize, from: u32, to: u32) -> bool {
        [Direction::Forward, Direction::Back]
            .into_iter()
            .any(|way| {
                let mut other = Cylinder {
                    chains: self.chains.clone(),
                    at: Some((deck, from)),
                };
                other.turn(Turns::One(way));
                other.at == Some((deck, to))
            })
    }
}
