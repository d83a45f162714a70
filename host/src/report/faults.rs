//! Faults and decisions. Enters: a piece's records with their sessions. Leaves: each
//! fault with how and when it was righted, sums by kind, decisions and notes in words.

use super::picks::median;
use super::records::{Decided, Entry, Fault, What};
use super::sessions::Session;
use crate::ledger::UnixMillis;
use crate::weave::words::turned;
use crate::words::counted;
use serde::Serialize;

/// A fault that was seen at the loom.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FaultSeen {
    /// Its number in the piece.
    pub fault: u32,
    /// The pick of the plan that was to be woven, from 1.
    pub pick: u64,
    /// When.
    pub at: UnixMillis,
    /// The session's number, from 1.
    pub session: usize,
    /// What kind of fault, as a name.
    pub kind: String,
    /// What kind of fault, in words.
    pub words: String,
    /// How it showed.
    pub evidence: String,
    /// What was to be done.
    pub remedy: String,
    /// What the weaver decided about it.
    pub decided: Option<String>,
    /// When it was righted; none while it is open.
    pub righted: Option<UnixMillis>,
    /// By whom: `loom` or `weaver`.
    pub by: Option<String>,
    /// How long that took at the loom, nights left out, in milliseconds.
    pub after_ms: Option<i64>,
}

/// Faults of a kind.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FaultsOfKind {
    /// What kind, as a name.
    pub kind: String,
    /// What kind, in words.
    pub words: String,
    /// How many.
    pub count: usize,
    /// Righted at the loom.
    pub by_loom: usize,
    /// Righted by the weaver's word.
    pub by_weaver: usize,
    /// Still open.
    pub open: usize,
    /// The middle time until they were righted, in milliseconds.
    pub median_ms: Option<f64>,
    /// The longest, in milliseconds.
    pub longest_ms: Option<i64>,
}

/// Something that the weaver said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Said {
    /// When.
    pub at: UnixMillis,
    /// The session's number, from 1.
    pub session: usize,
    /// In words.
    pub words: String,
}

fn seen(fault: &Fault, at: UnixMillis, session: usize) -> FaultSeen {
    let (kind, words) = (fault.kind.kind.clone(), fault.words.clone());
    FaultSeen {
        fault: fault.id,
        pick: fault.pick.saturating_add(1),
        at,
        session,
        words: if words.is_empty() {
            kind.replace('_', " ")
        } else {
            words
        },
        kind,
        evidence: fault.evidence.clone(),
        remedy: fault.remedy.clone(),
        decided: None,
        righted: None,
        by: None,
        after_ms: None,
    }
}

/// Every fault, in the order in which they were written down.
pub(super) fn faults(
    entries: &[Entry],
    sessions: &[Session],
    of_entry: &[usize],
) -> Vec<FaultSeen> {
    let mut faults: Vec<FaultSeen> = Vec::new();
    for (entry, session) in entries.iter().zip(of_entry) {
        match &entry.what {
            What::Fault(fault) => faults.push(seen(fault, entry.at, session + 1)),
            What::Decided(Decided::Fault { fault, choice }) => {
                if let Some(open) = open(&mut faults, *fault) {
                    open.decided = Some(choice_words(choice));
                }
            }
            What::Righted(righted) => {
                if let Some(open) = open(&mut faults, righted.fault) {
                    open.righted = Some(entry.at);
                    open.by = Some(righted.by.clone());
                    let from = (open.session - 1, open.at.0);
                    open.after_ms = Some(at_loom(sessions, from, (*session, entry.at.0)));
                }
            }
            _ => {}
        }
    }
    faults
}

fn open(faults: &mut [FaultSeen], number: u32) -> Option<&mut FaultSeen> {
    let mut latest = faults.iter_mut().rev();
    latest.find(|fault| fault.fault == number && fault.righted.is_none())
}

