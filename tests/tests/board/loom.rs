//! If one of these fails, the loom's sensors and the machine at the same board
//! disturb each other: a card's turn is lost or made up, or a stroke comes at
//! another moment.

mod beside;
mod driven;
mod fastest;
mod kept;
mod unit;

use cardwright_protocol::loom::{Happening, LINES, LoomEvent, LoomLine, LoomSettings};
use cardwright_protocol::{HostToUnit, UnitToHost};
use cardwright_tests::emulated::{EmulatedUnit, LinesChange};
use cardwright_virtual::loom::{LoomWorld, Script, Step, WeaverSettings};
use cardwright_virtual::{LoomOptions, World};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::session::Session;
use driven::Driven;

/// Lines of a board that has a light bar: nothing else is fitted there.
const BESIDE_A_RIG: u8 = LoomLine::CylinderA.bit()
    | LoomLine::CylinderB.bit()
    | LoomLine::Griffe.bit()
    | LoomLine::Batten.bit();

const CYLINDER: u8 = LoomLine::CylinderA.bit() | LoomLine::CylinderB.bit();

/// Grain and look of the unit's times, and what the machine may hold them up.
const SEEN_WITHIN_US: u64 = 16 + 250 + 150;

fn settings(fitted: u8, settle_us: u32) -> LoomSettings {
    LoomSettings {
        fitted,
        inverted: 0,
        settle_us: [settle_us; LINES],
        cylinder_swapped: false,
        take_up_swapped: false,
        take_up_edges: 1,
    }
}

/// So many picks, before each of which 1 to `most` cards are turned, on or back.
fn picks(count: usize, most: i32, seed: u64) -> Vec<Step> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut step = || {
        let cards = rng.random_range(1..=most);
        let back = rng.random_bool(0.4);
        Step {
            turns: if back { -cards } else { cards },
            carded: true,
        }
    };
    (0..count).map(|_| step()).collect()
}

/// What a unit beside a rig has to see of these picks.
fn seen_beside_a_rig(picks: &[Step]) -> Vec<Happening> {
    let seen = |pick: &Step| {
        let turned = if pick.turns > 0 {
            Happening::CardForward
        } else {
            Happening::CardBack
        };
        let mut seen = vec![turned; pick.turns.unsigned_abs() as usize];
        seen.extend([Happening::Lift, Happening::Beat]);
        seen
    };
    picks.iter().flat_map(seen).collect()
}

/// A weaver who never rests and never errs weaves these picks.
fn weave(world: &mut World, loom: LoomWorld, picks: Vec<Step>, weaver: WeaverSettings) {
    let weaver = WeaverSettings {
        // no time is left beside the movements
        picks_a_minute: 1e6,
        breaks: 0.0,
        ..weaver
    };
    world.put_loom(LoomOptions {
        world: loom,
        seed: 23,
        weaver: Some((Script::once(picks), weaver)),
    });
}

fn finished(unit: &EmulatedUnit) -> bool {
    let world = unit.world();
    world.weaver().is_some_and(|weaver| weaver.finished())
}

/// Tells the unit how its sensors are wired; it is heard to have taken it.
fn configure(session: &mut Session, unit: &mut EmulatedUnit, settings: LoomSettings) {
    session.tell(unit, &HostToUnit::ConfigureLoom(settings));
    assert_eq!(session.loom(unit).settings, Some(settings));
}

/// The events from this number to the last there is, numbered without a gap.
fn events(session: &mut Session, unit: &mut EmulatedUnit, from: u32) -> Vec<LoomEvent> {
    let next = session.loom(unit).next;
    session.tell(unit, &HostToUnit::LoomFrom(from));
    let mut events: Vec<LoomEvent> = Vec::new();
    while from + (events.len() as u32) < next {
        let more = session.hear(unit, |message| match message {
            UnitToHost::LoomEvents(more) => Some(more.clone()),
            UnitToHost::Refused(refusal) => panic!("{refusal:?}"),
            _ => None,
        });
        assert_eq!(more.first, from + events.len() as u32, "a gap");
        events.extend(&more.events);
    }
    events
}

/// The same happenings in the same order, each seen soon after its edge; the
/// longest that one took.
fn assert_seen(events: &[LoomEvent], driven: &[Driven], within_us: u64) -> u64 {
    let mut longest = 0;
    for (n, (event, driven)) in events.iter().zip(driven).enumerate() {
        assert_eq!(
            event.what, driven.what,
            "event {n} of {}",
            driven.what as u8
        );
        let grain_before = driven.ns.saturating_sub(16_000);
        assert!(event.at_us * 1000 >= grain_before, "event {n}: too early");
        let late_us = (event.at_us * 1000).saturating_sub(driven.ns) / 1000;
        assert!(late_us <= within_us, "event {n}: {late_us} us late");
        longest = longest.max(late_us);
    }
    assert_eq!(events.len(), driven.len());
    longest
}

/// Changes of these lines in a second.
fn rate(changes: &[LinesChange], lines: u8, seconds: f64) -> f64 {
    let edges: u32 = changes
        .windows(2)
        .map(|pair| ((pair[0].lines ^ pair[1].lines) & lines).count_ones())
        .sum();
    f64::from(edges) / seconds
}
