//! Risk: the walk names another pick than the plan means, or tells a turn that
//! does not lead to the card it names; the cloth then has a flaw that no card has.

use super::expanded::{Cylinder, Expected, expand};
use super::made::{self, MeantPlan};
use cardwright::deck::CardNumber;
use cardwright::weave::{DeckIndex, Nearest, Turns, Walk, Work};
use rand::rngs::Xoshiro256PlusPlus as Chance;
use rand::{RngExt as _, SeedableRng as _};

const PLANS: u64 = 3_000;

fn each(mut check: impl FnMut(u64, &MeantPlan, &Walk, &[Expected])) {
    for seed in 0..PLANS {
        let plan = made::plan(seed);
        let picks = expand(&plan);
        check(seed, &plan, &made::walk(&plan.text), &picks);
    }
}

fn card_of(work: Work) -> Option<(usize, u32)> {
    match work {
        Work::Ground => None,
        Work::Card { deck, card } => Some((deck.0, card.0)),
    }
}

#[test]
fn every_pick_is_the_one_that_plain_loops_give() {
    let mut picks = 0;
    let (mut carded, mut marked, mut filled) = (0, 0, 0);
    each(|seed, plan, walk, expected| {
        assert_eq!(walk.len(), expected.len() as u64, "seed {seed}");
        for (number, right) in (0..).zip(expected) {
            let pick = walk.pick(number).expect("within the plan");
            let found = Expected {
                section: pick.section,
                repeat: pick.repeat,
                step: pick.step,
                card: card_of(pick.work),
                weft: pick.weft.map(|weft| weft.0),
                before: right.before.clone(),
                after: right.after.clone(),
            };
            assert_eq!(&found, right, "seed {seed}, pick {number}\n{}", plan.text);
            assert_eq!(pick.before, right.before, "seed {seed}, pick {number}");
            assert_eq!(pick.after, right.after, "seed {seed}, pick {number}");
            assert_eq!(pick.number, number);
            let section = &walk.plan().sections()[right.section];
            assert_eq!(
                (pick.section_name, pick.repeats),
                (section.name(), section.repeats())
            );
            carded += u64::from(right.card.is_some());
            marked += right.before.len() + right.after.len();
            picks += 1;
        }
        assert_eq!(walk.pick(walk.len()), None);
        assert_eq!(walk.pick(u64::MAX), None);
        filled += u64::from(plan.wanted.is_some());
    });
    // else the plans would try nothing
    assert!(picks > 100_000 && carded > 50_000 && picks > carded);
    assert!(marked > 10_000 && filled > 1_000);
}

/// Turns of each kind that were told.
#[derive(Debug, Default)]
struct Told {
    by_hand: u64,
    hung: u64,
    one: u64,
}

/// A turn by hand is told only where no single turn leads, and a chain is hung only
/// where another one hung before.
fn assert_needed(told: &mut Told, cylinder: &Cylinder, turns: Turns, card: Option<(usize, u32)>) {
    match (cylinder.at, card, turns) {
        (_, None, turns) => assert_eq!(turns, Turns::None),
        (Some((old, from)), Some((new, to)), Turns::ByHand { .. }) => {
            assert!(old == new && !cylinder.neighbours(old, from, to));
            told.by_hand += 1;
        }
        (at, Some((new, _)), Turns::Hang { .. }) => {
            assert_ne!(at.map(|(old, _)| old), Some(new));
            told.hung += 1;
        }
        (_, Some(_), Turns::One(_)) => told.one += 1,
        (at, card, turns) => panic!("{turns:?} from {at:?} to {card:?}"),
    }
}

/// The cylinder does only what it is told, forwards over the whole plan. Gives where
/// it stands at each pick.
fn weave(
    told: &mut Told,
    cylinder: &mut Cylinder,
    walk: &Walk,
    expected: &[Expected],
) -> Vec<Option<(usize, u32)>> {
    let mut stands = Vec::new();
    for (number, right) in (0..).zip(expected) {
        let turns = walk.pick(number).expect("within the plan").turns;
        assert_needed(told, cylinder, turns, right.card);
        cylinder.turn(turns);
        if right.card.is_some() {
            assert_eq!(cylinder.at, right.card, "pick {number}");
        }
        stands.push(cylinder.at);
    }
    stands
}

