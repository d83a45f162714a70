//! What was woven: the report on a piece, its tables and its plot; pure.
//!
//! Enters: a piece and its records, as the ledger has them. Leaves: a [`Report`], its
//! rows for other programs, and a page with the pace, the faults and the length. Refuses:
//! a record that lacks what every such record has, and a plot of a piece without picks.
//! Picks are told as a weaver counts them, from 1.

mod faults;
mod length;
mod pace;
mod picks;
mod plot;
mod records;
mod sessions;
mod table;
pub mod words;

pub use faults::{FaultSeen, FaultsOfKind, Said};
pub use length::{Length, Stretch, Unit};
pub use pace::{Pace, TenMinutes};
pub use picks::{Stop, WovenPick};
pub use plot::plot;
pub use sessions::{Session, SessionEnd};
pub use table::{ReportTable, columns, csv};

use crate::ledger::{PieceNumber, PieceRow, UnixMillis, WeavingRow};
use records::{Entry, What};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Why there is no report, or no plot.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A record is not as this program writes it.
    #[error(
        "record {record} of piece {piece} ({kind}, {at}) cannot be read: {cause}; use the newer cardwright that wrote it, or see the record as it is with `cardwright ledger export --format csv --table weaving`"
    )]
    Unreadable {
        /// The piece.
        piece: u32,
        /// The record, from 1, in the order of the table.
        record: usize,
        /// What it is about.
        kind: &'static str,
        /// When.
        at: UnixMillis,
        /// What is wrong with it.
        cause: String,
    },
    /// Nothing to be drawn.
    #[error("piece {0} has no picks yet, so there is nothing to plot; weave first")]
    NoPicks(u32),
}

/// Picks of a weft.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WeftUsed {
    /// Its name; none for picks whose weft the plan does not name.
    pub weft: Option<String>,
    /// Picks woven with it.
    pub picks: usize,
    /// Of these, picks taken out again.
    pub taken_out: usize,
}

/// Cards of a deck.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeckUsed {
    /// The deck's name.
    pub deck: String,
    /// Picks woven with a card of it.
    pub picks: usize,
    /// How many of its cards.
    pub cards: usize,
}

/// Sums over the piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sums {
    /// Picks woven.
    pub picks: usize,
    /// Of these, picks taken out again.
    pub taken_out: usize,
    /// Of these, picks that were woven while the program was off and counted later.
    pub caught_up: usize,
    /// Picks in the cloth, with those that lie in it beside the plan.
    pub in_cloth: i64,
    /// Picks woven with a card.
    pub carded: usize,
    /// At the loom, without pauses, in milliseconds.
    pub at_loom_ms: i64,
    /// In pauses, in milliseconds.
    pub paused_ms: i64,
    /// From pick to pick without the stops, in milliseconds.
    pub weaving_ms: i64,
    /// In stops, in milliseconds.
    pub stopped_ms: i64,
    /// Longer than this between two picks is a stop, in milliseconds.
    pub rest_ms: i64,
    /// Faults still open.
    pub open_faults: usize,
}

/// The report on a piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The piece.
    pub piece: PieceNumber,
    /// The plan's name.
    pub name: String,
    /// When it was begun.
    pub began: UnixMillis,
    /// When it was done, or left for another; none while it is on the loom.
    pub ended: Option<UnixMillis>,
    /// It was left unfinished: another was begun in its stead.
    pub left: bool,
    /// Sums.
    pub sums: Sums,
    /// The pace.
    pub pace: Pace,
    /// The lengths.
    pub length: Length,
    /// Every pick.
    pub picks: Vec<WovenPick>,
    /// The sessions.
    pub sessions: Vec<Session>,
    /// The stops.
    pub stops: Vec<Stop>,
    /// The faults.
    pub faults: Vec<FaultSeen>,
    /// The faults by kind.
    pub kinds: Vec<FaultsOfKind>,
    /// What the weaver decided.
    pub decisions: Vec<Said>,
    /// What was noted.
    pub notes: Vec<Said>,
    /// The wefts.
    pub wefts: Vec<WeftUsed>,
    /// The decks.
    pub decks: Vec<DeckUsed>,
}

