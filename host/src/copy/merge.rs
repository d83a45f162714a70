//! Every sight of a card made into one card.
//!
//! Enters: sights. Leaves: rows, and the positions that could not be told.
//!
//! A whole hole of the punch's own size, in its place, is no accident: seen once,
//! it is a hole, whatever hung in it or lay on the reader another time. Solid is
//! only what was solid every time, and dark. All else is doubtful. A hole of which
//! more than four fifths is closed looks like solid card: an aperture does not see
//! a hole's rim.

use super::passes::{Column, Placed, side_by_side};
use super::sight::{Line, Sight};
use crate::deck::{CardFormat, CardNumber, Cutting, Deck, Doubt, ReadFrom, Row};
use std::collections::BTreeSet;

/// Light in thousandths of a whole hole's from which a doubtful position is
/// guessed to be a hole: a chad lets light past it, solid card does not.
const GUESSED_PERMILLE: u16 = 200;

/// Light, likewise, that is more than solid card has: a hole that is almost
/// closed. Paper and noise give a fifth of it (common practice, no source).
const GLIMMER_PERMILLE: u16 = 40;

/// Why there is no copy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CopyError {
    /// There is nothing to copy.
    #[error(
        "no card of the stack could be read; clean the reader, see how the cards lie, and read it again"
    )]
    Nothing,
    /// A card is said to be lacking that lies beyond the end.
    #[error(
        "card {card} is said to be lacking, and with the others that are the deck ends with card {cards}; see whether cards were missed, or name fewer (what was read is kept: --more with --passes 0 makes the deck of it)"
    )]
    Lacking {
        /// The card.
        card: u32,
        /// Cards of the deck.
        cards: usize,
    },
    /// The cards make no deck.
    #[error("what was read makes no deck: {0}")]
    NoDeck(String),
}

/// One card of the copy.
#[derive(Default)]
struct CopiedCard {
    /// Its rows, row 1 first; a doubtful position holds a guess.
    rows: Vec<Row>,
    /// What could not be told: row and hole from 1, light in thousandths.
    doubtful: Vec<(u16, u8, u16)>,
    /// How often it was measured.
    sights: usize,
}

/// The copy.
#[derive(Clone, Debug)]
pub struct Copied {
    /// The deck, with the doubt recorded.
    pub deck: Deck,
    /// What a person should look at.
    pub notes: Vec<String>,
}

/// Makes a deck called `name` of the passes of a stack. `lacking` are numbers of
/// cards that are known not to be in it.
///
/// # Errors
/// As [`CopyError`] says.
pub fn copied(
    name: &str,
    format: &CardFormat,
    passes: &[Vec<Option<Sight>>],
    lacking: &BTreeSet<CardNumber>,
) -> Result<Copied, CopyError> {
    let columns = side_by_side(passes);
    if !passes.iter().flatten().any(Option::is_some) {
        return Err(CopyError::Nothing);
    }
    let mut draft = Draft {
        reading: ReadFrom {
            passes: passes.len() as u32,
            ..ReadFrom::default()
        },
        cards: Vec::new(),
        numbered: Vec::new(),
        blank: vec![Row(0); usize::from(format.rows())],
    };
    for column in &columns {
        draft.lack(lacking);
        draft.add(column);
    }
    draft.lack(lacking);
    let known = draft.cards.len();
    if let Some(card) = lacking.iter().find(|card| card.0 as usize > known) {
        return Err(CopyError::Lacking {
            card: card.0,
            cards: known,
        });
    }
    let notes = notes(&draft.numbered, passes.len());
    let Draft { reading, cards, .. } = draft;
    let no_deck = |fault: crate::deck::CardFault| CopyError::NoDeck(fault.to_string());
    let deck = Deck::new(name, format.clone(), None, Cutting::default(), cards).map_err(no_deck)?;
    Ok(Copied {
        deck: deck.with_reading(reading).map_err(no_deck)?,
        notes,
    })
}

/// The numbers that a copy made of these passes left out for cards that were said to
/// be lacking: its gaps but for those that a card stands for which no pass could read.
#[must_use]
pub fn lacking_in(copy: &Deck, passes: &[Vec<Option<Sight>>]) -> BTreeSet<CardNumber> {
    let gaps = copy.reading().map_or(&[][..], |reading| &reading.gaps);
    let mut lacking = BTreeSet::new();
    let mut columns = side_by_side(passes).into_iter().peekable();
    let unread = |column: &Column| column.iter().all(|placed| placed.sight.is_none());
    for (number, _) in copy.cards() {
        // where both stand side by side it is all one which of them comes first
        if gaps.contains(&number) && !columns.peek().is_some_and(unread) {
            lacking.insert(number);
        } else {
            columns.next();
        }
    }
    lacking
}

