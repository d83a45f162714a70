//! Two ledgers for virtual time: the real one on disk, and a fast one in
//! memory that keeps the same promises.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use cardwright::deck::Deck;
use cardwright::engine::Hub;
use cardwright::job::{Kind, Order, Recut};
use cardwright::ledger::writer::{Answer, Command};
use cardwright::ledger::{AttemptRow, Ledger, Verdict};
use cardwright::order::{Wanted, draw_up};
use cardwright::rig::RigFile;
use cardwright_protocol::{CardId, CardNumber, JobNumber};

/// Where records go.
pub trait Store {
    /// Carries a command out; it is on disk when this returns.
    fn carry_out(&mut self, command: &Command) -> Answer;
}

/// The real ledger behind its real writer.
pub struct DiskStore {
    dir: PathBuf,
    open: Option<(tokio::runtime::Runtime, Hub)>,
}

impl DiskStore {
    /// Opens the ledger in `dir`.
    ///
    /// # Panics
    /// If it does not open: that is what some of the tests are about.
    #[must_use]
    pub fn open(dir: &Path) -> DiskStore {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        let ledger = Ledger::open(dir).expect("the ledger opens");
        let hub = {
            let _within = runtime.enter();
            Hub::start(ledger).expect("the ledger's writer starts")
        };
        DiskStore {
            dir: dir.to_path_buf(),
            open: Some((runtime, hub)),
        }
    }

    /// The program is gone and another opens the same ledger.
    pub fn reopen(&mut self) {
        self.open = None;
        *self = DiskStore::open(&self.dir.clone());
    }

    fn ask<T>(&self, what: impl AsyncFnOnce(&Hub) -> T) -> T {
        let (runtime, hub) = self.open.as_ref().expect("the ledger is open");
        runtime.block_on(what(hub))
    }

    /// The order that the program would draw up now; none if nothing is left
    /// to be done.
    ///
    /// # Panics
    /// If the ledger fails.
    pub fn draw_up(
        &self,
        kind: Kind,
        deck: &Arc<Deck>,
        cards: Option<&str>,
        recut: Recut,
        rig: &RigFile,
    ) -> Option<Order> {
        let wanted = Wanted {
            kind,
            deck,
            cards,
            recut,
            again: false,
        };
        let drawn = self.ask(async |hub| draw_up(wanted, rig, hub).await);
        drawn.expect("the ledger answers").order
    }
}

impl Store for DiskStore {
    fn carry_out(&mut self, command: &Command) -> Answer {
        let answer = self.ask(async |hub| hub.ask(command.clone()).await);
        answer.unwrap_or_else(|error| panic!("{command:?}: {error}"))
    }
}

/// A ledger in memory. Refuses, by panicking, what the real one refuses: an
/// identity used twice, an end of what was not sent or has ended.
#[derive(Debug, Default)]
pub struct MemoryStore {
    session: u32,
    /// The verdict of every attempt sent; none while it is open.
    pub attempts: BTreeMap<CardId, Option<Verdict>>,
    /// Cards recorded good.
    pub good: BTreeSet<CardNumber>,
}

impl Store for MemoryStore {
    fn carry_out(&mut self, command: &Command) -> Answer {
        match command {
            Command::NextSession => {
                self.session += 1;
                return Answer::Session(self.session);
            }
            Command::AttemptSent(attempts) => {
                for attempt in attempts {
                    let used = self.attempts.insert(attempt.id, None);
                    assert!(used.is_none(), "{:?} used twice", attempt.id);
                    let card = attempt.id.card;
                    assert!(!self.good.contains(&card), "good card {card:?} sent again");
                }
            }
            Command::AttemptEnded(end) => {
                let place = self.attempts.get_mut(&end.id);
                let place = place.unwrap_or_else(|| panic!("{:?} was never sent", end.id));
                assert_eq!(*place, None, "{:?} ended twice", end.id);
                *place = Some(end.verdict);
                if end.verdict == Verdict::Good {
                    assert!(end.readings.is_some() && end.faults.is_empty());
                    self.good.insert(end.id.card);
                }
            }
            Command::JobUnit(..)
            | Command::EndJob(..)
            | Command::UnitSeen(_)
            | Command::Event(_) => {}
            other => panic!("{other:?} is not asked of a running job's ledger"),
        }
        Answer::Done
    }
}

impl MemoryStore {
    /// A first order for cutting all of a deck with these settings.
    #[must_use]
    pub fn order(deck: &Arc<Deck>, job: u32, rig: &RigFile) -> Order {
        Order {
            number: JobNumber(job),
            kind: Kind::Cut,
            deck: Arc::clone(deck),
            others: Arc::default(),
            mending: BTreeMap::new(),
            until_told: false,
            formats: None,
            first: None,
            cards: deck.cards().map(|(number, _)| number).collect(),
            recut: Recut::End,
            settings: rig.settings(deck.format()),
            geometry: RigFile::geometry(deck.format()),
            limits: rig.limits(),
            open: Vec::new(),
            used: BTreeMap::new(),
            open_elsewhere: BTreeSet::new(),
        }
    }

    /// Forgets all attempts, for another deck; session numbers go on.
    pub fn forget(&mut self) {
        self.attempts.clear();
        self.good.clear();
    }

    /// Attempts by verdict.
    #[must_use]
    pub fn by_verdict(&self) -> BTreeMap<&'static str, u32> {
        let mut counts = BTreeMap::new();
        for verdict in self.attempts.values() {
            let word = verdict.map_or("open", Verdict::word);
            *counts.entry(word).or_insert(0) += 1;
        }
        counts
    }

    /// Verdicts of a card's attempts that may have used stock, in order.
    #[must_use]
    pub fn tries(&self, card: CardNumber) -> Vec<Verdict> {
        let of = |(id, verdict): (&CardId, &Option<Verdict>)| {
            verdict.filter(|v| id.card == card && *v != Verdict::NotBegun)
        };
        self.attempts.iter().filter_map(of).collect()
    }
}

/// The same from a real ledger's list.
#[must_use]
pub fn tries(rows: &[AttemptRow], card: CardNumber) -> Vec<Verdict> {
    rows.iter()
        .filter(|row| row.card == card && row.verdict != Verdict::NotBegun)
        .map(|row| row.verdict)
        .collect()
}
