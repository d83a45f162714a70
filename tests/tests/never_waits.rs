//! The rig never stands because rows have not come: the whole demo deck at
//! 115200 baud with 16 ms added each way, and the same at 25 ms a stroke with
//! a tenth of all frames lost and a host that stalls. By the unit's own count;
//! the pace is measured in the world, which the count does not know of.

use cardwright::job::{Account, End, Job};
use cardwright::rig::RigFile;
use cardwright_protocol::Micros;
use cardwright_tests::virtual_time::{
    Audit, Keeper, MemoryStore, Shop, curlew_deck, fast_rig, machine,
};
use cardwright_virtual::chance::Fault;
use cardwright_virtual::{Attendant, Faults, LineSettings, WorldSettings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What a record takes to be on disk: a slow one (common practice, no source).
const LATENCY_US: u64 = 20_000;

/// Cuts the demo deck; the account and the mean stroke period in a card.
fn cut(
    world: WorldSettings,
    rig: &RigFile,
    line: &LineSettings,
    stall: Option<(u64, u64)>,
    seed: u64,
) -> (Account, f64) {
    let deck = curlew_deck();
    let cabled = machine(world.clone(), &Faults::default(), line, 200);
    let keeper = Keeper::new(Attendant::mending_after(500_000), 500_000);
    let mut shop = Shop::new(cabled, MemoryStore::default(), keeper, LATENCY_US);
    shop.start(Job::new(MemoryStore::order(&deck, 1, rig)));
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut stall_at = Micros(2_000_000);
    let ended = shop.run(Micros(3_600_000_000), |shop| {
        if let Some((us, every)) = stall.filter(|_| shop.now() >= stall_at) {
            stall_at = shop.now().plus(us + rng.random_range(0..2 * every));
            shop.stall_host(us);
        }
        shop.end().is_some()
    });
    assert!(
        ended,
        "seed {seed}: {:?}",
        shop.news.iter().rev().take(8).collect::<Vec<_>>()
    );
    assert_eq!(
        shop.end(),
        Some(&End::Done { faults: false }),
        "seed {seed}"
    );
    let period = mean_period_us(&shop.cabled.unit.world().truth().strokes);
    let mut audit = Audit::new(&deck, &world);
    audit.take(&mut shop.cabled.unit.world_mut());
    for (card, _) in deck.cards() {
        assert!(shop.store.good.contains(&card));
    }
    assert_eq!(audit.left_count, 160);
    assert_eq!(audit.strokes, 160 * 56);
    let account = shop.job().map(Job::account).unwrap_or_default();
    (account, period)
}

/// From stroke to stroke of the same card, in microseconds.
fn mean_period_us(strokes: &[cardwright_virtual::truth::Stroke]) -> f64 {
    let pairs = strokes
        .windows(2)
        .filter(|pair| pair[0].card == pair[1].card);
    let times: Vec<u64> = pairs.map(|pair| pair[1].at.since(pair[0].at)).collect();
    times.iter().sum::<u64>() as f64 / times.len().max(1) as f64
}

#[test]
fn the_demo_deck_never_waits_with_16_ms_each_way() {
    let rig = RigFile::read(None).expect("the built-in rig file");
    let line = LineSettings::sound(115_200, 16_000);
    let (account, period) = cut(WorldSettings::default(), &rig, &line, None, 0);
    println!(
        "160 cards, {} strokes, {:.1} ms a stroke, {:.0} cards an hour, waited for rows {} us, for records {} us",
        account.strokes,
        period / 1000.0,
        account.cards_an_hour,
        account.waited_us,
        account.waited_record_us
    );
    assert_eq!(account.strokes, 160 * 56);
    assert_eq!(account.waited_us, 0);
    assert_eq!(account.waited_record_us, 0);
}

#[test]
fn nor_at_25_ms_a_stroke_with_a_tenth_of_the_frames_lost_and_a_stalling_host() {
    let (world, rig) = fast_rig();
    for seed in 1..=3 {
        let line = LineSettings {
            frame_lost: Fault::new(0.1, seed),
            ..LineSettings::sound(115_200, 16_000)
        };
        let stall = Some((500_000, 5_000_000));
        let (account, period) = cut(world.clone(), &rig, &line, stall, seed);
        println!(
            "seed {seed}: {} strokes, {:.1} ms a stroke, {:.0} cards an hour, sent again {}, waited for rows {} us, for records {} us",
            account.strokes,
            period / 1000.0,
            account.cards_an_hour,
            account.retransmissions,
            account.waited_us,
            account.waited_record_us
        );
        assert!(period <= 25_000.0, "seed {seed}: {period}");
        assert_eq!(account.stops, 0, "seed {seed}");
        assert_eq!(account.waited_us, 0, "seed {seed}");
    }
}
