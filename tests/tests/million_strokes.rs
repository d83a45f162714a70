//! One million strokes in virtual time over a line that damages one byte in a
//! thousand and drops, repeats and delays frames, on a machine with every
//! fault about: none doubled, none skipped, none wrong, and no card called good
//! that is not. The truth of the modelled world is compared with the deck; the
//! program never sees it.

use std::collections::BTreeMap;

use cardwright::job::{Account, End, Job};
use cardwright_protocol::Micros;
use cardwright_tests::virtual_time::{
    Audit, Keeper, MemoryStore, Shop, coarse_fast_rig, machine, random_deck, seed_or,
};
use cardwright_virtual::chance::Fault;
use cardwright_virtual::faults::FaultKind;
use cardwright_virtual::{Attendant, Faults, LineSettings};

const STROKES: u64 = 1_000_000;
const CARDS_A_JOB: u32 = 1_000;

/// A bad line: nearly every fifth of the longest frames is damaged.
fn line(seed: u64) -> LineSettings {
    LineSettings {
        byte_damaged: Fault::new(0.001, seed),
        frame_lost: Fault::new(0.01, seed),
        frame_repeated: Fault::new(0.01, seed),
        frame_delayed: Fault::new(0.02, seed),
        most_delay_us: 100_000,
        ..LineSettings::sound(115_200, 2_000)
    }
}

/// A bad year's luck in one go.
fn faults(seed: u64) -> Faults {
    let mut faults = Faults::seeded(seed);
    faults.missing_hole.rate = 2e-5;
    faults.hanging_chad.rate = 2e-5;
    faults.extra_hole.rate = 2e-5;
    faults.feed_slip.rate = 1e-4;
    faults.doubled_feed.rate = 2e-3;
    faults.jam.rate = 2e-3;
    faults.stuck_stroke.rate = 2e-5;
    faults.lamp_drift.rate = 0.02;
    faults.dust.rate = 0.01;
    faults.guard_opened.rate = 2e-5;
    faults.stop_pressed.rate = 2e-5;
    faults.unit_restarted.rate = 2e-5;
    faults.cable_pulled.rate = 2e-5;
    faults
}

/// Sums over all jobs.
#[derive(Debug, Default)]
struct Sums {
    strokes: u64,
    cards: u64,
    pieces: u64,
    in_the_air: u64,
    raised: u64,
    unknown: u64,
    wasted: u32,
    false_alarms_light_changed: u32,
    false_alarms: u32,
    worst_chad: f64,
    in_peg_holes: u32,
    by_verdict: BTreeMap<&'static str, u32>,
    injected: BTreeMap<FaultKind, u64>,
    stops: u32,
    retransmissions: u64,
}

impl Sums {
    fn add(&mut self, audit: &Audit, store: &MemoryStore, account: &Account) {
        self.strokes += audit.strokes;
        self.pieces += audit.left_count;
        self.in_the_air += audit.in_the_air;
        self.raised += audit.raised;
        self.unknown += audit.unknown;
        self.worst_chad = self.worst_chad.min(audit.worst_chad_passed);
        self.in_peg_holes += audit.in_peg_holes_passed;
        self.stops += account.stops;
        self.retransmissions += account.retransmissions;
        for (word, count) in store.by_verdict() {
            *self.by_verdict.entry(word).or_insert(0) += count;
        }
        for (kind, count) in &audit.injected {
            *self.injected.entry(*kind).or_insert(0) += count;
        }
    }
}

#[test]
fn a_million_strokes_none_doubled_none_skipped_none_wrong() {
    let seed = seed_or(1);
    let (world, rig) = coarse_fast_rig();
    let cabled = machine(world.clone(), &faults(seed), &line(seed), 200);
    let who = Attendant {
        refills: Some(200),
        takes_out_stopped_us: Some(400_000),
        ..Attendant::mending_after(300_000)
    };
    let keeper = Keeper::new(who, 500_000);
    let mut shop = Shop::new(cabled, MemoryStore::default(), keeper, 10_000);
    shop.keeps_news = false;
    let mut sums = Sums {
        worst_chad: 1.0,
        ..Sums::default()
    };
    for job in 1.. {
        let deck = random_deck(
            CARDS_A_JOB,
            seed.wrapping_mul(1000).wrapping_add(u64::from(job)),
        );
        let mut audit = Audit::new(&deck, &world);
        shop.store.forget();
        shop.start(Job::new(MemoryStore::order(&deck, job, &rig)));
        let mut take_at = shop.now();
        let deadline = shop.now().plus(10_000_000_000);
        let ended = shop.run(deadline, |shop| {
            if shop.now() >= take_at {
                take_at = shop.now().plus(10_000_000);
                audit.take(&mut shop.cabled.unit.world_mut());
            }
            shop.end().is_some()
        });
        audit.take(&mut shop.cabled.unit.world_mut());
        let now: Micros = shop.now();
        assert!(
            ended,
            "seed {seed}, job {job}: no end by {now:?}, {:?}",
            shop.store.by_verdict()
        );
        let end = shop.end().cloned();
        let account = shop.job().map(Job::account).unwrap_or_default();
        assert_eq!(
            end,
            Some(End::Done { faults: false }),
            "seed {seed}, job {job}: {account:?}"
        );
        for (card, _) in deck.cards() {
            assert!(
                shop.store.good.contains(&card),
                "seed {seed}, job {job}: {card:?}"
            );
            audit.called_good(card);
            let tries = shop.store.tries(card);
            sums.wasted += audit.tried(card, tries.len(), true);
            let (dimmed, clear) = audit.false_alarms(card, &tries);
            sums.false_alarms_light_changed += dimmed;
            sums.false_alarms += clear;
        }
        assert_eq!(audit.wrongs, Vec::<String>::new(), "seed {seed}, job {job}");
        sums.cards += u64::from(CARDS_A_JOB);
        sums.add(&audit, &shop.store, &account);
        println!("job {job}: {} strokes, {} stops", sums.strokes, sums.stops);
        if sums.strokes >= STROKES {
            break;
        }
    }
    let lines = (shop.cabled.to_unit.counts(), shop.cabled.to_host.counts());
    println!("{sums:#?}");
    println!("virtual hours {:.2}", shop.now().0 as f64 / 3.6e9);
    println!("to unit {:?}\nto host {:?}", lines.0, lines.1);
    // the faults were really about
    assert!(lines.0.bytes_damaged > 1_000 && lines.1.bytes_damaged > 10_000);
    assert!(lines.0.frames_lost > 100 && lines.0.frames_repeated > 100);
    assert!(lines.0.frames_delayed > 100);
    for kind in [
        FaultKind::MissingHole,
        FaultKind::ExtraHole,
        FaultKind::FeedSlip,
    ] {
        assert!(sums.injected.contains_key(&kind), "{kind:?} never came");
    }
}
