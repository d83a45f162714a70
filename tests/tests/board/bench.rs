//! A board, its machine, and the program that works with it.

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::job::{End, Job};
use cardwright::rig::RigFile;
use cardwright_protocol::Micros;
use cardwright_tests::emulated::{EmulatedUnit, Image};
use cardwright_tests::virtual_time::{Keeper, MemoryStore, Shop};
use cardwright_virtual::{Attendant, Faults, World, WorldSettings};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

pub type BoardShop = Shop<MemoryStore, EmulatedUnit>;

/// The board's own number.
pub const NUMBER: [u8; 8] = [0xe6, 0x61, 0x18, 0x04, 0xc3, 0x57, 0x2a, 0x90];

/// Long enough for a board to start and to be found.
pub const FOUND_WITHIN_US: u64 = 3_000_000;

/// What a record takes to be on disk (common practice, no source).
const LATENCY_US: u64 = 20_000;

/// What the emulator fills the RAM with when the power comes on.
const UNTOUCHED: u8 = 0xa5;

pub fn image_file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../firmware/pico/target/thumbv6m-none-eabi/release/cardwright-pico")
}

/// The image as a user flashes it.
pub fn image() -> &'static Image {
    static IMAGE: OnceLock<Image> = OnceLock::new();
    IMAGE.get_or_init(|| {
        let read = Image::read(&image_file());
        read.unwrap_or_else(|cause| panic!("{cause}; run firmware/pico/build first"))
    })
}

/// A board that the host has found, over this world.
pub fn board(world: World) -> EmulatedUnit {
    let mut unit = EmulatedUnit::new(world, image(), NUMBER, 1_500_000);
    let deadline = unit.now().plus(FOUND_WITHIN_US);
    assert!(unit.run_until_found(deadline), "the board was not found");
    unit
}

pub fn rig() -> RigFile {
    RigFile::read(None).expect("the built-in rig file")
}

/// A machine for this deck's format; its stock is dry and lies straight, so that
/// a hole's place is the feed's doing alone.
pub fn dry(format: &CardFormat) -> WorldSettings {
    let mut world = WorldSettings::for_card(format.holes_per_row(), format.strokes());
    world.stock.stretch_spread = 0.0;
    world.stock.skew_spread = 0.0;
    world
}

/// A workshop with so many blanks, and a person who mends at once.
pub fn shop(world: WorldSettings, faults: &Faults, blanks: u64) -> BoardShop {
    let mut world = World::new(world, faults);
    world.fill_magazine(blanks);
    let keeper = Keeper::new(Attendant::mending_after(100_000), 200_000);
    Shop::new(board(world), MemoryStore::default(), keeper, LATENCY_US)
}

/// So many cards of a built-in format, every hole as a coin falls.
pub fn deck(format: &str, cards: u32, seed: u64) -> Arc<Deck> {
    let format = CardFormat::named(format).expect("a built-in format");
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let all = (1u32 << format.holes_per_row()) - 1;
    let mut card = || -> Vec<Row> {
        (0..format.rows())
            .map(|_| Row(rng.random_range(0..=all) as u16))
            .collect()
    };
    let cards = (0..cards).map(|_| card()).collect();
    let deck = Deck::new(
        format!("random {seed}"),
        format,
        None,
        Cutting::default(),
        cards,
    );
    Arc::new(deck.expect("rows of the format"))
}

/// The program starts to cut all of this deck.
pub fn start(shop: &mut BoardShop, deck: &Arc<Deck>) {
    shop.start(Job::new(MemoryStore::order(deck, 1, &rig())));
}

/// Runs until the job ends.
pub fn run_to_end(shop: &mut BoardShop, within_us: u64) -> End {
    let deadline = shop.now().plus(within_us);
    let ended = shop.run(deadline, |shop| shop.end().is_some());
    assert!(
        ended,
        "no end: {:#?}",
        shop.news.iter().rev().take(12).collect::<Vec<_>>()
    );
    shop.end().cloned().expect("it has ended")
}

/// Runs for so long, whatever happens.
pub fn run_for(shop: &mut BoardShop, us: u64) {
    let later: Micros = shop.now().plus(us);
    shop.run(later, |_| false);
}

/// The board loses its power and is found again.
pub fn again(unit: &mut EmulatedUnit) {
    unit.power_cycle();
    let deadline = unit.now().plus(FOUND_WITHIN_US);
    unit.run_to(unit.now().plus(400_000));
    assert!(unit.run_until_found(deadline));
}

/// The longest poll of the machine since the board's start, by its own measure,
/// in microseconds.
pub fn worst_poll_us(unit: &mut EmulatedUnit) -> u32 {
    let (_, at, _) = image()
        .symbols_with("WORST_POLL")
        .next()
        .expect("the machine's own measure");
    u32::from_le_bytes(unit.read(at, 4).try_into().expect("a word"))
}

/// How many bytes the stack has taken since the power came on; a quarter of what it
/// has must be left for what this run did not do.
pub fn deepest_stack(unit: &mut EmulatedUnit) -> u32 {
    let symbol = |name| image().symbol(name).unwrap_or_else(|| panic!("no {name}"));
    let end = symbol("_stack_end");
    let stack = symbol("_stack_start") - end;
    let bytes = unit.read(end, stack);
    let untouched = bytes.iter().take_while(|byte| **byte == UNTOUCHED).count();
    let deepest = stack - untouched as u32;
    assert!(deepest * 4 <= stack * 3, "{deepest} of {stack}");
    deepest
}
