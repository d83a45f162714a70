//! If one of these fails, a hand in the machine is not safe from what the
//! firmware still drives. (It is no safety device either way.)

use cardwright_protocol::link::HOST_SILENT_US;
use cardwright_tests::emulated::Edge;
use cardwright_virtual::world::Output;
use cardwright_virtual::{Faults, World};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::bench::{BoardShop, deck, dry, run_for, shop, start};

const MOMENTS: u32 = 50;

/// From the button's edge to the last output off, in chip time.
const OFF_WITHIN_NS: u64 = 1_000_000;

/// Everything that moves, heats or shines.
fn matters(output: Output) -> bool {
    output != Output::LocksLatch
}

fn on(world: &World) -> Vec<Output> {
    let outputs = Output::ALL.into_iter();
    outputs
        .filter(|output| matters(*output) && world.output(*output))
        .collect()
}

/// How long after `from_ns` the last of these edges came.
fn last_after(edges: &[Edge], from_ns: u64) -> u64 {
    let edges = edges.iter().filter(|edge| matters(edge.output));
    edges
        .map(|edge| edge.ns.saturating_sub(from_ns))
        .max()
        .unwrap_or(0)
}

/// Runs until a card is being loaded, cut or read, and then a while of chance.
fn somewhere_in_a_card(shop: &mut BoardShop, rng: &mut ChaCha8Rng) {
    let deadline = shop.now().plus(30_000_000);
    let busy = shop.run(deadline, |shop| {
        let world = shop.cabled.world();
        world.cards_in_path() > 0 && world.output(Output::FeedOn)
    });
    assert!(
        busy,
        "{:#?}",
        shop.news.iter().rev().take(8).collect::<Vec<_>>()
    );
    run_for(shop, rng.random_range(0..2_500_000));
}

/// Fifty times; what the person does not mend is mended with `mend`.
fn fifty(seed: u64, act: fn(&mut World), mend: fn(&mut World)) {
    let deck = deck("200-half", 60, seed);
    let world = dry(deck.format());
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut shop = shop(world, &Faults::default(), 600);
    start(&mut shop, &deck);
    let (mut moments, mut worst, mut in_stroke) = (0, 0, 0);
    while moments < MOMENTS {
        somewhere_in_a_card(&mut shop, &mut rng);
        if on(&shop.cabled.world()).is_empty() {
            continue;
        }
        in_stroke += u32::from(shop.cabled.world().output(Output::Stroke));
        shop.cabled.keep_trace(true);
        let from_ns = shop.now().0 * 1000;
        act(&mut shop.cabled.world_mut());
        run_for(&mut shop, 60_000);
        let edges = shop.cabled.take_trace();
        shop.cabled.keep_trace(false);
        let off = last_after(&edges, from_ns);
        assert_eq!(on(&shop.cabled.world()), [], "moment {moments}: still on");
        assert!(off <= OFF_WITHIN_NS, "moment {moments}: off after {off} ns");
        worst = worst.max(off);
        mend(&mut shop.cabled.world_mut());
        moments += 1;
        // a job that only stops is given up at last
        assert!(
            shop.end().is_none() || moments == MOMENTS,
            "{:?}",
            shop.end()
        );
    }
    println!(
        "{MOMENTS} moments, {in_stroke} of them in a stroke: all off after {worst} ns at most"
    );
    assert!(in_stroke > 0, "no moment fell into a stroke");
}

#[test]
fn the_stop_button_switches_everything_off_within_a_millisecond() {
    fifty(21, World::press_stop, |_| {});
}

#[test]
fn an_open_guard_switches_everything_off_within_a_millisecond() {
    fifty(22, World::open_guard, |_| {});
}

/// Scans keep the converter from measuring it for a tenth of a millisecond.
#[test]
fn a_bad_supply_switches_everything_off_within_a_millisecond() {
    let mend = |world: &mut World| world.set_supply_mv(24_000);
    fifty(24, |world| world.set_supply_mv(19_000), mend);
    fifty(25, |world| world.set_supply_mv(29_000), mend);
}

/// The stated time is a second, between strokes: the one in hand is finished,
/// which takes this machine 20 ms and its locks a few more.
#[test]
fn a_silent_host_switches_everything_off_in_the_stated_time() {
    let deck = deck("200-half", 10, 23);
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    for _ in 0..3 {
        let mut shop = shop(dry(deck.format()), &Faults::default(), 100);
        start(&mut shop, &deck);
        somewhere_in_a_card(&mut shop, &mut rng);
        shop.cabled.keep_trace(true);
        let from_ns = shop.now().0 * 1000;
        shop.kill();
        run_for(&mut shop, 2_000_000);
        let edges = shop.cabled.take_trace();
        assert_eq!(on(&shop.cabled.world()), []);
        let off = last_after(&edges, from_ns);
        println!("host silent: off after {} ms", off / 1_000_000);
        assert!(off <= (HOST_SILENT_US + 60_000) * 1000, "{off} ns");
    }
}
