//! A program that is ended and begun again while the loom's unit goes on seeing. If one
//! of these fails, picks are lost or the cylinder's place shifts without a word.
//!
//! The unit is a list of events here; the words and the places are the handbook's
//! (README, "At the loom").

#[path = "weave_restart/bench.rs"]
mod bench;

use bench::Bench;
use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::job::{Effect, End, Input, News, Task as _};
use cardwright::ledger::{UnitStored, UnixMillis, WeavingKind};
use cardwright::weave::view::Asking;
use cardwright::weave::watch::{Decision, Stand};
use cardwright::weave::{Change, DeckIndex, Plan, Says, Walk};
use cardwright_protocol::CardNumber;
use cardwright_protocol::loom::LoomCounts;
use std::path::Path;
use std::sync::Arc;

const FIELD: &str = "name = \"p\"\nsett = { picks = 10, per = \"cm\" }\n[decks]\nd = \"d.deck\"\n\
                     e = \"e.deck\"\n[[section]]\nname = \"field\"\ndeck = \"d\"\nrepeat = 10\n\
                     [[section]]\nname = \"border\"\ndeck = \"e\"\n";

fn walk(dir: &Path, text: &str) -> Walk {
    for name in ["d", "e"] {
        let format = CardFormat::named("400").expect("a built-in format");
        let cards = vec![vec![Row(0b1001); usize::from(format.rows())]; 12];
        let deck = Deck::new(name, format, None, Cutting::default(), cards).expect("a deck");
        let file = dir.join(format!("{name}.deck"));
        deck.write(&file, true).expect("the disk");
    }
    let file = dir.join("p.toml");
    std::fs::write(&file, text).expect("the disk");
    Walk::new(Arc::new(Plan::read(&file).expect("a plan")))
}

/// Eight picks woven with cards 1 to 8.
fn with_eight(dir: &Path) -> Bench {
    let mut bench = Bench::new(walk(dir, FIELD));
    bench.start();
    bench.says(chain());
    bench.does("FL<T FL>T FL<T FL>T FL<T FL>T FL<T FL>T");
    assert_eq!((bench.next(), bench.card()), (9, Some(8)));
    bench
}

/// The same, left, and a hem of two ground picks put before them in the plan.
fn with_a_hem_more(dir: &Path) -> Bench {
    let mut bench = with_eight(dir);
    bench.leave();
    let hem = "[[section]]\nname = \"hem\"\nground = 2\n[[section]]\nname = \"field\"";
    let changed = FIELD.replace("[[section]]\nname = \"field\"", hem);
    let now = walk(dir, &changed);
    let change = Change::of(Some(&bench.walk), &now, &mut bench.stored.place);
    bench.changed = Some(change.expect("it is long enough"));
    bench.walk = now;
    bench
}

fn chain() -> Says {
    Says::Decided {
        decision: Decision::ChainReady,
    }
}

fn take(take: bool) -> Says {
    Says::CatchUp { take }
}

#[test]
fn what_was_asked_and_not_answered_is_asked_again() {
    let dir = tempfile::tempdir().expect("a directory");
    for leaves in [true, false] {
        let mut bench = with_eight(dir.path());
        bench.kill();
        bench.does("FL<T FL>T");
        for _ in 0..2 {
            bench.start();
            assert_eq!(bench.asked(), Some((8, 2, 11)));
            match leaves {
                true => bench.leave(),
                false => bench.kill(),
            }
        }
        // and what comes to it while the program is off again
        bench.does("FL<T");
        bench.start();
        assert_eq!(bench.asked(), Some((12, 3, 12)));
        bench.says(take(true));
        bench.does("FL>T");
        assert_eq!((bench.next(), bench.card()), (13, Some(12)));
        assert_eq!(bench.view.in_cloth, 12);
        assert!(bench.view.open.is_empty(), "{:?}", bench.view.open);
        // once answered, it is not asked again
        bench.kill();
        bench.start();
        assert_eq!((bench.asked(), bench.next()), (None, 13));
    }
}

/// What comes between leaving and its being written down is asked about, as is all that
/// is woven while the program is off.
#[test]
fn nothing_is_taken_once_the_work_is_left() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_eight(dir.path());
    bench.leave_while("FL<T FL>T");
    let last = bench.records.last().map(|record| record.kind);
    assert_eq!(last, Some(WeavingKind::Left));
    bench.start();
    assert_eq!(bench.asked(), Some((8, 2, 11)));
}

