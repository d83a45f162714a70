//! Whether what was recognised is the deck, in order, and if not, why not.
//!
//! Enters: what each card of the stack was recognised as, and the deck. Leaves:
//! an [`Account`]: the disorders, as few as explain the stack, and the card for
//! which each place is taken. Refuses nothing: an empty stack is a deck of
//! which all cards are missing.
//!
//! No one set of costs finds the fewest disorders in every stack: a moved block
//! and an exchange of two cards want other ones. So the stack is laid against
//! the deck in a few ways, each is named, and the shortest account is kept.

use super::align::{Aligned, Choice, Costs, ONE, align};
use super::disorder::Disorder;
use super::naming::Naming;
use super::otherwise::otherwise;
use super::pattern::{Difference, Lie};
use super::recognise::{Catalogue, Recognition};
use super::tell::{Telling, Whole};
use cardwright_protocol::CardNumber;

/// What a place of the stack is taken for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Taken {
    /// This card of the deck, each once.
    Card {
        /// The card.
        card: CardNumber,
        /// How it lies.
        lie: Lie,
        /// The holes that are wrong with it.
        difference: Difference,
    },
    /// A card that is there once too often.
    TooMany {
        /// The cards it is like.
        like: Vec<CardNumber>,
        /// How it lies.
        lie: Lie,
    },
    /// A card of another deck.
    Foreign,
    /// Nothing that is known.
    Unknown,
}

/// What there is to say of a stack.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Account {
    /// What each place is taken for, first card run first.
    pub places: Vec<Taken>,
    /// What is wrong.
    pub disorders: Vec<Disorder>,
    /// What identical cards hide: disorders that may be there in the stead of some
    /// that are told, in as few acts. The remedies of those told do for them too.
    pub otherwise: Vec<Disorder>,
}

impl Account {
    /// Whether the stack is the deck, in order, every card as it should lie.
    #[must_use]
    pub fn in_order(&self) -> bool {
        self.disorders.is_empty()
    }

    /// How many acts put the stack in order.
    #[must_use]
    pub fn acts(&self) -> u32 {
        self.disorders.iter().map(Disorder::acts).sum()
    }

    /// What decides between accounts that need as many acts: the fewest cards
    /// out of order, then the fewest wrong holes.
    fn rank(&self) -> (u32, u32, u32) {
        let moved = |disorder: &Disorder| match disorder {
            Disorder::Moved { count, .. } => *count,
            Disorder::Exchanged { .. } => 2,
            _ => 0,
        };
        let wrong = |taken: &Taken| match taken {
            Taken::Card { difference, .. } => difference.wrong(),
            _ => 0,
        };
        (
            self.acts(),
            self.disorders.iter().map(moved).sum(),
            self.places.iter().map(wrong).sum(),
        )
    }
}

/// Compares a stack, in the order in which it was run, with the deck at hand.
#[must_use]
pub fn order(seen: &[Recognition], catalogue: &Catalogue) -> Account {
    let ways = likely(seen, catalogue);
    let accounts: Vec<Account> = ways.iter().flat_map(Way::accounts).collect();
    let Some(mut told) = accounts.iter().min_by_key(|one| one.rank()).cloned() else {
        return Account::default();
    };
    told.otherwise = otherwise(&told, &accounts, catalogue.classes());
    told
}

