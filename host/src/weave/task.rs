//! Weaving, as a task over the link to a loom unit. A pure state machine.
//!
//! Enters: what the unit says, what the ledger has on disk, what the weaver says.
//! Leaves: messages for the unit, records for the ledger, a view for the screen.
//! Refuses to let the unit forget an event before it is on disk with all that came of
//! it, to take what happened while nobody looked without asking, and a unit that
//! knows nothing of looms.

mod catch_up;
mod changed;
mod kept;
mod said;
mod show;
mod unit;

use cardwright_protocol::loom::{LoomCounts, LoomSettings};
use cardwright_protocol::{HostToUnit, UnitToHost};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::{BTreeMap, VecDeque};

use catch_up::CatchUp;
pub use catch_up::Undecided;

pub(crate) use unit::{KNOWS_LOOMS, NO_LOOMS};

use super::change::Change;
use super::pace::Pace;
use super::view::{Asking, Line};
use super::walk::Walk;
use super::watch::{Decision, Fitted, Place, Seen, Told, Watch};
use super::words;
use crate::job::{Effect, End, Input, Mark, News, Person, Task, WeaveNews};
use crate::ledger::{BoardId, PieceNumber, UnitStored, UnixMillis, WeavingKind};
use crate::loom::LoomClock;

/// Lines that a screen shows of what happened.
const LINES_KEPT: usize = 40;

/// Picks woven last that a screen may draw.
const PICKS_KEPT: usize = 200;

/// What the weaver says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "says")]
pub enum Says {
    /// Decides something about the count.
    Decided {
        /// What.
        decision: Decision,
    },
    /// What happened while the program was off is taken as it was counted, or not.
    CatchUp {
        /// Whether it is.
        take: bool,
    },
    /// Something to be written down.
    Note {
        /// What.
        text: String,
    },
    /// I rest.
    Pause,
    /// I go on.
    Resume,
    /// Every pick is woven, and none comes out again: the piece is done.
    End,
}

/// Where a piece stands in the ledger.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Stored {
    /// Where the work stands.
    pub place: Place,
    /// What the unit's events have added up to in its present boot.
    #[serde(default)]
    pub counts: LoomCounts,
    /// What was stored since that place and was neither taken nor laid aside.
    #[serde(default, skip_serializing_if = "Undecided::is_empty")]
    pub undecided: Undecided,
    /// SHA-256 of each deck of the plan; none where that was not yet written down.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub decks: BTreeMap<String, String>,
    /// Another piece was begun in its stead.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unfinished: bool,
}

/// What is woven, and where it was left.
#[derive(Clone, Debug)]
pub struct WeaveOrder {
    /// The piece in the ledger.
    pub piece: PieceNumber,
    /// The plan's walk.
    pub walk: Walk,
    /// For the unit.
    pub settings: LoomSettings,
    /// Millimetres of cloth an event of the take-up stands for, if it is seen.
    pub take_up_mm: Option<f64>,
    /// Where it was left.
    pub stored: Stored,
    /// How far which unit's events are stored.
    pub unit: Option<UnitStored>,
    /// How many times as fast as the wall's clock the loom's runs; 1 for a real one.
    pub speed: f64,
}

/// The task.
#[derive(Debug)]
pub struct Weave {
    order: WeaveOrder,
    watch: Watch,
    counts: LoomCounts,
    pace: Pace,
    clock: LoomClock,
    /// The time of day at which this task began, by the wall.
    began: Option<UnixMillis>,
    version: u16,
    board: Option<BoardId>,
    boot: u32,
    /// Whether the unit was asked to send since this session with it began.
    follows: bool,
    /// Whether this task has followed this boot of the unit before.
    followed: Option<(BoardId, u32)>,
    next_event: Option<u32>,
    asked_at: Option<i64>,
    compared_at: Option<i64>,
    /// Whether it is written down that the work was begun or taken up.
    begun: bool,
    /// Whether `counts` are the unit's own up to the last event.
    counts_known: bool,
    catch_up: Option<CatchUp>,
    /// The plan was changed, and that is not yet accepted.
    change: Option<Change>,
    /// The decks it is woven from, as [`Stored::decks`].
    decks: BTreeMap<String, String>,
    /// What is to be known at the beginning.
    greets: Vec<String>,
    /// What was seen while the place was not known, and is to be looked at after that.
    unplaced: Vec<Seen>,
    paused: bool,
    heard: bool,
    wants_chain: bool,
    lines: VecDeque<Line>,
    woven: VecDeque<u64>,
    /// Records on their way to the disk, with the first event not in them.
    under_way: VecDeque<(Mark, Option<u32>)>,
    marks: u64,
    leaving: bool,
    /// The weaver has said that the piece is done.
    ended: bool,
    end: Option<End>,
}

impl Weave {
    /// Weaving that goes on where `order` says.
    #[must_use]
    pub fn new(order: WeaveOrder) -> Weave {
        let fitted = Fitted(order.settings.fitted);
        let stored = order.stored.clone();
        Weave {
            watch: Watch::new(order.walk.clone(), fitted, stored.place),
            counts: stored.counts,
            pace: Pace::default(),
            clock: LoomClock::default(),
            began: None,
            version: 0,
            board: None,
            boot: 0,
            follows: false,
            followed: None,
            next_event: None,
            asked_at: None,
            compared_at: None,
            begun: false,
            counts_known: true,
            catch_up: CatchUp::left(&stored.undecided),
            change: None,
            decks: order.walk.plan().deck_sha256s(),
            greets: Vec::new(),
            unplaced: Vec::new(),
            paused: false,
            heard: false,
            wants_chain: false,
            lines: VecDeque::new(),
            woven: VecDeque::new(),
            under_way: VecDeque::new(),
            marks: 0,
            leaving: false,
            ended: false,
            end: None,
            order,
        }
    }

