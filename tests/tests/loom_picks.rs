//! Many picks at the loom, past bounce, restarts of the program and pulled cables: none
//! may be lost, added or out of order, and of faultless weaving however uneven nothing may
//! be called a fault.

use cardwright::ledger::NewLoomEvent;
use cardwright::weave::Walk;
use cardwright_tests::loom::{answer, begin, program, settings, shop, walk};
use cardwright_tests::virtual_time::{number_or, seed_or};
use cardwright_virtual::loom::{LoomWorld, WeaverSettings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Picks at each of two rates, unless `CARDWRIGHT_LOOM_PICKS` says how many: half a
/// million each take many minutes.
const PICKS: u64 = 20_000;

fn picks() -> u64 {
    number_or("CARDWRIGHT_LOOM_PICKS", PICKS)
}

/// The trade's fastest: two-cylinder double-lift machines ran at 160 to 200 picks a
/// minute (Bell, ch. II).
const FASTEST: f64 = 200.0;

/// A plan of so many picks: a border of ground, a field that is turned back.
fn plan(dir: &std::path::Path, picks: u64) -> Walk {
    let passes = picks / 120;
    let left = picks - passes * 120;
    walk(
        dir,
        60,
        &format!(
            "name = \"long\"\n[decks]\nd = \"d.deck\"\n\
             [[section]]\nname = \"field\"\ndeck = \"d\"\ncards = [\"1-60\", \"59-2\"]\n\
             ground_between = {{ every = 59, picks = 1 }}\nrepeat = {passes}\n\
             [[section]]\nname = \"end\"\nground = {left}\n"
        ),
    )
}

/// What a faultless weaver does for a pick, take-up left out, as it is to be stored:
/// the card if it has one, then lift, shuttle and beat.
fn check_order(plan: &Walk, events: &[NewLoomEvent]) {
    let mut at = 0;
    let mut shuttle = ["shuttle right", "shuttle left"].into_iter().cycle();
    let mut events = events
        .iter()
        .inspect(|event| {
            assert_eq!(event.number, at, "an event is missing or out of order");
            at += 1;
        })
        .map(|event| event.what)
        .filter(|what| !matches!(*what, "taken up" | "let off"));
    for number in 0..plan.len() {
        let mut wanted = Vec::new();
        match cardwright_tests::loom::step(plan, number)
            .expect("a pick")
            .turns
        {
            1 => wanted.push("card forward"),
            -1 => wanted.push("card back"),
            _ => {}
        }
        if !wanted.is_empty() {
            wanted.push("lift");
        }
        wanted.push(shuttle.next().expect("it goes on"));
        wanted.push("beat");
        let seen: Vec<_> = events.by_ref().take(wanted.len()).collect();
        assert_eq!(seen, wanted, "at pick {number}");
    }
    assert_eq!(events.next(), None, "more than was woven");
}

/// Weaves `picks` at this rate, with sensors that bounce for 8 ms at 200 picks a
/// minute. Faster than that all times are shorter by the same share, the bounce too:
/// 8 ms are more than a whole pick then.
fn weave(picks: u64, picks_a_minute: f64, seed: u64) {
    let dir = tempfile::tempdir().expect("a directory");
    let plan = plan(dir.path(), picks);
    assert_eq!(plan.len(), picks);
    let loom = LoomWorld {
        keep_cloth: false,
        ..LoomWorld::default().for_picks_a_minute(picks_a_minute)
    };
    let faster = (picks_a_minute / FASTEST).max(1.0);
    let weaver = WeaverSettings {
        picks_a_minute,
        spread: 0.3,
        drift: 0.02,
        seed,
        ..WeaverSettings::default()
    };
    let (mut shop, gate) = shop(&plan, loom, weaver, seed);
    let settings = settings(faster as u32);
    shop.start(program(&plan, settings, &shop.store));
    begin(&mut shop, &gate);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let minute_us = (60e6 / faster) as u64;
    let mut restarts = 0;
    // breaks and drift make it longer than the plain time, not many times as long
    let patience = shop.now().plus(minute_us * 4 * picks / FASTEST as u64);
    while shop.end().is_none() {
        let stands = &shop.store.stored.place;
        assert!(shop.now() < patience, "it does not end: {stands:?}");
        let deadline = shop.now().plus(rng.random_range(minute_us..30 * minute_us));
        shop.run(deadline, |shop| {
            answer(shop);
            shop.end().is_some()
        });
        // nobody looks for less than what the unit can keep
        let away_us = rng.random_range(0..5 * minute_us / 2);
        if rng.random_bool(0.5) {
            shop.kill();
            let until = shop.now().plus(away_us);
            shop.run(until, |_| false);
            let again = program(&plan, settings, &shop.store);
            shop.start(again);
            restarts += 1;
        } else {
            shop.cabled.unplug(Some(away_us));
        }
    }
    assert!(restarts > 2, "{restarts} restarts");
    check_order(&plan, &shop.store.events);
    let truth = {
        let world = shop.cabled.unit.world();
        world.loom().expect("a loom").counts()
    };
    assert_eq!(truth.beats, picks);
    let kinds = |kind: &str| {
        let records = shop.store.records.iter();
        records.filter(|record| record.kind.name() == kind).count() as u64
    };
    assert_eq!((kinds("pick"), kinds("fault")), (picks, 0));
    assert_eq!(shop.store.stored.place.in_cloth, picks as i64);
}

#[test]
fn picks_at_the_trades_fastest() {
    weave(picks(), FASTEST, seed_or(71));
}

#[test]
fn picks_fifty_times_as_fast() {
    weave(picks(), 50.0 * FASTEST, seed_or(72));
}
