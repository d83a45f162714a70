//! What a person orders, in virtual time: pause, resume, stop, when spoiled
//! cards are cut again, some cards only, settings a unit refuses, a stack to be
//! verified. What the machine did is seen in the world.

use std::sync::Arc;

use cardwright::deck::Deck;
use cardwright::job::{Account, End, Job, Kind, News, Order, Person, Recut};
use cardwright::ledger::Verdict;
use cardwright::rig::RigFile;
use cardwright_protocol::{CardNumber, Micros};
use cardwright_tests::virtual_time::{
    Audit, DiskStore, Keeper, MemoryStore, Shop, Store, machine, random_deck,
};
use cardwright_virtual::stock::Card;
use cardwright_virtual::{Attendant, Faults, LineSettings, WorldSettings};

fn rig() -> RigFile {
    RigFile::read(None).expect("the built-in rig file")
}

fn shop_with<S: Store>(store: S, faults: &Faults, blanks: u64) -> Shop<S> {
    let line = LineSettings::sound(115_200, 2_000);
    let cabled = machine(WorldSettings::default(), faults, &line, blanks);
    let keeper = Keeper::new(Attendant::mending_after(300_000), 500_000);
    Shop::new(cabled, store, keeper, 20_000)
}

fn started(order: Order) -> Shop<MemoryStore> {
    let mut shop = shop_with(MemoryStore::default(), &Faults::default(), 100);
    shop.start(Job::new(order));
    shop
}

fn strokes<S: Store>(shop: &Shop<S>) -> u64 {
    shop.cabled.unit.world().truth().strokes_begun
}

fn run_to_end<S: Store>(shop: &mut Shop<S>) -> End {
    let deadline = shop.now().plus(600_000_000);
    let ended = shop.run(deadline, |shop| shop.end().is_some());
    assert!(
        ended,
        "{:#?}",
        shop.news.iter().rev().take(10).collect::<Vec<_>>()
    );
    shop.end().cloned().expect("it has ended")
}

fn account<S: Store>(shop: &Shop<S>) -> Account {
    shop.job().map(Job::account).unwrap_or_default()
}

fn audit<S: Store>(shop: &mut Shop<S>, deck: &Deck) -> Audit {
    let later = shop.now().plus(3_000_000);
    shop.run(later, |_| false);
    let mut audit = Audit::new(deck, &WorldSettings::default());
    audit.take(&mut shop.cabled.unit.world_mut());
    assert_eq!(audit.wrongs, Vec::<String>::new());
    audit
}

#[test]
fn a_paused_card_is_held_in_register_and_finished_good() {
    let deck = random_deck(2, 1);
    let mut shop = started(MemoryStore::order(&deck, 1, &rig()));
    for at in [5, 20, 41] {
        assert!(shop.run(Micros(60_000_000), |shop| strokes(shop) >= at));
        shop.order(Person::Pause);
        let paused = |shop: &mut Shop<MemoryStore>| shop.news.last() == Some(&News::Paused);
        let soon = shop.now().plus(1_000_000);
        assert!(shop.run(soon, paused), "{:?}", shop.news.last());
        let seen = |shop: &Shop<MemoryStore>| {
            let world = shop.cabled.unit.world();
            (world.truth().strokes_begun, world.safety().step_count())
        };
        let before = seen(&shop);
        let later = shop.now().plus(5_000_000);
        shop.run(later, |_| false);
        assert_eq!(seen(&shop), before, "nothing moves while paused");
        assert_eq!(shop.cabled.unit.world().cards_in_path(), 1);
        shop.order(Person::Resume);
    }
    assert_eq!(run_to_end(&mut shop), End::Done { faults: false });
    let mut audit = audit(&mut shop, &deck);
    for card in [CardNumber(1), CardNumber(2)] {
        audit.called_good(card);
        assert_eq!(shop.store.tries(card), [Verdict::Good]);
    }
    assert_eq!(audit.wrongs, Vec::<String>::new());
    assert_eq!(account(&shop).stops, 0);
}