/// The last pick is no end: a weaver who sees a flaw in it takes it out.
#[test]
fn after_the_last_pick_picks_come_out_until_the_piece_is_done() {
    let dir = tempfile::tempdir().expect("a directory");
    let short = FIELD.split("repeat").next().expect("a beginning");
    let mut bench = Bench::new(walk(dir.path(), short));
    bench.start();
    bench.says(chain());
    bench.does(&"FL<T FL>T".repeat(6));
    let ends = |bench: &Bench| {
        let mut records = bench.records.iter();
        records.any(|record| record.kind == WeavingKind::Finished)
    };
    assert_eq!(bench.view.asking, Some(Asking::End));
    assert_eq!(bench.has_said("the last pick of the plan is woven"), 1);
    // beats after it are none of the plan's
    bench.does("T");
    assert_eq!((bench.view.in_cloth, bench.view.open.len()), (12, 0));
    let unwove = Decision::Unwove { picks: 2 };
    bench.says(Says::Decided { decision: unwove });
    assert_eq!((bench.next(), bench.view.in_cloth), (11, 10));
    bench.says(Says::End);
    assert_eq!(bench.has_said("the piece is not woven to its end"), 1);
    bench.says(chain());
    bench.does("FL<T FL>T");
    assert_eq!(bench.view.asking, Some(Asking::End));
    bench.leave();
    assert!(!ends(&bench), "it was only left");
    // the unit was switched off over night: there is no place to be lost
    (bench.boot, bench.first, bench.counts) = (2, 0, LoomCounts::default());
    bench.events.clear();
    bench.start();
    assert_eq!(bench.view.asking, Some(Asking::End));
    assert!(bench.view.open.is_empty(), "{:?}", bench.view.open);
    bench.says(Says::End);
    assert!(ends(&bench) && bench.view.is_done());
    let end = bench.weave.as_ref().and_then(|weave| weave.end());
    assert!(matches!(end, Some(End::Done { faults: false })), "{end:?}");
}

#[test]
fn a_unit_that_restarts_before_the_answer_takes_nothing_from_it() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_eight(dir.path());
    bench.kill();
    bench.does("FL<T FL>T");
    bench.start();
    bench.kill();
    (bench.boot, bench.first, bench.counts) = (2, 0, LoomCounts::default());
    bench.events.clear();
    bench.start();
    assert_eq!(bench.asked(), Some((8, 2, 11)));
    bench.says(take(true));
    assert_eq!((bench.next(), bench.view.stray), (11, 0));
    // then the unit was off: how the chain lies now is to be said
    assert_eq!(bench.view.open.len(), 1);
    assert!(matches!(bench.view.asking, Some(Asking::Chain { .. })));
}

#[test]
fn what_is_seen_while_the_place_is_asked_is_asked_about_later() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_a_hem_more(dir.path());
    for _ in 0..2 {
        bench.start();
        assert!(matches!(bench.view.asking, Some(Asking::Place { .. })));
        bench.does("FL<T");
        bench.leave();
    }
    bench.start();
    bench.says(Says::Decided {
        decision: Decision::NextIs { pick: 10 },
    });
    assert_eq!(bench.asked(), Some((8, 2, 13)));
    bench.says(take(true));
    assert_eq!((bench.next(), bench.card()), (13, Some(10)));
}

/// Picks that were woven while the place was asked, and nothing before them, were lost
/// with the answer.
#[test]
fn what_is_seen_while_the_place_is_asked_is_asked_about_at_once() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_a_hem_more(dir.path());
    bench.start();
    bench.does("FL<T FL>T");
    bench.says(Says::Decided {
        decision: Decision::NextIs { pick: 10 },
    });
    assert_eq!(bench.asked(), Some((8, 2, 13)));
    bench.does("FL<T");
    bench.says(take(true));
    assert_eq!((bench.next(), bench.card()), (14, Some(11)));
    assert_eq!(bench.view.in_cloth, 11);
}

