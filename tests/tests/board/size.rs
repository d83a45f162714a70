//! If this fails, the image has outgrown what it allows itself, and the next
//! capability will not fit a small board.

use cardwright_virtual::Faults;

use crate::bench::{deck, deepest_stack, dry, image, run_to_end, shop, start};

/// Flash that the image may take, second stage and start values included.
const FLASH: usize = 128 * 1024;

/// RAM that it may take, the stack included.
const RAM: u32 = 64 * 1024;

#[test]
fn flash_ram_and_stack_are_within_their_limits() {
    let symbol = |name| image().symbol(name).unwrap_or_else(|| panic!("no {name}"));
    let flash = image().flash_used();
    let variables = symbol("__ebss") - symbol("__sdata");
    let stack = symbol("_stack_start") - symbol("_stack_end");
    assert!(flash <= FLASH, "{flash} bytes of flash");
    assert!(
        variables + stack <= RAM,
        "{variables} and {stack} bytes of RAM"
    );

    // a whole job, with a stop in it
    let deck = deck("400", 2, 51);
    let mut shop = shop(dry(deck.format()), &Faults::default(), 10);
    start(&mut shop, &deck);
    let deadline = shop.now().plus(20_000_000);
    assert!(shop.run(deadline, |shop| {
        shop.cabled.world().truth().strokes_begun >= 20
    }));
    shop.cabled.world_mut().press_stop();
    run_to_end(&mut shop, 60_000_000);
    let deepest = deepest_stack(&mut shop.cabled);
    println!("flash {flash} of {FLASH}, variables {variables}, stack {deepest} of {stack} bytes");
}