#[test]
fn a_stop_finishes_the_card_in_the_rig_and_takes_no_further_stock() {
    let deck = random_deck(6, 2);
    let mut shop = started(MemoryStore::order(&deck, 1, &rig()));
    assert!(shop.run(Micros(60_000_000), |shop| strokes(shop) >= 56 + 20));
    shop.order(Person::Stop);
    assert_eq!(run_to_end(&mut shop), End::Stopped);
    let audit = audit(&mut shop, &deck);
    assert_eq!(audit.strokes, 2 * 56);
    assert_eq!(shop.cabled.unit.world().truth().cards_fed, 2);
    assert_eq!(shop.store.good.len(), 2);
    let open = shop.store.attempts.values().filter(|v| v.is_none()).count();
    assert_eq!(open, 0, "{:?}", shop.store.attempts);
    assert_eq!(account(&shop).owed.len(), 4);
}

#[test]
fn a_stop_while_paused_finishes_the_card_too() {
    let deck = random_deck(3, 8);
    let mut shop = started(MemoryStore::order(&deck, 1, &rig()));
    assert!(shop.run(Micros(60_000_000), |shop| strokes(shop) >= 20));
    shop.order(Person::Pause);
    let later = shop.now().plus(2_000_000);
    shop.run(later, |_| false);
    shop.order(Person::Stop);
    assert_eq!(run_to_end(&mut shop), End::Stopped);
    assert_eq!(shop.store.good.len(), 1);
    assert_eq!(shop.cabled.unit.world().truth().cards_fed, 1);
}

#[test]
fn a_second_stop_is_immediate() {
    let deck = random_deck(3, 3);
    let mut shop = started(MemoryStore::order(&deck, 1, &rig()));
    assert!(shop.run(Micros(60_000_000), |shop| strokes(shop) >= 20));
    shop.order(Person::Stop);
    shop.order(Person::Stop);
    assert_eq!(run_to_end(&mut shop), End::Stopped);
    assert!(strokes(&shop) <= 21, "{}", strokes(&shop));
    assert_eq!(shop.store.tries(CardNumber(1)), [Verdict::Interrupted]);
    assert_eq!(shop.store.good.len(), 0);
    assert_eq!(shop.cabled.unit.world().truth().cards_fed, 1);
}

/// Cards in the order in which they were begun, and the job's end.
fn begun(recut: Recut) -> (Vec<(u32, u32)>, Vec<u32>, End) {
    let deck = random_deck(24, 4);
    let mut faults = Faults::seeded(5);
    faults.missing_hole.rate = 0.001;
    let mut shop = shop_with(MemoryStore::default(), &faults, 500);
    let order = Order {
        recut,
        ..MemoryStore::order(&deck, 1, &rig())
    };
    shop.start(Job::new(order));
    let end = run_to_end(&mut shop);
    let begun = shop.news.iter().filter_map(|news| match news {
        News::Begun { card, attempt, .. } => Some((card.0, attempt.0)),
        _ => None,
    });
    let begun = begun.collect();
    let owed = account(&shop).owed.iter().map(|card| card.0).collect();
    (begun, owed, end)
}

#[test]
fn spoiled_cards_are_cut_again_at_the_end_or_at_once_or_never() {
    let (at_end, owed, end) = begun(Recut::End);
    assert_eq!((owed.len(), end), (0, End::Done { faults: false }));
    let first: Vec<(u32, u32)> = (1..=24).map(|card| (card, 1)).collect();
    assert_eq!(at_end[..24], first);
    assert!(at_end.len() > 24, "some card was spoiled");

    let (now, owed, end) = begun(Recut::Now);
    assert_eq!((owed.len(), end), (0, End::Done { faults: false }));
    let again = now.iter().position(|(_, attempt)| *attempt == 2);
    let again = again.expect("some card was spoiled");
    let (card, _) = now[again];
    let tried = now.iter().position(|first| *first == (card, 1));
    // what was sent ahead when the verdict came goes first
    assert!(again - tried.expect("it was tried before") <= 6, "{now:?}");

    let (never, owed, end) = begun(Recut::Never);
    assert_eq!(never, first);
    assert_eq!(end, End::Done { faults: true });
    assert!(!owed.is_empty());
}