/// Milliseconds from one moment to another, as far as somebody was at the loom.
fn at_loom(sessions: &[Session], from: (usize, i64), to: (usize, i64)) -> i64 {
    if from.0 == to.0 {
        return (to.1 - from.1).max(0);
    }
    let whole = |place: usize| sessions.get(place).map(|s| (s.began.0, s.ended.0));
    let first = whole(from.0).map_or(0, |(_, ended)| (ended - from.1).max(0));
    let last = whole(to.0).map_or(0, |(began, _)| (to.1 - began).max(0));
    let between: i64 = (from.0 + 1..to.0)
        .filter_map(whole)
        .map(|(began, ended)| ended - began)
        .sum();
    first + between + last
}

/// Sums by kind, in the order in which the kinds came first.
pub(super) fn by_kind(faults: &[FaultSeen]) -> Vec<FaultsOfKind> {
    let mut names: Vec<&str> = Vec::new();
    for fault in faults {
        if !names.contains(&fault.kind.as_str()) {
            names.push(&fault.kind);
        }
    }
    let of = |name: &&str| {
        let these: Vec<&FaultSeen> = faults.iter().filter(|fault| fault.kind == *name).collect();
        let by = |who: &str| {
            let righted = these
                .iter()
                .filter(|fault| fault.by.as_deref() == Some(who));
            righted.count()
        };
        let took: Vec<i64> = these.iter().filter_map(|fault| fault.after_ms).collect();
        FaultsOfKind {
            kind: (*name).to_string(),
            words: these.first().map_or_else(String::new, |f| f.words.clone()),
            count: these.len(),
            by_loom: by("loom"),
            by_weaver: by("weaver"),
            open: these.iter().filter(|fault| fault.righted.is_none()).count(),
            longest_ms: took.iter().copied().max(),
            median_ms: median(took),
        }
    };
    names.iter().map(of).collect()
}

fn choice_words(choice: &str) -> String {
    match choice {
        "only_beaten" => "it was only beaten again".to_string(),
        "was_woven" => "it was woven: the sensor missed it".to_string(),
        "leave_out" => "that pick is left out of the cloth".to_string(),
        "stands_so" => "it stands as it is".to_string(),
        "go_on_from_here" => "the cloth stays as it is; on from the card that stands".to_string(),
        other => other.replace('_', " "),
    }
}

fn decision_words(decided: &Decided, faults: &[FaultSeen]) -> String {
    match decided {
        Decided::Unwove { picks, .. } => format!("{} taken out", counted(*picks, "pick")),
        Decided::ChainReady => "the chain is laid".to_string(),
        Decided::Stands { card } => match card.get("card").unwrap_or(card).as_u64() {
            Some(card) => format!("card {card} stands"),
            None => "which card stands".to_string(),
        },
        Decided::NextIs { pick } => format!("pick {} is next", pick.saturating_add(1)),
        Decided::Fault { fault, choice } => {
            let which = faults.iter().rev().find(|seen| seen.fault == *fault);
            let which = which.map_or_else(
                || format!("fault {fault}"),
                |seen| format!("{} before pick {}", seen.words, seen.pick),
            );
            format!("{which}: {}", choice_words(choice))
        }
    }
}

/// What the weaver decided, and what was noted.
pub(super) fn said(
    entries: &[Entry],
    of_entry: &[usize],
    faults: &[FaultSeen],
) -> (Vec<Said>, Vec<Said>) {
    let (mut decisions, mut notes) = (Vec::new(), Vec::new());
    for (entry, session) in entries.iter().zip(of_entry) {
        let said = |words: String| Said {
            at: entry.at,
            session: session + 1,
            words,
        };
        match &entry.what {
            What::Decided(decided) => decisions.push(said(decision_words(decided, faults))),
            What::Caught(caught) => {
                let taken = if caught.taken { "taken" } else { "laid aside" };
                let (turned, beats) = (turned(caught.turns), counted(caught.beats, "beat"));
                decisions.push(said(format!(
                    "what was counted while the program was off was {taken} ({turned}, {beats})"
                )));
            }
            What::Note(note) => notes.push(said(note.text.clone())),
            _ => {}
        }
    }
    (decisions, notes)
}
