//! A draft laid on cards: which hook each shaft, or each end, is, and what it does.
//!
//! Enters: a [`Draft`] and how it is to be laid. Leaves: a deck, one card a pick.
//! Refuses: more hooks than the format has in use, and a threading that the deck
//! would lose.

use super::faults::{DraftError, DraftFault, shafts};
use super::ini::Wrong;
use super::numbers::{Count, Set};
use super::read::{Draft, Threading};
use crate::deck::paper::{PaperSettings, Squares, lay_out};
use crate::deck::{CardFormat, Cut, Cutting, Deck, Design, FirstPick, SpareRow};

/// What one hook works.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Hooks {
    /// One shaft: hook 1 is shaft 1. The threading must be straight.
    #[default]
    Shafts,
    /// One end: hook 1 is end 1, lifted with the shafts it is threaded on.
    Ends,
}

/// How a draft is laid on cards.
#[derive(Clone, Debug, PartialEq)]
pub struct Laying {
    /// The card format.
    pub format: CardFormat,
    /// What one hook works.
    pub hooks: Hooks,
    /// What becomes of the spare row.
    pub spare_row: SpareRow,
}

impl Draft {
    /// The deck of this draft, one card a pick, pick 1 first. The hooks stand on
    /// the card as those of a picture do; hooks beyond the last stay down.
    ///
    /// # Errors
    /// The draft does not fit the format, or its threading would be lost.
    pub fn deck(&self, laying: &Laying) -> Result<Deck, DraftError> {
        let refused = |(line, fault)| DraftError {
            file: self.file.clone(),
            line,
            fault,
        };
        let settings = PaperSettings {
            format: laying.format.clone(),
            cut: Cut::Black,
            first_pick: FirstPick::Bottom,
            spare_row: laying.spare_row,
        };
        let on = self.hooks(laying.hooks, &settings).map_err(refused)?;
        let hooks = u32::try_from(on.len()).unwrap_or(u32::MAX);
        let lifted = |pick| on.iter().map(self.shed(pick));
        let painted = (1..=self.picks()).flat_map(lifted).collect();
        let squares = Squares::new(hooks, painted);
        let cards = squares.map(|squares| lay_out(&squares, &settings));
        let name = |name: Option<&std::ffi::OsStr>| {
            name.map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default()
        };
        let design = Design {
            file: name(self.file.file_name()),
            sha256: self.sha256.clone(),
            hooks,
            picks: self.picks(),
            first_pick: settings.first_pick,
        };
        let cutting = Cutting {
            cut: settings.cut,
            spare_row: settings.spare_row,
        };
        Deck::new(
            name(self.file.file_stem()),
            settings.format,
            Some(design),
            cutting,
            cards.unwrap_or_default(),
        )
        .map_err(|fault| refused((None, DraftFault::Cards(fault))))
    }

    /// The shafts that each hook goes with.
    fn hooks(&self, hooks: Hooks, settings: &PaperSettings) -> Result<Vec<Set>, Wrong> {
        match hooks {
            Hooks::Shafts => {
                room("shafts", self.shafts, settings)?;
                if let Some(threading) = &self.threading {
                    straight(threading)?;
                }
                Ok((1..=self.shafts()).map(Set::only).collect())
            }
            Hooks::Ends => {
                let lost = (None, DraftFault::NoThreading);
                let threading = self.threading.as_ref().ok_or(lost)?;
                room("ends", threading.ends, settings)?;
                let on = |end| threading.table.get(&end).map(|(on, _)| *on);
                let ends = 1..=threading.ends.count;
                Ok(ends.map(|end| on(end).unwrap_or_default()).collect())
            }
        }
    }
}

fn room(what: &'static str, found: Count, settings: &PaperSettings) -> Result<(), Wrong> {
    if found.count <= settings.hooks() {
        return Ok(());
    }
    let fault = DraftFault::TooWide {
        what,
        found: found.count,
        format: settings.format.name().to_owned(),
        room: settings.hooks(),
        spare: settings.blank_row(),
        spare_helps: found.count <= settings.format.needles(),
    };
    Err((found.line, fault))
}

/// Refuses a threading that does not run 1, 2, 3 and so on to its last shaft, over
/// and over.
fn straight(threading: &Threading) -> Result<(), Wrong> {
    let table = &threading.table;
    let repeat = table.values().filter_map(|(on, _)| on.last()).max();
    let repeat = repeat.unwrap_or(1);
    for end in 1..=threading.ends.count {
        let wanted = (end - 1) % repeat + 1;
        let (on, line) = match table.get(&end) {
            Some((on, line)) => (*on, *line),
            None => (Set::default(), threading.line),
        };
        if on != Set::only(wanted) {
            let fault = DraftFault::NotStraight {
                end,
                found: shafts(on.numbers()),
                straight: wanted,
            };
            return Err((Some(line), fault));
        }
    }
    Ok(())
}