#[test]
fn only_the_cards_asked_for_are_cut_and_good_ones_left_alone() {
    let dir = tempfile::tempdir().expect("a directory");
    let deck = random_deck(9, 6);
    let mut shop = shop_with(DiskStore::open(dir.path()), &Faults::default(), 100);
    for (list, wanted) in [("2,4-5", vec![2, 4, 5]), ("1-5", vec![1, 3])] {
        let order = shop
            .store
            .draw_up(Kind::Cut, &deck, Some(list), Recut::End, &rig());
        shop.start(Job::new(order.expect("something is to be done")));
        assert_eq!(run_to_end(&mut shop), End::Done { faults: false });
        let audit = audit(&mut shop, &deck);
        let cut: Vec<u32> = audit.pieces.keys().map(|card| card.0).collect();
        assert_eq!(cut, wanted, "{list}");
    }
    let order = shop
        .store
        .draw_up(Kind::Cut, &deck, Some("1-5"), Recut::End, &rig());
    assert!(order.is_none(), "all five are good");
}

/// An Enter typed before the question is no answer to it.
#[test]
fn nothing_moves_before_a_person_has_seen_to_what_is_first() {
    let deck = random_deck(2, 9);
    let mut order = MemoryStore::order(&deck, 1, &rig());
    order.first = Some("lay in the cards".to_string());
    let mut shop = shop_with(MemoryStore::default(), &Faults::default(), 100);
    shop.start(Job::new(order));
    shop.order(Person::Reset);
    run_to_end(&mut shop);
    let at = |wanted: fn(&News) -> bool| shop.news.iter().position(wanted);
    let asked =
        at(|news| matches!(news, News::NeedsReset { remedy } if remedy == "lay in the cards"));
    let started = at(|news| matches!(news, News::Started));
    assert!(asked.is_some() && asked < started, "{asked:?} {started:?}");
}

#[test]
fn settings_beyond_the_units_limits_are_refused_and_nothing_moves() {
    let deck = random_deck(2, 7);
    let mut order = MemoryStore::order(&deck, 1, &rig());
    order.settings.coils_at_once = 16;
    let mut shop = started(order);
    match run_to_end(&mut shop) {
        End::Refused(words) => assert!(words.contains("coils"), "{words}"),
        other => panic!("{other:?}"),
    }
    let world = shop.cabled.unit.world();
    assert_eq!(world.truth().strokes_begun, 0);
    assert_eq!(world.safety().step_count(), 0);
    assert_eq!(world.truth().cards_fed, 0);
}

/// Verifies this stack against the deck: the cards called wrong.
fn verify(deck: &Arc<Deck>, stack: Vec<Card>) -> (Vec<u32>, End) {
    let (wrong, end, _) = verify_order(deck, stack);
    (wrong, end)
}

/// The same, and what is said of the order.
fn verify_order(deck: &Arc<Deck>, stack: Vec<Card>) -> (Vec<u32>, End, Vec<String>) {
    let mut shop = shop_with(MemoryStore::default(), &Faults::default(), 0);
    shop.cabled.unit.world_mut().load_cards(stack);
    let order = Order {
        kind: Kind::Verify,
        recut: Recut::Never,
        ..MemoryStore::order(deck, 1, &rig())
    };
    shop.start(Job::new(order));
    let end = run_to_end(&mut shop);
    let world = shop.cabled.unit.world();
    assert!(
        world.truth().strokes.iter().all(|stroke| !stroke.came_down),
        "nothing is punched"
    );
    let wrong = shop.store.attempts.iter();
    let wrong = wrong.filter(|(_, verdict)| **verdict != Some(Verdict::Good));
    let said = shop.news.iter().find_map(|news| match news {
        News::Stack { findings } => Some(findings.iter().map(|found| found.finding.clone())),
        _ => None,
    });
    let said = said.expect("the order is told").collect();
    (wrong.map(|(id, _)| id.card.0).collect(), end, said)
}

