//! The cloth as these very cards and this tie will weave it.
//!
//! Enters: a deck and the mounting it is woven on. Leaves: for each pick and
//! end whether the warp is up. Refuses: a deck of another card format.

use super::hooks::Place;
use super::{Cloth, Face, Mounting};
use crate::deck::{CardNumber, Deck, Row};
use std::ops::Range;

/// The deck is cut for other cards than the cloth.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "the deck is of format {deck}, and the cloth file names format {cloth}, or one of that name with other holes; give the cloth file the deck was made with"
)]
pub struct OtherFormat {
    /// The deck's.
    pub deck: String,
    /// The cloth's.
    pub cloth: String,
}

/// A woven cloth. Ends are counted from 0 at the left, picks from 0 at the first
/// woven; selvedge ends are counted too.
#[derive(Clone, Debug)]
pub struct Woven<'a> {
    deck: &'a Deck,
    /// Where each end is worked from, left to right.
    ends: Vec<Place>,
    figure: Range<usize>,
    wefts: usize,
    face: Face,
}

impl<'a> Woven<'a> {
    /// The cloth that this deck weaves.
    ///
    /// # Errors
    /// The deck has another card format.
    pub fn new(deck: &'a Deck, cloth: &Cloth, mounting: &Mounting) -> Result<Self, OtherFormat> {
        same_format(deck, cloth)?;
        let selvedge = mounting.selvedge();
        let (left, right) = selvedge.split_at(mounting.left_selvedge() as usize);
        let hook = |hook: &u32| mounting.hooks()[*hook as usize];
        let mut ends = left.to_vec();
        ends.extend(mounting.ends().iter().map(hook));
        let figure = left.len()..ends.len();
        ends.extend(right);
        Ok(Woven {
            deck,
            ends,
            figure,
            wefts: cloth.wefts().len(),
            face: cloth.face(),
        })
    }

    /// How many ends there are, with those of the selvedges.
    #[must_use]
    pub fn ends(&self) -> usize {
        self.ends.len()
    }

    /// The ends that are no selvedge.
    #[must_use]
    pub fn figure(&self) -> Range<usize> {
        self.figure.clone()
    }

    /// How many picks there are: cards.
    #[must_use]
    pub fn picks(&self) -> u32 {
        self.deck.card_count()
    }

    /// The weft of this pick, from 0 in the cloth file's order.
    #[must_use]
    pub fn weft(&self, pick: u32) -> usize {
        pick as usize % self.wefts
    }

    /// The line of the paper, from 0 at the first woven, that this pick is of.
    #[must_use]
    pub fn line(&self, pick: u32) -> u32 {
        u32::try_from(pick as usize / self.wefts).unwrap_or(u32::MAX)
    }

    /// Whether the warp is up in the loom. No end is up beyond the cloth.
    #[must_use]
    pub fn is_up(&self, pick: u32, end: usize) -> bool {
        let card = self.card(pick);
        self.ends.get(end).is_some_and(|place| up(card, *place))
    }

    /// Whether the warp, not the weft, is seen there on the face.
    #[must_use]
    pub fn warp_on_face(&self, pick: u32, end: usize) -> bool {
        self.is_up(pick, end) != (self.face == Face::Down)
    }

    /// For every end of this pick, left to right, whether the warp is up in the
    /// loom.
    pub fn pick(&self, pick: u32) -> impl ExactSizeIterator<Item = bool> + '_ {
        let card = self.card(pick);
        self.ends.iter().map(move |place| up(card, *place))
    }

    /// For every end of this pick, left to right, whether the warp is seen on
    /// the face.
    pub fn pick_on_face(&self, pick: u32) -> impl ExactSizeIterator<Item = bool> + '_ {
        let turned = self.face == Face::Down;
        self.pick(pick).map(move |up| up != turned)
    }

    fn card(&self, pick: u32) -> &[Row] {
        let number = CardNumber(pick.saturating_add(1));
        self.deck.card(number).unwrap_or_default()
    }
}

/// Whether a deck is cut for the cloth's cards.
pub(super) fn same_format(deck: &Deck, cloth: &Cloth) -> Result<(), OtherFormat> {
    if deck.format().sha256() == cloth.format().sha256() {
        return Ok(());
    }
    Err(OtherFormat {
        deck: deck.format().name().to_owned(),
        cloth: cloth.format().name().to_owned(),
    })
}

fn up(card: &[Row], place: Place) -> bool {
    let row = card.get(usize::from(place.row) - 1);
    row.is_some_and(|row| row.has(place.hole))
}
