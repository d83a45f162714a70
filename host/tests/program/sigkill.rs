//! Risk: the program is killed outright in the middle of a job, and a card is
//! cut twice, called good unread, or lost without need.
//!
//! The virtual rig lives in this process and outlives every kill; the program
//! is a child. What the ledger says is held against what the world did. The
//! seed is printed and can be given back in CARDWRIGHT_TEST_SEED.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use cardwright::deck::{CardNumber, Deck, Stroke};
use cardwright_virtual::pty::Handle;
use cardwright_virtual::truth;
use rand::{RngExt as _, SeedableRng as _};
use rusqlite::{Connection, OpenFlags};

use super::support::{Live, Place, cardwright, rig_for, serve};

/// Kills in all.
const KILLS: u32 = 200;

/// Cards of a deck.
const CARDS: u32 = 8;

/// Virtual seconds in a second: some 0.2 s for a card, and a host that is
/// silent for a tenth of a second still counts as there.
const FACTOR: f64 = 10.0;

/// How far a hole may lie from its place, in millimetres: what the bench rig's
/// own rule for register allows.
const TOLERANCE_MM: f64 = 0.7;

/// What the world did since the rig was switched on.
#[derive(Default)]
struct World {
    /// Cards that left the machine, by their place in the stack.
    left: Vec<truth::Card>,
    /// Needle punches locked in each stroke, by piece of stock.
    strokes: BTreeMap<u64, Vec<u16>>,
    /// The card under way when the program was last killed, and all before.
    last_at_kill: u64,
}

impl World {
    fn look(&mut self, rig: &Handle) {
        let (cards, strokes) = rig
            .at_the_machine(|unit| {
                let mut world = unit.unit.world_mut();
                let truth = world.truth_mut();
                (truth.take_cards(), truth.take_strokes())
            })
            .expect("the rig runs");
        self.left.extend(cards);
        for stroke in strokes {
            if let Some(serial) = stroke.card {
                self.strokes.entry(serial).or_default().push(stroke.locked);
            }
        }
    }

    /// No piece of stock begun since the last look carries the beginning of a
    /// card that was good by then.
    fn no_good_card_again(&self, deck: &Deck, good: &BTreeSet<u32>) {
        for (serial, locked) in self.strokes.range(self.last_at_kill + 1..) {
            // lace, blank and two rows tell the cards of chance apart
            if locked.len() < 6 {
                continue;
            }
            for card in good {
                let strokes = deck.strokes(CardNumber(*card)).expect("a card of the deck");
                let same = locked
                    .iter()
                    .zip(&strokes)
                    .all(|(made, wanted)| *made == bits(wanted));
                assert!(
                    !same,
                    "card {card} was good and was begun again on piece {serial}"
                );
            }
        }
    }

    fn pieces(&self) -> u64 {
        self.strokes.keys().next_back().copied().unwrap_or(0)
    }
}

fn bits(stroke: &Stroke) -> u16 {
    stroke
        .punches()
        .holes()
        .map(|hole| 1 << (hole - 1))
        .fold(0, |bits, bit: u16| bits | bit)
}

/// An attempt in the ledger.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Attempt {
    job: u32,
    card: u32,
    attempt: u32,
    verdict: String,
    place: Option<u32>,
    lines: u32,
    kept_lines: Option<u32>,
}

/// Opens the ledger beside the program's own code, looks whether it is whole,
/// reads every attempt.
fn attempts(data: &Path) -> Vec<Attempt> {
    let file = data.join("ledger.sqlite");
    // with a journal beside it, it was being made: whoever writes next takes that
    // back, and a reader alone cannot
    if !file.exists() || data.join("ledger.sqlite-journal").exists() {
        return Vec::new();
    }
    let ledger = Connection::open_with_flags(&file, OpenFlags::SQLITE_OPEN_READ_ONLY)
        .expect("the ledger opens");
    let whole: String = ledger
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .expect("the ledger can be checked");
    assert_eq!(whole, "ok");
    let there: u32 = ledger
        .query_row(
            "SELECT count(*) FROM sqlite_master WHERE name = 'attempt'",
            [],
            |row| row.get(0),
        )
        .expect("the ledger can be read");
    if there == 0 {
        return Vec::new();
    }
    let sql = "SELECT a.job, a.card, a.attempt, a.verdict, a.place, a.lines, r.lines \
               FROM attempt a LEFT JOIN readings r USING (job, card, attempt)";
    let mut query = ledger.prepare(sql).expect("the ledger has attempts");
    let rows = query.query_map([], |row| {
        Ok(Attempt {
            job: row.get(0)?,
            card: row.get(1)?,
            attempt: row.get(2)?,
            verdict: row.get(3)?,
            place: row.get(4)?,
            lines: row.get(5)?,
            kept_lines: row.get(6)?,
        })
    });
    rows.expect("attempts can be read")
        .collect::<Result<_, _>>()
        .expect("attempts are as written")
}

