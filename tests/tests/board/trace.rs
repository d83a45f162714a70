//! If this fails, the board does something else with the same machine than the
//! core that all other tests run: they prove nothing about it any more.

use cardwright::job::Job;
use cardwright_tests::emulated::EmulatedUnit;
use cardwright_tests::virtual_time::{Keeper, MemoryStore, Shop};
use cardwright_virtual::{
    Attendant, Bench, CabledUnit, Faults, LineSettings, Nameplate, VirtualUnit, World,
};

use crate::bench::{board, deck, dry, rig};

/// Two cards, from the reset to the last stroke, as a trace of everything the
/// firmware did and saw. After that stroke the host's own haste comes in: it
/// stops the rig as soon as the last card is recorded.
fn trace<U: Bench>(unit: U) -> String {
    let keeper = Keeper::new(Attendant::ABSENT, 0);
    let mut shop = Shop::new(unit, MemoryStore::default(), keeper, 20_000);
    shop.cabled.world_mut().begin_trace();
    let deck = deck("200-half", 2, 71);
    shop.start(Job::new(MemoryStore::order(&deck, 1, &rig())));
    let deadline = shop.now().plus(60_000_000);
    assert!(shop.run(deadline, |shop| shop.end().is_some()), "no end");
    let trace = shop.cabled.world_mut().take_trace();
    let end = trace.rfind("Stroke off\n").expect("there were strokes");
    trace[..end].to_string()
}

fn world() -> World {
    let mut world = World::new(dry(deck("200-half", 2, 71).format()), &Faults::default());
    world.fill_magazine(2);
    world
}

#[test]
fn core_and_image_do_the_same_with_the_same_machine() {
    let core = {
        let unit = VirtualUnit::new(world(), Nameplate::default());
        trace(CabledUnit::new(unit, &LineSettings::sound(115_200, 0), 0))
    };
    let image: EmulatedUnit = board(world());
    let image = trace(image);
    insta::assert_snapshot!("two_cards", core);
    for (line, (of_image, of_core)) in (1..).zip(image.lines().zip(core.lines())) {
        assert_eq!(of_image, of_core, "line {line} of the trace");
    }
    assert_eq!(image.len(), core.len());
}
