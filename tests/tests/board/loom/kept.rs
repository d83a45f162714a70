//! Events that wait for a host.

use cardwright_protocol::loom::{EVENTS_HELD, LoomLine};
use cardwright_virtual::loom::{LoomWorld, WeaverSettings};

use super::driven::driven;
use super::unit::loom_unit;
use super::{SEEN_WITHIN_US, assert_seen, configure, events, finished, picks, settings, weave};
use crate::bench::{FOUND_WITHIN_US, again};
use crate::session::Session;

/// A loom whose sensors do not bounce; the take-up's tracks change a thousand
/// times a second while cloth is wound on.
fn fast() -> LoomWorld {
    LoomWorld {
        turn_us: 8_000,
        lift_us: 4_000,
        lower_us: 4_000,
        throw_us: 8_000,
        beat_us: 8_000,
        wind_us_a_mm: 20_000,
        edges_a_cm: 200.0,
        bounce_us: 0,
        most_bounces: 0,
        ..LoomWorld::default()
    }
}

/// Nobody listens: not while the cable is out, nor before the host has come back.
#[test]
fn four_thousand_events_outlive_a_pulled_cable_and_another_session() {
    let mut unit = loom_unit();
    let mut session = Session::open(&mut unit);
    let boot = session.boot();
    configure(&mut session, &mut unit, settings(0xFF, 0));
    unit.keep_lines(true);
    let weaver = WeaverSettings {
        winds_on_every: 1,
        // 5 mm and 100 edges a pick
        picks_a_cm: 2.0,
        ..WeaverSettings::default()
    };
    weave(&mut unit.world_mut(), fast(), picks(45, 6, 96), weaver);
    session.run_for(&mut unit, 500_000);
    let early = events(&mut session, &mut unit, 0);
    assert!(!early.is_empty());
    unit.unplug(None);
    let later = unit.now().plus(5_000_000);
    unit.run_to(later);
    assert!(!finished(&unit));
    unit.plug();
    let deadline = unit.now().plus(FOUND_WITHIN_US);
    assert!(unit.run_until_found(deadline));
    // a host is there, and the port is open, but it has not begun a session
    while !finished(&unit) {
        let later = unit.now().plus(100_000);
        unit.run_to(later);
        while unit.take().is_some() {}
    }
    let mut session = Session::open(&mut unit);
    let status = session.loom(&mut unit);
    let driven = driven(&unit.take_lines(), LoomLine::BoxLeft.bit(), 0);
    assert!(
        driven.len() > EVENTS_HELD + 100,
        "{}: weave longer",
        driven.len()
    );
    assert_eq!(status.next as usize, driven.len(), "{status:?}");
    let held = (status.next - status.first) as usize;
    assert!(held >= EVENTS_HELD, "{held}");
    let told = events(&mut session, &mut unit, status.first);
    let longest = assert_seen(&told, &driven[status.first as usize..], SEEN_WITHIN_US);
    let longest_early = assert_seen(&early, &driven[..early.len()], SEEN_WITHIN_US);
    assert_eq!(unit.resets(), []);
    println!(
        "{} driven, {held} held, {} us late at most",
        driven.len(),
        longest.max(longest_early)
    );

    // a unit that has lost its memory says so and numbers from 0
    again(&mut unit);
    let mut session = Session::open(&mut unit);
    assert_eq!(session.boot(), boot + 1);
    let status = session.loom(&mut unit);
    assert_eq!((status.first, status.next, status.settings), (0, 0, None));
    assert_eq!(status.counts.forward, 0);
}
