//! A loom beside a machine that cuts: the worst for both.

use cardwright::job::End;
use cardwright_protocol::loom::Happening;
use cardwright_tests::emulated::Edge;
use cardwright_virtual::Faults;
use cardwright_virtual::loom::{LoomWorld, Step, WeaverSettings};
use cardwright_virtual::world::Output;

use super::driven::driven;
use super::{
    BESIDE_A_RIG, CYLINDER, SEEN_WITHIN_US, assert_seen, configure, events, finished, picks, rate,
    seen_beside_a_rig, settings, weave,
};
use crate::bench::{
    BoardShop, deck, deepest_stack, dry, rig, run_to_end, shop, start, worst_poll_us,
};
use crate::cuts::as_the_deck_says;
use crate::session::Session;
use crate::steps::{Ramp, off_the_ramp};

/// Cards turn some thirty times a second, and their sensors chatter.
const LOOM: LoomWorld = LoomWorld {
    turn_us: 30_000,
    lift_us: 10_000,
    lower_us: 10_000,
    throw_us: 3_000,
    beat_us: 20_000,
    light_us: 10_000,
    wind_us_a_mm: 40_000,
    unevenness: 0.05,
    bounce_us: BOUNCE_US,
    most_bounces: 8,
    edges_a_cm: 20.0,
    keep_cloth: false,
};

const BOUNCE_US: u64 = 2_800;

/// What a board with a light bar has no sensors for.
const SHUTTLE: [Happening; 2] = [Happening::ShuttleLeft, Happening::ShuttleRight];

/// Longer than the chatter, shorter than a quarter of a turn without it.
const SETTLE_US: u32 = 3_300;

/// The firmware looks at the block every 100 us in a stroke (this firmware's README),
/// and so switches off what the block's sensors tell it to within one such time.
const POLL_NS: u64 = 100_000;

/// What it does of itself, or as an answer to an edge, it does within a few
/// microseconds.
const AT_ONCE_NS: u64 = 3_000;

/// Two cards that were cut.
struct Cut {
    shop: BoardShop,
    /// What the machine's outputs did, up to the last stroke's end, in order; after
    /// it the host's own haste comes in.
    trace: String,
    /// The same with times.
    edges: Vec<Edge>,
    /// All of its steps.
    ramp: Ramp,
    /// How long cutting took.
    seconds: f64,
    worst_poll_us: u32,
}

/// Cuts two cards over the link while these picks, if any, are woven. The
/// sensors are looked at either way.
fn cut(picks: Vec<Step>) -> Cut {
    let deck = deck("400", 2, 91);
    let mut shop = shop(dry(deck.format()), &Faults::default(), 2);
    let mut session = Session::open(&mut shop.cabled);
    let settings = settings(BESIDE_A_RIG, SETTLE_US);
    configure(&mut session, &mut shop.cabled, settings);
    let woven = !picks.is_empty();
    if woven {
        let weaver = WeaverSettings {
            winds_on_every: 0,
            half_turns: 0.1,
            ..WeaverSettings::default()
        };
        weave(&mut shop.cabled.world_mut(), LOOM, picks, weaver);
    }
    shop.cabled.keep_lines(true);
    shop.cabled.keep_trace(true);
    shop.cabled.world_mut().begin_trace();
    let began = shop.now();
    start(&mut shop, &deck);
    let end = run_to_end(&mut shop, 90_000_000);
    assert_eq!(end, End::Done { faults: false });
    let seconds = shop.now().since(began) as f64 / 1e6;
    let text = shop.cabled.world_mut().take_trace();
    let all = shop.cabled.take_trace();
    assert!(!woven || !finished(&shop.cabled), "weave longer");
    let worst_poll_us = worst_poll_us(&mut shop.cabled);
    as_the_deck_says(&mut shop, &deck);
    let stroke_off = |edge: &Edge| edge.output == Output::Stroke && !edge.high;
    let last = all.iter().rposition(stroke_off).expect("strokes");
    Cut {
        trace: text[..text.rfind("Stroke off\n").expect("the same")].to_string(),
        edges: all[..=last].to_vec(),
        ramp: off_the_ramp(&rig().settings(deck.format()), &all),
        seconds,
        worst_poll_us,
        shop,
    }
}

/// How much later or sooner after the one before an output's edge comes: of those
/// that wait for the block, and of all others.
fn most_moved(without: &[Edge], with: &[Edge]) -> (u64, u64) {
    let (mut waiting, mut others) = (0, 0);
    for (before, after) in without.windows(2).zip(with.windows(2)) {
        let edge = before[1];
        assert_eq!((edge.output, edge.high), (after[1].output, after[1].high));
        let moved = (edge.ns - before[0].ns).abs_diff(after[1].ns - after[0].ns);
        let waits = !edge.high && matches!(edge.output, Output::LocksOn | Output::Stroke);
        let most = if waits { &mut waiting } else { &mut others };
        *most = moved.max(*most);
    }
    assert_eq!(without.len(), with.len());
    (waiting, others)
}

#[test]
fn a_thousand_edges_a_second_are_counted_rightly_and_move_no_stroke() {
    let without = cut(Vec::new());
    let picks = picks(30, 20, 92);
    let mut with = cut(picks.clone());

    assert!(with.trace == without.trace, "the machine does otherwise");
    let (waiting, others) = most_moved(&without.edges, &with.edges);
    assert!(waiting <= POLL_NS + AT_ONCE_NS, "{waiting} ns");
    assert!(others <= AT_ONCE_NS, "{others} ns");
    assert_eq!(with.ramp, without.ramp);
    let stack = deepest_stack(&mut with.shop.cabled);
    let polls = [without.worst_poll_us, with.worst_poll_us];
    assert!(polls[1] <= polls[0] + 5, "{polls:?} us");

    let unit = &mut with.shop.cabled;
    while !finished(unit) {
        let later = unit.now().plus(100_000);
        unit.run_to(later);
    }
    unit.run_to(unit.now().plus(50_000));
    let mut session = Session::open(unit);
    let told = events(&mut session, unit, 0);
    let seen: Vec<_> = told.iter().map(|event| event.what).collect();
    assert_eq!(seen, seen_beside_a_rig(&picks));
    let changes = unit.take_lines();
    let driven: Vec<_> = driven(&changes, 0, BOUNCE_US)
        .into_iter()
        .filter(|driven| !SHUTTLE.contains(&driven.what))
        .collect();
    let longest = assert_seen(&told, &driven, BOUNCE_US + SEEN_WITHIN_US);
    assert_eq!(unit.resets(), []);
    let woven = (changes[changes.len() - 1].ns - changes[0].ns) as f64 / 1e9;
    let rate = rate(&changes, CYLINDER, woven);
    println!(
        "cut in {:.1} s, woven in {woven:.1} s, {rate:.0} edges a second, {} events, seen \
         {longest} us late at most; outputs that wait for the block moved {waiting} ns, others \
         {others} ns; {:?}; longest poll {polls:?} us, stack {stack} bytes",
        with.seconds,
        told.len(),
        with.ramp
    );
    assert!(rate >= 1_000.0, "{rate} edges a second are too few");
}
