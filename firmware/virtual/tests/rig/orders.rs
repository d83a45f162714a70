//! If one of these fails, a card is cut twice or wrongly, or the rig waits for
//! a host that believes it has no credit.

use crate::bench::{Bench, id, rows};
use cardwright_protocol::card::Stroke;
use cardwright_protocol::host_to_unit::{Exercise, Work};
use cardwright_protocol::unit_to_host::{ExerciseReport, Refusal, State, StopReason};
use cardwright_protocol::{HostToUnit, UnitToHost};
use cardwright_rig::Rig;
use cardwright_rig::loom::Store;
use cardwright_rig::queue::{CARD_ROOM, STROKE_ROOM};
use cardwright_rig::room::Room;
use cardwright_virtual::VirtualBoard;
use cardwright_virtual::board::Lines;
use cardwright_virtual::world::Output;

fn ready() -> Bench {
    let mut bench = Bench::new(20);
    bench.start();
    bench
}

/// Credit beyond what was sent: the room that a host believes there is.
fn room(bench: &Bench, sent: (usize, usize)) -> (usize, usize) {
    let (strokes, cards) = bench.machine.room.queue.credit();
    (strokes as usize - sent.0, cards as usize - sent.1)
}

#[test]
fn a_card_with_a_wrong_sum_is_refused_and_nothing_of_it_is_struck() {
    let mut bench = ready();
    let strokes = rows(20, 0x31);
    let mut header = Bench::header(1, &strokes, Work::Cut, true);
    header.crc ^= 1;
    bench.order(&HostToUnit::Card(header)).expect("card");
    bench.strokes(1, &strokes).expect("strokes");
    bench.run(3_000_000);
    assert_eq!(bench.refusals(), [Refusal::CardDamaged(id(1))]);
    assert_eq!(
        (
            bench.strokes_begun(),
            bench.world.borrow().truth().cards_fed
        ),
        (0, 0)
    );
    assert_eq!(room(&bench, (20, 1)), (STROKE_ROOM, CARD_ROOM));
    // the same card may come again, whole
    bench.card(1, &strokes, Work::Cut, false);
    assert!(bench.until(9_000_000, |bench| bench.strokes_begun() == 20));
}

#[test]
fn credit_comes_back_for_all_that_was_refused_dropped_or_cleared() {
    let strokes = rows(20, 0x31);
    let whole = (STROKE_ROOM, CARD_ROOM);
    type Case = fn(&mut Bench, &[Stroke]) -> (usize, usize);
    let cases: [(&str, Case); 7] = [
        ("out of order", |bench, strokes| {
            let header = Bench::header(1, strokes, Work::Cut, true);
            bench.order(&HostToUnit::Card(header)).expect("card");
            bench.strokes(1, &strokes[..5]).expect("strokes");
            // first is 0 again
            assert_eq!(
                bench.strokes(1, &strokes[5..]),
                Err(Refusal::CardDamaged(id(1)))
            );
            (20, 1)
        }),
        ("of no card", |bench, strokes| {
            assert_eq!(bench.strokes(7, strokes), Err(Refusal::NoSuchCard(id(7))));
            (20, 0)
        }),
        ("dropped in the middle", |bench, strokes| {
            let header = Bench::header(1, strokes, Work::Cut, true);
            bench.order(&HostToUnit::Card(header)).expect("card");
            bench.strokes(1, &strokes[..5]).expect("strokes");
            bench.order(&HostToUnit::DropQueue).expect("drop");
            let rest = HostToUnit::Strokes {
                id: id(1),
                first: 5,
                strokes: strokes[5..].iter().copied().collect(),
            };
            assert_eq!(bench.order(&rest), Err(Refusal::NoSuchCard(id(1))));
            (20, 1)
        }),
        ("too large", |bench, strokes| {
            let mut header = Bench::header(1, strokes, Work::Cut, true);
            header.strokes = 0;
            let refusal = bench.order(&HostToUnit::Card(header));
            assert_eq!(refusal, Err(Refusal::CardTooLarge(id(1))));
            (0, 1)
        }),
        ("used", |bench, strokes| {
            bench.card(1, strokes, Work::Cut, true);
            let again = HostToUnit::Card(Bench::header(1, strokes, Work::Cut, true));
            assert_eq!(bench.order(&again), Err(Refusal::CardUsed(id(1))));
            bench.order(&HostToUnit::DropQueue).expect("drop");
            (20, 2)
        }),
        ("stopped", |bench, strokes| {
            bench.card(1, strokes, Work::Cut, true);
            bench.card(2, strokes, Work::Cut, true);
            bench.order(&HostToUnit::Stop).expect("stop");
            (40, 2)
        }),
        ("beyond the credit", |bench, strokes| {
            for card in 1..=CARD_ROOM as u32 {
                let header = Bench::header(card, strokes, Work::Cut, true);
                bench.order(&HostToUnit::Card(header)).expect("card");
            }
            let header = Bench::header(9, strokes, Work::Cut, true);
            let refusal = bench.order(&HostToUnit::Card(header));
            assert_eq!(refusal, Err(Refusal::CardTooLarge(id(9))));
            bench.order(&HostToUnit::DropQueue).expect("drop");
            (0, CARD_ROOM + 1)
        }),
    ];
    for (name, case) in cases {
        let mut bench = ready();
        let sent = case(&mut bench, &strokes);
        assert_eq!(room(&bench, sent), whole, "{name}");
        assert!(bench.machine.room.queue.is_empty(), "{name}");
    }
}

