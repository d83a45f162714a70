//! Whatever a weaver does wrong must be named as what it is when it happens, and
//! what the program says must bring the work back to its place: a count that is off
//! by one is a flaw in every repeat.

use cardwright::job::Person;
use cardwright::weave::view::{OpenFault, View};
use cardwright::weave::watch::{Choice, Decision, FaultKind, Remedy};
use cardwright::weave::{Says, Walk};
use cardwright_tests::loom::{LoomShop, answer, begin, program, settings, shop, step, walk};
use cardwright_tests::virtual_time::{number_or, seed_or};
use cardwright_virtual::Bench;
use cardwright_virtual::chance::Fault;
use cardwright_virtual::loom::{
    Act, Direction, LoomWorld, Mistake, MistakeKind, Mistakes, Step, WeaverSettings,
};

/// Mistakes of each kind, unless `CARDWRIGHT_LOOM_MISTAKES` says how many: a thousand
/// take minutes.
const TRIES: u64 = 250;

/// The chain.
const CARDS: u32 = 24;

/// A field that is turned back, with ground picks between, more than enough of it.
fn plan(dir: &std::path::Path) -> Walk {
    walk(
        dir,
        CARDS,
        "name = \"long\"\n[decks]\nd = \"d.deck\"\n\
         [[section]]\nname = \"field\"\ndeck = \"d\"\ncards = [\"1-24\", \"23-2\"]\n\
         ground_between = { every = 11, picks = 2 }\nrepeat = 10000\n",
    )
}

/// The weaver's hands, as far as a mistake has not been put right.
struct Hands<'a> {
    plan: &'a Walk,
    shop: LoomShop,
    view: View,
}

impl Hands<'_> {
    /// Lets so much time pass, and looks at the screen.
    fn look_after(&mut self, us: u64) {
        let until = self.shop.now().plus(us);
        self.shop.run(until, |_| false);
        if let Some(view) = answer(&mut self.shop) {
            self.view = view;
        }
    }

    fn waiting(&self) -> Option<Mistake> {
        let world = self.shop.cabled.unit.world();
        world.weaver().and_then(|weaver| weaver.waiting())
    }

    fn says(&mut self, decision: Decision) {
        let says = Says::Decided { decision };
        self.shop.order(Person::Weave(Box::new(says)));
        self.look_after(200_000);
    }

    /// Does these acts now, and then looks.
    fn acts(&mut self, acts: Vec<Act>) {
        let count = acts.len() as u64;
        {
            let mut world = self.shop.cabled.world_mut();
            let weaver = world.weaver_mut().expect("a weaver");
            assert!(weaver.remedy(acts), "the weaver waits");
        }
        self.look_after(300_000 + count * 600_000);
    }

    fn go_on(&mut self, from: u64) {
        let mut world = self.shop.cabled.world_mut();
        let weaver = world.weaver_mut().expect("a weaver");
        assert!(weaver.go_on(from), "the weaver waits");
    }

    /// The pick that the screen says is next, from 0.
    fn next(&self) -> u64 {
        self.view.next.as_ref().map_or(0, |next| next.number - 1)
    }

    /// Does what the screen says until nothing is wrong any more, and weaves on.
    fn put_right(&mut self, mistake: Mistake) {
        if mistake.kind == MistakeKind::Unweaves {
            // whoever takes picks out knows how many
            let picks = u32::try_from(mistake.step + 1 - mistake.next).expect("a few");
            self.says(Decision::Unwove { picks });
        }
        let mut thrown = mistake.kind == MistakeKind::SkipsBeat;
        if thrown && self.view.open.is_empty() {
            // the pick that the screen calls the next is in its shed: it lacks the beat
            self.acts(vec![Act::Beat]);
        }
        for _ in 0..10 {
            let Some(open) = self.view.open.last().cloned() else {
                break;
            };
            self.do_one(&open, &mut thrown);
        }
        assert_eq!(self.view.open, [], "after {mistake:?}");
        assert_eq!(self.view.stray, 0, "after {mistake:?}");
        // the next step begins with its own turn: if its card stands already, it is
        // turned away first, as the treadle turns it on
        let next = self.next();
        let of_step = step(self.plan, next).map_or(0, |step| i64::from(step.turns));
        if let Some(cards) = self.view.turns_wanted.filter(|_| of_step != 0) {
            self.acts(turns(cards - of_step));
        }
        self.go_on(next);
    }

    fn do_one(&mut self, open: &OpenFault, thrown: &mut bool) {
        match open.hands {
            Remedy::Turn { cards } => {
                self.acts(turns(cards));
                // the weft lies in this shed already: only the beat was left out
                if std::mem::take(thrown) {
                    self.acts(vec![Act::Lift, Act::Beat, Act::Lower]);
                }
            }
            Remedy::Throw => self.acts(vec![Act::Lift, Act::Throw, Act::Beat, Act::Lower]),
            Remedy::Unweave { picks } => {
                self.acts([Act::Lift, Act::ThrowBack, Act::Lower].repeat(picks as usize));
                self.says(Decision::Unwove { picks });
            }
            Remedy::Beat => self.acts(vec![Act::Beat]),
            Remedy::Decide => self.says(Decision::Fault {
                fault: open.fault.id,
                choice: Choice::OnlyBeaten,
            }),
            Remedy::SayCard => panic!("the card is known: {open:?}"),
        }
    }
}

