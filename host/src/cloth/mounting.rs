//! A cloth mounted for a paper of some width: which hooks work, what each does.
//!
//! Enters: a [`Cloth`] and the columns of a paper. Leaves: the place on the
//! card and the column of each hook, the hook of each end. Refuses: a paper
//! that does not go whole times into the hooks, a tie that does not fit them.

use super::hooks::{self, CastOut, Place, Side};
use super::tie::TieFault;
use super::{Cloth, Spare};
use crate::deck::Deck;
use crate::words::counted;
use std::collections::BTreeSet;

/// Why a paper cannot be woven on this mounting.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MountingFault {
    /// The paper is wider than the hooks.
    #[error(
        "the paper has {}, and the cloth has {} in use; make the paper at most {hooks} wide, or choose a larger card format",
        counted(*columns, "column"),
        counted(*hooks, "hook")
    )]
    TooWide {
        /// Columns of the paper.
        columns: u32,
        /// Hooks in use.
        hooks: u32,
    },
    /// It does not go whole times into them.
    #[error(
        "the paper has {} {} into the {} in use and leave {over}; {remedy}",
        match columns {
            1 => "1 column, which goes".to_owned(),
            columns => format!("{columns} columns, which go"),
        },
        match times {
            1 => "once".to_owned(),
            times => format!("{times} times"),
        },
        counted(*hooks, "hook")
    )]
    Undivided {
        /// Columns of the paper.
        columns: u32,
        /// Hooks in use.
        hooks: u32,
        /// How often it goes in.
        times: u32,
        /// Hooks left over.
        over: u32,
        /// What would make it divide.
        remedy: String,
    },
    /// The tie does not fit.
    #[error(transparent)]
    Tie(#[from] TieFault),
}

/// A cloth with its hooks in use, for a paper of some width.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mounting {
    columns: u32,
    hooks: Vec<Place>,
    cast_out: BTreeSet<Place>,
    /// The hook of each end of the figure.
    ends: Vec<u32>,
    /// The place of each selvedge end, left ones first.
    selvedge: Vec<Place>,
    left_selvedge: u32,
}

impl Cloth {
    /// The hooks in use for a paper of so many columns, and what is cast out
    /// for it.
    fn hooks_for(&self, columns: u32) -> (Vec<Place>, BTreeSet<Place>) {
        let cast_out = match &self.cast_out {
            CastOut::None => BTreeSet::new(),
            CastOut::Places(places) => places.clone(),
            CastOut::Auto => {
                let all = self.hooks_of_card();
                let over = match self.hooks {
                    Some(hooks) => all - hooks,
                    None if columns <= all => all % columns.max(1),
                    None => 0,
                };
                hooks::cast_out_over(&self.format, self.row_kept_out(), over)
            }
        };
        let kept_out = self.row_kept_out();
        let places = hooks::in_use(&self.format, kept_out, &cast_out, self.first_end);
        (places, cast_out)
    }

    /// The mounting for a paper of so many columns. A narrower paper is
    /// repeated over the hooks.
    ///
    /// # Errors
    /// The paper does not go whole times into the hooks, or the tie does not
    /// fit them.
    pub fn mounting(&self, columns: u32) -> Result<Mounting, MountingFault> {
        let (places, cast_out) = self.hooks_for(columns);
        let hooks = u32::try_from(places.len()).unwrap_or(u32::MAX);
        if columns == 0 || columns > hooks {
            return Err(MountingFault::TooWide { columns, hooks });
        }
        if !hooks.is_multiple_of(columns) {
            return Err(self.undivided(columns, hooks));
        }
        let ends = self.tie.ends(hooks, self.sett.ends_per_hook)?;
        let (selvedge, left_selvedge) = self.selvedge_places();
        Ok(Mounting {
            columns,
            hooks: places,
            cast_out,
            ends,
            selvedge,
            left_selvedge,
        })
    }

    /// The columns of the widest paper: all hooks in use, none but those named
    /// cast out.
    #[must_use]
    pub fn widest(&self) -> u32 {
        let columns = self.hooks.unwrap_or(self.hooks_of_card());
        let (places, _) = self.hooks_for(columns);
        u32::try_from(places.len()).unwrap_or(u32::MAX)
    }

    /// The columns of the paper that this deck was made of; of a deck that was not made
    /// with a cloth file, the widest paper's.
    #[must_use]
    pub fn columns_of(&self, deck: &Deck) -> u32 {
        match (deck.cloth(), deck.design()) {
            (Some(_), Some(design)) => design.hooks,
            _ => self.widest(),
        }
    }

    fn undivided(&self, columns: u32, hooks: u32) -> MountingFault {
        let (times, over) = (hooks / columns, hooks % columns);
        let remedy = match self.cast_out {
            CastOut::Auto => "mend hooks, or leave it out",
            _ => "write cast_out = \"auto\" to leave them idle",
        };
        MountingFault::Undivided {
            columns,
            hooks,
            times,
            over,
            remedy: format!("{remedy}, or make the paper {hooks} wide"),
        }
    }

    fn selvedge_places(&self) -> (Vec<Place>, u32) {
        let (Spare::Selvedge(selvedge), Some(row)) = (&self.spare, self.format.spare_row()) else {
            return (Vec::new(), 0);
        };
        let mut holes: Vec<u8> = (1..=self.format.holes_per_row()).collect();
        if self.first_end.hole == Side::Last {
            holes.reverse();
        }
        let ends = (selvedge.left + selvedge.right) as usize;
        let places = holes.into_iter().cycle().map(|hole| Place { row, hole });
        (places.take(ends).collect(), selvedge.left)
    }
}

impl Mounting {
    /// Columns of the paper.
    #[must_use]
    pub fn columns(&self) -> u32 {
        self.columns
    }

    /// How often the paper lies side by side over the hooks.
    #[must_use]
    pub fn repeats(&self) -> u32 {
        self.hook_count() / self.columns
    }

    /// The place on the card of each hook in use, from the corner where the tie
    /// begins. Hook `n`, from 0, works column `n` modulo the columns.
    #[must_use]
    pub fn hooks(&self) -> &[Place] {
        &self.hooks
    }

    /// How many hooks are in use.
    #[must_use]
    pub fn hook_count(&self) -> u32 {
        u32::try_from(self.hooks.len()).unwrap_or(u32::MAX)
    }

    /// The places that stay solid because they are cast out.
    #[must_use]
    pub fn cast_out(&self) -> &BTreeSet<Place> {
        &self.cast_out
    }

    /// The hook, from 0, of each end of the figure from left to right.
    #[must_use]
    pub fn ends(&self) -> &[u32] {
        &self.ends
    }

    /// The place of each selvedge end, those of the left selvedge first.
    #[must_use]
    pub fn selvedge(&self) -> &[Place] {
        &self.selvedge
    }

    /// The holes of the spare row that work them, each once.
    pub(super) fn selvedge_holes(&self) -> impl Iterator<Item = Place> + '_ {
        let first = self.selvedge.first().copied();
        let again = move |(number, place): &(usize, &Place)| *number > 0 && Some(**place) == first;
        let once = self.selvedge.iter().enumerate();
        once.take_while(move |place| !again(place))
            .map(|(_, place)| *place)
    }

    /// How many of them are at the left.
    #[must_use]
    pub fn left_selvedge(&self) -> u32 {
        self.left_selvedge
    }
}
