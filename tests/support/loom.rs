//! A weaver at the modelled loom, the unit's firmware, and the program that follows
//! the plan, in virtual time.
//!
//! Enters: a plan, a loom, a weaver. Leaves: what the program wrote down and shows,
//! beside what was really done. What the weaver does after a mistake is what the
//! program says, and nothing else.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::job::{News, Person, WeaveNews};
use cardwright::ledger::writer::{Answer, Command};
use cardwright::ledger::{NewLoomEvent, NewWeaving, PieceNumber, UnitStored};
use cardwright::loom::LoomFile;
use cardwright::weave::view::{Asking, View};
use cardwright::weave::{Direction, Plan, Stored, Turns, Walk, Weave, WeaveOrder, Work};
use cardwright_protocol::loom::LoomSettings;
use cardwright_virtual::loom::{LoomOptions, LoomWorld, Script, Step, WeaverSettings};
use cardwright_virtual::{
    Attendant, Bench, CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World,
    WorldSettings,
};

use crate::virtual_time::{Keeper, Shop, Store};

/// How long a record takes to be on disk and told of.
const LATENCY_US: u64 = 5_000;

/// The workshop with a loom.
pub type LoomShop = Shop<LoomStore, CabledUnit, Weave>;

/// What the ledger keeps of one piece.
#[derive(Debug, Default)]
pub struct LoomStore {
    session: u32,
    /// Every event, in the order in which it was stored.
    pub events: Vec<NewLoomEvent>,
    /// Every record.
    pub records: Vec<NewWeaving>,
    /// Where the piece stands.
    pub stored: Stored,
    /// How far the unit's events are stored.
    pub unit: Option<UnitStored>,
}

impl Store for LoomStore {
    fn carry_out(&mut self, command: &Command) -> Answer {
        match command {
            Command::NextSession => {
                self.session += 1;
                Answer::Session(self.session)
            }
            Command::Woven(woven) => {
                self.events.extend(woven.events.iter().cloned());
                self.records.extend(woven.records.iter().cloned());
                self.stored =
                    serde_json::from_value(woven.place.clone()).expect("a place that can be read");
                self.unit = woven.unit.or(self.unit);
                Answer::Done
            }
            Command::UnitSeen(_) => Answer::Done,
            other => panic!("a loom's program wrote {other:?}"),
        }
    }
}

/// A plan of `text`, with a deck of so many cards in the file `d.deck` beside it.
///
/// # Panics
/// If the plan or the deck is not right.
#[must_use]
pub fn walk(dir: &Path, cards: u32, text: &str) -> Walk {
    let format = CardFormat::named("400").expect("a built-in format");
    let rows = vec![Row(0b0101_0011); usize::from(format.rows())];
    let cards = vec![rows; cards as usize];
    let deck = Deck::new("d", format, None, Cutting::default(), cards).expect("a deck");
    deck.write(&dir.join("d.deck"), true).expect("the disk");
    let file = dir.join("plan.toml");
    std::fs::write(&file, text).expect("the disk");
    Walk::new(Arc::new(
        Plan::read(&file).unwrap_or_else(|error| panic!("{error}")),
    ))
}

/// What hands do for a pick of the plan. A chain is hung so that the next turn
/// brings its first card.
#[must_use]
pub fn step(plan: &Walk, number: u64) -> Option<Step> {
    let pick = plan.pick(number)?;
    Some(match (pick.work, pick.turns) {
        (Work::Ground, _) => Step::GROUND,
        (_, Turns::One(_) | Turns::Hang { .. }) if plan.way_at(number) == Direction::Back => Step {
            turns: -1,
            carded: true,
        },
        (_, Turns::One(_) | Turns::Hang { .. }) => Step::NEXT_CARD,
        (_, turns) => panic!("these plans turn no card by hand: {turns:?}"),
    })
}

/// Whether the weaver may begin.
pub type Gate = Arc<AtomicBool>;

/// A loom and the weaver who is to weave this plan, beside a unit that no program has
/// spoken to yet.
#[must_use]
pub fn shop(plan: &Walk, loom: LoomWorld, weaver: WeaverSettings, seed: u64) -> (LoomShop, Gate) {
    let gate = Gate::default();
    let (open, steps) = (Arc::clone(&gate), plan.clone());
    let script = Script::by(move |number| {
        let open = open.load(Ordering::Relaxed);
        open.then(|| step(&steps, number)).flatten()
    });
    let mut world = World::new(WorldSettings::default(), &Faults::default());
    world.put_loom(LoomOptions {
        world: loom,
        seed,
        weaver: Some((script, weaver)),
    });
    let unit = VirtualUnit::new(world, Nameplate::default());
    let cabled = CabledUnit::new(unit, &LineSettings::sound(115_200, 1_000), 1_500_000);
    let keeper = Keeper::new(Attendant::ABSENT, 0);
    let mut shop = Shop::new(cabled, LoomStore::default(), keeper, LATENCY_US);
    shop.keeps_news = true;
    (shop, gate)
}

/// Runs until the chain is laid, then lets the weaver begin.
///
/// # Panics
/// If the program does not ask for the chain within a minute.
pub fn begin(shop: &mut LoomShop, gate: &Gate) {
    let deadline = shop.now().plus(60_000_000);
    let laid = |shop: &mut LoomShop| {
        answer(shop).is_some_and(|view| view.asking.is_none() && view.stands.is_some())
    };
    assert!(shop.run(deadline, laid), "the chain is not asked for");
    // the unit has its settings before hands reach for the loom, however fast they are
    let until = shop.now().plus(200_000);
    shop.run(until, |_| false);
    gate.store(true, Ordering::Relaxed);
    let mut world = shop.cabled.world_mut();
    let weaver = world.weaver_mut().expect("a weaver");
    assert!(weaver.go_on(0), "the weaver waits to begin");
}

/// The settings of the built-in loom file, with times this much shorter.
///
/// # Panics
/// If the built-in loom file is not right.
#[must_use]
pub fn settings(faster: u32) -> LoomSettings {
    let mut settings = LoomFile::bench().expect("the built-in loom").settings();
    for settle in &mut settings.settle_us {
        *settle /= faster;
    }
    settings
}

/// The program, started anew from what is on disk.
#[must_use]
pub fn program(plan: &Walk, settings: LoomSettings, store: &LoomStore) -> Weave {
    Weave::new(WeaveOrder {
        piece: PieceNumber(1),
        walk: plan.clone(),
        settings,
        take_up_mm: LoomFile::bench().ok().and_then(|loom| loom.take_up_mm()),
        stored: store.stored.clone(),
        unit: store.unit,
        speed: 1.0,
    })
}

/// The weaver looks at the screen: says that the chain lies, and that what happened
/// meanwhile counts. The last view, if there is a new one.
pub fn answer(shop: &mut LoomShop) -> Option<View> {
    let mut last = None;
    for news in std::mem::take(&mut shop.news) {
        if let News::Weave(news) = news
            && let WeaveNews::View(view) = *news
        {
            last = Some(*view);
        }
    }
    let says = match &last.as_ref()?.asking {
        Some(Asking::Place { .. }) => panic!("no plan is changed here"),
        Some(asking) => Some(asking.yes()),
        None => None,
    };
    if let Some(says) = says {
        shop.order(Person::Weave(Box::new(says)));
    }
    last
}
