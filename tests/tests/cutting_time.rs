//! If this fails, a weaver is told a wrong time for cutting a deck on their rig.
//!
//! The truth is the modelled machine's: the firmware drives it with the settings of
//! the rig file, and it is seen when each card leaves it. Neither knows the estimate.

use std::sync::Arc;

use cardwright::deck::{CardFormat, Cutting, Deck, Row};
use cardwright::job::{End, Job, Order};
use cardwright::rig::{Rate, RigFile};
use cardwright_protocol::{CardNumber, Micros};
use cardwright_tests::virtual_time::{
    Keeper, MemoryStore, Shop, curlew_deck, machine, random_deck,
};
use cardwright_virtual::{Attendant, Faults, LineSettings, WorldSettings};

/// By how much of itself the estimate may be wrong.
const WRONG: f64 = 0.01;

/// The machine as the built-in rig file has it, set for this format.
fn world(format: &CardFormat) -> WorldSettings {
    let mut world = WorldSettings::for_card(format.holes_per_row(), format.strokes());
    world.pitch_mm = format.row_pitch_mm();
    world.needle_diameter_mm = format.needle_hole_mm();
    world.peg_diameter_mm = format.peg_hole_mm();
    world.stock.length_mm = format.card_length_mm();
    world.stock.width_mm = format.card_width_mm();
    world
}

fn rig(changes: &[(&str, &str)]) -> RigFile {
    let mut text = RigFile::BENCH.to_string();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    RigFile::parse(&text, "changed").expect("a rig file")
}

/// Cards of this format, each with the same row everywhere.
fn even_deck(format: &str, cards: usize, row: impl Fn(u8) -> Row) -> Arc<Deck> {
    let format = CardFormat::named(format).expect("a built-in format");
    let row = row(format.holes_per_row());
    let cards = vec![vec![row; usize::from(format.rows())]; cards];
    let deck = Deck::new("even", format, None, Cutting::default(), cards);
    Arc::new(deck.expect("rows of the format"))
}

/// Cuts the first cards of a deck. Seconds between the moments at which card `from`
/// and card `last` left the machine: as the world saw them, and as estimated. One card
/// more is cut, as a job's last may still be on its way out at the job's end.
fn seconds(
    deck: &Arc<Deck>,
    rig: &RigFile,
    world: WorldSettings,
    from: u32,
    last: u32,
) -> (f64, f64) {
    let line = LineSettings::sound(115_200, 2_000);
    let cabled = machine(world, &Faults::default(), &line, 100);
    let keeper = Keeper::new(Attendant::mending_after(300_000), 500_000);
    let mut shop = Shop::new(cabled, MemoryStore::default(), keeper, 20_000);
    shop.start(Job::new(Order {
        cards: (1..=last + 1).map(CardNumber).collect(),
        ..MemoryStore::order(deck, 1, rig)
    }));
    assert!(shop.run(Micros(600_000_000), |shop| shop.end().is_some()));
    assert_eq!(shop.end(), Some(&End::Done { faults: false }));
    let account = shop.job().map(Job::account).unwrap_or_default();
    assert_eq!((account.waited_us, account.waited_record_us), (0, 0));
    let world = shop.cabled.unit.world();
    let left: Vec<Micros> = world.truth().cards.iter().map(|card| card.at).collect();
    let at = |card: u32| left[card as usize - 1];
    let took = at(last).since(at(from)) as f64 / 1e6;

    let rate = Rate::new(rig, deck.format()).expect("it cuts");
    let up_to = |last| {
        let cards = (1..=last).filter_map(|card| deck.strokes(CardNumber(card)));
        rate.seconds_of(cards)
    };
    (took, up_to(last) - up_to(from))
}

#[track_caller]
fn assert_near(what: &str, (took, estimate): (f64, f64)) {
    let wrong = estimate / took - 1.0;
    println!(
        "{what}: {took:.3} s, estimated {estimate:.3} s, {:+.2} %",
        wrong * 100.0
    );
    assert!(
        wrong.abs() < WRONG,
        "{what}: {took} s, estimated {estimate} s"
    );
}

fn sparse(_: u8) -> Row {
    Row::default()
}

#[test]
fn on_the_built_in_rig_decks_of_every_size_take_what_is_told() {
    let towel = curlew_deck();
    let bench = rig(&[]);
    let told = seconds(&towel, &bench, world(towel.format()), 1, 12);
    assert_near("the demo's towel, cards 2 to 12", told);
    for format in ["100", "200-half", "300-eight", "400", "500", "600"] {
        for (kind, row) in [("sparse", sparse as fn(u8) -> Row), ("dense", Row::full)] {
            let deck = even_deck(format, 4, row);
            let told = seconds(&deck, &bench, world(deck.format()), 1, 3);
            assert_near(&format!("{format}, {kind}"), told);
        }
    }
}

/// Every figure that the time depends on is another than the bench's.
#[test]
fn on_a_slower_rig_that_switches_coil_by_coil() {
    let rig = rig(&[
        ("steps_per_mm = 20.0", "steps_per_mm = 8.0"),
        ("start_speed_mm_s = 20", "start_speed_mm_s = 35"),
        ("top_speed_mm_s = 600", "top_speed_mm_s = 150"),
        ("acceleration_mm_s2 = 20000", "acceleration_mm_s2 = 2500"),
        ("\nsettle_ms = 2.0", "\nsettle_ms = 9.0"),
        ("edge_to_punch_mm = 30.0", "edge_to_punch_mm = 55.0"),
        ("usual_pick_up_mm = 40.0", "usual_pick_up_mm = 100.0"),
        ("run_out_mm = 60.0", "run_out_mm = 90.0"),
        ("lock_settle_ms = 5.0", "lock_settle_ms = 8.0"),
        ("coil_stagger_ms = 0.5", "coil_stagger_ms = 2.5"),
        ("coils_at_once = 4 ", "coils_at_once = 1 "),
        ("\nstroke_ms = 20.0", "\nstroke_ms = 50.0"),
        ("rows_behind_punch = 6", "rows_behind_punch = 9"),
    ]);
    let like = |deck: &Deck| WorldSettings {
        steps_per_metre: 8_000.0,
        edge_to_punch_mm: 55.0,
        rollers_to_edge_mm: 100.0,
        stroke_cycle_us: 50_000,
        reader_rows: 9,
        ..world(deck.format())
    };
    let decks = [
        ("random", random_deck(5, 3)),
        ("sparse", even_deck("200", 5, sparse)),
        ("dense", even_deck("400", 5, Row::full)),
    ];
    for (kind, deck) in decks {
        let told = seconds(&deck, &rig, like(&deck), 1, 4);
        assert_near(&format!("slow rig, {kind}"), told);
    }
}

/// A coil that may be on a tenth of the time only is waited for, if it is used much.
/// The unit takes its coils for hot at the start, the estimate for cold: looked at
/// where that is long past.
#[test]
fn hot_coils_are_waited_for() {
    let rig = rig(&[("coil_duty = 0.5", "coil_duty = 0.1")]);
    let deck = even_deck("400", 10, Row::full);
    let (took, estimate) = seconds(&deck, &rig, world(deck.format()), 5, 9);
    assert_near("dense at a tenth of the time", (took, estimate));
    let rate = Rate::new(&rig, deck.format()).expect("it cuts");
    let cold = rate.seconds_of(deck.strokes(CardNumber(1)));
    assert!(estimate > 4.0 * 1.5 * cold, "{estimate} s, {cold} s");
}
