//! The unit restarted, the cable pulled, the stop pressed, the guard opened and
//! the program killed, each at 200 random moments of jobs with a real ledger.
//! After each: no good card is cut again, no card is called good that is not,
//! at most the card in the head is lost, and the ledger opens clean.
//!
//! A failure prints its seed; `CARDWRIGHT_SEED` gives it back.

use std::path::Path;
use std::sync::Arc;

use cardwright::deck::Deck;
use cardwright::job::{End, Job, Kind, Recut};
use cardwright::ledger::{Ledger, Verdict};
use cardwright::rig::RigFile;
use cardwright_tests::virtual_time::{
    Audit, DiskStore, Keeper, Shop, machine, random_deck, seed_or, tries,
};
use cardwright_virtual::{Attendant, Faults, LineSettings, WorldSettings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const MOMENTS: u32 = 200;

/// What a record takes to be on disk (common practice, no source).
const LATENCY_US: u64 = 20_000;

#[derive(Clone, Copy, Debug, PartialEq)]
enum What {
    UnitRestarted,
    CablePulled,
    StopPressed,
    GuardOpened,
    ProgramKilled,
}

/// One job and what was done to it.
struct Run {
    shop: Shop<DiskStore>,
    deck: Arc<Deck>,
    rig: RigFile,
}

impl Run {
    fn new(deck: Arc<Deck>, dir: &Path, rng: &mut ChaCha8Rng) -> Run {
        let rig = RigFile::read(None).expect("the built-in rig file");
        let line = LineSettings::sound(115_200, 2_000);
        let cabled = machine(WorldSettings::default(), &Faults::default(), &line, 1_000);
        // some take the card out of the stopped machine, some let it run out
        let takes_out = rng.random_bool(0.5).then_some(400_000);
        let who = Attendant {
            takes_out_stopped_us: takes_out,
            ..Attendant::mending_after(300_000)
        };
        let keeper = Keeper::new(who, 600_000);
        let shop = Shop::new(cabled, DiskStore::open(dir), keeper, LATENCY_US);
        let mut run = Run { shop, deck, rig };
        run.start();
        run
    }

    /// The program is started; false if nothing is left to be done.
    fn start(&mut self) -> bool {
        let store = &self.shop.store;
        let order = store.draw_up(Kind::Cut, &self.deck, None, Recut::End, &self.rig);
        let Some(order) = order else { return false };
        self.shop.start(Job::new(order));
        true
    }

    fn interrupt(&mut self, what: What, rng: &mut ChaCha8Rng) {
        let shop = &mut self.shop;
        match what {
            What::UnitRestarted => shop.cabled.unit.restart(),
            What::CablePulled => {
                let us = rng.random_range(200_000..3_000_000);
                shop.cabled.unplug(Some(us));
            }
            What::StopPressed => shop.cabled.unit.world_mut().press_stop(),
            What::GuardOpened => shop.cabled.unit.world_mut().open_guard(),
            What::ProgramKilled => {
                shop.kill();
                shop.store.reopen();
            }
        }
    }

    /// Runs to the job's end and interrupts it at random moments; how often.
    fn go(&mut self, what: What, most: u32, rng: &mut ChaCha8Rng, seed: u64) -> u32 {
        let mut count = 0;
        let deadline = self.shop.now().plus(1_200_000_000);
        loop {
            let gap = rng.random_range(50_000..14_000_000);
            let next = self.shop.now().plus(gap);
            let ended = self.shop.run(next, |shop| shop.end().is_some());
            if ended {
                let end = self.shop.end();
                let said = &self.shop.news;
                assert_eq!(
                    end,
                    Some(&End::Done { faults: false }),
                    "seed {seed}: {said:#?}"
                );
                return count;
            }
            let now = self.shop.now();
            let said = self.shop.news.iter().rev().take(12).collect::<Vec<_>>();
            assert!(now < deadline, "seed {seed}: no end, {said:#?}");
            if count < most {
                self.interrupt(what, rng);
                count += 1;
            }
            if !self.shop.runs() {
                let back_at = now.plus(rng.random_range(20_000..3_000_000));
                self.shop.run(back_at, |_| false);
                if !self.start() {
                    return count;
                }
            }
        }
    }

    /// Compares the ledger with what really happened.
    fn check(mut self, dir: &Path, interruptions: u32, seed: u64) -> u64 {
        let world = WorldSettings::default();
        // the last card may still be on its way out
        let later = self.shop.now().plus(3_000_000);
        self.shop.run(later, |_| false);
        let mut audit = Audit::new(&self.deck, &world);
        self.shop.cabled.unit.world_mut().take_out_cards();
        audit.take(&mut self.shop.cabled.unit.world_mut());
        let fed = self.shop.cabled.unit.world().truth().cards_fed;
        let said = std::mem::take(&mut self.shop.news);
        drop(self.shop);
        let ledger = Ledger::open(dir).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        let rows = ledger.all_attempts().expect("the ledger lists attempts");
        for (card, _) in self.deck.cards() {
            let tries = tries(&rows, card);
            let good = tries.iter().filter(|v| **v == Verdict::Good).count();
            assert_eq!(good, 1, "seed {seed}: {card:?} {tries:?}");
            assert_eq!(tries.last(), Some(&Verdict::Good), "seed {seed}: {card:?}");
            audit.called_good(card);
            audit.tried(card, tries.len(), true);
        }
        let tried: Vec<_> = rows
            .iter()
            .map(|row| (row.card.0, row.attempt.0, row.verdict, row.strokes_made))
            .collect();
        let pieces = audit.in_short();
        assert_eq!(
            audit.wrongs,
            Vec::<String>::new(),
            "seed {seed}: {tried:?} {pieces:?} {said:#?}"
        );
        let cards = u64::from(self.deck.card_count());
        let lost = fed - cards;
        assert!(
            lost <= u64::from(interruptions),
            "seed {seed}: {lost} lost by {interruptions}"
        );
        ledger.close().expect("the ledger closes");
        integrity(dir, seed);
        lost
    }
}

/// SQLite's own check of the file (its documentation, "PRAGMA integrity_check").
fn integrity(dir: &Path, seed: u64) {
    let files = std::fs::read_dir(dir).expect("the directory is there");
    let mut checked = 0;
    for file in files.flatten().map(|entry| entry.path()) {
        let head = std::fs::read(&file).unwrap_or_default();
        if !head.starts_with(b"SQLite format 3\0") {
            continue;
        }
        let conn = rusqlite::Connection::open(&file).expect("it opens");
        let answer: String = conn
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .expect("it answers");
        assert_eq!(answer, "ok", "seed {seed}");
        checked += 1;
    }
    assert_eq!(checked, 1, "seed {seed}: one database");
}

fn two_hundred(what: What) {
    let first = seed_or(1);
    let (mut moments, mut jobs, mut lost) = (0, 0, 0);
    for seed in first.. {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let deck = random_deck(rng.random_range(6..=10), seed);
        let dir = tempfile::tempdir().expect("a directory");
        let mut run = Run::new(deck, dir.path(), &mut rng);
        let count = run.go(what, MOMENTS - moments, &mut rng, seed);
        lost += run.check(dir.path(), count, seed);
        moments += count;
        jobs += 1;
        if moments >= MOMENTS {
            break;
        }
    }
    println!("{what:?}: {moments} moments in {jobs} jobs, {lost} cards lost");
    assert_eq!(moments, MOMENTS);
}

#[test]
fn the_unit_restarted() {
    two_hundred(What::UnitRestarted);
}

#[test]
fn the_cable_pulled() {
    two_hundred(What::CablePulled);
}

#[test]
fn the_stop_pressed() {
    two_hundred(What::StopPressed);
}

#[test]
fn the_guard_opened() {
    two_hundred(What::GuardOpened);
}

#[test]
fn the_program_killed() {
    two_hundred(What::ProgramKilled);
}
