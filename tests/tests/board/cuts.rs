//! If one of these fails, the image a user flashes does not cut what the deck
//! says, or a fault of the machine passes it by.

use cardwright::deck::{CardFormat, Deck};
use cardwright::job::{End, Job};
use cardwright_protocol::CardNumber;
use cardwright_tests::virtual_time::Audit;
use cardwright_virtual::faults::{FaultKind, Per};
use cardwright_virtual::{Faults, WorldSettings};

use crate::bench::{BoardShop, deck, dry, run_for, run_to_end, shop, start};

/// How far a hole may lie from where the deck says, in millimetres.
const REGISTER_MM: f64 = 0.1;

fn cut_two(name: &str, seed: u64) {
    let format = CardFormat::named(name).expect("a built-in format");
    let deck = deck(name, 2, seed);
    let world = dry(&format);
    let mut shop = shop(world, &Faults::default(), 2);
    start(&mut shop, &deck);
    let end = run_to_end(&mut shop, 60_000_000);
    assert_eq!(end, End::Done { faults: false }, "{name}");
    as_the_deck_says(&mut shop, &deck);
    let seen = shop.cabled.statistics();
    println!("{name}: two cards cut and read; {seen:?}");
}

/// Every card that was cut is as this deck says.
pub fn as_the_deck_says(shop: &mut BoardShop, deck: &Deck) {
    let name = deck.format().name();
    run_for(shop, 3_000_000);
    shop.cabled.world_mut().take_out_cards();
    let world = shop.cabled.world().settings().clone();
    let truth = shop.cabled.world().truth().clone();
    assert_eq!(truth.cards.len(), deck.cards().count(), "{name}");
    for (n, card) in truth.cards.iter().enumerate() {
        let strokes = deck.strokes(CardNumber(n as u32 + 1)).expect("a card");
        let differs = card.matches(&strokes, world.holes, world.pitch_mm, REGISTER_MM);
        assert_eq!(differs, [], "{name}, card {n}");
        // the same from the leading edge, where no peg hole helps: first hole
        // and pitch as in the format file
        let made = truth.strokes.iter();
        let made: Vec<_> = made
            .filter(|stroke| stroke.card == Some(card.card.serial))
            .collect();
        assert_eq!(made.len(), strokes.len(), "{name}, card {n}");
        for (at, stroke) in made.iter().enumerate() {
            let place = 14.2 + at as f64 * world.pitch_mm;
            let off = stroke.along_mm - place;
            assert!(off.abs() <= REGISTER_MM, "{name}, stroke {at}: {off} mm");
        }
    }
}

#[test]
fn two_cards_of_each_format_with_8_holes_are_as_the_deck_says() {
    for (seed, name) in (1..).zip(["200-half", "300-eight", "400"]) {
        cut_two(name, seed);
    }
}

#[test]
fn two_cards_of_each_format_with_10_and_12_holes_are_as_the_deck_says() {
    for (seed, name) in (4..).zip(["300-half", "500", "600"]) {
        cut_two(name, seed);
    }
}

/// A job in which this fault happens, at the first seed from this one on at
/// which it does.
fn mended(kind: FaultKind, rate: f64, seed: u64) {
    let happened = (seed..seed + 5).any(|seed| job_with(kind, rate, seed));
    assert!(happened, "{kind:?} never happened");
}

/// Cuts a card with this fault about; whether it happened. Dust and a dimming
/// lamp may do no harm: then the card is good the first time.
fn job_with(kind: FaultKind, rate: f64, seed: u64) -> bool {
    let format = CardFormat::named("200-half").expect("a built-in format");
    let deck = deck("200-half", 1, seed);
    let world = WorldSettings::for_card(format.holes_per_row(), format.strokes());
    let mut faults = Faults {
        events_per: Per::Stroke,
        ..Faults::seeded(seed)
    };
    for (of, fault) in faults.each_mut() {
        if of == kind {
            fault.rate = rate;
        }
    }
    let mut shop = shop(world.clone(), &faults, 200);
    start(&mut shop, &deck);
    let end = run_to_end(&mut shop, 300_000_000);
    run_for(&mut shop, 3_000_000);
    shop.cabled.world_mut().take_out_cards();
    let happened = shop.cabled.world().truth().count(kind);
    let account = shop.job().map(Job::account).unwrap_or_default();
    let mut audit = Audit::new(&deck, &world);
    audit.take(&mut shop.cabled.world_mut());
    for (card, _) in deck.cards() {
        assert!(
            shop.store.good.contains(&card),
            "{kind:?}: {card:?} is owed"
        );
        audit.called_good(card);
    }
    assert_eq!(audit.wrongs, Vec::<String>::new(), "{kind:?}");
    println!("{kind:?}: happened {happened} times, {end:?}, {account:?}");
    happened > 0
}

#[test]
fn faults_of_the_punches_are_noticed_and_mended() {
    mended(FaultKind::MissingHole, 0.01, 2);
    mended(FaultKind::HangingChad, 0.02, 2);
    mended(FaultKind::ExtraHole, 0.01, 3);
    mended(FaultKind::StuckStroke, 0.08, 4);
}

#[test]
fn faults_of_feed_and_light_are_noticed_and_mended() {
    mended(FaultKind::FeedSlip, 0.05, 9);
    mended(FaultKind::DoubledFeed, 0.5, 6);
    mended(FaultKind::Jam, 0.6, 7);
    mended(FaultKind::LampDrift, 0.8, 8);
    mended(FaultKind::Dust, 0.8, 9);
}

#[test]
fn what_befalls_machine_and_unit_is_noticed_and_mended() {
    mended(FaultKind::GuardOpened, 0.02, 10);
    mended(FaultKind::StopPressed, 0.03, 11);
    mended(FaultKind::UnitRestarted, 0.04, 12);
    mended(FaultKind::CablePulled, 0.04, 13);
}