/// Forwards over the whole plan, to and fro by chance, and back over all of it.
#[test]
fn a_chain_turned_as_told_stands_at_the_card_told() {
    let mut told = Told::default();
    each(|seed, plan, walk, expected| {
        let mut cylinder = Cylinder {
            chains: plan.decks.clone(),
            at: None,
        };
        let stands = weave(&mut told, &mut cylinder, walk, expected);
        assert_eq!(walk.back_from(0), None);
        assert_eq!(walk.back_from(walk.len()), None);
        let mut chance = Chance::seed_from_u64(seed);
        let mut at = expected.len() - 1;
        let mut ends: Vec<usize> = (0..8).map(|_| chance.random_range(0..=at)).collect();
        ends.push(0);
        for end in ends {
            while at != end {
                let turns = if at > end {
                    at -= 1;
                    walk.back_from(at as u64 + 1)
                } else {
                    at += 1;
                    walk.pick(at as u64).map(|pick| pick.turns)
                };
                cylinder.turn(turns.expect("within the plan"));
                // before the first card nothing was hung, and the chain stays
                if stands[at].is_some() {
                    assert_eq!(cylinder.at, stands[at], "seed {seed}, at pick {at}");
                }
            }
        }
    });
    let Told { by_hand, hung, one } = told;
    assert!(by_hand > 1_000 && hung > 3_000 && one > 30_000, "{told:?}");
}

/// The last pick before `number` and the first from it on for which `is` holds.
fn nearest(expected: &[Expected], number: usize, is: impl Fn(&Expected) -> bool) -> Nearest {
    let at = number.min(expected.len());
    let before = expected[..at].iter().rposition(&is);
    let from = expected[at..].iter().position(&is);
    Nearest {
        before: before.map(|pick| pick as u64),
        from: from.map(|pick| (at + pick) as u64),
    }
}

#[test]
fn carded_picks_and_cards_are_found_where_plain_loops_find_them() {
    each(|seed, plan, walk, expected| {
        let mut chance = Chance::seed_from_u64(seed);
        let carded = |pick: &Expected| pick.card.is_some();
        let before = |number: usize| {
            expected
                .iter()
                .take(number)
                .filter(|pick| carded(pick))
                .count()
        };
        assert_eq!(walk.carded(), before(expected.len()) as u64, "seed {seed}");
        for _ in 0..20 {
            let number = chance.random_range(0..expected.len() + 3);
            let other = chance.random_range(0..expected.len() + 3);
            let near = number as u64;
            let right = nearest(expected, number, carded);
            assert_eq!(walk.next_carded(near), right.from, "seed {seed}, {near}");
            assert_eq!(
                walk.previous_carded(near),
                right.before,
                "seed {seed}, {near}"
            );
            let right = before(other).saturating_sub(before(number)) as u64;
            assert_eq!(walk.cards_between(near, other as u64), right, "seed {seed}");
            let deck = chance.random_range(0..plan.decks.len());
            let card = chance.random_range(1..=plan.decks[deck]);
            let right = nearest(expected, number, |pick| pick.card == Some((deck, card)));
            let found = walk.find(DeckIndex(deck), CardNumber(card), near);
            assert_eq!(found, right, "seed {seed}, {near}\n{}", plan.text);
        }
        let picks = (0..).zip(expected).filter(|(_, pick)| carded(pick));
        for (count, (number, _)) in (0..).zip(picks) {
            assert_eq!(walk.carded_pick(count), Some(number), "seed {seed}");
            assert_eq!(walk.carded_before(number), count, "seed {seed}");
        }
        assert_eq!(walk.carded_pick(walk.carded()), None);
    });
}

/// As long as a plan may be. What is at a pick is computed here from its number.
#[test]
fn a_hundred_million_picks_are_walked_without_a_list_of_them() {
    let text = "name = \"long\"\n[decks]\nfield = \"160.deck\"\n\
        [[section]]\nname = \"field\"\ndeck = \"field\"\ncards = [\"1-160\", \"159-2\"]\n\
        ground_between = { every = 159, picks = 1 }\nrepeat = 312500\n";
    let walk = made::walk(text);
    assert_eq!(walk.len(), 100_000_000);
    for number in [0, 158, 159, 160, 161, 319, 320, 99_999_999, 50_000_003] {
        let step = number % 320;
        let right = match step {
            159 | 319 => None,
            0..159 => Some((0, step as u32 + 1)),
            160 => Some((0, 160)),
            _ => Some((0, 320 - step as u32)),
        };
        let pick = walk.pick(number).expect("within the plan");
        assert_eq!(card_of(pick.work), right, "pick {number}");
    }
    let found = walk.find(DeckIndex(0), CardNumber(160), 50_000_000);
    let right = Nearest {
        before: Some(50_000_000 - 160),
        from: Some(50_000_000 + 160),
    };
    assert_eq!(found, right);
}
