//! A host and a unit against each other in virtual time.
//!
//! Enters: an order, a machine, a line, a store, and what a test does to them
//! at chosen moments. Leaves: what the host says, and the world's truth, which
//! the program under test never sees. Nothing waits for the wall clock.

mod audit;
mod decks;
mod store;

pub use audit::{Audit, LEAST_OPEN, Piece};
pub use decks::{coarse_fast_rig, curlew_deck, fast_rig, number_or, random_deck, seed_or};
pub use store::{DiskStore, MemoryStore, Store, tries};

use std::collections::VecDeque;

use cardwright::engine::Engine;
use cardwright::job::{End, Job, Mark, News, Person, Task};
use cardwright::ledger::UnixMillis;
use cardwright::ledger::writer::{Answer, Command};
use cardwright_protocol::Micros;
use cardwright_protocol::frame::MOST_WIRE;
use cardwright_virtual::attendant::Watch;
use cardwright_virtual::world::Output;
use cardwright_virtual::{
    Attendant, Bench, CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World,
    WorldSettings,
};

/// Bytes the host's port takes before it is full: the usual terminal buffer of
/// a Unix (from memory).
const PORT_BUFFER: u64 = 4096;

/// How often the person looks at the machine.
const LOOK_US: u64 = 50_000;

/// A unit on a cable, with so many blank cards in its magazine.
#[must_use]
pub fn machine(
    world: WorldSettings,
    faults: &Faults,
    to_unit: &LineSettings,
    blanks: u64,
) -> CabledUnit {
    let mut world = World::new(world, faults);
    world.fill_magazine(blanks);
    CabledUnit::new(
        VirtualUnit::new(world, Nameplate::default()),
        to_unit,
        1_500_000,
    )
}

/// A command under way to the disk.
struct Writing {
    /// When it is on disk.
    commit_at: Micros,
    /// When the program hears of it.
    told_at: Micros,
    mark: Option<Mark>,
    command: Command,
    answer: Option<Answer>,
}

/// The person at the machine: mends what has stopped, then lets it move.
pub struct Keeper {
    watch: Watch,
    look_at: Micros,
    saw_trouble: bool,
    /// The machine waits for a reset since then.
    asked: Option<Micros>,
    /// How long the person takes before a reset.
    pub thinks_us: u64,
    wants_cards: bool,
    /// Resets given.
    pub resets: u32,
    /// Whether resets are given at all.
    pub resets_given: bool,
}

impl Keeper {
    /// A person who mends after so long and resets a little later.
    #[must_use]
    pub fn new(who: Attendant, thinks_us: u64) -> Keeper {
        Keeper {
            watch: Watch::new(who),
            look_at: Micros(0),
            saw_trouble: false,
            asked: None,
            thinks_us,
            wants_cards: false,
            resets: 0,
            resets_given: true,
        }
    }
}

/// The workshop.
pub struct Shop<S: Store, U: Bench = CabledUnit, T: Task = Job> {
    /// Unit, world and cable.
    pub cabled: U,
    /// The ledger.
    pub store: S,
    /// The person.
    pub keeper: Keeper,
    /// Everything the program has said, unless it is switched off.
    pub news: Vec<News>,
    /// Whether `news` is kept.
    pub keeps_news: bool,
    engine: Option<Engine<T>>,
    writing: VecDeque<Writing>,
    latency_us: u64,
    stalled_until: Micros,
    frames_left: bool,
}

impl<S: Store, U: Bench, T: Task> Shop<S, U, T> {
    /// A workshop whose disk takes `latency_us` for every record.
    #[must_use]
    pub fn new(cabled: U, store: S, keeper: Keeper, latency_us: u64) -> Shop<S, U, T> {
        Shop {
            cabled,
            store,
            keeper,
            news: Vec::new(),
            keeps_news: true,
            engine: None,
            writing: VecDeque::new(),
            latency_us,
            stalled_until: Micros(0),
            frames_left: false,
        }
    }

    /// The present moment.
    #[must_use]
    pub fn now(&self) -> Micros {
        self.cabled.now()
    }

    /// The program starts with this task.
    pub fn start(&mut self, job: T) {
        self.engine = Some(Engine::new(job));
        self.keeper.asked = None;
        self.keeper.wants_cards = false;
    }

    /// The program is killed outright: all that it has in memory is gone, and
    /// every record that is not on disk.
    pub fn kill(&mut self) {
        self.commit_due();
        self.engine = None;
        self.writing.clear();
        self.keeper.asked = None;
    }

    /// Whether a program is running.
    #[must_use]
    pub fn runs(&self) -> bool {
        self.engine.is_some()
    }

    /// How the job ended.
    #[must_use]
    pub fn end(&self) -> Option<&End> {
        self.engine.as_ref().and_then(Engine::end)
    }

    /// The task.
    #[must_use]
    pub fn job(&self) -> Option<&T> {
        self.engine.as_ref().map(Engine::task)
    }

    /// The link's own counts.
    #[must_use]
    pub fn engine(&self) -> Option<&Engine<T>> {
        self.engine.as_ref()
    }

    /// The host does nothing until then.
    pub fn stall_host(&mut self, us: u64) {
        self.stalled_until = self.now().plus(us);
    }

    /// The person orders something.
    pub fn order(&mut self, order: Person) {
        let at = self.time_of_day();
        if let Some(engine) = &mut self.engine {
            engine.person(order, at);
        }
    }