#[test]
fn an_identity_is_refused_while_its_card_waits_is_taken_cut_read_and_after() {
    let mut bench = ready();
    let strokes = rows(20, 0x31);
    let again = HostToUnit::Card(Bench::header(1, &strokes, Work::Cut, true));
    let used = Err(Refusal::CardUsed(id(1)));
    bench.card(1, &strokes, Work::Cut, true);
    assert_eq!(bench.order(&again), used, "in the queue");
    let mut looks = 0;
    while bench.ended().is_empty() && looks < 1_000 {
        bench.run(20_000);
        assert_eq!(
            bench.order(&again),
            used,
            "{:?}",
            bench.machine.status().state
        );
        looks += 1;
    }
    for card in 2..=5 {
        bench.card(card, &strokes, Work::Cut, true);
        assert!(bench.until(9_000_000, |bench| bench.ended().len() == card as usize));
        assert_eq!(
            bench.order(&again),
            used,
            "recorded, and {card} cut after it"
        );
    }
    assert_eq!(bench.strokes_begun(), 100);
}

#[test]
fn a_card_waits_in_register_for_its_first_stroke_until_the_one_before_is_recorded() {
    let mut bench = ready();
    bench.records = false;
    bench.card(1, &rows(20, 0x31), Work::Cut, true);
    bench.card(2, &rows(20, 0x31), Work::Cut, false);
    bench.run(15_000_000);
    assert_eq!(bench.strokes_begun(), 20);
    assert_eq!(bench.state(), State::WaitingForRecord);
    let waited = bench.machine.tally().waited_record_us;
    bench.run(1_000_000);
    assert_eq!(bench.machine.tally().waited_record_us - waited, 1_000_000);
    bench.machine.room.held.recorded(id(1));
    assert!(bench.until(9_000_000, |bench| bench.strokes_begun() == 40));
}

#[test]
fn a_pause_holds_the_card_in_register_and_its_rows_stay_in_place() {
    let mut bench = ready();
    bench.card(1, &rows(20, 0x31), Work::Cut, false);
    assert!(bench.until(9_000_000, |bench| bench.strokes_begun() == 7));
    bench.order(&HostToUnit::Pause).expect("pause");
    bench.run(1_000_000);
    assert_eq!(bench.state(), State::Paused);
    let (strokes, steps) = (bench.strokes_begun(), bench.steps());
    assert!(strokes <= 7);
    bench.run(5_000_000);
    assert_eq!((bench.strokes_begun(), bench.steps()), (strokes, steps));
    bench.order(&HostToUnit::Resume).expect("resume");
    assert!(bench.until(9_000_000, |bench| bench.ended().len() == 1));
    let world = bench.world.borrow();
    for pair in world.truth().strokes.windows(2) {
        let pitch = pair[1].along_mm - pair[0].along_mm;
        assert!((pitch - 1.875 * 25.4 / 7.0).abs() < 0.06, "{pitch}");
    }
}

