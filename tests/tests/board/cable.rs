//! If this fails, a cable pulled in the middle of a card costs a stroke, or
//! makes one twice, and the card passes for good.

use cardwright::job::End;
use cardwright_tests::virtual_time::Audit;
use cardwright_virtual::Faults;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::bench::{deck, dry, run_for, run_to_end, shop, start};

const POINTS: u32 = 20;

#[test]
fn a_cable_pulled_and_put_back_in_a_card_loses_doubles_and_spoils_no_stroke() {
    let mut rng = ChaCha8Rng::seed_from_u64(61);
    let deck = deck("200-half", 11, 61);
    let world = dry(deck.format());
    let mut shop = shop(world.clone(), &Faults::default(), 200);
    start(&mut shop, &deck);
    let mut points = 0;
    let mut found = shop.cabled.usb_identity().found;
    while points < POINTS {
        // somewhere in a card, then out for less or more than the host's
        // silence takes to stop the rig
        let deadline = shop.now().plus(60_000_000);
        let strokes = shop.cabled.world().truth().strokes_begun;
        let more = rng.random_range(1..15);
        let there = shop.run(deadline, |shop| {
            shop.end().is_some() || shop.cabled.world().truth().strokes_begun >= strokes + more
        });
        assert!(
            there,
            "{:#?}",
            shop.news.iter().rev().take(8).collect::<Vec<_>>()
        );
        if shop.end().is_some() {
            panic!("the deck was done after {points} points; take a longer one");
        }
        let out_us = rng.random_range(20_000..2_000_000);
        shop.cabled.unplug(Some(out_us));
        points += 1;
        run_for(&mut shop, out_us + 400_000);
        let again = shop.cabled.usb_identity().found;
        assert!(again > found, "point {points}: not found again");
        found = again;
    }
    let end = run_to_end(&mut shop, 200_000_000);
    assert!(matches!(end, End::Done { .. }), "{end:?}");
    run_for(&mut shop, 3_000_000);
    shop.cabled.world_mut().take_out_cards();
    let mut audit = Audit::new(&deck, &world);
    audit.take(&mut shop.cabled.world_mut());
    for (card, _) in deck.cards() {
        assert!(shop.store.good.contains(&card), "{card:?}");
        audit.called_good(card);
        let tries = shop.store.attempts.keys().filter(|id| id.card == card);
        audit.tried(card, tries.count(), true);
    }
    assert_eq!(audit.wrongs, Vec::<String>::new());
    assert_eq!(shop.cabled.resets(), [], "the chip went on");
    println!(
        "{POINTS} points, found {found} times: {:?}",
        shop.cabled.statistics()
    );
}