#[test]
fn weaving_that_goes_on_before_the_answer_is_no_part_of_the_question() {
    let dir = tempfile::tempdir().expect("a directory");
    for (taken, next) in [(true, 13), (false, 9)] {
        let mut bench = with_eight(dir.path());
        bench.kill();
        bench.does("FL<T FL>T");
        bench.start();
        bench.does("FL<T");
        bench.does("FL>T");
        assert_eq!(bench.asked(), Some((8, 2, 11)), "as it was asked first");
        assert_eq!(bench.has_said("weaving has gone on"), 1);
        let before = bench.stored.clone();
        for decision in [
            Decision::Unwove { picks: 1 },
            Decision::NextIs { pick: 3 },
            Decision::ChainReady,
        ] {
            bench.says(Says::Decided { decision });
        }
        assert_eq!(bench.stored, before);
        assert_eq!(bench.has_said("first answer what happened"), 3);
        bench.says(take(taken));
        assert_eq!((bench.asked(), bench.next()), (None, next));
        // with what was laid aside it is not known how the chain lay, but two were beaten
        assert_eq!(bench.view.stray, if taken { 0 } else { 2 });
        assert_eq!(bench.view.open.is_empty(), taken);
    }
}

#[test]
fn each_pick_has_its_own_numbers() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_eight(dir.path());
    bench.kill();
    bench.does("FL<T+ FL>T+ FL<T+");
    bench.start();
    bench.says(take(true));
    bench.does("FL>T+ FL<T+ FL>T+");
    let numbers: Vec<f64> = (1..15).map(f64::from).collect();
    assert_eq!(bench.picks("in_cloth"), numbers);
    assert_eq!(bench.picks("length_mm"), numbers);
    let take_up = [0., 0., 0., 0., 0., 0., 0., 0., 0., 1., 2., 3., 4., 5.];
    assert_eq!(bench.picks("take_up_mm"), take_up);
}

#[test]
fn the_chain_of_another_deck_answers_nothing() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = Bench::new(walk(dir.path(), FIELD));
    bench.start();
    let stands = |deck, card| Says::Decided {
        decision: Decision::Stands {
            card: Stand {
                deck: DeckIndex(deck),
                card: CardNumber(card),
            },
        },
    };
    bench.says(stands(1, 3));
    assert_eq!(bench.has_said("card 1 of d is wanted next"), 1);
    assert!(matches!(bench.view.asking, Some(Asking::Chain { .. })));
    bench.says(stands(0, 12));
    assert_eq!(bench.view.asking, None);
    bench.does("FL<T");
    assert_eq!(bench.next(), 2);
}

#[test]
fn events_that_are_gone_leave_nothing_to_ask_of_what_comes_then() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_eight(dir.path());
    bench.kill();
    bench.does("FL<T FL>T");
    bench.first = bench.events.len() as u32;
    bench.start();
    bench.says(chain());
    bench.does("FL<T");
    assert_eq!((bench.asked(), bench.next()), (None, 10));
    assert_eq!(bench.has_said("weaving has gone on"), 0);
}

/// What the unit saw for another piece is no fault of this one.
#[test]
fn another_piece_in_between_only_asks_for_the_chain() {
    let dir = tempfile::tempdir().expect("a directory");
    for missed in [false, true] {
        let mut bench = with_eight(dir.path());
        bench.kill();
        if missed {
            bench.does("FL<T");
            bench.start();
            bench.kill();
        }
        bench.does("FL<T FL>T");
        let stored = bench.events.len() as u32;
        bench.first = stored;
        bench.unit = bench.unit.map(|unit| UnitStored {
            next: stored,
            ..unit
        });
        bench.another = true;
        bench.start();
        assert_eq!(bench.has_said("another piece was woven on this loom"), 1);
        if missed {
            assert_eq!(bench.asked(), Some((4, 1, 10)));
            bench.says(take(true));
        }
        assert!(matches!(bench.view.asking, Some(Asking::Chain { .. })));
        bench.says(chain());
        bench.does("FL<T");
        assert_eq!(bench.next(), if missed { 11 } else { 10 });
        // what the unit has counted in all is not this piece's
        bench.status();
        assert!(bench.view.open.is_empty(), "{:?}", bench.view.open);
    }
}

/// Whoever weaves looks at the cloth: a cable that was pulled is told of at once.
#[test]
fn a_unit_that_falls_silent_is_told_of_and_so_is_its_return() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = with_eight(dir.path());
    let mut tells = |input| {
        let mut effects = Vec::new();
        let weave = bench.weave.as_mut().expect("it runs");
        weave.take(input, UnixMillis(bench.now), &mut effects);
        let news = effects.into_iter().filter_map(|effect| match effect {
            Effect::Tell(news) => Some(news),
            _ => None,
        });
        news.collect::<Vec<_>>()
    };
    assert!(tells(Input::Silent).contains(&News::UnitSilent));
    assert!(tells(Input::Heard).contains(&News::UnitHeard));
}
