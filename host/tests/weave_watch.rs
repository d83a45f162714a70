//! A loom with few sensors: what is wrong must be told from what there is to see.

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::weave::watch::{Decision, FaultKind, Fitted, Place, Seen, Told, Watch};
use cardwright::weave::{Plan, Walk};
use cardwright_protocol::loom::{Happening, LoomLine};
use std::sync::Arc;

/// A watch along a plain chain, which is laid.
fn watch(lines: &[LoomLine]) -> Watch {
    let dir = tempfile::tempdir().expect("a directory");
    let format = CardFormat::named("400").expect("a built-in format");
    let cards = vec![vec![Row(0b1001); usize::from(format.rows())]; 30];
    let deck = Deck::new("d", format, None, Cutting::default(), cards).expect("a deck");
    deck.write(&dir.path().join("d.deck"), true)
        .expect("the disk");
    let file = dir.path().join("plan.toml");
    let text = "name = \"p\"\n[decks]\nd = \"d.deck\"\n[[section]]\nname = \"s\"\ndeck = \"d\"\n";
    std::fs::write(&file, text).expect("the disk");
    let walk = Walk::new(Arc::new(Plan::read(&file).expect("a plan")));
    let fitted = Fitted(lines.iter().fold(0, |set, line| set | line.bit()));
    let mut watch = Watch::new(walk, fitted, Place::default());
    watch
        .decide(&Decision::ChainReady, 0, &mut Vec::new())
        .expect("it is laid");
    watch
}

fn faults(watch: &mut Watch, seen: &[(i64, Happening)]) -> Vec<FaultKind> {
    let mut told = Vec::new();
    for (number, (at, what)) in (0..).zip(seen) {
        let (at, what) = (*at, *what);
        watch.see(Seen { number, at, what }, &mut told);
    }
    let faults = told.into_iter().filter_map(|told| match told {
        Told::Fault(fault) => Some(fault.kind),
        _ => None,
    });
    faults.collect()
}

/// Ten picks, one every two seconds, then two turns this long apart.
fn two_turns_after_ten_picks(apart_ms: i64) -> Vec<FaultKind> {
    let lines = [LoomLine::CylinderA, LoomLine::CylinderB, LoomLine::Batten];
    let mut seen: Vec<(i64, Happening)> = (1..=10)
        .flat_map(|pick| {
            let at = pick * 2_000;
            [(at, Happening::CardForward), (at + 900, Happening::Beat)]
        })
        .collect();
    seen.extend([22_000, 22_000 + apart_ms].map(|at| (at, Happening::CardForward)));
    faults(&mut watch(&lines), &seen)
}

/// With no sensor at griffe or boxes the time alone tells a card passed over from one
/// that was lifted and not beaten.
#[test]
fn without_griffe_and_boxes_the_rhythm_tells_two_mistakes_apart() {
    let quick = two_turns_after_ten_picks(200);
    assert!(
        matches!(quick[..], [FaultKind::TurnedTwice { .. }]),
        "{quick:?}"
    );
    let slow = two_turns_after_ten_picks(1_900);
    assert!(
        matches!(slow[..], [FaultKind::CardWithoutBeat { .. }]),
        "{slow:?}"
    );
}
