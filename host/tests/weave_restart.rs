//! A program that is ended and begun again while the loom's unit goes on seeing. If one
//! of these fails, picks are lost or the cylinder's place shifts without a word.
//!
//! The unit is a list of events here; the words and the places are the handbook's
//! (README, "At the loom").

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::job::{Effect, End, Input, News, Person, Task, WeaveNews};
use cardwright::ledger::writer::Command;
use cardwright::ledger::{NewWeaving, PieceNumber, UnitStored, UnixMillis, WeavingKind};
use cardwright::loom::LoomFile;
use cardwright::weave::view::{Asking, View};
use cardwright::weave::watch::{Decision, Stand};
use cardwright::weave::{Change, DeckIndex, Plan, Says, Stored, Walk, Weave, WeaveOrder};
use cardwright_protocol::loom::{Happening, LoomCounts, LoomEvent, LoomEvents, LoomStatus};
use cardwright_protocol::unit_to_host::{Identity, Limits, Role, StopReason};
use cardwright_protocol::{CardNumber, HostToUnit, UnitToHost};
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

/// A unit that goes on, what is on disk, and a program that may be ended at any time.
struct Bench {
    walk: Walk,
    changed: Option<Change>,
    /// Another piece was woven on the loom since.
    another: bool,
    boot: u32,
    /// The first event the unit still has, and all it ever had.
    first: u32,
    events: Vec<LoomEvent>,
    counts: LoomCounts,
    now: i64,
    weave: Option<Weave>,
    /// Events up to here were sent.
    sent: usize,
    stored: Stored,
    unit: Option<UnitStored>,
    records: Vec<NewWeaving>,
    said: Vec<String>,
    view: View,
}

