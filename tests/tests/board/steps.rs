//! If this fails, the motor is driven off the ramp it can follow: it loses
//! steps, and rows lie out of register.

use cardwright::job::{Job, Order, Recut};
use cardwright::rig::RigFile;
use cardwright_protocol::host_to_unit::Settings;
use cardwright_tests::emulated::Edge;
use cardwright_tests::virtual_time::{MemoryStore, fast_rig};
use cardwright_virtual::world::Output;
use cardwright_virtual::{Faults, WorldSettings};

use crate::bench::{deck, dry, rig, run_to_end, shop, worst_poll_us};

/// Worst deviation of a step from the ideal ramp.
const WITHIN_US: f64 = 5.0;

/// Speed after `made` steps from standstill and `left` before it, in steps a
/// second: v^2 = v0^2 + 2 a s (mechanics, any textbook), from either end.
fn speed(settings: &Settings, made: usize, left: usize) -> f64 {
    let per_mm = f64::from(settings.steps_per_metre) / 1000.0;
    let start = f64::from(settings.start_speed_mm_s) * per_mm;
    let top = f64::from(settings.top_speed_mm_s) * per_mm;
    let twice_a = 2.0 * f64::from(settings.acceleration_mm_s2) * per_mm;
    (start * start + twice_a * made.min(left) as f64)
        .sqrt()
        .min(top)
}

/// The rig streams rows and readings at full rate while it feeds: cards queue
/// behind the one that is cut, and the readings of every line go back.
fn steps_of(rig: &RigFile, world: WorldSettings) {
    let deck = deck("200-half", 4, 41);
    let settings = rig.settings(deck.format());
    let mut shop = shop(world, &Faults::default(), 10);
    shop.cabled.keep_trace(true);
    // how the cards are judged is no matter here: at the fastest feed a scan is no
    // longer taken in one place, and the verdict says so
    let order = Order {
        recut: Recut::Never,
        ..MemoryStore::order(&deck, 1, rig)
    };
    shop.start(Job::new(order));
    run_to_end(&mut shop, 60_000_000);
    let edges = shop.cabled.take_trace();
    let ramp = off_the_ramp(&settings, &edges);
    let poll_us = worst_poll_us(&mut shop.cabled);
    let seen = shop.cabled.statistics();
    println!("longest poll {poll_us} us; {ramp:?} off the ideal ramp; {seen:?}");
    assert!(ramp.runs > 4 * 30, "every stroke has its own run");
}

/// Steps, the runs they make, and how far the worst is off the ideal ramp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ramp {
    pub steps: usize,
    pub runs: usize,
    pub worst_us: f64,
}

/// Every step of these edges against the ideal ramp.
pub fn off_the_ramp(settings: &Settings, edges: &[Edge]) -> Ramp {
    let steps: Vec<u64> = edges
        .iter()
        .filter(|edge| edge.output == Output::Step && edge.high)
        .map(|edge| edge.ns)
        .collect();
    // standing still is more than the slowest step of a ramp
    let slowest_ns = (1e9 / speed(settings, 0, 0)) as u64;
    let mut worst: f64 = 0.0;
    let mut runs: Vec<&[u64]> = steps
        .chunk_by(|a, b| b - a <= slowest_ns + 10_000)
        .collect();
    // the host stops the rig while the last card is on its way out
    runs.pop();
    for (n, run) in runs.iter().enumerate() {
        for (at, pair) in run.windows(2).enumerate() {
            let (made, left) = (at + 1, run.len() - at - 1);
            let ideal_us = 1e6 / speed(settings, made, left);
            let us = (pair[1] - pair[0]) as f64 / 1000.0;
            assert!(
                (us - ideal_us).abs() <= WITHIN_US,
                "run {n}, step {made} of {}: {us} us for {ideal_us}",
                run.len()
            );
            worst = worst.max((us - ideal_us).abs());
        }
    }
    let widths = edges
        .iter()
        .filter(|edge| edge.output == Output::Step)
        .collect::<Vec<_>>();
    for pulse in widths.chunks_exact(2) {
        let ns = pulse[1].ns - pulse[0].ns;
        assert!(ns >= 1_900, "a pulse of {ns} ns is too narrow for a driver");
    }
    Ramp {
        steps: steps.len(),
        runs: runs.len(),
        worst_us: worst,
    }
}

#[test]
fn no_step_is_further_than_5_us_from_the_ideal_ramp() {
    steps_of(&rig(), dry(deck("200-half", 4, 41).format()));
}

/// The fastest feed that the firmware lets a rig file ask for: 30,000 steps a
/// second.
#[test]
fn nor_is_one_at_the_fastest_feed_that_is_allowed() {
    let (fast, rig) = fast_rig();
    let world = WorldSettings {
        stroke_cycle_us: fast.stroke_cycle_us,
        sensor_zone_us: fast.sensor_zone_us,
        lock_us: fast.lock_us,
        ..dry(deck("200-half", 4, 41).format())
    };
    steps_of(&rig, world);
}