    /// The same, which tells this as it begins.
    #[must_use]
    pub fn greeting(self, greets: Vec<String>) -> Weave {
        Weave { greets, ..self }
    }

    /// The same, after another piece was woven on this loom: its chain was hung, and the
    /// unit has counted for it.
    #[must_use]
    pub fn after_another(mut self) -> Weave {
        match &mut self.catch_up {
            Some(catch_up) => catch_up.missed.other_chain = true,
            None => self.watch.forget_stand(&mut Vec::new()),
        }
        self.counts_known = false;
        let words = "another piece was woven on this loom since: what the unit saw then is not of \
                     this one";
        self.greets.push(words.to_string());
        self
    }

    /// The time by the loom's clock: the wall's, unless the loom is virtual and
    /// runs faster.
    fn loom_time(&mut self, at: UnixMillis) -> i64 {
        let began = self.began.get_or_insert(at).0;
        began + ((at.0 - began) as f64 * self.order.speed) as i64
    }

    /// Begins, or goes on.
    fn begin(&mut self, at: i64, fx: &mut Vec<Effect>) {
        let detail = self.stands_at();
        let mut told = Vec::new();
        self.watch.want_chain(&mut told);
        self.wants_chain = told.contains(&Told::WantsChain);
        self.keep(at, vec![(WeavingKind::Began, detail)], &told, fx);
        for words in std::mem::take(&mut self.greets) {
            self.line(at, words, false, fx);
        }
        if let Some(words) = words::plan_weaves(self.watch.walk()) {
            self.line(at, words, false, fx);
        }
        self.begin_changed(at, fx);
    }

    /// Where the work stands, for the ledger.
    fn stands_at(&self) -> Value {
        json!({ "next": self.watch.place().next, "in_cloth": self.watch.in_the_cloth() })
    }

    /// Tells one line of what happened.
    fn line(&mut self, at: i64, words: String, sound: bool, fx: &mut Vec<Effect>) {
        let pick = None;
        self.push_line(Line { at, words, pick }, sound, fx);
    }

    fn push_line(&mut self, line: Line, sound: bool, fx: &mut Vec<Effect>) {
        push_bounded(&mut self.lines, line.clone(), LINES_KEPT);
        fx.push(Effect::Tell(News::Weave(Box::new(WeaveNews::Line {
            line,
            sound,
        }))));
    }

    fn show(&self, at: i64, fx: &mut Vec<Effect>) {
        let view = Box::new(self.view(at));
        fx.push(Effect::Tell(News::Weave(Box::new(WeaveNews::View(view)))));
    }

    /// Ends once everything is on disk.
    fn end_if_done(&mut self) {
        let done = self.leaving || self.ended;
        if self.end.is_none() && done && self.under_way.is_empty() && self.begun {
            let faults = !self.watch.place().open.is_empty();
            self.end = Some(End::Done { faults });
        }
    }
}

impl Task for Weave {
    fn take(&mut self, input: Input, at: UnixMillis, fx: &mut Vec<Effect>) {
        let now = self.loom_time(at);
        match input {
            Input::Opened { version, .. } => self.opened(version, fx),
            // the unit keeps it, and the next start asks about it
            Input::Message(_) if self.leaving && self.begun => return,
            Input::Message(message) => match *message {
                UnitToHost::Identity(identity) => self.identity(&identity, now, fx),
                UnitToHost::Loom(status) => self.status(&status, now, fx),
                UnitToHost::LoomEvents(events) => self.events(&events, now, fx),
                UnitToHost::Refused(refusal) => self.refused(&refusal, fx),
                _ => return,
            },
            Input::UnitRestarted => {
                self.follows = false;
                self.line(now, "the loom unit restarted".to_string(), true, fx);
            }
            Input::Silent => {
                self.heard = false;
                fx.push(Effect::Tell(News::UnitSilent));
            }
            Input::Heard => {
                self.heard = true;
                fx.push(Effect::Tell(News::UnitHeard));
            }
            Input::Recorded(mark) => {
                self.recorded(mark, now, fx);
                self.end_if_done();
                return;
            }
            Input::Person(Person::Weave(says)) => self.says(&says, now, fx),
            Input::Person(Person::Stop | Person::Interrupt) => self.leave(now, fx),
            Input::Person(_) => return,
        }
        self.show(now, fx);
        self.end_if_done();
    }

    fn waits_for_unit(&self) -> bool {
        self.asked_at.is_some()
    }

    fn end(&self) -> Option<&End> {
        self.end.as_ref()
    }
}

impl Weave {
    fn recorded(&mut self, mark: Mark, now: i64, fx: &mut Vec<Effect>) {
        while let Some((first, next)) = self.under_way.front().copied() {
            if first.0 > mark.0 {
                break;
            }
            self.under_way.pop_front();
            // only what the unit still holds for this boot can be let go
            if let Some(next) = next.filter(|_| self.follows && first == mark) {
                fx.push(Effect::Send(HostToUnit::LoomFrom(next)));
            }
        }
        self.compare_clocks(now, fx);
    }
}

/// Appends; the oldest goes where there would be more than `most`.
fn push_bounded<T>(list: &mut VecDeque<T>, item: T, most: usize) {
    if list.len() == most {
        list.pop_front();
    }
    list.push_back(item);
}