fn turns(cards: i64) -> Vec<Act> {
    let way = if cards > 0 {
        Direction::Forwards
    } else {
        Direction::Back
    };
    vec![Act::Turn(way); cards.unsigned_abs() as usize]
}

/// What the program must call this mistake, `next` being the pick to come. Beaten
/// again before a ground pick it is that pick with no weft: the sensors see the same,
/// and throwing the weft is right in both cases.
fn is_rightly_named(mistake: MistakeKind, next: Step, fault: FaultKind) -> bool {
    match mistake {
        MistakeKind::BeatsTwice if !next.carded => fault == FaultKind::NoWeft,
        MistakeKind::TurnsTwice => matches!(fault, FaultKind::TurnedTwice { .. }),
        MistakeKind::TurnsWrongWay
        | MistakeKind::ForgetsToTurnBack
        | MistakeKind::TurnsBackAndOnAgain => matches!(fault, FaultKind::TurnedWrongWay { .. }),
        // over a place where the plan turns back, taking out looks as weaving on
        // without a beat does
        MistakeKind::Unweaves => matches!(
            fault,
            FaultKind::TurnedWrongWay { .. }
                | FaultKind::CardWithoutBeat { .. }
                | FaultKind::WeftWithoutBeat
        ),
        MistakeKind::ForgetsToTurn | MistakeKind::BeatsTwice => fault == FaultKind::BeatWithoutCard,
        MistakeKind::ForgetsWeft => fault == FaultKind::NoWeft,
        MistakeKind::SkipsBeat => matches!(fault, FaultKind::CardWithoutBeat { .. }),
    }
}

/// Where the plan turns back, turning back and on again is a turn to the plan's card
/// and away from it again, and taking one pick out leaves the chain where the pick's own
/// turn brings it; a ground pick is taken out without a turn. Nothing is wrong then.
fn goes_unseen(mistake: Mistake, plan: &Walk) -> bool {
    let turns = |number| step(plan, number).map_or(0, |step| step.turns);
    let last = (0..mistake.next).rev().map(turns).find(|turns| *turns != 0);
    let next = (mistake.next..).map(turns).find(|turns| *turns != 0);
    match mistake.kind {
        MistakeKind::TurnsBackAndOnAgain => last != next,
        MistakeKind::Unweaves => {
            let taken: Vec<_> = (mistake.next..=mistake.step).map(turns).collect();
            let after = (mistake.step + 1..).map(turns).find(|turns| *turns != 0);
            taken.iter().all(|turns| *turns == 0)
                || taken.len() < 3 && taken.iter().any(|turns| Some(*turns) != after)
        }
        // nothing has moved yet since the weft came over
        MistakeKind::SkipsBeat => turns(mistake.next) == 0,
        _ => false,
    }
}