/// A card turned half round in its own plane.
fn turned(mut card: Card) -> Card {
    for hole in &mut card.holes {
        (hole.x_mm, hole.y_mm) = (card.length_mm - hole.x_mm, -hole.y_mm);
    }
    card.holes.reverse();
    card
}

/// If this fails, a chain is laced in a wrong order, or the weaver sorts cards that
/// lie right.
#[test]
fn what_is_wrong_with_the_order_of_a_stack_is_named() {
    let deck = random_deck(9, 19);
    let world = WorldSettings::default();
    let cut = |deck: &Deck, card| {
        let strokes = deck.strokes(CardNumber(card)).expect("a card of the deck");
        Card::cut(&world, &strokes, 14.2)
    };
    let stack = |cards: &[u32]| {
        cards
            .iter()
            .map(|card| cut(&deck, *card))
            .collect::<Vec<_>>()
    };
    let whole = || stack(&[1, 2, 3, 4, 5, 6, 7, 8, 9]);
    let said = |stack| verify_order(&deck, stack).2;
    assert_eq!(said(whole()), Vec::<String>::new());
    assert_eq!(
        said(stack(&[1, 2, 6, 4, 5, 3, 7, 8, 9])),
        ["cards 3 and 6 are exchanged"]
    );
    let mut one_turned = whole();
    let card = one_turned.remove(4);
    one_turned.insert(4, turned(card));
    assert_eq!(said(one_turned), ["card 5 lies end for end, at place 5"]);
    let doubled = said(stack(&[1, 2, 3, 3, 5, 6, 7, 8, 9]));
    assert_eq!(doubled.len(), 2, "{doubled:?}");
    assert!(
        doubled
            .iter()
            .any(|words| words.contains("card 4 is missing")),
        "{doubled:?}"
    );
    assert!(
        doubled.iter().any(|words| words.starts_with("card 3 is")),
        "{doubled:?}"
    );
    let mut strange = whole();
    strange[7] = cut(&random_deck(3, 77), 2);
    let strange = said(strange);
    assert!(
        strange
            .iter()
            .any(|words| words.contains("card 8 is missing")),
        "{strange:?}"
    );
}

#[test]
fn a_stack_is_verified_and_each_wrong_card_named() {
    let deck = random_deck(8, 9);
    let world = WorldSettings::default();
    let stack = || -> Vec<Card> {
        let cards = deck.cards().filter_map(|(number, _)| deck.strokes(number));
        cards
            .map(|strokes| Card::cut(&world, &strokes, 14.2))
            .collect()
    };
    assert_eq!(
        verify(&deck, stack()),
        (vec![], End::Done { faults: false })
    );

    let mut exchanged = stack();
    exchanged.swap(2, 5);
    let faulty = End::Done { faults: true };
    assert_eq!(verify(&deck, exchanged), (vec![3, 6], faulty.clone()));

    let mut missing = stack();
    let middle = missing[3].holes.len() / 2;
    missing[3].holes.remove(middle);
    assert_eq!(verify(&deck, missing), (vec![4], faulty.clone()));

    let mut extra = stack();
    let strokes = deck.strokes(CardNumber(7)).expect("card 7");
    let (at, free) = (10..20)
        .find_map(|at| {
            let punches = strokes[at].punches();
            (1..=8)
                .find(|hole| !punches.has(*hole))
                .map(|hole| (at, hole))
        })
        .expect("some place is solid");
    let mut hole = extra[6].holes[0];
    hole.x_mm = 14.2 + at as f64 * world.pitch_mm;
    hole.y_mm = world.across_mm(free);
    hole.r_mm = world.needle_diameter_mm / 2.0;
    extra[6].add(hole);
    assert_eq!(verify(&deck, extra), (vec![7], faulty));
}