fn good(attempts: &[Attempt]) -> BTreeSet<u32> {
    attempts
        .iter()
        .filter(|a| a.verdict == "good")
        .map(|a| a.card)
        .collect()
}

/// What must hold whenever the program is not there.
fn check(deck: &Deck, attempts: &[Attempt], before: &[Attempt], world: &mut World) {
    let good_before = good(before);
    for attempt in attempts {
        let id = |a: &Attempt| (a.job, a.card, a.attempt);
        let new = !before.iter().any(|b| id(b) == id(attempt));
        assert!(
            !(new && good_before.contains(&attempt.card)),
            "{attempt:?} after it was good"
        );
        if attempt.verdict == "good" {
            let lines = 8 * (u32::from(deck.format().strokes()) + 2);
            assert_eq!(
                attempt.lines, lines,
                "{attempt:?}: good, and not read to its end"
            );
            assert_eq!(attempt.kept_lines, Some(lines), "{attempt:?}");
        }
    }
    let count = attempts.iter().filter(|a| a.verdict == "good").count();
    assert_eq!(
        count,
        good(attempts).len(),
        "a card was good twice: {attempts:?}"
    );
    world.no_good_card_again(deck, &good_before);
    world.last_at_kill = world.pieces();
}

/// Every card called good is, in card and holes. Pieces of stock that were taken
/// up and never begun have no place in the stack, so a place lies a few pieces
/// further on in the world's account; the order is the same.
fn good_cards_are_good(deck: &Deck, attempts: &[Attempt], world: &World, kills: usize) {
    let format = deck.format();
    let mut by_place: Vec<(usize, &Attempt)> = attempts
        .iter()
        .filter(|a| a.verdict == "good")
        .map(|a| (a.place.expect("a good card was in the rig") as usize, a))
        .collect();
    by_place.sort();
    let mut not_begun = 0;
    for (place, attempt) in by_place {
        let strokes = deck
            .strokes(CardNumber(attempt.card))
            .expect("a card of the deck");
        let is_it = |card: &truth::Card| {
            let (holes, pitch) = (format.holes_per_row(), format.row_pitch_mm());
            card.matches(&strokes, holes, pitch, TOLERANCE_MM)
                .is_empty()
        };
        // the last, for the program may have been killed with it whole and unread
        let at = world.left.iter().rposition(is_it);
        let at = at.unwrap_or_else(|| panic!("{attempt:?} is called good and no piece is so"));
        let skipped = (at + 1).checked_sub(place);
        let skipped = skipped.unwrap_or_else(|| panic!("{attempt:?} is piece {at}"));
        assert!(
            (not_begun..=kills).contains(&skipped),
            "{attempt:?} was called good, and the whole card is piece {at}"
        );
        not_begun = skipped;
    }
}

fn cut(deck: &Path, link: &Path, data: &Path) -> Live {
    Live::start(
        cardwright(&["cut", "--yes", "--json", "--rig"])
            .arg(link)
            .arg("--data")
            .arg(data)
            .arg(deck)
            .stdin(Stdio::null()),
    )
}

struct Workshop {
    place: Place,
    rig: Handle,
    link: PathBuf,
    world: World,
    chance: rand::rngs::Xoshiro256PlusPlus,
    kills: u32,
}