/// A deck in the making.
struct Draft<'a> {
    reading: ReadFrom,
    cards: Vec<Vec<Row>>,
    numbered: Vec<(CardNumber, &'a Column)>,
    blank: Vec<Row>,
}

impl<'a> Draft<'a> {
    fn next(&self) -> CardNumber {
        CardNumber(u32::try_from(self.cards.len() + 1).unwrap_or(u32::MAX))
    }

    fn gap(&mut self) {
        self.reading.gaps.push(self.next());
        self.cards.push(self.blank.clone());
    }

    /// Leaves out the numbers that are next and known to be lacking.
    fn lack(&mut self, lacking: &BTreeSet<CardNumber>) {
        while lacking.contains(&self.next()) {
            self.gap();
        }
    }

    fn add(&mut self, column: &'a Column) {
        let number = self.next();
        self.numbered.push((number, column));
        let card = one_card(column);
        if card.sights == 0 {
            return self.gap();
        }
        let doubt = |(row, hole, open_permille)| Doubt {
            card: number,
            row,
            hole,
            open_permille,
        };
        self.reading
            .doubtful
            .extend(card.doubtful.into_iter().map(doubt));
        self.cards.push(card.rows);
    }
}

/// What a person should know of cards that were not met as the others were.
fn notes(numbered: &[(CardNumber, &Column)], passes: usize) -> Vec<String> {
    let word = |(_, column): &(CardNumber, &Column)| note(column, passes);
    let runs = numbered.chunk_by(|a, b| word(a) == word(b) && a.0.0 + 1 == b.0.0);
    let one = |run: &[(CardNumber, &Column)]| {
        let words = word(run.first()?)?;
        let (first, last) = (run.first()?.0.0, run.last()?.0.0);
        Some(match first == last {
            true => format!("card {first}: {words}"),
            false => format!("cards {first}-{last}: {words}"),
        })
    };
    runs.filter_map(one).collect()
}

fn note(column: &Column, passes: usize) -> Option<String> {
    let turned = |placed: &Placed| {
        let sight = placed.sight.as_ref();
        sight.is_some_and(Sight::lay_end_for_end)
    };
    if column.iter().all(|placed| placed.sight.is_none()) {
        return Some(
            "could not be read, or has not the lace holes of this format; left as a gap"
                .to_string(),
        );
    }
    if column.len() < passes {
        let met: Vec<String> = column
            .iter()
            .map(|placed| (placed.pass + 1).to_string())
            .collect();
        return Some(format!(
            "met in {} of {passes} passes only (pass {}): see whether the stack was the same each \
             time",
            column.len(),
            met.join(", ")
        ));
    }
    column
        .iter()
        .any(turned)
        .then(|| "lay end for end, by its lace holes, and is turned in the copy".to_string())
}

fn one_card(column: &Column) -> CopiedCard {
    let sights: Vec<&Sight> = column
        .iter()
        .filter_map(|placed| placed.sight.as_ref())
        .collect();
    let Some(first) = sights.first() else {
        return CopiedCard::default();
    };
    let mut card = CopiedCard {
        sights: sights.len(),
        ..CopiedCard::default()
    };
    for row in 0..first.lines.len() {
        let lines: Vec<&Line> = sights
            .iter()
            .filter_map(|sight| sight.lines.get(row))
            .collect();
        let (bits, doubtful) = one_row(&lines);
        for hole in Row(doubtful).holes() {
            let place = usize::from(hole - 1);
            card.doubtful
                .push((row as u16 + 1, hole, light(&lines, place)));
        }
        card.rows.push(Row(bits));
    }
    card
}

/// Holes with the guesses among them, and the positions that are guessed.
fn one_row(lines: &[&Line]) -> (u16, u16) {
    let (mut hole, mut solid, mut doubt) = (0u16, 0u16, 0u16);
    for line in lines {
        hole |= line.holes;
        doubt |= line.doubtful;
        solid |= !(line.holes | line.doubtful);
    }
    let glimmers = Row(solid & !doubt & !hole)
        .holes()
        .filter(|number| light(lines, usize::from(number - 1)) >= GLIMMER_PERMILLE)
        .fold(0, |bits, number| bits | 1u16 << (number - 1));
    let doubtful = (hole & solid) | (doubt & !hole) | glimmers;
    let guessed = Row(doubtful)
        .holes()
        .filter(|number| light(lines, usize::from(number - 1)) >= GUESSED_PERMILLE)
        .fold(0, |bits, number| bits | 1u16 << (number - 1));
    ((hole & !doubtful) | guessed, doubtful)
}

/// Mean light at a position.
fn light(lines: &[&Line], place: usize) -> u16 {
    let open = lines
        .iter()
        .filter_map(|line| line.open_permille.get(place));
    let (sum, count) = open.fold((0u32, 0u32), |(sum, count), open| {
        (sum + u32::from(*open), count + 1)
    });
    (sum / count.max(1)) as u16
}