    fn time_of_day(&self) -> UnixMillis {
        UnixMillis(1_700_000_000_000 + (self.now().0 / 1000) as i64)
    }

    /// Runs until `done` says so or `deadline` comes; which of the two.
    pub fn run(&mut self, deadline: Micros, mut done: impl FnMut(&mut Self) -> bool) -> bool {
        loop {
            self.turn();
            if done(self) {
                return true;
            }
            if self.now() >= deadline {
                return false;
            }
            let next = self.next_moment().min(deadline).max(self.now().plus(1));
            if self.host_awake() {
                self.cabled.run_until_heard(next);
            } else {
                self.cabled.run_to(next);
            }
        }
    }

    fn host_awake(&self) -> bool {
        self.engine.is_some() && self.now() >= self.stalled_until
    }

    /// When something is to be done next, the unit and the line apart.
    fn next_moment(&self) -> Micros {
        let mut next = self.keeper.look_at;
        if let Some(writing) = self.writing.front() {
            next = next.min(writing.commit_at);
        }
        let Some(engine) = &self.engine else {
            return next;
        };
        if !self.host_awake() {
            return next.min(self.stalled_until);
        }
        if let Some(told) = self.writing.iter().map(|w| w.told_at).min() {
            next = next.min(told);
        }
        if self.frames_left {
            // room for a frame again when half the buffer has gone out
            next.min(self.now().plus(5_000))
        } else {
            next.min(engine.next_wake())
        }
    }

    /// Everything that is due at this moment.
    fn turn(&mut self) {
        self.commit_due();
        if self.host_awake() {
            self.host_turn();
        } else if self.engine.is_none() {
            while self.cabled.take().is_some() {}
        }
        if self.now() >= self.keeper.look_at {
            self.person_looks();
        }
    }

    /// Records reach the disk, whether or not the program is awake.
    fn commit_due(&mut self) {
        let now = self.now();
        for writing in &mut self.writing {
            if writing.commit_at <= now && writing.answer.is_none() {
                writing.answer = Some(self.store.carry_out(&writing.command));
            }
        }
    }

    fn host_turn(&mut self) {
        let (now, at) = (self.now(), self.time_of_day());
        let Some(engine) = &mut self.engine else {
            return;
        };
        while let Some(bytes) = self.cabled.take() {
            engine.receive(&bytes, now);
        }
        while self
            .writing
            .front()
            .is_some_and(|w| w.told_at <= now && w.answer.is_some())
        {
            let Some(writing) = self.writing.pop_front() else {
                break;
            };
            match (writing.mark, writing.answer) {
                (Some(mark), _) => engine.recorded(mark, at),
                (None, Some(Answer::Session(session))) => engine.open(session, now),
                _ => {}
            }
        }
        engine.run(at);
        let mut orders = Vec::new();
        if engine.wants_session() {
            orders.push((None, Command::NextSession));
        }
        while let Some((mark, command)) = engine.take_record() {
            orders.push((Some(mark), command));
        }
        while let Some(news) = engine.take_news() {
            match &news {
                News::NeedsReset { .. } => self.keeper.asked = Some(now),
                News::Started => self.keeper.asked = None,
                News::WantsCards => self.keeper.wants_cards = true,
                _ => {}
            }
            if self.keeps_news {
                self.news.push(news);
            }
        }
        self.frames_left = false;
        let mut wire = [0; MOST_WIRE];
        loop {
            if self.cabled.backlog() >= PORT_BUFFER {
                self.frames_left = true;
                break;
            }
            match engine.pull(now, &mut wire) {
                Some(length) => self.cabled.send(&wire[..length]),
                None => break,
            }
        }
        for (mark, command) in orders {
            self.writing.push_back(Writing {
                commit_at: now.plus(self.latency_us / 2),
                told_at: now.plus(self.latency_us),
                mark,
                command,
                answer: None,
            });
        }
        if self.latency_us == 0 {
            self.commit_due();
        }
    }

    fn person_looks(&mut self) {
        let now = self.now();
        self.keeper.look_at = now.plus(LOOK_US);
        let trouble = {
            let world = self.cabled.world();
            let lying = world.cards_in_path() > 0 && !world.output(Output::Status);
            world.block_stuck()
                || world.jammed()
                || lying
                || !world.guard_shut()
                || !world.stop_out()
                || world.magazine() < 10
        };
        // one look more after the last trouble, so that nothing old is remembered
        if trouble || self.keeper.saw_trouble {
            self.keeper.watch.look(&mut self.cabled.world_mut());
        }
        self.keeper.saw_trouble = trouble;
        if std::mem::take(&mut self.keeper.wants_cards) {
            self.order(Person::CardsLaidIn);
        }
        let Some(asked) = self.keeper.asked.filter(|_| self.keeper.resets_given) else {
            return;
        };
        let ready = {
            let world = self.cabled.world();
            !world.block_stuck() && !world.jammed() && world.guard_shut() && world.stop_out()
        };
        if ready {
            let mut world = self.cabled.world_mut();
            world.brush_bar();
            world.renew_lamp();
        }
        if ready && now.since(asked) >= self.keeper.thinks_us {
            self.keeper.asked = None;
            self.keeper.resets += 1;
            self.order(Person::Reset);
        }
    }
}