impl Workshop {
    /// Cuts one deck to its end, killed again and again.
    fn one_deck(&mut self, number: u64, data: &Path, seed: u64) {
        let file = self
            .place
            .deck(&format!("deck-{number}"), CARDS, seed.wrapping_add(number));
        let deck = Deck::read(&file).expect("the deck is as it was made");
        // attempts of other decks in the same ledger are not looked at
        let earlier = attempts(data)
            .iter()
            .map(|attempt| attempt.job)
            .max()
            .unwrap_or(0);
        let own = |all: Vec<Attempt>| -> Vec<Attempt> {
            all.into_iter()
                .filter(|attempt| attempt.job > earlier)
                .collect()
        };
        let (pieces_before, kills_before) = (self.world.left.len(), self.kills);
        let mut before = Vec::new();
        while self.kills < KILLS && good(&before).len() < CARDS as usize {
            let mut run = cut(&file, &self.link, data);
            // now and then within the start of the program, mostly within a card
            let most_ms = if self.chance.random_bool(0.2) {
                40
            } else {
                700
            };
            std::thread::sleep(Duration::from_millis(self.chance.random_range(0..most_ms)));
            run.kill();
            self.kills += 1;
            self.world.look(&self.rig);
            let now = own(attempts(data));
            check(&deck, &now, &before, &mut self.world);
            before = now;
        }
        let done = cut(&file, &self.link, data).end();
        assert_eq!(done.status, 0, "{done:?}");
        let summary = done.summary();
        assert_eq!(summary["good"], summary["cards"], "{summary}");
        // the last card may lie in the rollers yet; somebody takes it out
        self.rig
            .at_the_machine(|unit| unit.unit.world_mut().take_out_cards())
            .expect("the rig runs");
        self.world.look(&self.rig);
        let now = own(attempts(data));
        check(&deck, &now, &before, &mut self.world);
        assert_eq!(
            good(&now),
            (1..=CARDS).collect(),
            "every card is good in the end"
        );
        good_cards_are_good(&deck, &now, &self.world, self.kills as usize);
        let pieces = self.world.left.len() - pieces_before;
        let kills = (self.kills - kills_before) as usize;
        assert!(
            pieces <= CARDS as usize + kills,
            "{pieces} pieces of stock for {CARDS} cards and {kills} kills"
        );
        println!("deck {number}: {kills} kills, {pieces} pieces of stock for {CARDS} cards");
    }
}

#[test]
fn killed_at_200_moments_no_card_is_cut_twice_or_called_good_unread() {
    let seed = std::env::var("CARDWRIGHT_TEST_SEED")
        .ok()
        .and_then(|seed| seed.parse().ok())
        .unwrap_or(20);
    println!("CARDWRIGHT_TEST_SEED={seed}");
    let place = Place::new();
    let link = place.file("rig");
    let like = Deck::read(&place.deck("like", 1, 1)).expect("a deck of the format");
    let rig = serve(rig_for(&like, FACTOR, link.clone(), seed));
    let mut shop = Workshop {
        place,
        rig,
        link,
        world: World::default(),
        chance: rand::rngs::Xoshiro256PlusPlus::seed_from_u64(seed),
        kills: 0,
    };
    let mut number = 0;
    while shop.kills < KILLS {
        // every third deck begins a ledger of its own, on the same rig
        let data = shop.place.file(&format!("data-{}", number / 3));
        shop.one_deck(number, &data, seed);
        number += 1;
    }
    let lost = shop.world.left.len() as u64 - number * u64::from(CARDS);
    println!(
        "{} kills, {number} decks, {lost} pieces of stock lost",
        shop.kills
    );
}

fn good_attempt(number: u32) -> Attempt {
    Attempt {
        job: 1,
        card: 1,
        attempt: number,
        verdict: "good".to_string(),
        place: Some(number),
        lines: 248,
        kept_lines: Some(248),
    }
}

fn checked_again(attempts: &[Attempt], world: &mut World) {
    let place = Place::new();
    let deck = Deck::read(&place.deck("towel", 2, 1)).expect("a deck");
    check(&deck, attempts, &[good_attempt(1)], world);
}

#[test]
fn the_check_lets_a_sound_account_pass() {
    checked_again(&[good_attempt(1)], &mut World::default());
}

#[test]
#[should_panic(expected = "after it was good")]
fn the_check_sees_an_attempt_at_a_good_card() {
    checked_again(&[good_attempt(1), good_attempt(2)], &mut World::default());
}

#[test]
#[should_panic(expected = "not read to its end")]
fn the_check_sees_a_card_called_good_unread() {
    let unread = Attempt {
        lines: 247,
        ..good_attempt(1)
    };
    checked_again(&[unread], &mut World::default());
}

#[test]
#[should_panic(expected = "was begun again on piece 7")]
fn the_check_sees_a_good_card_under_the_punches_again() {
    let place = Place::new();
    let deck = Deck::read(&place.deck("towel", 2, 1)).expect("a deck");
    let strokes = deck.strokes(CardNumber(1)).expect("its first card");
    let mut world = World::default();
    let begun = strokes.iter().take(9).map(bits).collect();
    world.strokes.insert(7, begun);
    check(&deck, &[good_attempt(1)], &[good_attempt(1)], &mut world);
}
