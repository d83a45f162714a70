//! The order of a stack that is verified.
//!
//! Enters: each card's report, in the order in which the cards are read. Leaves:
//! for a card that is another one or lies the wrong way, which and how; at the
//! end what is wrong with the stack. Nothing is said of a deck of which only some
//! cards were asked for.

use cardwright_protocol::CardNumber;
use serde::{Deserialize, Serialize};

use super::{Kind, Order};
use crate::judge::{Judged, Report};
use crate::stack::{Catalogue, Disorder, Lie, NOTHING_MORE, Pattern, Recognition, order};

/// Something wrong with the order of a stack.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StackFinding {
    /// What was found.
    pub finding: String,
    /// What to do about it.
    pub remedy: String,
    /// The cards that are not in the stack, if that is it.
    pub missing: Vec<CardNumber>,
}

/// A card that is not what should lie there as it should lie.
pub(super) struct Stranger {
    /// What it is.
    pub(super) words: String,
    /// The card of this deck that it is, if it lies as it should.
    pub(super) card: Option<CardNumber>,
    /// Whether it only follows the one before, as all do behind one that is missing or
    /// there twice.
    pub(super) in_step: bool,
}

/// A stack in hand.
pub(super) struct Stacked {
    catalogue: Catalogue,
    cards: usize,
    seen: Vec<Recognition>,
    /// By how many cards the last known one was another than should lie there.
    shift: Option<i64>,
}

impl Stacked {
    /// For a whole deck that is to be verified.
    pub(super) fn new(order: &Order) -> Option<Stacked> {
        let cards = order.deck.card_count() as usize;
        let whole = order.kind == Kind::Verify && order.cards.len() == cards;
        let mut catalogue = whole
            .then(|| Catalogue::of_deck(&order.deck).ok())
            .flatten()?;
        for other in order.others.iter() {
            // one that is no deck is not looked for
            let _ = catalogue.add_deck(other);
        }
        Some(Stacked {
            catalogue,
            cards,
            seen: Vec::new(),
            shift: None,
        })
    }

    /// Looks at the next card of the stack, which should be `card`.
    pub(super) fn look(
        &mut self,
        report: &Report,
        card: CardNumber,
        holes: u8,
    ) -> Option<Stranger> {
        let seen = pattern(report, holes)
            .map_or(Recognition::Unknown, |seen| self.catalogue.recognise(&seen));
        let found = self.stranger(&seen, card);
        self.seen.push(seen);
        let (words, shift) = found?;
        let in_step = shift.is_some() && shift == self.shift;
        self.shift = shift;
        let card = shift.and_then(|shift| u32::try_from(i64::from(card.0) + shift).ok());
        Some(Stranger {
            words,
            card: card.map(CardNumber),
            in_step,
        })
    }

    /// What is there in place of `card`, and by how many cards that is further on, if it
    /// lies as it should.
    fn stranger(&self, seen: &Recognition, card: CardNumber) -> Option<(String, Option<i64>)> {
        match seen {
            Recognition::Known(candidates) => {
                let class = *self
                    .catalogue
                    .classes()
                    .get(card.0.checked_sub(1)? as usize)?;
                let expected =
                    |one: &crate::stack::Candidate| one.class == class && one.lie == Lie::AsIs;
                if candidates.iter().any(expected) {
                    return None;
                }
                let best = candidates.first()?;
                let like = self.catalogue.cards_of(best.class);
                let further = |which: CardNumber| i64::from(which.0) - i64::from(card.0);
                let known = like
                    .iter()
                    .find(|which| Some(further(**which)) == self.shift);
                let which = match known {
                    _ if best.class == class => card,
                    Some(which) => *which,
                    None => *like.first()?,
                };
                Some(match best.lie {
                    Lie::AsIs => (format!("this is card {}", which.0), Some(further(which))),
                    lie => (format!("this is card {}, lying {lie}", which.0), None),
                })
            }
            Recognition::Foreign { deck, card, .. } => {
                Some((format!("this is card {} of the deck {deck}", card.0), None))
            }
            Recognition::Unknown => None,
        }
    }

    /// What is wrong with the stack as far as it was read; none if nothing was.
    pub(super) fn findings(&self) -> Option<Vec<StackFinding>> {
        if self.seen.is_empty() {
            return None;
        }
        let account = order(&self.seen, &self.catalogue);
        let disorders = account.disorders.iter();
        // of a stack that was not read to its end nobody knows what follows
        let unread = self.seen.len() < self.cards;
        let last = account.places.iter().filter_map(|place| match place {
            crate::stack::Taken::Card { card, .. } => Some(*card),
            _ => None,
        });
        let last = last.max().unwrap_or(CardNumber(0));
        let follows = |disorder: &&Disorder| match disorder {
            Disorder::Missing { cards, .. } => unread && cards.first > last,
            _ => false,
        };
        let told = disorders.filter(|disorder| !follows(disorder));
        let mut findings: Vec<StackFinding> = told
            .map(|disorder| StackFinding {
                finding: disorder.to_string(),
                remedy: disorder.remedy(),
                missing: match disorder {
                    Disorder::Missing { such_as, .. } => such_as.clone(),
                    _ => Vec::new(),
                },
            })
            .collect();
        if unread && findings.is_empty() {
            findings.push(StackFinding {
                finding: format!(
                    "the first {} cards are in order; what follows was not read",
                    self.seen.len()
                ),
                remedy: "verify the whole stack, from its first card".to_owned(),
                missing: Vec::new(),
            });
        }
        findings.extend(account.hidden().map(|finding| StackFinding {
            finding,
            remedy: NOTHING_MORE.to_owned(),
            missing: Vec::new(),
        }));
        Some(findings)
    }
}

/// The holes that were seen; none of a card that was not measured.
fn pattern(report: &Report, holes: u8) -> Option<Pattern> {
    let strokes = report.cells.last()?.stroke + 1;
    let (mut places, mut doubtful) = (
        vec![0u16; usize::from(strokes)],
        vec![0u16; usize::from(strokes)],
    );
    for cell in report.cells.iter().filter(|cell| cell.hole > 0) {
        let (at, bit) = (usize::from(cell.stroke), 1u16 << (cell.hole - 1));
        let hole = match cell.judged {
            Judged::Doubtful | Judged::WithinPeg => {
                *doubtful.get_mut(at)? |= bit;
                continue;
            }
            Judged::Missing => false,
            Judged::Partial | Judged::Extra => true,
            Judged::Right => cell.required,
        };
        if hole {
            *places.get_mut(at)? |= bit;
        }
    }
    Pattern::new(holes, places, doubtful).ok()
}
