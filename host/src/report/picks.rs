//! The picks. Enters: a piece's records and its sessions. Leaves: every pick with the
//! time since the one before it, which were taken out again, and the stops.

use super::records::{Decided, Entry, Pick, What};
use super::sessions::Session;
use crate::ledger::UnixMillis;
use serde::Serialize;

/// A rest is so many times as long as the middle pick,
const REST_PICKS: i64 = 3;
/// and so long: less is a thread mended or a quill changed in passing (both common
/// practice, no source).
const REST_MS: i64 = 20_000;

/// A pick that was woven.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WovenPick {
    /// Its number in the plan, from 1.
    pub pick: u64,
    /// When.
    pub at: UnixMillis,
    /// The session's number, from 1.
    pub session: usize,
    /// The section of the plan.
    pub section: String,
    /// The deck and the card; none for a ground pick.
    pub deck: Option<String>,
    /// The card.
    pub card: Option<u32>,
    /// The weft, if the plan names it.
    pub weft: Option<String>,
    /// Picks in the cloth then.
    pub in_cloth: Option<i64>,
    /// Length by the sett, in millimetres.
    pub length_mm: Option<f64>,
    /// Length by the take-up sensor, in millimetres.
    pub take_up_mm: Option<f64>,
    /// Since the pick before in this session, without pauses, in milliseconds. None
    /// for the first, and for one that was woven while the program was off.
    pub since_ms: Option<i64>,
    /// That time was a rest.
    pub after_rest: bool,
    /// It was taken out again.
    pub taken_out: bool,
    /// It was woven while the program was off, and counted afterwards.
    pub caught_up: bool,
}

impl WovenPick {
    fn new(pick: &Pick, at: UnixMillis, session: &Session) -> WovenPick {
        WovenPick {
            pick: pick.pick.saturating_add(1),
            at,
            session: session.session,
            section: pick.section.clone(),
            deck: pick.deck.clone(),
            card: pick.card,
            weft: pick.weft.clone(),
            in_cloth: pick.in_cloth,
            length_mm: pick.length_mm,
            take_up_mm: pick.take_up_mm,
            since_ms: None,
            after_rest: false,
            taken_out: false,
            caught_up: at < session.began,
        }
    }

    /// The time that this pick took, if it was no rest.
    #[must_use]
    pub fn took_ms(&self) -> Option<i64> {
        self.since_ms.filter(|_| !self.after_rest)
    }
}

/// A rest at the loom that was no pause.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stop {
    /// The session's number, from 1.
    pub session: usize,
    /// From when on.
    pub from: UnixMillis,
    /// Until when.
    pub to: UnixMillis,
    /// How long, pauses within it left out, in milliseconds.
    pub ms: i64,
    /// The pick of the plan that was woven after it, from 1.
    pub before_pick: u64,
}

/// The middle one; of an even number, the mean of the two in the middle.
pub(super) fn median(mut all: Vec<i64>) -> Option<f64> {
    all.sort_unstable();
    let upper = *all.get(all.len() / 2)?;
    let lower = *all.get((all.len() - 1) / 2)?;
    Some((upper as f64 + lower as f64) / 2.0)
}

/// Every pick, in the order in which they were written down. `next` is the pick of the
/// plan that is next now, from 0.
pub(super) fn picks(
    entries: &[Entry],
    sessions: &[Session],
    of_entry: &[usize],
    next: Option<u64>,
) -> Vec<WovenPick> {
    let mut picks: Vec<WovenPick> = Vec::new();
    for (entry, session) in entries.iter().zip(of_entry) {
        let (What::Pick(pick), Some(session)) = (&entry.what, sessions.get(*session)) else {
            continue;
        };
        let mut woven = WovenPick::new(pick, entry.at, session);
        let before = picks
            .last()
            .filter(|last| last.session == woven.session && !last.caught_up && !woven.caught_up);
        woven.since_ms = before.map(|before| {
            let paused = session.paused_within(before.at.0, woven.at.0);
            (woven.at.0 - before.at.0 - paused).max(0)
        });
        picks.push(woven);
    }
    take_out(entries, &mut picks, next);
    picks
}

/// From how long on a time between two picks is a rest.
pub(super) fn rest_ms(picks: &[WovenPick]) -> i64 {
    let middle = median(picks.iter().filter_map(|pick| pick.since_ms).collect());
    let long = middle.map_or(0, |ms| (ms * REST_PICKS as f64) as i64);
    long.max(REST_MS)
}

/// Marks the rests, and lists them.
pub(super) fn stops(picks: &mut [WovenPick]) -> Vec<Stop> {
    let rest = rest_ms(picks);
    let mut stops = Vec::new();
    let mut before = None;
    for pick in picks {
        let last = before.replace(pick.at);
        let Some(ms) = pick.since_ms.filter(|ms| *ms > rest) else {
            continue;
        };
        pick.after_rest = true;
        stops.push(Stop {
            session: pick.session,
            from: last.unwrap_or(pick.at),
            to: pick.at,
            ms,
            before_pick: pick.pick,
        });
    }
    stops
}

/// What the weaver took out again: the picks woven last, down to the one that was next
/// then. Picks beaten beside the plan come out first and are none of these.
#[derive(Default)]
struct TakingOut {
    standing: Vec<usize>,
    said: u64,
    left_out: u64,
}

impl TakingOut {
    /// So many of the plan's picks came out.
    fn take(&mut self, picks: &mut [WovenPick], many: u32) {
        for _ in 0..many {
            let last = self.standing.pop().and_then(|place| picks.get_mut(place));
            let Some(last) = last else { return };
            last.taken_out = true;
        }
    }

    fn settle(&mut self, picks: &mut [WovenPick], next: u64) {
        let next = next.saturating_sub(std::mem::take(&mut self.left_out));
        let mut said = std::mem::take(&mut self.said);
        while said > 0 {
            let last = self.standing.last().and_then(|place| picks.get_mut(*place));
            // numbers there are from 1
            let Some(last) = last.filter(|last| last.pick > next) else {
                break;
            };
            last.taken_out = true;
            self.standing.pop();
            said -= 1;
        }
    }
}

fn take_out(entries: &[Entry], picks: &mut [WovenPick], next: Option<u64>) {
    let mut out = TakingOut::default();
    let mut place = 0;
    for entry in entries {
        match &entry.what {
            What::Pick(pick) => {
                out.settle(picks, pick.pick);
                out.standing.push(place);
                place += 1;
            }
            What::Began(at) | What::Left(at) => out.settle(picks, at.next),
            What::Decided(Decided::Unwove {
                picks: many,
                beside: Some(beside),
            }) => out.take(picks, many.saturating_sub(*beside)),
            What::Decided(Decided::Unwove { picks, .. }) => out.said += u64::from(*picks),
            // the plan goes elsewhere, so what is next says no more what came out
            What::Decided(Decided::NextIs { .. }) => out.settle(picks, 0),
            What::Decided(Decided::Fault { choice, .. }) if out.said > 0 => match choice.as_str() {
                "leave_out" => out.left_out += 1,
                "go_on_from_here" => out.settle(picks, 0),
                _ => {}
            },
            _ => {}
        }
    }
    out.settle(picks, next.unwrap_or(0));
}