/// Lamps age and a motor gets hot by an hour's standing.
#[test]
fn lamp_and_motor_rest_while_paused_between_cards() {
    let mut bench = ready();
    for card in 1..=2 {
        bench.card(card, &rows(20, 0x31), Work::Cut, false);
    }
    assert!(bench.until(9_000_000, |bench| bench.ended().len() == 1));
    bench.order(&HostToUnit::Pause).expect("pause");
    bench.run(3_000_000);
    assert_eq!(bench.state(), State::Paused);
    let on = bench.on();
    for output in [Output::Lamp, Output::FeedOn] {
        assert!(!on.contains(&output), "{output:?} is on");
    }
    bench.order(&HostToUnit::Resume).expect("resume");
    assert!(bench.until(9_000_000, |bench| bench.ended().len() == 2));
}

#[test]
fn time_counts_as_waiting_for_rows_only_when_more_were_announced() {
    for more in [false, true] {
        let mut bench = ready();
        bench.run(3_000_000);
        assert_eq!(
            bench.machine.tally().waited_rows_us,
            0,
            "nothing announced yet"
        );
        bench.card(1, &rows(20, 0x31), Work::Cut, more);
        assert!(bench.until(9_000_000, |bench| bench.ended().len() == 1));
        bench.run(3_000_000);
        let waited = bench.machine.tally().waited_rows_us;
        assert_eq!(waited > 2_000_000, more, "{waited}");
        let state = bench.state();
        assert_eq!(
            state,
            if more {
                State::WaitingForRows
            } else {
                State::Idle
            }
        );
        bench.order(&HostToUnit::DropQueue).expect("drop");
        bench.run(1_000);
        assert_eq!(bench.state(), State::Idle);
    }
}

#[test]
fn cards_streamed_ahead_cost_no_waiting_and_are_cut_in_order() {
    let mut bench = ready();
    for card in 1..=4 {
        bench.card(card, &rows(20, 0x31), Work::Cut, card < 4);
    }
    assert!(bench.until(30_000_000, |bench| bench.ended().len() == 4));
    let order: Vec<_> = bench.ended().iter().map(|ended| ended.id).collect();
    assert_eq!(order, [id(1), id(2), id(3), id(4)]);
    let places: Vec<_> = bench.ended().iter().map(|ended| ended.place).collect();
    assert_eq!(places, [1, 2, 3, 4]);
    assert_eq!(bench.machine.tally().waited_rows_us, 0);
    assert_eq!(bench.machine.tally().strokes, 80);
}

fn exercised(bench: &mut Bench, exercise: Exercise) -> Option<ExerciseReport> {
    bench.heard.clear();
    bench
        .order(&HostToUnit::Exercise(exercise))
        .expect("an exercise");
    bench.run(2_000_000);
    assert_ne!(bench.state(), State::Exercising);
    bench.heard.iter().find_map(|notice| match notice {
        UnitToHost::Exercised {
            exercise: which,
            report,
        } if *which == exercise => Some(*report),
        _ => None,
    })
}

