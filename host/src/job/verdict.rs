//! From the judge's verdict to the ledger's record and the person's news.

use cardwright_protocol::unit_to_host::CardEnded;
use cardwright_protocol::{CardId, CardNumber};

use super::Kind;
use super::news::{FaultPlace, News};
use crate::judge::{Reading, Report};
use crate::ledger::{self, EndedAttempt, Readings, UnixMillis, judged};

/// The record of a card that was read.
pub(crate) fn record_read(report: &Report, reading: Reading, at: UnixMillis) -> EndedAttempt {
    let CardEnded {
        id,
        place,
        strokes,
        lines,
        length_um,
        ..
    } = reading.ended;
    let Reading {
        began,
        holes,
        samples,
        ..
    } = reading;
    let (verdict, faults) = judged(&report.verdict);
    EndedAttempt {
        id,
        verdict,
        faults,
        strokes_made: strokes,
        lines,
        length_um,
        place: Some(place),
        readings: Some(Readings {
            holes,
            dark: began.dark,
            open: began.open,
            samples,
        }),
        punches: Vec::new(),
        ended: at,
    }
}

/// The record of a card of which nothing was read.
pub(crate) fn record_unread(
    id: CardId,
    verdict: ledger::Verdict,
    ended: Option<CardEnded>,
    at: UnixMillis,
) -> EndedAttempt {
    EndedAttempt {
        id,
        verdict,
        faults: Vec::new(),
        strokes_made: ended.map_or(0, |end| end.strokes),
        lines: ended.map_or(0, |end| end.lines),
        length_um: ended.map_or(0, |end| end.length_um),
        place: ended.map(|end| end.place),
        readings: None,
        punches: Vec::new(),
        ended: at,
    }
}

/// What a person is told of a card that was read.
pub(super) fn news_of(report: &Report, id: CardId, place: u32) -> News {
    News::Card {
        card: id.card,
        attempt: id.attempt,
        place: Some(place),
        verdict: report.verdict.word().to_string(),
        summary: report.summary.clone(),
        remedy: report.remedy.clone(),
        faults: faults(report),
    }
}

/// What a person is told of this card, which lies at another one's place.
pub(super) fn elsewhere(report: &Report, card: CardNumber, place: u32) -> News {
    News::Elsewhere {
        card,
        place: Some(place),
        verdict: report.verdict.word().to_string(),
        summary: report.summary.clone(),
        remedy: report.remedy.clone(),
        faults: faults(report),
    }
}

fn faults(report: &Report) -> Vec<FaultPlace> {
    let faults = report.verdict.faults().iter();
    faults.map(FaultPlace::from).collect()
}

/// What a person is told of a card of which nothing was read.
pub(super) fn news_unread(
    kind: Kind,
    id: CardId,
    verdict: ledger::Verdict,
    place: Option<u32>,
) -> News {
    let (summary, remedy) = match verdict {
        ledger::Verdict::NotBegun => ("it never entered the rig", ""),
        ledger::Verdict::Unread if matches!(kind, Kind::Verify | Kind::Read) => (
            "it was in the rig when the rig stopped, and was not read",
            "look whether it is torn, and read it again before it is trusted",
        ),
        ledger::Verdict::Unread => (
            "it was cut, and its reading was lost",
            "take it out; it is cut again, or verify it before it is trusted",
        ),
        _ => (
            "it was in the rig when the rig stopped",
            "take it out and throw it away; it is cut again on fresh stock",
        ),
    };
    News::Card {
        card: id.card,
        attempt: id.attempt,
        place,
        verdict: verdict.word().to_string(),
        summary: summary.to_string(),
        remedy: remedy.to_string(),
        faults: Vec::new(),
    }
}