/// The ways in which the stack as a whole can lie that are worth telling. One act
/// may cost as much as two, so what is within twice the cheapest may still be the
/// shortest to tell.
fn likely<'a>(seen: &'a [Recognition], catalogue: &'a Catalogue) -> Vec<Way<'a>> {
    let wholes = lies(seen)
        .into_iter()
        .flat_map(|lie| [false, true].map(|reversed| Whole { reversed, lie }));
    let ways: Vec<Way<'_>> = wholes
        .map(|whole| Way::new(seen, catalogue, whole))
        .collect();
    // All are tried with little to spend first: how far the wrong ones are from
    // the deck need not be known.
    let mut limit = 8 * u64::from(ONE);
    loop {
        let mut found: Vec<(u64, &Way<'_>)> = Vec::new();
        for way in &ways {
            let Some(cost) = way.cost(limit) else {
                continue;
            };
            found.push((cost, way));
            if cost < u64::from(ONE) {
                break;
            }
        }
        let least = found.iter().map(|(cost, _)| *cost).min();
        match least {
            Some(least) if 2 * least <= limit => {
                found.retain(|(cost, _)| *cost <= 2 * least);
                return found.into_iter().map(|(_, way)| way.clone()).collect();
            }
            Some(least) => limit = 2 * least,
            None => limit *= 4,
        }
    }
}

/// The ways in which the stack as a whole may lie: as it should, or as at
/// least half of its cards can lie.
fn lies(seen: &[Recognition]) -> Vec<Lie> {
    let can = |seen: &&Recognition, lie: Lie| match seen {
        Recognition::Known(candidates) => candidates.iter().any(|one| one.lie == lie),
        _ => false,
    };
    let known = |seen: &&Recognition| matches!(seen, Recognition::Known(_));
    let known = seen.iter().filter(known).count();
    let most = |lie: &Lie| {
        let able = seen.iter().filter(|seen| can(seen, *lie)).count();
        *lie == Lie::AsIs || known > 0 && 2 * able >= known
    };
    Lie::ALL.into_iter().filter(most).collect()
}

/// The stack, taken to lie as a whole in one way.
#[derive(Clone)]
struct Way<'a> {
    catalogue: &'a Catalogue,
    whole: Whole,
    seen: Vec<&'a Recognition>,
    choices: Vec<Vec<Choice>>,
}

impl<'a> Way<'a> {
    fn new(seen: &'a [Recognition], catalogue: &'a Catalogue, whole: Whole) -> Way<'a> {
        let mut seen: Vec<&Recognition> = seen.iter().collect();
        if whole.reversed {
            seen.reverse();
        }
        let choices = |seen: &&Recognition| match seen {
            Recognition::Known(candidates) => candidates
                .iter()
                .map(|candidate| Choice {
                    candidate: *candidate,
                    turned: candidate.lie != whole.lie,
                })
                .collect(),
            _ => Vec::new(),
        };
        let choices = seen.iter().map(choices).collect();
        Way {
            catalogue,
            whole,
            seen,
            choices,
        }
    }

    /// What it costs to lay the stack against the deck like this; none if more
    /// than `limit`.
    fn cost(&self, limit: u64) -> Option<u64> {
        let whole = u64::from(self.whole.reversed) + u64::from(self.whole.lie != Lie::AsIs);
        let whole = whole * u64::from(ONE);
        let limit = limit.checked_sub(whole)?;
        let (cost, _) = self.align(&self.choices, &Costs::EVEN, limit)?;
        Some(cost + whole)
    }

    fn align(&self, choices: &[Vec<Choice>], costs: &Costs, limit: u64) -> Option<Aligned> {
        let (deck, classes) = (self.catalogue.classes(), self.catalogue.class_count());
        align(choices, deck, classes, costs, limit)
    }

    /// The accounts to choose from.
    fn accounts(&self) -> Vec<Account> {
        let mut accounts = Vec::new();
        let mut try_all = |choices: &[Vec<Choice>]| {
            for late in [false, true] {
                for costs in Costs::ALL {
                    let account = self.account(choices, &Costs { late, ..costs });
                    let acts = account.acts();
                    accounts.push(account);
                    if acts <= 1 {
                        return true;
                    }
                }
            }
            false
        };
        let done = try_all(&self.choices);
        let straight = self.straight();
        if !done && straight != self.choices {
            try_all(&straight);
        }
        accounts
    }

    /// The choices without those for which a card would lie turned that can
    /// just as well be another card that is not: two such cards that are
    /// exchanged look like two that are turned.
    fn straight(&self) -> Vec<Vec<Choice>> {
        let straight = |choices: &Vec<Choice>| {
            let as_is = choices.iter().any(|choice| !choice.turned);
            let kept = choices.iter().filter(|choice| !(as_is && choice.turned));
            kept.copied().collect()
        };
        self.choices.iter().map(straight).collect()
    }

    fn account(&self, choices: &[Vec<Choice>], costs: &Costs) -> Account {
        let aligned = self.align(choices, costs, u64::MAX);
        let facing = aligned.map_or_else(Vec::new, |(_, facing)| facing);
        let naming = Naming::new(choices, self.catalogue.classes(), &facing, costs.late);
        let telling = Telling {
            naming: &naming,
            catalogue: self.catalogue,
            seen: &self.seen,
            whole: self.whole,
        };
        Account {
            places: telling.taken(),
            disorders: telling.disorders(),
            otherwise: Vec::new(),
        }
    }
}