#[test]
fn each_part_moves_alone_and_everything_is_off_afterwards() {
    let mut bench = Bench::new(20);
    assert!(matches!(
        exercised(&mut bench, Exercise::Sensors),
        Some(ExerciseReport::Inputs(_))
    ));
    let settings = bench.settings;
    bench
        .order(&HostToUnit::Configure(settings))
        .expect("settings");
    bench.order(&HostToUnit::Reset).expect("reset");
    let strokes = (1..=8)
        .map(Exercise::Punch)
        .chain([Exercise::Peg, Exercise::BlankStroke]);
    for (n, exercise) in strokes.enumerate() {
        let report = exercised(&mut bench, exercise);
        let Some(ExerciseReport::Stroke { down_us, up_us }) = report else {
            panic!("{exercise:?}: {report:?}");
        };
        // the block turns once in 20 ms
        assert!((9_000..=10_700).contains(&down_us), "{down_us}");
        assert!((9_000..=10_700).contains(&up_us), "{up_us}");
        let world = bench.world.borrow();
        let stroke = world.truth().strokes.last().copied().expect("a stroke");
        let locked = if n < 8 { 1 << n } else { 0 };
        assert_eq!(
            (stroke.locked, stroke.peg_locked),
            (locked, n == 8),
            "{exercise:?}"
        );
        drop(world);
        assert_eq!(bench.on(), [], "{exercise:?}");
    }
    let report = exercised(&mut bench, Exercise::Lamp);
    let Some(ExerciseReport::Light { on, off }) = report else {
        panic!("{report:?}");
    };
    assert!(
        on[..8].iter().zip(&off).all(|(on, off)| on - off > 150),
        "{on:?} {off:?}"
    );
    assert_eq!(bench.on(), []);
    assert!(exercised(&mut bench, Exercise::Feed(10_000)).is_some());
    assert_eq!(bench.on(), []);
}

#[test]
fn every_refusal_comes_when_it_should() {
    let mut bench = Bench::new(20);
    let settings = bench.settings;
    let header = HostToUnit::Card(Bench::header(1, &rows(20, 1), Work::Cut, true));
    assert_eq!(bench.order(&header), Err(Refusal::NeedsSettings));
    assert_eq!(bench.order(&HostToUnit::Start), Err(Refusal::NeedsReset));
    assert_eq!(bench.order(&HostToUnit::Reset), Ok(()));
    assert_eq!(bench.order(&HostToUnit::Reset), Ok(()), "twice is no harm");
    assert_eq!(bench.order(&HostToUnit::Start), Err(Refusal::NeedsSettings));
    let lamp = HostToUnit::Exercise(Exercise::Lamp);
    assert_eq!(bench.order(&lamp), Err(Refusal::NeedsSettings));
    bench
        .order(&HostToUnit::Configure(settings))
        .expect("settings");
    for part in [
        Exercise::Punch(0),
        Exercise::Punch(9),
        Exercise::Feed(u32::MAX),
    ] {
        let order = HostToUnit::Exercise(part);
        assert_eq!(bench.order(&order), Err(Refusal::NoSuchPart), "{part:?}");
    }
    bench.order(&lamp).expect("an exercise");
    let busy = [
        HostToUnit::Start,
        HostToUnit::Reset,
        lamp,
        HostToUnit::Configure(settings),
    ];
    for order in &busy {
        assert_eq!(
            bench.order(order),
            Err(Refusal::Busy),
            "exercising: {order:?}"
        );
    }
    bench.run(1_000_000);
    bench.order(&HostToUnit::Start).expect("start");
    for order in &busy {
        assert_eq!(bench.order(order), Err(Refusal::Busy), "started: {order:?}");
    }
    assert_eq!(bench.stops(), []);
    bench.order(&HostToUnit::Stop).expect("stop");
    assert_eq!(bench.machine.last_stop(), StopReason::HostStop);
}

#[test]
fn the_whole_unit_fits_a_small_chip() {
    // pins of a chip are smaller than the virtual board's, so this is an upper
    // bound; 264 KiB is a common microcontroller, 64 KiB a small one
    let rig =
        core::mem::size_of::<Rig<VirtualBoard, Lines, Box<Store>>>() + core::mem::size_of::<Room>();
    let events = core::mem::size_of::<Store>();
    println!("a rig takes {rig} bytes, the loom's events {events}");
    assert!(rig <= 32 * 1024 && events <= 17 * 1024, "{rig}, {events}");
}
