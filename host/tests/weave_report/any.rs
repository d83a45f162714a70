//! Pieces made by chance: whatever happened at the loom, there is a report.

use super::loom::Loom;
use super::{plain_picks, report};
use cardwright::ledger::{Ledger, WeavingKind};
use cardwright::report::plot;
use proptest::prelude::*;
use roxmltree::Document;
use serde_json::json;

/// What may happen next at a loom.
#[derive(Clone, Debug)]
enum Act {
    Weave(u64, i64),
    Wait(i64),
    Unweave(u64),
    Fault,
    Right(bool),
    Pause,
    Resume,
    Leave,
    Begin,
    ClockBack(i64),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        6 => (1u64..40, 0i64..9_000).prop_map(|(picks, ms)| Act::Weave(picks, ms)),
        2 => (0i64..200_000).prop_map(Act::Wait),
        1 => (1u64..6).prop_map(Act::Unweave),
        2 => Just(Act::Fault),
        2 => any::<bool>().prop_map(Act::Right),
        1 => Just(Act::Pause),
        1 => Just(Act::Resume),
        1 => Just(Act::Leave),
        2 => Just(Act::Begin),
        1 => (0i64..100_000).prop_map(Act::ClockBack),
    ]
}

fn done(acts: &[Act]) -> (Loom, u64, bool) {
    let mut loom = Loom::new();
    let (mut out, mut faults, mut back) = (0, 0, false);
    for act in acts {
        match act {
            Act::Weave(picks, ms) => loom.weave(*picks, *ms, 1.05),
            Act::Wait(ms) => loom.wait(*ms),
            Act::Unweave(picks) if *picks <= loom.next => {
                out += picks;
                loom.unweave(*picks);
            }
            Act::Unweave(_) => {}
            Act::Fault => faults = loom.fault("no_weft", "no weft"),
            Act::Right(by_loom) => loom.righted(faults, if *by_loom { "loom" } else { "weaver" }),
            Act::Pause => loom.say(WeavingKind::Paused, json!({})),
            Act::Resume => loom.say(WeavingKind::Resumed, json!({})),
            Act::Leave => loom.leave(),
            Act::Begin => loom.begin(),
            Act::ClockBack(ms) => {
                back |= *ms > 0;
                loom.now -= ms;
            }
        }
    }
    (loom, out, back)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever happened, and whatever the computer's clock did, there is a report
    /// whose parts agree with one another, and a page with every fault.
    #[test]
    fn any_piece_has_a_report(acts in prop::collection::vec(act(), 0..40)) {
        let (loom, out, back) = done(&acts);
        let (in_cloth, next) = (loom.in_cloth, loom.next);
        let dir = tempfile::tempdir().expect("a directory");
        let mut ledger = Ledger::open(dir.path()).expect("a ledger");
        loom.keep(&mut ledger, "any").expect("kept");
        drop(ledger);
        let (report, rows) = report(dir.path(), 1).expect("a report");
        let sums = &report.sums;
        prop_assert_eq!(sums.picks, plain_picks(&rows).len());
        prop_assert_eq!(sums.taken_out as u64, out);
        prop_assert_eq!(sums.in_cloth, in_cloth);
        prop_assert_eq!((sums.picks - sums.taken_out) as u64, next);
        let standing: Vec<u64> =
            report.picks.iter().filter(|p| !p.taken_out).map(|p| p.pick).collect();
        prop_assert!(standing.into_iter().eq(1..=next));
        if !back {
            prop_assert!(sums.weaving_ms + sums.stopped_ms <= sums.at_loom_ms);
        }
        let of_sessions: usize = report.sessions.iter().map(|s| s.picks).sum();
        prop_assert_eq!(of_sessions, sums.picks);
        if sums.picks > 0 {
            let page = plot(&report).expect("a page");
            let document = Document::parse(&page).expect("well-formed");
            let marks = document.descendants().filter(|n| n.has_attribute("data-fault"));
            prop_assert_eq!(marks.count(), report.faults.len());
            prop_assert!(!page.contains("NaN") && !page.contains("inf"));
        }
    }
}