fn check(kind: MistakeKind) {
    let dir = tempfile::tempdir().expect("a directory");
    let plan = plan(dir.path());
    let seed = seed_or(100 + kind as u64);
    let weaver = WeaverSettings {
        picks_a_minute: 60.0,
        seed,
        mistakes: Mistakes::only(kind, Fault::new(0.3, seed)),
        ..WeaverSettings::default()
    };
    let (mut shop, gate) = shop(&plan, LoomWorld::default(), weaver, seed);
    shop.start(program(&plan, settings(1), &shop.store));
    begin(&mut shop, &gate);
    let mut hands = Hands {
        plan: &plan,
        shop,
        view: View::default(),
    };
    let tries = number_or("CARDWRIGHT_LOOM_MISTAKES", TRIES);
    let mut named = 0;
    while named < tries {
        let deadline = hands.shop.now().plus(3_600_000_000);
        let before = hands.shop.store.records.len();
        assert!(
            hands.shop.run(deadline, |shop| {
                let world = shop.cabled.unit.world();
                world
                    .weaver()
                    .is_some_and(|weaver| weaver.waiting().is_some())
            }),
            "no mistake in an hour"
        );
        hands.look_after(200_000);
        let mistake = hands.waiting().expect("the weaver waits");
        let faults = told(&hands, before);
        let next = step(&plan, mistake.next).expect("a pick");
        assert!(
            faults
                .iter()
                .all(|fault| is_rightly_named(kind, next, *fault))
                && (!faults.is_empty() || goes_unseen(mistake, &plan)),
            "{mistake:?} was called {faults:?}\n{:?}",
            hands.view
        );
        hands.put_right(mistake);
        let (next, truth) = (hands.next(), {
            let world = hands.shop.cabled.unit.world();
            let loom = world.loom().expect("a loom");
            (loom.cloth().count(), loom.card())
        });
        assert_eq!(next, truth.0, "picks in the cloth after {mistake:?}");
        let chain = truth.1.rem_euclid(i64::from(CARDS));
        let stands = hands.view.stands.expect("known").card.0 % CARDS;
        assert_eq!(
            i64::from(stands),
            chain,
            "the card that stands after {mistake:?}"
        );
        named += 1;
    }
}

/// The faults told since so many records.
fn told(hands: &Hands, before: usize) -> Vec<FaultKind> {
    let records = hands.shop.store.records.get(before..).unwrap_or_default();
    records
        .iter()
        .filter(|record| record.kind.name() == "fault")
        .map(|record| {
            serde_json::from_value(record.detail["kind"].clone()).expect("a kind of fault")
        })
        .collect()
}

#[test]
fn a_card_turned_twice() {
    check(MistakeKind::TurnsTwice);
}

#[test]
fn a_cylinder_turned_the_wrong_way() {
    check(MistakeKind::TurnsWrongWay);
}

#[test]
fn a_catch_that_was_not_reversed() {
    check(MistakeKind::ForgetsToTurnBack);
}

#[test]
fn a_card_woven_twice() {
    check(MistakeKind::ForgetsToTurn);
}

#[test]
fn a_weft_forgotten() {
    check(MistakeKind::ForgetsWeft);
}

#[test]
fn a_beat_left_out() {
    check(MistakeKind::SkipsBeat);
}

#[test]
fn a_beat_too_many() {
    check(MistakeKind::BeatsTwice);
}

#[test]
fn picks_taken_out() {
    check(MistakeKind::Unweaves);
}

#[test]
fn a_cylinder_turned_back_and_on_again() {
    check(MistakeKind::TurnsBackAndOnAgain);
}
