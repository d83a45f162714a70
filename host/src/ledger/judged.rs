//! From the judge's verdict to the ledger's words. Enters: what the judge
//! found. Leaves: one word and a list of faults. Refuses nothing.

use super::types::Fault;
use super::words::Verdict;
use crate::judge::{self, FaultKind, HoleFault, OutOfRegister};

/// The word and the faults under which a judged card is written down.
#[must_use]
pub fn judged(verdict: &judge::Verdict) -> (Verdict, Vec<Fault>) {
    match verdict {
        judge::Verdict::Good => (Verdict::Good, Vec::new()),
        judge::Verdict::Faulty(faults) => {
            let has = |kind| faults.iter().any(|fault| fault.kind == kind);
            let kinds = [FaultKind::Missing, FaultKind::Partial, FaultKind::Extra].map(has);
            let word = match kinds {
                [true, false, false] => Verdict::Missing,
                [false, true, false] => Verdict::Partial,
                // A list without any fault is not a good card either.
                [false, false, _] => Verdict::Extra,
                _ => Verdict::Mixed,
            };
            (word, faults.iter().map(at_hole).collect())
        }
        judge::Verdict::OutOfRegister(found) => (Verdict::OutOfRegister, out_of_register(found)),
        judge::Verdict::Interrupted { .. } => (Verdict::Interrupted, Vec::new()),
        judge::Verdict::Unread(reason) => {
            let note = reason.to_string();
            let fault = Fault {
                kind: "unread".to_string(),
                note,
                ..Fault::default()
            };
            (Verdict::Unread, vec![fault])
        }
    }
}

fn at_hole(fault: &HoleFault) -> Fault {
    Fault {
        kind: fault.kind.to_string(),
        stroke: Some(fault.stroke),
        row: fault.row,
        hole: Some(fault.hole),
        measured: Some(f64::from(fault.open_permille)),
        measured_in: "open permille".to_string(),
        note: String::new(),
    }
}

fn out_of_register(found: &OutOfRegister) -> Vec<Fault> {
    let kind = || Verdict::OutOfRegister.word().to_string();
    let whole = |value: Option<i32>, measured_in: &str, note: &str| {
        value.map(|value| Fault {
            kind: kind(),
            measured: Some(f64::from(value)),
            measured_in: measured_in.to_string(),
            note: note.to_string(),
            ..Fault::default()
        })
    };
    let worst = (!found.strokes.is_empty()).then_some(found.worst_um);
    let wholes = [
        whole(worst, "um", "the row that lies farthest from its place"),
        whole(found.length_off_um, "um", "measured less nominal length"),
        whole(found.offset_um, "um", "shift of the whole card"),
        whole(found.stretch_ppm, "ppm", "stretch of the whole card"),
    ];
    let rows = found.strokes.iter().map(|stroke| Fault {
        kind: kind(),
        stroke: Some(*stroke),
        ..Fault::default()
    });
    wholes
        .into_iter()
        .flatten()
        .chain(rows)
        .chain(found.faults.iter().map(at_hole))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(kind: FaultKind) -> HoleFault {
        HoleFault {
            stroke: 5,
            row: Some(4),
            hole: 3,
            kind,
            open_permille: 12,
            offset_um: 0,
        }
    }

    #[test]
    fn nothing_but_good_becomes_good() {
        use judge::Verdict::{Faulty, Good, Interrupted};
        let (missing, extra) = (fault(FaultKind::Missing), fault(FaultKind::Extra));
        let partial = fault(FaultKind::Partial);
        let cases = [
            (Good, Verdict::Good, 0),
            (Faulty(vec![missing]), Verdict::Missing, 1),
            (Faulty(vec![partial]), Verdict::Partial, 1),
            (Faulty(vec![partial, missing]), Verdict::Mixed, 2),
            (Faulty(vec![extra]), Verdict::Extra, 1),
            (Faulty(vec![missing, extra]), Verdict::Mixed, 2),
            (Faulty(vec![]), Verdict::Extra, 0),
            (Interrupted { strokes: 3 }, Verdict::Interrupted, 0),
            (
                judge::Verdict::Unread(judge::UnreadReason::BadStrokes),
                Verdict::Unread,
                1,
            ),
        ];
        for (given, word, faults) in cases {
            let found = judged(&given);
            assert_eq!((found.0, found.1.len()), (word, faults), "{given:?}");
        }
    }

    #[test]
    fn every_measure_out_of_register_is_kept() {
        let found = OutOfRegister {
            worst_um: -1200,
            strokes: vec![7, 8],
            length_off_um: Some(950),
            faults: vec![fault(FaultKind::Missing)],
            ..OutOfRegister::default()
        };
        let (word, faults) = judged(&judge::Verdict::OutOfRegister(found));
        assert_eq!(word, Verdict::OutOfRegister);
        let measured: Vec<_> = faults
            .iter()
            .map(|fault| (fault.stroke, fault.measured))
            .collect();
        let wanted = [
            (None, Some(-1200.0)),
            (None, Some(950.0)),
            (Some(7), None),
            (Some(8), None),
            (Some(5), Some(12.0)),
        ];
        assert_eq!(measured, wanted);
    }
}