impl Report {
    /// The report on a piece with these records, in the order they were written.
    ///
    /// # Errors
    /// [`ReportError::Unreadable`].
    pub fn of(piece: &PieceRow, rows: &[WeavingRow]) -> Result<Report, ReportError> {
        let entries = records::entries(rows)?;
        let (mut sessions, of_entry) = sessions::split(&entries);
        let next = place(piece, "next").and_then(|next| u64::try_from(next).ok());
        let mut picks = picks::picks(&entries, &sessions, &of_entry, next);
        let stops = picks::stops(&mut picks);
        let faults = faults::faults(&entries, &sessions, &of_entry);
        for session in &mut sessions {
            sum_up(session, &picks, &stops, &faults);
        }
        let sums = sums(piece, &entries, &picks, &sessions, &faults);
        let (decisions, notes) = faults::said(&entries, &of_entry, &faults);
        Ok(Report {
            piece: piece.piece,
            name: piece.name.clone(),
            began: piece.began,
            ended: piece.ended,
            left: piece.is_left(),
            pace: pace::pace(&picks),
            length: length::length(&picks, sums.in_cloth, Unit::of_plan(&piece.plan)),
            sums,
            kinds: faults::by_kind(&faults),
            wefts: wefts(&picks),
            decks: decks(&picks),
            picks,
            sessions,
            stops,
            faults,
            decisions,
            notes,
        })
    }
}

/// A number of where the piece stands.
fn place(piece: &PieceRow, name: &str) -> Option<i64> {
    piece.place.get("place")?.get(name)?.as_i64()
}

fn sum_up(session: &mut Session, picks: &[WovenPick], stops: &[Stop], faults: &[FaultSeen]) {
    let number = session.session;
    let own: Vec<&WovenPick> = picks.iter().filter(|p| p.session == number).collect();
    session.picks = own.len();
    session.taken_out = own.iter().filter(|pick| pick.taken_out).count();
    session.weaving_ms = own.iter().filter_map(|pick| pick.took_ms()).sum();
    session.picks_a_minute = pace::median_pace(own.into_iter());
    let stops = stops.iter().filter(|stop| stop.session == number);
    session.stopped_ms = stops.clone().map(|stop| stop.ms).sum();
    session.stops = stops.count();
    session.faults = faults.iter().filter(|f| f.session == number).count();
}

fn sums(
    piece: &PieceRow,
    entries: &[Entry],
    picks: &[WovenPick],
    sessions: &[Session],
    faults: &[FaultSeen],
) -> Sums {
    let taken_out = picks.iter().filter(|pick| pick.taken_out).count();
    let written = entries.iter().rev().find_map(|entry| match &entry.what {
        What::Began(place) | What::Left(place) => Some(place.in_cloth),
        What::Pick(pick) => pick.in_cloth,
        _ => None,
    });
    let counted = place(piece, "in_cloth").or(written).unwrap_or_default();
    let beside = place(piece, "stray").unwrap_or_default();
    let of_sessions = |ms: fn(&Session) -> i64| sessions.iter().map(ms).sum();
    Sums {
        picks: picks.len(),
        taken_out,
        caught_up: picks.iter().filter(|pick| pick.caught_up).count(),
        in_cloth: counted.saturating_add(beside),
        carded: picks.iter().filter(|pick| pick.card.is_some()).count(),
        at_loom_ms: of_sessions(|session| session.at_loom_ms),
        paused_ms: of_sessions(|session| session.paused_ms),
        weaving_ms: of_sessions(|session| session.weaving_ms),
        stopped_ms: of_sessions(|session| session.stopped_ms),
        rest_ms: picks::rest_ms(picks),
        open_faults: faults.iter().filter(|f| f.righted.is_none()).count(),
    }
}

fn wefts(picks: &[WovenPick]) -> Vec<WeftUsed> {
    let mut used: Vec<WeftUsed> = Vec::new();
    for pick in picks {
        let place = used.iter().position(|weft| weft.weft == pick.weft);
        let place = place.unwrap_or_else(|| {
            used.push(WeftUsed {
                weft: pick.weft.clone(),
                picks: 0,
                taken_out: 0,
            });
            used.len() - 1
        });
        if let Some(weft) = used.get_mut(place) {
            weft.picks += 1;
            weft.taken_out += usize::from(pick.taken_out);
        }
    }
    used
}

fn decks(picks: &[WovenPick]) -> Vec<DeckUsed> {
    let mut used: BTreeMap<&str, (usize, BTreeSet<u32>)> = BTreeMap::new();
    for pick in picks {
        if let Some(card) = pick.card {
            let deck = used.entry(pick.deck.as_deref().unwrap_or_default());
            let (picks, cards) = deck.or_default();
            *picks += 1;
            cards.insert(card);
        }
    }
    let row = |(deck, (picks, cards)): (&str, (usize, BTreeSet<u32>))| DeckUsed {
        deck: deck.to_string(),
        picks,
        cards: cards.len(),
    };
    used.into_iter().map(row).collect()
}