impl Bench {
    fn new(walk: Walk) -> Bench {
        Bench {
            walk,
            changed: None,
            another: false,
            boot: 1,
            first: 0,
            events: Vec::new(),
            counts: LoomCounts::default(),
            now: 1_700_000_000_000,
            weave: None,
            sent: 0,
            stored: Stored::default(),
            unit: None,
            records: Vec::new(),
            said: Vec::new(),
            view: View::default(),
        }
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

    fn start(&mut self) {
        let order = WeaveOrder {
            piece: PieceNumber(1),
            walk: self.walk.clone(),
            settings: LoomFile::bench().expect("the built-in loom").settings(),
            take_up_mm: Some(1.0),
            stored: self.stored.clone(),
            unit: self.unit,
            speed: 1.0,
        };
        let weave = Weave::new(order).changed(self.changed.clone());
        self.weave = Some(match std::mem::take(&mut self.another) {
            true => weave.after_another(),
            false => weave,
        });
        let boot = self.boot;
        self.take(Input::Opened { boot, version: 2 });
        self.take(Input::Message(Box::new(UnitToHost::Identity(Identity {
            role: Role::Loom,
            board: *b"the loom",
            firmware: heapless::String::new(),
            boot,
            channels: 0,
            stroke_room: 0,
            card_room: 0,
            last_stop: StopReason::PowerOn,
            limits: Limits {
                coil_on_us: 0,
                coil_duty_permille: 0,
                coils_at_once: 0,
                stroke_us: 0,
                host_silent_us: 0,
            },
        }))));
        self.sent = usize::MAX;
        self.status();
        self.send();
    }

    /// The unit tells how it stands.
    fn status(&mut self) {
        let status = UnitToHost::Loom(LoomStatus {
            at_us: self.events.len() as u64 * 100_000,
            settings: None,
            first: self.first,
            next: self.events.len() as u32,
            counts: self.counts,
            lines: 0,
        });
        self.take(Input::Message(Box::new(status)));
    }

    /// The program is killed.
    fn kill(&mut self) {
        self.weave = None;
    }

    fn leave(&mut self) {
        self.take(Input::Person(Person::Stop));
        let end = self.weave.take().and_then(|weave| weave.end().cloned());
        assert!(matches!(end, Some(End::Done { .. })), "{end:?}");
    }

    /// The loom moves: all of it is sent in as few messages as there can be.
    fn does(&mut self, movements: &str) {
        for movement in movements.chars().filter(|movement| *movement != ' ') {
            let what = match movement {
                'F' => Happening::CardForward,
                'L' => Happening::Lift,
                'T' => Happening::Beat,
                '<' => Happening::ShuttleLeft,
                '>' => Happening::ShuttleRight,
                '+' => Happening::TakenUp,
                other => panic!("no movement {other}"),
            };
            let at_us = self.events.len() as u64 * 100_000;
            self.counts.add(what);
            self.events.push(LoomEvent { at_us, what });
        }
        self.send();
    }

    fn send(&mut self) {
        while self.weave.is_some() && self.sent < self.events.len() {
            let first = self.sent;
            let until = self.events.len().min(first + 16);
            self.sent = until;
            let events = heapless::Vec::from_slice(&self.events[first..until]).expect("few");
            let first = first as u32;
            let events = UnitToHost::LoomEvents(LoomEvents { first, events });
            self.take(Input::Message(Box::new(events)));
        }
    }

    fn says(&mut self, says: Says) {
        self.take(Input::Person(Person::Weave(Box::new(says))));
    }

    fn take(&mut self, input: Input) {
        self.now += 1_000;
        let mut inputs = vec![input];
        while let Some(input) = inputs.pop() {
            let mut effects = Vec::new();
            let weave = self.weave.as_mut().expect("it runs");
            weave.take(input, UnixMillis(self.now), &mut effects);
            for effect in effects {
                match effect {
                    Effect::Record(mark, command) => {
                        self.write(*command);
                        inputs.insert(0, Input::Recorded(mark));
                    }
                    Effect::Send(HostToUnit::LoomFrom(from)) if self.sent == usize::MAX => {
                        self.sent = from as usize;
                    }
                    Effect::Tell(News::Refused { words }) => self.said.push(words),
                    Effect::Tell(News::Weave(news)) => match *news {
                        WeaveNews::View(view) => self.view = *view,
                        WeaveNews::Line { line, .. } => self.said.push(line.words),
                    },
                    _ => {}
                }
            }
        }
    }

    fn write(&mut self, command: Command) {
        if let Command::Woven(woven) = command {
            self.stored = serde_json::from_value(woven.place).expect("a place");
            self.unit = woven.unit.or(self.unit);
            self.records.extend(woven.records);
        }
    }

    fn next(&self) -> u64 {
        self.view.next.as_ref().map_or(0, |next| next.number)
    }

    fn card(&self) -> Option<u32> {
        self.view.stands.map(|stand| stand.card.0)
    }

    /// Events and beats that are asked about, and the pick that would be next.
    fn asked(&self) -> Option<(u64, u64, u64)> {
        match self.view.asking {
            Some(Asking::CatchUp {
                events,
                beats,
                next,
                ..
            }) => Some((events, beats, next)),
            _ => None,
        }
    }

    fn has_said(&self, words: &str) -> usize {
        self.said.iter().filter(|said| said.contains(words)).count()
    }

    /// Of each pick's record what it says under this name.
    fn picks(&self, name: &str) -> Vec<f64> {
        let picks = self.records.iter().filter(|r| r.kind == WeavingKind::Pick);
        picks.filter_map(|r| r.detail[name].as_f64()).collect()
    }
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
        let mut bench = Bench::with_eight(dir.path());
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

#[test]
fn a_unit_that_restarts_before_the_answer_takes_nothing_from_it() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut bench = Bench::with_eight(dir.path());
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
    let mut bench = Bench::with_eight(dir.path());
    bench.leave();
    let hem = "[[section]]\nname = \"hem\"\nground = 2\n[[section]]\nname = \"field\"";
    let changed = FIELD.replace("[[section]]\nname = \"field\"", hem);
    let now = walk(dir.path(), &changed);
    let change = Change::of(Some(&bench.walk), &now, &mut bench.stored.place);
    bench.changed = Some(change.expect("it is long enough"));
    bench.walk = now;
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

#[test]
fn weaving_that_goes_on_before_the_answer_is_no_part_of_the_question() {
    let dir = tempfile::tempdir().expect("a directory");
    for (taken, next) in [(true, 13), (false, 9)] {
        let mut bench = Bench::with_eight(dir.path());
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
    let mut bench = Bench::with_eight(dir.path());
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
    let mut bench = Bench::with_eight(dir.path());
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
        let mut bench = Bench::with_eight(dir.path());
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
