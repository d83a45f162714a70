//! How fast the cylinder may turn beside a machine that cuts before counts go
//! wrong.

use cardwright_protocol::loom::{Happening, LoomEvent};
use cardwright_tests::emulated::LinesChange;
use cardwright_virtual::Faults;
use cardwright_virtual::loom::{LoomWorld, WeaverSettings};

use super::driven::driven;
use super::{CYLINDER, configure, events, finished, picks, rate, settings, weave};
use crate::bench::{BoardShop, deck, dry, shop, start};
use crate::session::Session;

/// Microseconds between two true edges, and how long a track chatters after one.
const TRIALS: [(u64, u64); 19] = [
    (2_000, 1_700),
    (1_000, 800),
    (700, 550),
    (500, 400),
    (400, 300),
    (350, 280),
    (300, 240),
    (270, 200),
    (240, 180),
    (2_000, 0),
    (1_000, 0),
    (500, 0),
    (400, 0),
    (350, 0),
    (320, 0),
    (300, 0),
    (280, 0),
    (260, 0),
    (240, 0),
];

/// True edges this far apart are counted rightly in any case: four looks.
const SURE_US: u64 = 1_000;

/// A cylinder that turns so fast, and all else in no time.
fn loom(edge_us: u64, bounce_us: u64) -> LoomWorld {
    LoomWorld {
        turn_us: 4 * edge_us,
        lift_us: 100,
        lower_us: 100,
        throw_us: 100,
        beat_us: 100,
        light_us: 50,
        unevenness: 0.02,
        bounce_us,
        most_bounces: 4,
        ..LoomWorld::default()
    }
}

/// One trial, while the machine goes on; what was driven, from when to when.
fn trial(shop: &mut BoardShop, loom: LoomWorld, seed: u64) -> (Vec<LinesChange>, u64, u64) {
    let weaver = WeaverSettings {
        winds_on_every: 0,
        ..WeaverSettings::default()
    };
    weave(
        &mut shop.cabled.world_mut(),
        loom,
        picks(15, 12, seed),
        weaver,
    );
    let began = shop.now();
    let deadline = began.plus(10_000_000);
    assert!(shop.run(deadline, |shop| finished(&shop.cabled)));
    let ended = shop.now();
    assert!(shop.end().is_none(), "the job must last longer");
    // the last edge is seen, and the weaver at rest, before the next begins
    let rest = shop.now().plus(5_000);
    shop.run(rest, |_| false);
    (shop.cabled.take_lines(), began.0, ended.0)
}

/// The tracks need not settle: their order undoes their bounce.
#[test]
fn the_fastest_turns_beside_a_machine_that_cuts() {
    let deck = deck("400", 2, 93);
    let mut shop = shop(dry(deck.format()), &Faults::default(), 2);
    let mut session = Session::open(&mut shop.cabled);
    configure(&mut session, &mut shop.cabled, settings(CYLINDER, 0));
    start(&mut shop, &deck);
    let deadline = shop.now().plus(30_000_000);
    assert!(shop.run(deadline, |shop| {
        shop.cabled.world().truth().strokes_begun >= 1
    }));
    shop.cabled.keep_lines(true);
    let mut trials = Vec::new();
    for (seed, (edge_us, bounce_us)) in (100..).zip(TRIALS) {
        let (changes, began, ended) = trial(&mut shop, loom(edge_us, bounce_us), seed);
        trials.push((edge_us, bounce_us, changes, began, ended));
    }
    let mut session = Session::open(&mut shop.cabled);
    let told = events(&mut session, &mut shop.cabled, 0);
    for (edge_us, bounce_us, changes, began, ended) in trials {
        let counted = driven(&changes, 0, bounce_us);
        let cards = counted
            .iter()
            .map(|driven| driven.what)
            .filter(|what| matches!(what, Happening::CardForward | Happening::CardBack));
        let cards: Vec<_> = cards.collect();
        let within = |event: &&LoomEvent| (began..ended + 4_000).contains(&event.at_us);
        let seen: Vec<_> = told.iter().filter(within).map(|event| event.what).collect();
        let seconds = (changes[changes.len() - 1].ns - changes[0].ns) as f64 / 1e9;
        let right = seen == cards;
        println!(
            "{edge_us} us apart, bounce {bounce_us} us: {:.0} edges a second, {} cards, {} seen, {}",
            rate(&changes, CYLINDER, seconds),
            cards.len(),
            seen.len(),
            if right { "right" } else { "wrong" }
        );
        assert!(right || edge_us < SURE_US, "{edge_us} us, {bounce_us} us");
    }
    assert_eq!(shop.cabled.resets(), []);
}
